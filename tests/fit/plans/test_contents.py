"""Contents through a plan and back: burnt, read by the proof and by a second model, and every slip found."""

import random
from itertools import combinations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from plan_model import Wired, spelling, word_at

from romwright.errors import LostLineError, NotFittingError, OptionError
from romwright.fit.plans.bench import Burnt
from romwright.fit.plans.contents import burn, is_straight, lay_out, words_of
from romwright.fit.plans.proof import read_every_address
from romwright.fit.plans.rows import How
from romwright.fit.plans.wiring import plan_wiring
from romwright.parts.library import part_names, require_part
from romwright.parts.model import Role

MOST_WORDS = 1 << 16
PARTS = {
    name: part for name in part_names() if (part := require_part(name)).drives and part.words <= MOST_WORDS
}  # rom-6540 has no drive row
LARGE = {name: require_part(name) for name in ("rom-4m-40-x16", "27C400", "27C322", "27C800", "27C1024", "27C2048")}


def plan_of(socket, chip, banks=(), prefer=(), polarity=None):
    original, new = (PARTS.get(name) or LARGE.get(name) or require_part(name) for name in (socket, chip))
    return plan_wiring(
        original.ordered_as(original.polarities(polarity or {})[0]), new.ordered_as(new.polarities({})[0]), prefer,
        banks,
    )  # fmt: skip


def prove(plan, chip, contents, rows=None, layout=None, gates=None):
    """Read every address of a chip with these bytes and compare with the contents of each bank."""
    wanted = [words_of(data, plan.original) for data in contents]
    return read_every_address(
        plan.original, plan.chip, rows or plan.rows, plan.image_at, plan.gates if gates is None else gates,
        layout or lay_out(plan), len(contents), Burnt(words_of(chip, plan.chip), wanted),
    )  # fmt: skip


def named(plan, contents):
    return dict(zip(plan.banks or ("",), contents, strict=True))


def size(part):
    return part.words * part.word_bytes


def bytes_for(part, seed):
    """Random contents of a part; one of four bits has a nibble in a byte."""
    data = random.Random(seed).randbytes(size(part))
    return bytes(value & 15 for value in data) if part.bits == 4 else data


@st.composite
def plans(draw, banked=True):
    """A plan of a random pair in which the chip has room, with preferences and banks."""
    original = PARTS[draw(st.sampled_from(sorted(PARTS)))]
    roomy = [n for n, p in PARTS.items() if p.words >= original.words and p.bits >= original.bits]
    chip = PARTS[draw(st.sampled_from(roomy))]
    room = chip.words // original.words
    count = draw(st.integers(1, min(room, 5))) if banked else 1
    banks = tuple(f"bank{n}" for n in range(count)) if count > 1 else ()
    prefer = draw(st.sampled_from([(), ("crossed-lines",), ("no-gates",), ("crossed-lines", "no-gates")]))
    polarity = draw(st.sampled_from(original.polarities({})))
    return plan_of(original.name, chip.name, banks, prefer, polarity)


# --- laws -----------------------------------------------------------------------------------------------------------


@settings(max_examples=80, deadline=None)
@given(plans(), st.integers(0, 99), st.booleans(), st.integers(0, 255))
def test_what_is_burnt_reads_back(plan, seed, repeat, fill):
    contents = [bytes_for(plan.original, seed + n) for n in range(len(plan.banks) or 1)]
    chip = burn(plan, named(plan, contents), fill, repeat)
    assert len(chip) == size(plan.chip)
    proof = prove(plan, chip, contents)
    if plan.heeds and not plan_lacks(plan):  # what else cannot be exact is said by a finding, not by these bytes
        assert proof.equal or proof.states_written, proof.first_difference


def plan_lacks(plan):
    """Whether a supply is not to be had in the socket: such a plan proves nothing."""
    rails = set(plan.original.supplies.values())
    return not set(plan.chip.supplies.values()) <= rails


