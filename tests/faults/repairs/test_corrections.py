"""Corrections by checksum: laws, brute force on small images, and outside references.

Outside: the CRCs of zlib and binascii (IEEE 802.3 CRC-32; CCITT x^16+x^12+x^5+1), sums by plain Python, and the check
values of the public CRC catalogue (fixtures/vectors/crc.toml), through the string "123456789" of their definition.
"""

import binascii
import random
import tomllib
import zlib
from functools import reduce
from itertools import combinations
from math import comb
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romwright.errors import InputError, OptionError
from romwright.faults.repairs.corrections import Digest, Search
from romwright.faults.repairs.counting import count_sets, countable
from romwright.faults.repairs.meeting import Meeting
from romwright.faults.repairs.suspects import Decay, Suspects, disagreeing, lines_apart, parse_weak, turned
from romwright.faults.repairs.syndromes import Condition, Group, keys_of, packed
from romwright.images.checksums import crc_widths
from romwright.images.fixup import SUMS, kind_named
from romwright.images.image import Image

VECTORS = tomllib.loads((Path(__file__).parents[3] / "fixtures/vectors/crc.toml").read_text("utf-8"))
WITNESSES = {  # computed without anything of ours
    "crc-32": zlib.crc32,
    "xmodem": lambda d: binascii.crc_hqx(d, 0),
    "crc-ccitt-false": lambda d: binascii.crc_hqx(d, 0xFFFF),
    "sum8": lambda d: sum(d) % 256,
    "sum16": lambda d: sum(d) % 65536,
    "sum32": lambda d: sum(d) % 2**32,
    "xor8": lambda d: reduce(int.__xor__, d, 0),
    "words-big": lambda d: sum(byte << 8 * (i % 2 == 0) for i, byte in enumerate(d)) % 65536,
    "words-little": lambda d: sum(byte << 8 * (i % 2) for i, byte in enumerate(d)) % 65536,
}
ALL_KINDS = [*SUMS, *(name for name, width in crc_widths().items() if width in (8, 16, 32))]


def all_cells(data):
    return np.arange(8 * len(data))


def whole(name, good):
    """The condition that a whole image comes to what the good one does, by the witness."""
    return Condition(kind_named(name), (0, len(good)), None, WITNESSES[name](good))


@pytest.mark.parametrize("name", ALL_KINDS)
@given(data=st.data())
@settings(max_examples=12, deadline=None)
def test_the_effect_of_a_bit_is_what_turning_it_does(name, data):
    kind = kind_named(name)
    image = data.draw(st.binary(min_size=12, max_size=60))
    at = data.draw(st.none() | st.integers(0, len(image) - kind.size_bytes))
    first = data.draw(st.integers(0, 5))
    order = data.draw(st.sampled_from(["little", "big"]))
    place = None if at is None else (at, at + kind.size_bytes)
    condition = Condition(kind, (first, len(image) - 1), place, 1 if at is None else None, order)
    effects = condition.effects(np.frombuffer(image, np.uint8)).reshape(-1)

    def miss(some):
        computed, wanted = condition.computed(some), condition.wanted(some)
        return computed ^ wanted if condition.linear else (computed - wanted) % (1 << kind.width)

    cell = data.draw(st.integers(0, 8 * len(image) - 1))
    before, after = miss(image), miss(turned(image, [cell]))
    assert int(effects[cell]) == (before ^ after if condition.linear else (after - before) % (1 << kind.width))


@pytest.mark.parametrize(
    "row", [row for row in VECTORS["crc"] if row["width"] in (8, 16, 32)], ids=lambda row: row["name"]
)
def test_a_spoilt_check_string_is_mended_by_the_published_check_value(row):
    good, true = b"123456789", (8 * 4 + 6,)
    condition = Condition(kind_named(row["name"]), (0, 9), None, int(row["check"], 16))
    spoilt = turned(good, true)
    found = Search(spoilt, 0, Suspects.of(spoilt, Decay.EITHER, np.ones(9, bool)), [condition]).run(1, 72)
    assert true in {each.cells for each in found.candidates}
    assert found.count == 1 or row["width"] == 8  # 8 bits repeat within 72 if the polynomial is not primitive


@given(
    data=st.binary(min_size=3, max_size=6), names=st.lists(st.sampled_from([*WITNESSES]), min_size=1, max_size=3),
    seed=st.integers(0, 999), count=st.integers(1, 4),
)  # fmt: skip
@settings(max_examples=60, deadline=None)
def test_all_sets_are_those_of_brute_force(data, names, seed, count):
    """Every set once and no other, and the count without listing is the same."""
    cells = all_cells(data)
    true = random.Random(seed).sample(range(len(cells)), count)
    good = turned(data, true)
    conditions, rest = packed([whole(name, good) for name in names])
    group = Group.of(conditions)
    keys, wanted = keys_of(conditions, data, cells)
    found = [tuple(row) for block in Meeting(keys, wanted, group).sets(count) for row in block.tolist()]
    brute = {
        chosen for chosen in combinations(range(len(cells)), count)
        if all(WITNESSES[each.kind.name](turned(data, chosen)) == each.value for each in conditions)
    }  # fmt: skip
    assert tuple(sorted(true)) in brute
    assert set(found) == brute and len(found) == len(brute)
    if countable(keys, count, group):
        assert count_sets(keys, wanted, group, count)[count] == len(brute)


