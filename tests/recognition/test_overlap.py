"""Two ROMs on the bus at once: both are named, and no pair that proves nothing."""

import random

import numpy as np
import pytest
from line_faults import IMAGES, load, turned

from romwright.images.image import Image
from romwright.recognition.dump import Dump
from romwright.recognition.identification import Identifier, measured
from romwright.recognition.inspection import inspect_image
from romwright.recognition.overlap import check_known, find_overlaps
from romwright.recognition.reference import Store
from romwright.recognition.signatures import SketchIndex
from romwright.recognition.verdicts import Contents

SIZE = 8192
BIOS = next((data for name, data in load(IMAGES).items() if len(data) == 262144), None)
pytestmark = pytest.mark.skipif(BIOS is None, reason="no seabios")
BLANK = {"erased": b"\xff" * SIZE, "nearly erased": b"\xff" * (SIZE - 40) + bytes(range(40))}


@pytest.fixture(scope="module")
def images():
    found = {f"{at:X}": BIOS[at : at + SIZE].tobytes() for at in range(0x20000, 0x40000, SIZE)}
    return found | {"small": BIOS[0x1C000:0x1D000].tobytes()} | BLANK


@pytest.fixture(scope="module")
def store(images):
    store = Store(":memory:", create=True)
    with store.changing():
        for name, data in images.items():
            store.add_image("list", *measured(name, data))
    return store


def both(*parts):
    size = max(map(len, parts))
    return np.bitwise_and.reduce([np.resize(np.frombuffer(part, np.uint8), size) for part in parts])


@pytest.mark.parametrize("pair", [("20000", "30000"), ("24000", "small"), ("22000", "2A000")])
@pytest.mark.parametrize("rate", [0.0, 0.003])
def test_both_are_named(store, images, pair, rate):
    dump = turned(np.random.default_rng(3), both(*(images[name] for name in pair)), rate)
    [row] = Identifier(store, thorough=True).identify(["dump"], lambda file: Contents(dump.tobytes()))
    assert sorted(match.name for match in row.matches) == sorted(pair)
    assert {match.how for match in row.matches} == {"two at once"}
    assert not row.known
    assert row.matches[0].samples_equal >= (0.99 - 10 * rate) * row.matches[0].samples_total
    assert row.matches[0].evidence_bits > 100


def said(store, data):
    found = inspect_image(Image.from_bytes(data), checks=[check_known(store)])
    return [sign.as_json() for sign in found.signs if sign.finding.code.name == "two-known-at-once"]


def test_inspect_names_both(store, images):
    [sign] = said(store, both(images["20000"], images["30000"]).tobytes())
    assert sorted(image["name"] for image in sign["images"]) == ["20000", "30000"]
    assert sign["samples_equal"] == sign["samples_total"] and sign["evidence_bits"] > 100


def test_inspect_names_no_pair_for_a_good_dump(store, images):
    for data in (*images.values(), random.Random(1).randbytes(SIZE), bytes(SIZE), b"\xff" * 100, b"A"):
        assert not said(store, data)


def test_a_blank_image_proves_nothing(store, images):
    index = SketchIndex(store.sketches())
    for name in BLANK:
        assert find_overlaps(index, Dump(both(images["20000"], images[name]).tobytes())) == []


def test_bits_that_fell_at_random_are_no_second_rom(store, images):
    rng = np.random.default_rng(5)
    fallen = np.frombuffer(images["20000"], np.uint8) & ~np.packbits(rng.random((SIZE, 8)) < 0.02, axis=1)[:, 0]
    assert find_overlaps(SketchIndex(store.sketches()), Dump(fallen.tobytes())) == []


def test_an_unknown_second_rom_is_not_named(store, images):
    index = SketchIndex(store.sketches())
    for seed in range(40):
        dump = both(images["26000"], random.Random(seed).randbytes(SIZE))
        assert find_overlaps(index, Dump(dump.tobytes())) == []


@pytest.mark.parametrize("data", [bytes(SIZE), b"\xff" * SIZE, bytes(SIZE - 9) + b"123456789"])
def test_dumps_without_content_have_no_pair(store, data):
    assert find_overlaps(SketchIndex(store.sketches()), Dump(data)) == []
