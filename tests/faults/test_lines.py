"""Line maps against the plainest way to work them out, one address and one bit at a time."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from strategies import line_maps

from romwright.faults.lines import Law, Line, LineMap
from romwright.faults.statement import prove_statement, state_map


def level(line, number):
    """The level of a line where the bits of a number are the levels of the other side."""
    sources = [number >> source & 1 for source in line.of]
    match line.state:
        case "stuck":
            return line.level
        case "inverted":
            return 1 - sources[0]
        case "joined":
            return min(sources) if line.law is Law.AND else max(sources)
    return sources[0]


def read(lines, reference, address):
    """The byte that a reader gets at an address."""
    cell = sum(level(line, address) << n for n, line in enumerate(lines.address))
    if lines.start or lines.beyond is not None:
        cell = address + lines.start
        if lines.beyond is not None and not 0 <= cell < len(reference):
            cell = None
    seen = lines.beyond if cell is None else int(reference[cell % len(reference)])
    return sum(level(line, seen) << n for n, line in enumerate(lines.data))


@given(st.data())
def test_a_map_reads_what_its_lines_say(data):
    lines = data.draw(line_maps())
    reference = np.frombuffer(
        data.draw(st.binary(min_size=1 << len(lines.address), max_size=1 << len(lines.address))), np.uint8
    )
    size = data.draw(st.integers(1, 1 << len(lines.address) + 1))
    expected = [read(lines, reference, address % (1 << len(lines.address))) for address in range(size)]
    assert lines.apply(reference, size).tolist() == expected
    prove_statement(
        state_map(lines), reference, np.array(expected, np.uint8), (np.array([], int), np.array([], np.uint8))
    )


@given(st.binary(min_size=32, max_size=32), st.integers(-40, 40), st.none() | st.integers(0, 255), st.integers(1, 80))
def test_a_shifted_start_reads_on_at_the_start_or_as_one_byte(data, start, beyond, size):
    lines, reference = LineMap.straight(5, start, beyond), np.frombuffer(data, np.uint8)
    expected = [read(lines, reference, address) for address in range(size)]
    assert lines.apply(reference, size).tolist() == expected
    prove_statement(
        state_map(lines), reference, np.array(expected, np.uint8), (np.array([], int), np.array([], np.uint8))
    )


def test_large_images_mix_high_and_low_lines():
    lines = 13
    address = [Line.follows(line) for line in reversed(range(lines))]
    address[2] = address[7] = Line.joined(Law.AND, (1, 12))
    address[4] = Line.stuck(1)
    found = LineMap(tuple(address), LineMap.straight(0).data)
    reference = np.random.default_rng(1).integers(0, 256, 1 << lines).astype(np.uint8)
    assert found.apply(reference, 5000).tolist() == [read(found, reference, at) for at in range(5000)]


def test_a_statement_that_does_not_reproduce_the_dump_is_refused():
    import pytest

    from romwright.errors import RomwrightError

    reference = np.arange(16, dtype=np.uint8)
    dump = reference.copy()
    dump[9] ^= 4
    said = state_map(LineMap.straight(4))
    with pytest.raises(RomwrightError) as caught:
        prove_statement(said, reference, dump, (np.array([], int), np.array([], np.uint8)))
    assert "0009" in caught.value.where
    prove_statement(said, reference, dump, (np.array([9]), np.array([4], np.uint8)))
