"""Repeated reads combined: laws against plain counting, and reads that must be set aside, on real images."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romwright.errors import InputError, OptionError
from romwright.faults.lines import Law, Line, LineMap
from romwright.faults.repeats.agreement import agree
from romwright.faults.repeats.chances import tail
from romwright.faults.repeats.reads import Read, Reads
from romwright.faults.repeats.settling import settle
from romwright.faults.repeats.votes import Planes, Votes
from romwright.images.formats import Loaded
from romwright.images.image import Image

TERN = Path(__file__).parents[3] / "fixtures" / "tern"
LOGGER = np.frombuffer((TERN / "logger.bin").read_bytes(), np.uint8)
DIAGNOSTIC = np.frombuffer((TERN / "diagnostic.bin").read_bytes(), np.uint8)
RANDOM = np.random.default_rng(4).integers(0, 256, 8192).astype(np.uint8)
OTHER = np.random.default_rng(99).integers(0, 256, 8192).astype(np.uint8)


def loaded(*datas, names="r{}.bin"):
    return [Loaded(names.format(n), "raw", Image.from_bytes(bytes(data))) for n, data in enumerate(datas)]


def turned(data, at, bit=0):
    data = data.copy()
    data[at] ^= 1 << bit
    return data


def noise(rng, share):
    """Return bytes with so many of their bits set at random."""
    return np.packbits(rng.random((8192, 8)) < share, axis=1)[:, 0]


def codes(found):
    return {finding.code.name for finding in found.findings}


# Laws


@given(st.lists(st.binary(min_size=5, max_size=5), max_size=70))
def test_planes_count_as_plain_counting_does(rows):
    planes = Planes()
    for row in rows:
        planes.add(np.frombuffer(row, np.uint8))
    plain = [[sum(row[at] >> bit & 1 for row in rows) for bit in range(8)] for at in range(5)]
    assert planes.counts(5).tolist() == plain


@st.composite
def reads_with_gaps(draw):
    """Some reads of 12 bytes that differ in any bits, each without some of its bytes."""
    reads = []
    for n in range(draw(st.integers(1, 7))):
        data = draw(st.binary(min_size=12, max_size=12))
        kept = draw(st.sets(st.integers(0, 11), min_size=1))
        reads.append(Read(f"{n}", "intel-hex", Image.of([(0x100 + at, data[at : at + 1]) for at in kept])))
    return reads


@given(reads_with_gaps())
def test_votes_are_what_each_bit_was_read_as(reads):
    votes = Votes.of(reads)
    seen = {}
    for read in reads:
        for segment in read.image.segments:
            for at, byte in enumerate(segment.data, segment.start):
                seen.setdefault(at, []).append(byte)
    assert {votes.start + int(at): int(votes.times[at]) for at in np.flatnonzero(votes.known)} == {
        at: len(bytes_) for at, bytes_ in seen.items()
    }
    unstable = {}
    for at, values in seen.items():
        for bit in range(8):
            ones = sum(value >> bit & 1 for value in values)
            zeros = len(values) - ones
            if zeros and ones:
                unstable[at, bit] = (zeros, ones)
            due = values[0] >> bit & 1 if zeros == ones else int(ones > zeros)
            assert int(votes.settled[at - votes.start]) >> bit & 1 == due
    got = zip(votes.at + votes.start, votes.bit, votes.zeros, votes.ones)
    assert {(int(at), int(bit)): (int(zeros), int(ones)) for at, bit, zeros, ones in got} == unstable
    assert votes.image == Image.of([(at, bytes([int(votes.settled[at - votes.start])])) for at in seen])


@settings(max_examples=30, deadline=None)
@given(st.permutations(range(9)))
def test_the_order_of_the_reads_does_not_matter(order):
    some = [turned(LOGGER, 40 * n, n % 8) for n in range(5)] + [LOGGER, DIAGNOSTIC, LOGGER | 8, RANDOM]
    found = agree(Reads.of(loaded(*(some[n] for n in order))).reads)
    assert sorted(len(group) for group in found.groups) == [1, 1, 1, 6]
    assert len(found.votes.at) == 5 and (found.votes.settled == LOGGER).all()
    assert set(found.votes.less) == {1}


@settings(deadline=None)
@given(st.integers(2, 12), st.integers(0, 6), st.randoms(use_true_random=False))
def test_the_chance_is_the_sum_of_its_parts(n, unstable, random):
    datas = [RANDOM.copy() for _ in range(n)]
    counts = []
    for at in random.sample(range(8192), unstable):
        less = random.randint(1, n - 1)
        for read in random.sample(range(n), less):
            datas[read][at] ^= 4
        counts.append(min(less, n - less))
    found = settle(loaded(*datas))
    expected = min(sum(tail(n, less) for less in counts), 1)
    assert found.risk_unstable == pytest.approx(expected)
    assert found.risk_reached == pytest.approx(min(expected + (unstable + 1) / 2**n, 1))
    assert found.settled == (found.risk_reached <= 0.01)
    assert found.number("tied") == sum(2 * less == n for less in counts)
    assert not (found.settled and found.undecided)


# Reads that are set aside


def stuck(data):
    return data & ~np.uint8(1 << 5)


def address_stuck(data):
    straight = LineMap.straight(13)
    address = list(straight.address)
    address[9] = Line.stuck(0)
    return LineMap(tuple(address), straight.data).apply(data, len(data))


def joined(data):
    straight = LineMap.straight(13)
    lines = list(straight.data)
    lines[2] = lines[3] = Line.joined(Law.AND, (2, 3))
    return LineMap(straight.address, tuple(lines)).apply(data, len(data))


SPOILT = {
    "another ROM": (lambda data: OTHER[: len(data)], "other contents", "another ROM or version"),
    "blank": (lambda data: np.full_like(data, 0xFF), "blank", "FF"),
    "all zero": (lambda data: np.zeros_like(data), "blank", "00"),
    "data line stuck": (stuck, "lines", "D5 is stuck low"),
    "address line stuck": (address_stuck, "lines", "A9 is stuck low"),
    "data lines joined": (joined, "lines", "D2 and D3 are joined"),
    "inverted": (lambda data: ~data, "lines", "inverted"),
    "shifted": (lambda data: np.roll(data, -5), "lines", "starts at 0005"),
    "half": (lambda data: data[:4096], "size", "4,096 bytes, not 8,192"),
    "doubled": (lambda data: np.concatenate((data, data)), "size", "16,384 bytes, not 8,192"),
    "one byte": (lambda data: data[:1], "size", "1 byte, not 8,192"),
}


@pytest.mark.parametrize("image", ["random", "mostly blank", "nearly blank"])
@pytest.mark.parametrize("name", SPOILT)
def test_a_spoilt_read_is_set_aside_with_the_reason(name, image):
    data = RANDOM.copy()
    data[{"random": 8192, "mostly blank": 1200, "nearly blank": 300}[image] :] = 0xFF
    spoil, reason, said = SPOILT[name]
    found = settle(loaded(turned(data, 3), spoil(data), data, turned(data, 700, 3)))
    assert [each.read.file for each in found.asides] == ["r1.bin"]
    assert found.asides[0].reason == reason and said in found.asides[0].detail
    assert len(found.agreement.counted) == 3
    assert (found.votes.settled == data).all() and found.unstable == 2
    assert "read-set-aside" in codes(found)


def test_the_reads_of_a_bad_contact_do_not_outvote_the_good_one():
    """Three reads with D5 stuck agree, but the fourth has what they lose."""
    found = settle(loaded(stuck(RANDOM), stuck(RANDOM), stuck(RANDOM), RANDOM))
    assert found.votes is None and not found.settled
    assert codes(found) == {"reads-disagree"}
    assert "D5 is stuck low" in found.findings[0].evidence


@pytest.mark.parametrize(
    "datas",
    [
        (RANDOM, LOGGER[:8192]),
        (RANDOM, LOGGER[:8192], ~RANDOM),
        (RANDOM, RANDOM, LOGGER[:8192], LOGGER[:8192]),
        (RANDOM, np.zeros(8192, np.uint8)),
        (RANDOM, LOGGER),
    ],
    ids=["two", "three", "two of each", "one and a blank one", "two sizes"],
)
def test_no_majority(datas):
    found = settle(loaded(*datas))
    assert found.votes is None and not found.settled
    assert codes(found) == {"reads-disagree"}
    said = found.as_json()
    assert (said["settled"], said["reads_counted"], said["unstable"], said["reads_needed"]) == (False, 0, [], None)
    assert not any(read["counted"] for read in said["reads"])


def test_noise_is_not_wholesale():
    """Bits turned at random in 2 % of all places: bad, but reads of one chip; nine of them settle most of it."""
    rng = np.random.default_rng(1)
    found = settle(loaded(*(RANDOM ^ noise(rng, 0.02) for _ in range(9))))
    assert len(found.agreement.counted) == 9 and not found.asides
    wrong = int(np.bitwise_count(found.votes.settled ^ RANDOM).sum())
    assert wrong < 5
    assert not found.settled and found.reads_needed > 9


def test_an_erased_chip_with_a_weak_bit_is_one_chip():
    blank = np.full(4096, 0xFF, np.uint8)
    found = settle(loaded(*[blank] * 6, turned(blank, 9)))
    assert len(found.agreement.counted) == 7 and found.unstable == 1
    assert "reads-blank" in codes(found)


def test_blank_reads_never_outvote_a_program():
    blank = np.full(8192, 0xFF, np.uint8)
    found = settle(loaded(blank, blank, blank, RANDOM, RANDOM))
    assert len(found.agreement.counted) == 2 and (found.votes.settled == RANDOM).all()


# What unstable bits suggest


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda data, rng: data ^ np.where(rng.random(8192) < 0.002, 64, 0), "D6 makes contact only now and then"),
        (
            lambda data, rng: np.where(rng.random(8192) < 0.004, data[np.arange(8192) ^ 0x80], data),
            "A7 makes contact only now and then",
        ),
        (lambda data, rng: data ^ noise(rng, 0.02) * (np.arange(8192) // 256 == 9), "weak cells lie together"),
        (lambda data, rng: data | noise(rng, 0.001), "all stray one way"),
        (lambda data, rng: data ^ noise(rng, 0.001), "they stray both ways"),
    ],
    ids=["data line", "address line", "page", "rise", "both ways"],
)
def test_what_unstable_bits_suggest(spoil, said):
    rng = np.random.default_rng(6)
    found = settle(loaded(*(spoil(RANDOM, rng).astype(np.uint8) for _ in range(7))))
    assert found.agreement.votes and found.unstable
    finding = next(finding for finding in found.findings if finding.code.name == "unstable-bits")
    assert said in finding.remedy, finding


def test_two_kinds_of_read_are_no_weak_cells():
    """Reads of two chips that differ in one page: what goes together is not read so by chance."""
    other = RANDOM.copy()
    other[0x100:0x200] = np.random.default_rng(6).integers(0, 256, 256)
    for datas in ((RANDOM, other, RANDOM, other), (RANDOM, RANDOM, other, RANDOM, other)):
        (finding,) = (each for each in settle(loaded(*datas)).findings if each.code.name == "unstable-bits")
        assert "two kinds of read, each alike in itself" in finding.evidence
        assert all(f"r{n}.bin" in finding.evidence for n in range(len(datas)))
        assert "two chips or versions" in finding.remedy
    once = turned(RANDOM, np.arange(100))
    for datas in ((RANDOM, other), (RANDOM, RANDOM, once), (RANDOM, other, turned(RANDOM, 5), other)):
        assert not settle(loaded(*datas)).wobble.kinds


def test_a_read_that_was_disturbed_is_named():
    rng = np.random.default_rng(6)
    found = settle(loaded(RANDOM, RANDOM ^ noise(rng, 0.01), RANDOM, turned(RANDOM, 5), RANDOM))
    finding = next(finding for finding in found.findings if finding.code.name == "unstable-bits")
    assert "r1.bin alone" in finding.evidence and "leave it out" in finding.remedy


# What was given


def test_the_same_name_and_contents_is_no_second_read():
    image = Image.from_bytes(bytes(RANDOM))
    files = [Loaded(f"{folder}/r.bin", "raw", image) for folder in "ab"]
    with pytest.raises(InputError, match="only one read"):
        settle(files)
    found = settle([*files, *loaded(RANDOM)])
    assert found.given.same == [("b/r.bin", "a/r.bin")] and len(found.agreement.counted) == 2
    assert "same-read-twice" in codes(found)


@pytest.mark.parametrize("count", [0, 1])
def test_too_few_reads(count):
    with pytest.raises(InputError, match="read the chip again"):
        settle(loaded(*[RANDOM] * count))


@pytest.mark.parametrize("risk", [0, -1, 0.3, 1, float("nan"), float("inf"), 1e-13])
def test_a_chance_that_cannot_be_kept(risk):
    with pytest.raises(OptionError, match="--risk"):
        settle(loaded(RANDOM, RANDOM), risk)


def test_equal_contents_are_held_once():
    found = settle(loaded(*[RANDOM] * 50))
    assert len({id(read.image) for read in found.given.reads}) == 1
    assert found.settled


def test_hex_reads_with_gaps_are_counted_where_they_have_bytes():
    whole = bytes(RANDOM)
    parts = [
        Image.from_bytes(whole, 0xE000), Image.of([(0xE000, whole[:512]), (0xE400, whole[1024:])]),
        Image.from_bytes(whole[256:], 0xE100),
    ]  # fmt: skip
    found = settle([Loaded(f"{n}.hex", "intel-hex", image) for n, image in enumerate(parts)])
    times = found.votes.times
    assert (times[:256] == 2).all() and (times[256:512] == 3).all() and (times[512:1024] == 2).all()
    assert found.fewest == 2 and found.once == [] and found.gaps == []
    raw = settle([Loaded("a.hex", "intel-hex", parts[1]), *loaded(RANDOM)])
    assert raw.given.moved_to == raw.votes.start == 0xE000
    assert raw.once == [(0xE200, 0xE400)] and "read-once" in codes(raw)
