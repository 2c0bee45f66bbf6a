"""Reads that take more than one look: inverted address lines, bits that all went one way, contents that hide a fault.

What is right is known because the reads are spoilt here.
"""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from line_faults import FAULTS, random_map

from romwright.faults.comparison import compare
from romwright.faults.lines import Law, Line, LineMap, State
from romwright.faults.search.starts import find_starts
from romwright.images.image import Image

LOGGER = Path(__file__).parents[2] / "fixtures" / "tern" / "logger.bin"
LINES = 12
PROGRAM = np.random.default_rng(7).integers(0, 256, 1 << LINES).astype(np.uint8)
PROGRAM[:1024] &= PROGRAM[1024:2048]  # data lines and quarters of different make
PACKED = np.random.default_rng(8).integers(0, 256, 1 << 16).astype(np.uint8)  # as if compressed: every line alike


def compared(reference, dump):
    """Compare, prove what is said, and return both."""
    found = compare(*(Image.from_bytes(data.tobytes()) for data in (reference, dump)))
    return found, found.as_json()


def went(rng, data, rate, level):
    """Return the data with this share of its bits at one level, whatever they were."""
    chosen = np.packbits(rng.random((len(data), 8)) < rate, axis=1)[:, 0]
    return data | chosen if level else data & ~chosen


@given(st.integers(0, 2**32), st.sampled_from([None, *FAULTS]), st.integers(1, 3), st.booleans())
@settings(max_examples=30, deadline=None)
def test_inverted_address_lines(seed, fault, count, crossed):
    rng = np.random.default_rng(seed)
    true = random_map(rng, LINES, [fault] if fault else [], crossed)
    sound = [n for n, line in enumerate(true.address) if line.state is State.FOLLOWS]
    address = list(true.address)
    for n in rng.choice(sound, count, replace=False).tolist():
        address[n] = Line.inverted(address[n].of[0])
    dump = went(rng, LineMap(tuple(address), true.data).apply(PROGRAM, len(PROGRAM)), 0.002, 1)
    found, said = compared(PROGRAM, dump)
    assert np.array_equal(found.expected, LineMap(tuple(address), true.data).apply(PROGRAM, len(PROGRAM)))
    assert sum(line["state"] == "inverted" for line in said["address_lines"]) == count


@pytest.mark.parametrize("level", [0, 1])
def test_bits_that_all_went_one_way_in_packed_contents(level):
    """They move all sums alike, by more than what tells one data line from another: not every map is found."""
    exact = 0
    for seed in range(20):
        rng = np.random.default_rng(seed)
        clean = random_map(rng, 16, FAULTS[seed % 6 : seed % 6 + 1]).apply(PACKED, len(PACKED))
        exact += np.array_equal(compared(PACKED, went(rng, clean, 0.005, level))[0].expected, clean)
    assert exact >= 18


@pytest.mark.parametrize("law", Law)
@pytest.mark.parametrize("crossed", [False, True])
def test_a_line_that_never_matters_joined_with_one_that_does(law, crossed):
    doubled = np.concatenate((PROGRAM, PROGRAM))
    address = list(random_map(np.random.default_rng(3), LINES + 1, [], crossed).address)
    address[4] = address[LINES] = Line.joined(law, (address[4].of[0], address[LINES].of[0]))
    dump = LineMap(tuple(address), LineMap.straight(0).data).apply(doubled, len(doubled))
    found, said = compared(doubled, dump)
    assert (found.best.residual, said["address_lines"][4]["state"]) == (0, "joined")
    assert {"kind": "never matters", "lines": [f"A{LINES}"]} in said["cannot_tell"]


def test_contents_that_do_not_tell_which_line_is_stuck():
    numbers = np.arange(1 << LINES)
    swapped = numbers & ~0x120 | (numbers >> 5 & 1) << 8 | (numbers >> 8 & 1) << 5
    alike = PROGRAM[np.minimum(numbers, swapped)]  # A5 and A8 exchanged, it is the same
    found, said = compared(alike, alike[numbers | 0x20])
    assert (found.best.residual, said["address_lines"][5]) == (0, {"line": "A5", "state": "stuck", "level": 1})
    (other,) = (each for each in said["alternatives"] if each["address_lines"][8]["state"] == "stuck")
    assert (other["residual_bits"], other["address_lines"][5]["of"]) == (0, "A8")


@given(st.integers(-3000, 3000), st.integers(0, 2**32))
@settings(max_examples=30, deadline=None)
def test_a_start_is_found_in_spite_of_wrong_bits(start, seed):
    rng = np.random.default_rng(seed)
    dump = PROGRAM[start:] if start >= 0 else np.concatenate((np.full(-start, 0xFF, np.uint8), PROGRAM))[: 1 << LINES]
    assert find_starts(PROGRAM, went(rng, dump, 0.02, 1))[0] == start


def test_what_is_before_the_reference_is_not_repeated():
    dump = np.concatenate((np.full(1800, 0xFF, np.uint8), PROGRAM))[: 1 << LINES]
    found, said = compared(PROGRAM, went(np.random.default_rng(1), dump, 0.005, 1))
    assert (said["start"], said["beyond"]) == (-1800, "FF")
    assert np.array_equal(found.expected, dump)


@pytest.mark.parametrize(("first", "level"), [(0, "low"), (1, "high")])
def test_every_second_byte_is_said_as_such(first, level):
    found, _ = compared(PROGRAM, PROGRAM[first::2].copy())
    (finding,) = found.findings
    assert finding.code.name == "size-differs"
    assert finding.evidence == f"it is every second byte of the reference, those with A0 {level}"


def test_alternatives_that_are_left_out_are_counted():
    many = np.repeat(np.arange(256, dtype=np.uint8), 1 << 5)  # A0 to A4 never matter
    address = (*(Line.follows((n + 1) % 5) for n in range(5)), *map(Line.follows, range(5, 12)), Line.stuck(1))
    found, said = compared(many, LineMap(address, LineMap.straight(0).data).apply(many, len(many)))
    assert (len(said["alternatives"]), said["alternatives_left_out"]) == (24, len(found.others) - 24)
    assert said["alternatives_left_out"] > 24


def test_contents_that_look_as_if_lines_were_joined():
    """This piece of the logger reads the same with A9 and A11 joined, once A10 is stuck."""
    logger = np.fromfile(LOGGER, np.uint8)[0xFA8:0x1FA8]
    found, _ = compared(logger, logger[np.arange(len(logger)) | 1 << 10])
    assert [finding.title for finding in found.findings] == ["A10 is stuck high"]


def test_a_short_dump_that_starts_where_the_reference_does():
    """All its probes agree with the start: that is no other start, and the lines that the reader lacks stay lost."""
    dump = PROGRAM[:969].copy()
    dump[323:484] = 0xFF
    found, said = compared(PROGRAM, dump)
    assert [line["state"] for line in said["address_lines"][10:]] == ["stuck", "stuck"]
    assert [region["first"] for region in said["residual"]["regions"]] == [323] and "start" not in said


def test_a_small_dump_that_starts_where_its_reference_does():
    """It is no start elsewhere, and follows no line that its reader does not have."""
    first, second = bytes.fromhex("7dbab186d4909e7d"), bytes.fromhex("b9ee88")
    found, said = compared(*(np.frombuffer(data, np.uint8) for data in (first, second)))
    assert {line["of"] for line in said["address_lines"] if line["state"] == "follows"} <= {"A0", "A1"}
