"""Traits: laws, and agreement with the plainest way to work each out on small images."""

import math
import os
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romwright.images.image import Image
from romwright.images.traits import find_idle_lines, find_period, find_traits

few_values = st.binary(max_size=40) | st.lists(st.sampled_from([0, 1, 0xFF]), max_size=40).map(bytes)
built = st.builds(lambda part, times: part * times, few_values, st.integers(1, 8)).filter(bool)
chips = st.builds(lambda part, doublings: part * (1 << doublings), st.binary(min_size=1, max_size=4), st.integers(0, 6))


def programmed(data):
    return data not in (bytes(len(data)), b"\xff" * len(data))


def traits(data, kind, start=0):
    return [t for t in find_traits(Image.from_bytes(data, start)) if t.kind == kind]


@given(built)
def test_a_period_is_one_and_the_smallest(data):
    period = find_period(data)
    assert data[:period] * (len(data) // period) == data
    assert not [p for p in range(1, period) if len(data) % p == 0 and data[:p] * (len(data) // p) == data]


@given(built | chips)
def test_idle_address_lines_are_those_of_brute_force(data):
    lines = range((len(data) - 1).bit_length())
    idle = [n for n in lines if all(data[a] == data[a ^ 1 << n] for a in range(len(data)) if a ^ 1 << n < len(data))]
    assert find_idle_lines(data) == idle


def test_idle_lines_of_an_image_beyond_one_chunk():
    part = os.urandom(1 << 18)
    image = b"".join(part[i : i + 2**17] * 2 for i in range(0, len(part), 2**17)) * 2
    assert find_idle_lines(image) == [17, 19]
    spoilt = bytearray(image)
    spoilt[-1] ^= 1
    assert find_idle_lines(bytes(spoilt)) == []


@given(
    (st.binary(min_size=1, max_size=40) | st.lists(st.sampled_from([0x12, 0x36, 0x50]), min_size=1).map(bytes)).filter(
        programmed
    )
)
def test_data_bits_are_those_of_brute_force(data):
    seen = {
        (t.facts["bit"], t.facts["state"], t.facts.get("level", t.facts.get("of"))) for t in traits(data, "data bit")
    }
    columns = [tuple(byte >> n & 1 for byte in data) for n in range(8)]
    expected = set()
    for n, column in enumerate(columns):
        if len(set(column)) == 1:
            expected.add((f"D{n}", "constant", column[0]))
        elif column in columns[:n]:
            expected.add((f"D{n}", "equal", f"D{columns.index(column)}"))
    assert seen == expected


@given(st.binary(min_size=1, max_size=700).filter(programmed))
def test_entropy_is_that_of_its_definition(data):
    def shannon(block):
        return abs(-sum(c / len(block) * math.log2(c / len(block)) for c in Counter(block).values()))

    (entropy,) = traits(data, "entropy")
    assert entropy.facts["whole"] == pytest.approx(shannon(data), abs=5.1e-5)
    pages = {a: shannon(data[a : a + 256]) for a in range(0, len(data) - 255, 256)}
    if pages:
        assert entropy.facts["lowest"] == pytest.approx(min(pages.values()), abs=6e-5)
        assert entropy.facts["highest"] == pytest.approx(pages[entropy.facts["highest_at"]], abs=6e-5)
        assert pages[entropy.facts["lowest_at"]] == pytest.approx(min(pages.values()), abs=6e-5)


@given(
    st.lists(
        st.sampled_from([b"\xff" * 20, b"\0" * 16, b"HELLO WORLD", b"\xff" * 15, b"\x80\x81", b"~" * 9]), min_size=1
    )
)
def test_fill_and_text_runs_are_those_of_a_loop(parts):
    data = b"".join(parts) + b"\x01"  # never an erased image
    found = find_traits(Image.from_bytes(data, 0x1000))
    ends, start = [], 0
    for at in range(1, len(data) + 1):
        if at == len(data) or data[at] != data[start]:
            ends.append((start, at))
            start = at
    fills = sorted((a - b, a, b) for a, b in ends if b - a >= 16)[:5]
    assert [(t.facts["start"], t.facts["stop"]) for t in found if t.kind == "fill"] == sorted(
        (a + 0x1000, b + 0x1000) for _, a, b in fills
    )
    texts, run = [], []
    for at, byte in enumerate([*data, 0]):
        if 0x20 <= byte < 0x7F:
            run.append(at)
        else:
            if len(run) >= 6 and len({data[a] for a in run}) > 1:
                texts.append((run[0] + 0x1000, data[run[0] : at].decode()))
            run = []
    plain = [t for t in found if t.kind == "text" and not t.facts["high_bit"]]
    assert sum(t.facts["runs"] for t in plain) == len(texts)
    strings = [(s["address"], s["text"]) for t in plain for s in t.facts["strings"]]
    assert strings == sorted(sorted(texts, key=lambda t: -len(t[1]))[:16])


def test_a_16k_program_read_twice_out_of_a_32k_chip():
    data = os.urandom(16384) * 2
    (repeat,) = traits(data, "repeat")
    assert (repeat.facts, "16K in a 32K" in repeat.detail) == ({"period": 16384, "times": 2}, True)
    assert [t.facts["lines"] for t in traits(data, "address line")] == [["A14"]]
    assert [t.facts["state"] for t in traits(data, "half")] == ["equal"]


def test_a_small_program_in_a_big_blank_chip():
    halves = traits(os.urandom(4096) + b"\xff" * 4096, "half")
    assert [t.facts for t in halves] == [{"half": "upper", "state": "blank", "value": "FF"}]


@pytest.mark.parametrize("value", [0xFF, 0x00])
def test_an_erased_chip_has_no_other_trait(value):
    (found,) = find_traits(Image.from_bytes(bytes([value]) * 8192))
    assert (found.kind, found.facts) == ("erased", {"value": f"{value:02X}"})
    assert [t.kind for t in find_traits(Image.of([(0, bytes([value])), (9, bytes([value]))]))] == ["gap", "erased"]


def test_text_with_the_high_bit_set():
    data = bytes(8) + bytes(c | 0x80 for c in b"READY TO GO") + bytes(8)
    (text,) = traits(data, "text", 0xC000)
    assert text.facts["high_bit"] and text.facts["strings"] == [{"address": 0xC008, "text": "READY TO GO"}]


def test_gaps_are_stated_and_what_needs_a_whole_chip_is_left_out():
    found = find_traits(Image.of([(0, b"ab" * 8), (32, b"ab" * 8)]))
    gap = next(t for t in found if t.kind == "gap")
    assert gap.facts == {"gaps": 1, "bytes": 16}
    assert not {t.kind for t in found} & {"repeat", "half", "address line"}


@given(st.binary(max_size=300), st.integers(0, 0xFFFF))
def test_every_trait_is_plain_json(data, start):
    import json

    for trait in find_traits(Image.from_bytes(data, start)):
        assert json.loads(json.dumps(trait.as_json()))["kind"] == trait.kind


pieces = st.lists(
    st.tuples(
        st.integers(1, 40), st.sampled_from([b"\xff" * 20, b"HELLO WORLD", b"\xff" * 15, b"~" * 5, b"\x80", bytes(300)])
    ),
    min_size=2,
    max_size=9,
)


@given(pieces)
def test_no_run_and_no_page_crosses_a_gap(pieces):
    """Of an image with gaps, the fill, text and pages are those of its segments, each for itself."""
    at, placed = 0x100, []
    for gap, data in pieces:
        placed.append((at, data))
        at += len(data) + gap
    found = find_traits(Image.of([*placed, (at, b"\x01")]))
    alone = [t for start, data in placed for t in find_traits(Image.of([(start, data), (start + len(data), b"\x01")]))]
    fills = [(-t.facts["length"], t.facts["start"]) for t in alone if t.kind == "fill"]
    assert [t.facts["start"] for t in found if t.kind == "fill"] == sorted(start for _, start in sorted(fills)[:5])
    texts = [one for t in alone if t.kind == "text" for one in t.facts["strings"]]
    assert [one for t in found if t.kind == "text" for one in t.facts["strings"]] == texts
    lowest = [t.facts["lowest_at"] for t in alone if "lowest_at" in t.facts]
    assert [t.facts["lowest_at"] for t in found if "lowest_at" in t.facts] == lowest[:1]


def test_a_hundred_thousand_segments_are_looked_at_together(monkeypatch):
    """Numpy is called as often for many segments as for few: what counts is the bytes."""
    from romwright.images import runs

    calls = []
    find_runs = runs.find_runs
    monkeypatch.setattr(runs, "find_runs", lambda *args: calls.append(args) or find_runs(*args))
    image = Image.of((2 * n, b"A") for n in range(100_000))
    assert [t.facts["gaps"] for t in find_traits(image) if t.kind == "gap"] == [99_999]
    assert len(calls) == 3