@settings(max_examples=60, deadline=None)
@given(plans(), st.integers(0, 99), st.booleans(), st.randoms(use_true_random=False))
def test_a_second_model_reads_the_contents(plan, seed, repeat, picked):
    """Read by hand, a few addresses in every state and every bank: the bytes of that bank."""
    assume(plan.heeds)
    contents = [bytes_for(plan.original, seed + n) for n in range(len(plan.banks) or 1)]
    wired = Wired(plan, burn(plan, named(plan, contents), 0xFF, repeat))
    last, reads = plan.original.words - 1, 0
    addresses = {0, last, *(1 << line for line in range(plan.original.address_bits)), *picked.choices(range(last), k=9)}
    for state in wired.states():
        for bank, data in enumerate(contents):
            for address in addresses if wired.asked(state) else ():
                assert wired.drives(address, state, bank) is True
                assert wired.read(address, state, bank) == word_at(data, plan.original, address), (address, bank)
                reads += 1
    assert reads


def shown_cells(plan):
    """The cells that some address shows in some bank, by the second model."""
    wired = Wired(plan)
    state = next(state for state in wired.states() if wired.asked(state))
    banks = range(len(plan.banks) or 1)
    return {wired.cell(address, state, bank) for bank in banks for address in range(plan.original.words)}


@settings(max_examples=40, deadline=None)
@given(plans(), st.integers(0, 99), st.randoms(use_true_random=False))
def test_one_flipped_bit_is_found_where_it_shows_and_only_there(plan, seed, picked):
    assume(plan.original.words <= 2048 and plan.heeds and not plan_lacks(plan))
    contents = [bytes_for(plan.original, seed + n) for n in range(len(plan.banks) or 1)]
    chip = bytearray(burn(plan, named(plan, contents), 0xFF))
    before = prove(plan, bytes(chip), contents)
    assume(before.equal)
    shown, layout, wide = shown_cells(plan), lay_out(plan), plan.chip.word_bytes
    assert shown == set(np.flatnonzero((layout.address >= 0) & (layout.bank < len(contents))).tolist())
    carried = [bit for bit, line in enumerate(layout.data) if line >= 0]
    assert len(carried) == plan.original.bits
    for cell in [picked.choice(sorted(shown)), picked.randrange(plan.chip.words)]:
        bit = picked.choice(carried)
        at = cell * wide + bit // 8
        chip[at] ^= 1 << bit % 8
        proof = prove(plan, bytes(chip), contents)
        assert proof.equal == (cell not in shown)
        if cell in shown:
            assert int(proof.first_difference["address"], 16) == layout.address[cell]
        chip[at] ^= 1 << bit % 8


@settings(max_examples=60, deadline=None)
@given(plans(banked=False), st.integers(0, 99))
def test_repeat_fills_what_does_not_show_and_nothing_else(plan, seed):
    assume(plan.chip.words <= 8192)
    contents = bytes_for(plan.original, seed)
    once, again = (burn(plan, {"": contents}, 0xA5, repeat) for repeat in (False, True))
    wired, wide = Wired(plan), plan.chip.word_bytes
    lines = {}  # bit of the chip's address -> line of the original, by hand
    for pin in plan.chip.lines(Role.ADDRESS):
        row = wired.rows[pin.number]
        place = {How.WIRE: row.wire_to, How.STRAIGHT: row.socket}.get(row.how)
        if place and plan.original.pins[place - 1].role is Role.ADDRESS:
            lines[pin.index] = int(plan.original.pins[place - 1].function[1:])
    shown = shown_cells(plan)
    for cell in range(plan.chip.words):
        a, b = (data[cell * wide : (cell + 1) * wide] for data in (once, again))
        if cell in shown:
            assert a == b
        else:
            address = sum((cell >> bit & 1) << line for bit, line in lines.items())
            assert a == bytes([0xA5 & (1 << min(8, plan.chip.bits)) - 1]) * wide
            like = next(c for c in shown if sum((c >> bit & 1) << line for bit, line in lines.items()) == address)
            assert b == once[like * wide : (like + 1) * wide]
            break  # the first one is enough: `next` above reads all of them


