"""The line finder: is every line fault read back from the dump alone?

Dumps are made here from what the lines do, with none of the code that reads them.
"""

from itertools import combinations

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from romwright.errors import OptionError
from romwright.faults.comparison import compare
from romwright.faults.lines import Law, Line, State
from romwright.faults.patterns.codebook import find_data_maps
from romwright.faults.patterns.doubles import double_faults, single_faults
from romwright.faults.patterns.image import LineFinder
from romwright.faults.patterns.linereport import find_line_faults, state_readout
from romwright.faults.patterns.readout import Readout
from romwright.images.image import Image

SIZES = [(11, 8), (13, 8), (15, 8), (16, 16), (9, 4), (8, 4), (5, 8)]


def level(line, bits):
    """Return what one line carries where the other side has these bits."""
    if line.state is State.STUCK:
        return np.full_like(bits, line.level)
    values = [bits >> each & 1 for each in line.of]
    value = np.minimum.reduce(values) if line.law is Law.AND else np.maximum.reduce(values)
    return 1 - value if line.state is State.INVERTED else value


def through(lines, bits):
    """Return the other side's bits as they come through lines."""
    return sum(level(line, bits) << number for number, line in enumerate(lines))


def read(finder, address, data, size=None):
    """Read a chip with the line finder through faulty lines."""
    cells = through(address, np.arange(size or 1 << finder.lines))
    return through(data, finder.words.astype(np.int64)[cells]).astype(np.uint16)


def straight(finder):
    return tuple(tuple(map(Line.follows, range(count))) for count in (finder.lines, finder.bits))


def changed(lines, changes):
    return tuple(changes.get(n, line) for n, line in enumerate(lines))


def require_read_back(finder, address, data, dump=None):
    """The faults are what is said, or among what is said to fit as well, and all of that gives the dump."""
    dump = read(finder, address, data) if dump is None else dump
    readout = Readout(finder, dump)
    ways = [(way.address, way.data) for way in (readout.best, *readout.others)]
    assert readout.explained and readout.best.wrong == 0
    assert (address, data) in ways
    for way in ways[:3]:
        assert np.array_equal(read(finder, *way, len(dump)), dump)
    state_readout(readout)  # proves it
    return readout


@pytest.mark.parametrize(("lines", "bits"), SIZES)
def test_the_pattern(lines, bits):
    finder = LineFinder(lines, bits)
    pairs = finder.code
    assert len(set(pairs)) == lines and all(low != high for low, high in pairs)
    words = finder.words
    assert len(words) == 1 << lines and words.max() < 1 << bits
    for line, (low, high) in enumerate(pairs):  # what the table for the eye says
        assert words[1 << line] == high
        assert words[(1 << lines) - 1 - (1 << line)] == low
    for at in range(0, len(words), 7):  # every word tells the truth of some line
        assert any(words[at] == pair[at >> line & 1] for line, pair in enumerate(pairs))


@pytest.mark.parametrize("lines", range(5, 21))
def test_data_lines_are_known_by_the_set_of_code_words_alone(lines):
    finder = LineFinder(lines, 8)
    every = sorted(word for pair in finder.code for word in pair)
    assert find_data_maps(every, [], finder.code, 8) == [straight(finder)[1]]


def test_the_same_bytes_everywhere():
    """Worked out once and written down, so that a chip burnt today can be read by any later version."""
    assert LineFinder(5, 8).image_bytes().hex() == GOLDEN


GOLDEN = "7d1ea07ddcdca07d8f014a8fe7baa0bae9e9e91ee9e9dc7d018fe94ae701e7dc"


@pytest.mark.parametrize(("lines", "bits", "step"), [(11, 8, 2), (8, 4, 31), (5, 8, 31)])
def test_every_single_fault(lines, bits, step):
    """One in two for 2 KiB (the benchmark has all); of small chips, which take all double faults each, one in 31."""
    finder = LineFinder(lines, bits)
    address, data = straight(finder)
    for faults, on_address in ((single_faults(lines), True), (single_faults(bits), False)):
        for fault in faults[::step]:
            way = (changed(address, fault), data) if on_address else (address, changed(data, fault))
            readout = require_read_back(finder, *way)
            if lines > 5:
                assert not readout.others, fault


def test_a_few_double_faults_of_every_kind():
    finder = LineFinder(11, 8)
    for way in list(double_faults(*straight(finder)))[::1499]:
        assert not require_read_back(finder, *way).others


def crossed(order, free, kinds):
    """Return lines crossed in this order, with one fault of each kind on the last of the free ones."""
    lines, free = [Line.follows(n) for n in order], list(free)
    for kind in kinds:
        first = free.pop()
        if kind in ("and", "or"):
            second = free.pop()
            lines[first] = lines[second] = Line.joined(Law(kind), [lines[first].of[0], lines[second].of[0]])
        else:
            lines[first] = {"low": Line.stuck(0), "high": Line.stuck(1)}.get(kind, Line.inverted(order[first]))
    return tuple(lines)


def line_maps(finder, faults):
    """Draw crossed lines with so many faults on either side."""

    def side(count, most):
        kinds = st.lists(st.sampled_from(["low", "high", "inverted", "and", "or"]), max_size=most)
        return st.builds(crossed, st.permutations(range(count)), st.permutations(range(count)), kinds)

    return st.tuples(side(finder.lines, faults), side(finder.bits, faults))