@pytest.mark.parametrize("decay", list(Decay))
@given(
    seed=st.integers(0, 10**6), wrong=st.integers(1, 3),
    names=st.sets(st.sampled_from([*WITNESSES]), min_size=1, max_size=3),
)  # fmt: skip
@settings(max_examples=12, deadline=None)
def test_the_true_correction_is_among_them_and_each_holds(decay, seed, wrong, names):
    rng = random.Random(seed)
    good = rng.randbytes(24)
    room = {"rose": 0, "fell": 1, "either": None}[decay]
    cells = [cell for cell in range(8 * 24) if room is None or good[cell >> 3] >> (cell & 7) & 1 == room]
    true = tuple(sorted(rng.sample(cells, wrong)))
    dump = turned(good, true)
    conditions = [whole(name, good) for name in sorted(names)]
    suspects = Suspects.of(dump, decay, np.ones(24, bool))
    search = Search(dump, 0, suspects, conditions)
    found = search.run(3, 100)
    assert found.tried == sum(comb(len(suspects), n) for n in (1, 2, 3))
    for each in found.candidates:
        corrected = turned(dump, each.cells)
        assert all(WITNESSES[name](corrected) == WITNESSES[name](good) for name in names)
        levels = {dump[cell >> 3] >> (cell & 7) & 1 for cell in each.cells}
        assert levels <= {"rose": {1}, "fell": {0}, "either": {0, 1}}[decay]
    assert len({each.cells for each in found.candidates}) == len(found.candidates)
    if all(level.ranked for level in found.levels):
        everything = search.run(3, found.count)
        assert len(everything.candidates) == found.count
        assert true in {each.cells for each in everything.candidates}
        assert everything.candidates[: len(found.candidates)] == found.candidates  # a longer list moves no number


@pytest.mark.parametrize("seed", range(5))
def test_two_random_bits_in_16k_are_found_by_zlib_crc32(seed):
    """All single and double corrections, against a search that computes zlib's CRC of every pair's halves anew."""
    rng = random.Random(seed)
    good = rng.randbytes(16384)
    true = tuple(sorted(rng.sample(range(8 * 16384), 2)))
    dump = turned(good, true)
    condition = whole("crc-32", good)
    found = Search(dump, 0, Suspects.of(dump, Decay.EITHER, np.ones(16384, bool)), [condition]).run(2, 1000)
    assert true in {each.cells for each in found.candidates}
    assert all(zlib.crc32(turned(dump, each.cells)) == condition.value for each in found.candidates)
    # The reference: CRC-32 is affine, so what each bit does is zlib's CRC of a message with that bit alone.
    zero, size = zlib.crc32(bytes(16384)), 8 * 16384
    effect, state = [0] * size, {}
    tail = [zlib.crc32(bytes([1 << bit])) ^ zlib.crc32(b"\0") for bit in range(8)]
    for byte in reversed(range(16384)):
        for bit in range(8):
            effect[8 * byte + bit] = tail[bit]
        tail = [value >> 8 ^ TABLE[value & 0xFF] for value in tail]
    at = rng.randrange(size)
    assert effect[at] == zlib.crc32(turned(bytes(16384), [at])) ^ zero
    left = zlib.crc32(dump) ^ condition.value
    pairs = set()
    for cell, value in enumerate(effect):
        pairs |= {(other, cell) for other in state.get(left ^ value, ())}
        state.setdefault(value, []).append(cell)
    singles = {(cell,) for cell in state.get(left, ())}
    assert {each.cells for each in found.candidates} == pairs | singles


# The byte table of CRC-32 (polynomial EDB88320 reflected: IEEE 802.3), made bit by bit.
TABLE = [reduce(lambda value, _: value >> 1 ^ 0xEDB88320 * (value & 1), range(8), byte) for byte in range(256)]