@settings(max_examples=60, deadline=None)
@given(plans(banked=False))
def test_straight_means_the_bytes_lie_as_they_are(plan):
    """Straight lines and nothing else leave the contents in one piece, the data bits in their order."""
    contents = spelling(plan.original)
    chip = burn(plan, {"": contents}, 0xFF)
    whole = chip[plan.burn_at : plan.burn_at + size(plan.original)] == contents
    if plan.chip.bits == plan.original.bits:
        assert is_straight(plan) == whole


@settings(max_examples=60, deadline=None)
@given(plans(banked=False))
def test_crossing_never_costs(plan):
    straight, crossed = (
        plan_wiring(plan.original, plan.chip, prefer) for prefer in ((), ("crossed-lines",))
    )  # fmt: skip
    work = [sum(points for _, _, points in each.work) for each in (straight, crossed)]
    assert work[1] <= work[0] and is_straight(straight)
    assert straight.wired.equal == crossed.wired.equal


def test_crossing_saves():
    """Of these common pairs, all that are crossed cost less than straight ones, and some are crossed."""
    saved = []
    for socket in ("2532", "2564", "rom-2364-24", "rom-23128-style-a", "rom-2332-a11-pin18", "prom-82s191"):
        for chip in ("2732", "2764", "27128", "27C256", "28C256", "2532"):
            if PARTS[chip].words >= PARTS[socket].words:
                straight, crossed = (plan_of(socket, chip, (), prefer) for prefer in ((), ("crossed-lines",)))
                work = [sum(points for _, _, points in each.work) for each in (straight, crossed)]
                assert is_straight(crossed) == (work[0] == work[1]), (socket, chip)
                saved.append(work[0] - work[1])
    assert sum(points > 0 for points in saved) >= 10 and min(saved) == 0


# --- every slip is found by the bytes alone ---------------------------------------------------------------------------


def moved(plan, *changes):
    """The rows with changes by chip pin."""
    table = dict(changes)
    return tuple(replace(row, **table[row.chip]) if row.chip in table else row for row in plan.rows)


def placed(plan, number):
    row = next(row for row in plan.rows if row.chip == number)
    return {How.WIRE: row.wire_to, How.STRAIGHT: row.socket}.get(row.how)


def by_bytes(plan, chip, contents, rows, gates=None):
    """The proof through other rows, these taken as right but for the bytes: only the words that come back can tell."""
    other = replace(plan, rows=rows, gates=plan.gates if gates is None else gates)
    return prove(other, chip, contents, rows, lay_out(other), gates)


SLIPS = [
    ("rom-2364-24", "2764", (), ()), ("2532", "2764", (), ("crossed-lines",)), ("2716", "2764", ("a", "b", "c"), ()),
    ("prom-82s129", "prom-82s137", ("old", "new"), ()), ("rom-23128-style-a", "28C256", (), ("crossed-lines",)),
    ("prom-82s131", "2716", (), ()), ("27C1024", "27C2048", (), ()),
]  # fmt: skip


@pytest.mark.parametrize("slip", SLIPS, ids=lambda slip: f"{slip[1]} for {slip[0]}")
def test_two_exchanged_lines_are_found_by_their_bytes(slip):
    """Contents that spell their address, the rest of the banks turned: the same chip behind exchanged wires."""
    plan = plan_of(*slip)
    first = spelling(plan.original)
    contents = [bytes(value ^ 15 * n for value in first) for n in range(len(plan.banks) or 1)]
    chip = burn(plan, named(plan, contents), 0xFF)
    assert prove(plan, chip, contents).equal
    assert by_bytes(plan, chip, contents, plan.rows).equal
    lines = {role: [] for role in (Role.ADDRESS, Role.DATA)}
    for pin in plan.chip.pins:
        place = placed(plan, pin.number)
        if pin.role in lines and place and plan.original.pins[place - 1].role is pin.role:
            lines[pin.role].append(pin)
    assert len(lines[Role.ADDRESS]) == plan.original.address_bits and len(lines[Role.DATA]) == plan.original.bits
    for pins in lines.values():
        for one, other in combinations(pins if plan.chip.words < 1 << 16 else pins[::3], 2):
            rows = moved(
                plan,
                (one.number, {"how": How.WIRE, "wire_to": placed(plan, other.number)}),
                (other.number, {"how": How.WIRE, "wire_to": placed(plan, one.number)}),
            )
            proof = by_bytes(plan, chip, contents, rows)
            assert not proof.equal, (one, other)
            address, expected = int(proof.first_difference["address"], 16), proof.first_difference["expected"]
            assert word_at(contents[0], plan.original, address) == int(expected, 16)
            wired = Wired(plan, chip, rows)
            state = next(state for state in wired.states() if wired.asked(state))
            assert wired.read(address, state) == int(proof.first_difference["found"], 16)
            for before in range(min(address, 64)):  # the first is the first
                assert wired.read(before, state) == word_at(contents[0], plan.original, before)