UNSHRUNK = (Phase.explicit, Phase.reuse, Phase.generate)  # to shrink what fails takes minutes


@settings(max_examples=30, deadline=None, phases=UNSHRUNK)
@given(line_maps(LineFinder(11, 8), 1))
def test_all_lines_crossed_with_a_fault_on_each_side(ways):
    require_read_back(LineFinder(11, 8), *ways)


@settings(max_examples=6, deadline=None, phases=UNSHRUNK)
@given(line_maps(LineFinder(12, 16), 2))
def test_sixteen_bits(ways):
    require_read_back(LineFinder(12, 16), *ways)


HARD = {  # each ended where two lines that are joined seemed stuck, or joined ones were taken for others
    "joined by or, a data line inverted": (
        (11, 8), ([0, 1, 3, 9, 4, 8, 5, 2, 10, 7, 6], [9, 1], ["or"]), ([0, 6, 2, 7, 4, 5, 1, 3], [2], ["inverted"]),
    ),
    "joined by and, two data lines low": (
        (12, 16), ([11, 6, 9, 0, 7, 10, 3, 2, 1, 8, 5, 4], [6, 1, 7], ["high", "and"]),
        ([0, 1, 11, 10, 4, 12, 13, 6, 5, 8, 14, 3, 7, 2, 9, 15], [15, 11], ["low", "low"]),
    ),
    "two pairs joined, two data lines low": (
        (13, 8), ([5, 3, 11, 2, 10, 1, 7, 4, 8, 6, 0, 12, 9], [9, 1, 8, 0], ["and", "and"]),
        ([0, 7, 4, 3, 1, 2, 6, 5], [5, 6], ["low", "low"]),
    ),
    "a stuck line that seems joined": (
        (13, 8), ([8, 10, 9, 2, 0, 7, 3, 1, 11, 12, 4, 6, 5], [8, 4, 1], ["low", "and"]),
        ([3, 1, 2, 6, 7, 0, 4, 5], [6, 2, 7, 1], ["or", "and"]),
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", HARD)
def test_joins_among_crossed_lines(case):
    size, address, data = HARD[case]
    assert not require_read_back(LineFinder(*size), crossed(*address), crossed(*data)).others


def test_words_of_other_addresses_are_no_wrong_bits():
    """Lines that are missed are not passed off as rot, though few bits are wrong."""
    finder = LineFinder(10, 8)
    address = crossed([6, 2, 0, 3, 7, 8, 4, 1, 9, 5], [5, 1, 9, 6, 3], ["low", "or", "and"])
    data = crossed([1, 5, 4, 0, 6, 7, 2, 3], [3, 4, 2, 0], ["or", "high", "inverted"])
    readout = Readout(finder, read(finder, address, data))
    right = (address, data) in [(way.address, way.data) for way in (readout.best, *readout.others)]
    assert readout.explained is (right and not readout.best.wrong)


@pytest.mark.parametrize("part", ["low", "high", "twice"])
def test_half_and_doubled_reads(part):
    finder = LineFinder(11, 8)
    address, data = straight(finder)
    crossed = changed(address, {3: Line.follows(7), 7: Line.follows(3)})
    held = changed(crossed, {10: Line.stuck(int(part == "high"))}) if part != "twice" else crossed
    readout = require_read_back(finder, held, data, read(finder, held, data, 4096 if part == "twice" else 1024))
    found = [finding.title for finding in find_line_faults(readout)]
    assert "A3 and A7 are crossed" in found and not any("stuck" in title for title in found)


def test_wrong_bits():
    finder, rng = LineFinder(13, 8), np.random.default_rng(3)
    address, data = straight(finder)
    address = changed(address, {4: Line.stuck(1), 2: Line.inverted(2)})
    data = changed(data, {0: Line.follows(5), 5: Line.follows(0)})
    dump = read(finder, address, data)
    at = rng.choice(len(dump), 200, replace=False)
    dump[at] ^= (1 << rng.integers(0, 8, 200)).astype(np.uint16)
    readout = Readout(finder, dump)
    assert (readout.best.address, readout.best.data, readout.best.wrong) == (address, data, 200)


def test_what_is_no_line_finder():
    finder = LineFinder(11, 8)
    for dump in (np.random.default_rng(1).integers(0, 256, 2048).astype(np.uint16), np.zeros(2048, np.uint16)):
        readout = Readout(finder, dump)
        assert not readout.explained
        assert [finding.severity for finding in find_line_faults(readout)] == ["fault"]


def test_compare_reads_it_too():
    """With the pattern as its reference `compare` finds the map, and nothing that it cannot tell."""
    finder = LineFinder(13, 8)
    for one, other in list(combinations(range(13), 2))[::9]:
        address = changed(straight(finder)[0], {one: Line.follows(other), other: Line.stuck(1)})
        dump = read(finder, address, straight(finder)[1])
        found = compare(*(Image.from_bytes(each.astype(np.uint8).tobytes()) for each in (finder.words, dump)))
        assert found.best.lines.address == address
        assert not (found.ambiguity.alike or found.ambiguity.idle or found.ambiguity.constant)


@pytest.mark.parametrize(("lines", "bits"), [(0, 8), (25, 8), (11, 1), (11, 32)])
def test_no_such_pattern(lines, bits):
    with pytest.raises(OptionError):
        LineFinder(lines, bits)