def test_the_number_of_single_risen_bits_in_a_byte_sum_is_known_by_hand():
    """1024 bytes 08: if the sum is 8 too large, any one D3 may have risen; 16 too large, any two of them."""
    dump = b"\x08" * 1024
    suspects = Suspects.of(dump, Decay.ROSE, np.ones(1024, bool))
    one = Search(dump, 0, suspects, [Condition(SUMS["sum16"], (0, 1024), None, 8 * 1023)]).run(2, 5)
    assert [level.count for level in one.levels] == [1024, 0]
    two = Search(dump, 0, suspects, [Condition(SUMS["sum16"], (0, 1024), None, 8 * 1022)]).run(2, 5)
    assert [level.count for level in two.levels] == [0, 1024 * 1023 // 2]
    assert two.candidates[0].cells == (3, 11) and two.candidates[0].lines_apart == 1


def test_a_stored_checksum_may_itself_be_what_is_wrong():
    good = bytes(range(1, 63))
    stored = good + (sum(good) & 0xFFFF).to_bytes(2, "big")
    dump = turned(stored, [8 * 63 + 5])
    condition = Condition(SUMS["sum16"], (0, 64), (62, 64), order="big")
    suspects = Suspects.of(dump, Decay.EITHER, np.ones(64, bool))
    found = Search(dump, 0, suspects, [condition]).run(1, 100)
    assert (8 * 63 + 5,) in {each.cells for each in found.candidates}


def test_too_many_to_rank_are_counted_and_said_to_be_so():
    rng = random.Random(3)
    good = rng.randbytes(8192)
    dump = turned(good, [8 * 100 + next(bit for bit in range(8) if not good[100] >> bit & 1)])
    dump = turned(dump, [8 * 5000 + next(bit for bit in range(8) if not dump[5000] >> bit & 1)])
    suspects = Suspects.of(dump, Decay.ROSE, np.ones(8192, bool))
    found = Search(dump, 0, suspects, [whole("sum8", good)]).run(2, 5000)
    assert found.levels[1].count > 2_000_000 and not found.levels[1].ranked
    for each in found.candidates:
        assert sum(turned(dump, each.cells)) % 256 == sum(good) % 256


def test_digests_choose_among_candidates():
    import hashlib

    rng = random.Random(8)
    good = rng.randbytes(64)
    dump = turned(good, [17, 300])
    digest = Digest("sha256", hashlib.sha256(good).hexdigest())
    suspects = Suspects.of(dump, Decay.EITHER, np.ones(64, bool))
    found = Search(dump, 0, suspects, [whole("sum8", good)], [digest]).run(2, 9)
    assert [each.cells for each in found.candidates] == [(17, 300)] and found.count == 1
    alone = Search(dump, 0, suspects, [], [digest]).run(2, 9)
    assert [each.cells for each in alone.candidates] == [(17, 300)]


def test_more_checksums_than_a_key_holds_are_checked_one_by_one():
    rng = random.Random(9)
    good = rng.randbytes(200)
    dump = turned(good, [40, 1000])
    conditions = [whole(name, good) for name in ("crc-32", "xmodem", "crc-ccitt-false", "sum16", "xor8")]
    found = Search(dump, 0, Suspects.of(dump, Decay.EITHER, np.ones(200, bool)), conditions).run(2, 9)
    assert [each.cells for each in found.candidates] == [(40, 1000)]
    assert found.width == 32 + 16 + 16 + 16 + 8


def test_what_cannot_be_gone_through_is_refused_before_anything_is_tried():
    dump = bytes([0xFF]) * (1 << 20)
    search = Search(dump, 0, Suspects.of(dump, Decay.ROSE, np.ones(len(dump), bool)), [whole("crc-32", bytes(1 << 20))])
    with pytest.raises(OptionError) as caught:
        search.run(3, 5)
    assert "--within" in caught.value.help


def test_weak_cells_come_first():
    dump = b"\x08" * 64
    weak = parse_weak(b'{"n": 2, "unstable": [{"address": 50, "bit": "D3"}, {"address": 33, "bit": 3}]}', "w", 0, 64)
    suspects = Suspects.of(dump, Decay.ROSE, np.ones(64, bool), weak)
    found = Search(dump, 0, suspects, [Condition(SUMS["sum8"], (0, 64), None, (8 * 63) % 256)]).run(1, 64)
    assert [each.cells[0] for each in found.candidates[:3]] == [8 * 33 + 3, 8 * 50 + 3, 3]
    assert found.count == 64
    only = Suspects.of(dump, Decay.ROSE, np.ones(64, bool), weak, only_weak=True)
    assert only.cells.tolist() == [8 * 33 + 3, 8 * 50 + 3]


@pytest.mark.parametrize(
    "text",
    [b"", b"{", b"[1]", b'[{"address": 33, "bit": "D8"}]', b'[{"address": 33, "bit": "A3"}]',
b'[{"address": "33", "bit": 3}]', b'[{"address": 33}]', b'[{"address": 99, "bit": 0}]',
     b'[{"address": 3, "bit": 8}]', b'[{"address": -1, "bit": 0}]', b'{"a": 5}', b"\xff\xfe", b"[" * 100000, b"null"],
)  # fmt: skip
def test_a_list_of_weak_cells_that_is_none_is_refused(text):
    with pytest.raises(InputError):
        parse_weak(text, "weak.json", 0, 64)


def test_reads_that_disagree():
    one, two = Image.from_bytes(b"ABCD"), Image.from_bytes(b"ABGD")
    assert disagreeing(one, [("x", two)]).tolist() == [8 * 2 + 2]
    with pytest.raises(OptionError):
        disagreeing(one, [("x", Image.from_bytes(b"ABC"))])


def test_lines_apart_by_hand():
    rows = np.array([[8 * 0x10 + 3, 8 * 0x18 + 3], [8 * 0x10 + 3, 8 * 0x10 + 4], [0, 8 * 0xFF + 7]])
    assert lines_apart(rows, 0).tolist() == [1, 1, 9]