def test_a_moved_tie_is_found_by_its_bytes():
    plan = plan_of("rom-2364-24", "27C256")
    contents = [spelling(plan.original)]
    chip = burn(plan, {"": contents[0]}, 0xFF)
    ties = [row for row in plan.rows if row.function in ("A13", "A14") and row.how in (How.VCC, How.GND)]
    assert ties
    for tie in ties:
        turned = {"how": How.GND if tie.how is How.VCC else How.VCC}
        assert not by_bytes(plan, chip, contents, moved(plan, (tie.chip, turned))).equal
        wired = Wired(plan, chip, moved(plan, (tie.chip, turned)))
        state = next(state for state in wired.states() if wired.asked(state))
        assert wired.read(0, state) != contents[0][0]


@pytest.mark.parametrize("kind", ["and", "or", "nand"])
def test_a_turned_gate_is_found_with_the_bytes(kind):
    plan = plan_of("rom-23128-style-b", "28C256", polarity={20: "L", 22: "L", 27: "L"})
    contents = [spelling(plan.original)]
    chip = burn(plan, {"": contents[0]}, 0xFF)
    (gate,) = plan.gates
    proof = prove(plan, chip, contents, gates=(replace(gate, kind=kind),))
    assert (proof.equal and proof.drive_equal) == (kind == gate.kind)


def test_exchanged_banks_are_found():
    plan = plan_of("2716", "2764", ("game", "test", "spare"))
    contents = [bytes_for(plan.original, n) for n in range(3)]
    chip = burn(plan, named(plan, contents), 0xFF)
    for one, other in combinations(range(3), 2):
        turned = list(contents)
        turned[one], turned[other] = turned[other], turned[one]
        assert burn(plan, named(plan, turned), 0xFF) != chip
        proof = prove(plan, chip, turned)
        assert not proof.equal and {"S1", "S2"} <= set(proof.first_difference["levels"])
    for strap in (row for row in plan.rows if row.strap):
        other = {"S1": "S2", "S2": "S1"}[strap.strap]
        rows = moved(plan, (strap.chip, {"strap": other}))
        assert not prove(plan, chip, contents, rows).equal


# --- widths -----------------------------------------------------------------------------------------------------------


def test_the_low_byte_of_a_word_comes_first():
    plan = plan_of("27C1024", "27C2048")
    contents = b"".join(word.to_bytes(2, "little") for word in range(plan.original.words))
    chip = burn(plan, {"": contents}, 0xFF)
    assert chip[plan.burn_at + 2 * 0x1234 :][:2] == bytes([0x34, 0x12])
    assert prove(plan, chip, [contents]).equal
    swapped = np.frombuffer(contents, "<u2").byteswap().tobytes()
    proof = prove(plan, chip, [swapped])
    assert (proof.first_difference["expected"], proof.first_difference["found"]) == ("0100", "0001")


def test_a_nibble_in_a_byte_wide_chip():
    """What the four other data pins of the chip hold does not show; they are left as the fill has them."""
    plan = plan_of("prom-82s129", "2716")
    contents = bytes_for(plan.original, 7)
    chip = burn(plan, {"": contents}, 0xFF)
    layout = lay_out(plan)
    assert sorted(layout.data) == [-1, -1, -1, -1, 0, 1, 2, 3]
    shown = [cell for cell in range(plan.chip.words) if layout.address[cell] >= 0]
    assert len(shown) == 256 and all(chip[cell] & 0xF0 == 0xF0 for cell in shown)
    assert prove(plan, chip, [contents]).equal or plan_lacks(plan)
    loud = bytes(value | 0xF0 for value in contents)  # a file of bytes whose upper halves are not 0
    assert burn(plan, {"": loud}, 0xFF) == chip


def test_upper_halves_of_a_nibble_file_do_not_spoil_the_proof():
    plan = plan_of("prom-82s126", "prom-82s129")
    contents = bytes_for(plan.original, 3)
    chip = burn(plan, {"": bytes(value | 0xA0 for value in contents)}, 0)
    assert set(chip) <= set(range(16)) and prove(plan, chip, [contents]).equal
    assert prove(plan, chip, [bytes(value | 0xF0 for value in contents)]).equal


# --- bad input --------------------------------------------------------------------------------------------------------


def test_a_lost_line_is_named():
    plan = plan_of("27C256", "27C128")
    with pytest.raises(
        LostLineError, match="A14 reaches no address pin of the 27C128: the words at 0000 and 4000"
    ) as e:
        lay_out(plan)
    assert e.value.line == "A14"
    wired = plan_of("27C256", "27C512")
    a3 = next(row for row in wired.rows if row.function == "A3")
    cut = replace(wired, lines=(), rows=moved(wired, (a3.chip, {"how": How.GND})))
    with pytest.raises(LostLineError, match="A3 reaches no address pin"):
        lay_out(cut)
    d5 = next(row for row in wired.rows if row.function == "D5")
    cut = replace(wired, lines=(), rows=moved(wired, (d5.chip, {"how": How.OPEN})))
    for call in (lay_out, lambda plan: burn(plan, {"": bytes(32768)}, 0xFF)):
        with pytest.raises(LostLineError, match="D5 reaches no data pin") as e:
            call(cut)
        assert e.value.line == "D5"


def test_an_address_pin_on_nothing_is_named():
    plan = plan_of("27C256", "27C512")
    a15 = next(row for row in plan.rows if row.function == "A15")
    for how, more in ((How.OPEN, {}), (How.WIRE, {"wire_to": 20}), (How.WIRE, {"wire_to": 11})):
        cut = replace(plan, lines=(), rows=moved(plan, (a15.chip, {"how": how, **more})))
        if how is How.WIRE and more["wire_to"] == 20:
            continue  # /CE is low in every read: the pin is at a level
        with pytest.raises(LostLineError, match="A15|chip pin 1"):
            lay_out(cut)


def test_two_pins_on_one_line():
    """A15 beside A14: half of the cells show, those where both are alike; the bytes lie there."""
    plan = plan_of("27C256", "27C512")
    a15 = next(row for row in plan.rows if row.function == "A15")
    beside = replace(plan, lines=(), rows=moved(plan, (a15.chip, {"how": How.WIRE, "wire_to": 27, "strap": ""})))
    contents = spelling(plan.original)
    chip = burn(beside, {"": contents}, 0xFF)
    assert chip == contents[:0x4000] + bytes([0xFF]) * 0x8000 + contents[0x4000:]
    assert prove(beside, chip, [contents]).equal


@pytest.mark.parametrize("length", [0, 1, 1000, 1024, 2049, 4096, 3 * 2048])
def test_contents_of_another_size_are_refused(length):
    plan = plan_of("2716", "2732")
    with pytest.raises(NotFittingError, match="2716"):
        burn(plan, {"": bytes(length)}, 0xFF)


def test_a_bank_without_contents_is_named():
    plan = plan_of("2716", "2764", ("game", "test"))
    with pytest.raises(OptionError, match="test"):
        burn(plan, {"game": bytes(2048)}, 0xFF)


@pytest.mark.parametrize("count, chip", [(2, "2716"), (3, "2732"), (9, "27128")])
def test_more_banks_than_room(count, chip):
    with pytest.raises(OptionError, match=f"{count} banks"):
        plan_of("2716", chip, tuple(f"b{n}" for n in range(count)))
