"""Several chips in place of one, and one in place of two: each proved, together exactly the original."""

import random

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from plan_model import Wired, spelling, word_at

from romwright.errors import NotFittingError, OptionError
from romwright.fit.plans.bench import Burnt
from romwright.fit.plans.contents import burn, lay_out, words_of
from romwright.fit.plans.proof import read_every_address
from romwright.fit.plans.rows import How
from romwright.fit.plans.sets import join_sockets, share_out, split_lanes, split_words
from romwright.fit.plans.wiring import plan_wiring
from romwright.fit.verdict import prove_plan
from romwright.parts.library import part_names, require_part

PARTS = {name: part for name in part_names() if (part := require_part(name)).drives}
WIDE = sorted(name for name, part in PARTS.items() if part.bits == 16)
BYTES = sorted(name for name, part in PARTS.items() if part.bits <= 8)
NEVER_WRITTEN = sorted(n for n, part in PARTS.items() if part.bits == 8 and not part.writes)


def ordered(name, choice=0):
    part = PARTS[name]
    return part.ordered_as(part.polarities({})[choice])


def size(part):
    return part.words * part.word_bytes


def asked(part, state):
    return any(row.items() <= state.items() for row in part.drives)


# --- shares ---------------------------------------------------------------------------------------------------------


@settings(deadline=None)
@given(st.sampled_from(WIDE), st.integers(0, 99))
def test_lanes_take_the_two_bytes_of_each_word(name, seed):
    original = ordered(name)
    low, high = split_lanes(original)
    assert [share.part.bits for share in (low, high)] == [8, 8] and low.part.words == original.words
    contents = random.Random(seed).randbytes(size(original))
    joined = bytearray(size(original))
    joined[0::2], joined[1::2] = low.of(contents), high.of(contents)
    assert joined == contents
    for number, pin in enumerate(original.pins):  # each data line at the position at which the original has it
        line = int(pin.function[1:]) if pin.role == "data" else None
        for first, share in ((0, low), (8, high)):
            taken = share.part.pins[number].function
            if line is None:
                assert taken == pin.function
            else:
                assert (taken == f"D{line - first}") == (first <= line < first + 8)


@settings(deadline=None)
@given(st.sampled_from(BYTES), st.integers(1, 4), st.integers(0, 99))
def test_parts_of_the_words_cover_each_address_once(name, lines, seed):
    original, count = ordered(name), 1 << lines
    assume(lines < original.address_bits)
    shares = split_words(original, count)
    assert len(shares) == count and {share.part.words for share in shares} == {original.words // count}
    contents = random.Random(seed).randbytes(size(original))
    assert b"".join(share.of(contents) for share in shares) == contents
    tops = [f"A{original.address_bits - lines + bit}(select)" for bit in range(lines)]
    names = sorted({name for row in original.drives for name in row})
    for state in range(1 << len(names)):
        levels = {name: "LH"[state >> bit & 1] for bit, name in enumerate(names)}
        for number in range(count):  # the highest lines say which share's words these are
            seen = levels | {top: "LH"[number >> bit & 1] for bit, top in enumerate(tops)}
            answering = [n for n, share in enumerate(shares) if asked(share.part, seen)]
            assert answering == ([number] if asked(original, levels) else [])


def plans_of(original, chip, count):
    """The shares with their plans, each proved."""
    found = []
    for share in share_out(original, chip, count):
        plan = plan_wiring(share.part, chip)
        found.append((share, plan))
    return found


def together(original, found, state, address):
    """Which of the chips drive, by the second model, and the word that comes of it."""
    drives, word = [], 0
    for number, (share, wired) in enumerate(found):
        own = dict(state)
        for pin in original.pins:  # a highest line is an enable of the share
            if f"{pin.function}(select)" in share.part.by_function:
                own[f"{pin.function}(select)"] = "LH"[address >> pin.index & 1]
        within = address % share.part.words
        drives.append(wired.drives(within, own))
        assert drives[-1] is not None
        if drives[-1]:
            word |= wired.read(within, own) << (8 * number if share.part.bits < original.bits else 0)
    return drives, word


SPLITS = [
    ("rom-4m-40-x16", "27C020", 2), ("27C1024", "27C512", 2), ("rom-23128-style-a", "2764", 2),
    ("rom-23128-style-b", "2732", 4), ("27256", "2764", 4), ("27128", "28C64", 2), ("prom-82s137", "prom-82s131", 2),
    ("rom-4m-40-jedec-word", "27C020", 2), ("2764", "2716", 4), ("2532", "2716", 2),
]  # fmt: skip


@pytest.mark.parametrize("split", SPLITS, ids=lambda split: f"{split[2]} {split[1]} for {split[0]}")
def test_the_chips_together_are_the_original(split):
    """Proved one by one; then all of them in every state: just the right ones drive, with the original's word."""
    original, chip = ordered(split[0]), ordered(split[1])
    contents, made = spelling(original), []
    for share, plan in plans_of(original, chip, split[2]):
        own = share.of(contents)
        burnt = burn(plan, {"": own}, 0xFF)
        given = Burnt(words_of(burnt, plan.chip), [words_of(own, plan.original)])
        proof = prove_plan(plan, given)
        assert proof.equal and proof.drive_equal, (share.title, proof)
        made.append((share, Wired(plan, burnt)))
    lanes = made[0][0].part.bits < original.bits
    whole = Wired(plan_wiring(original, original))
    lines = [0, original.words - 1, *(1 << line for line in range(original.address_bits)), 0x2A5 % original.words]
    for state in whole.states():
        for address in lines:
            drives, word = together(original, made, state, address)
            if not asked(original, state):
                assert not any(drives)
            else:
                assert sum(drives) == (len(made) if lanes else 1)
                assert lanes or drives[address * len(made) // original.words]
                assert word == word_at(contents, original, address)


@settings(max_examples=25, deadline=None)
@given(st.sampled_from(NEVER_WRITTEN), st.sampled_from(NEVER_WRITTEN), st.integers(1, 2))
def test_every_share_proves(original, chip, lines):
    """Any part shared out to any chip with room: each plan that heeds its select drives and reads as the share did."""
    original, chip = ordered(original, -1), ordered(chip)
    assume(original.address_bits > lines and chip.words >= original.words >> lines)
    assume(set(chip.supplies.values()) <= set(original.supplies.values()))
    for share, plan in plans_of(original, chip, 1 << lines):
        proof = prove_plan(plan)
        assert plan.wired.equal == proof.drive_equal
        assert not plan.wired.equal or proof.equal, (share.title, proof.first_difference)


def test_the_shares_exchanged_are_refuted():
    """The chip of the one half in the wiring of the other."""
    original = ordered("rom-23128-style-a")
    contents = spelling(original)
    (low, one), (high, other) = plans_of(original, ordered("2764"), 2)
    burnt = burn(one, {"": low.of(contents)}, 0xFF)
    wanted = [words_of(high.of(contents), other.original)]
    assert not prove_plan(other, Burnt(words_of(burnt, other.chip), wanted)).equal
    crossed = read_every_address(other.original, other.chip, one.rows, 0, one.gates)
    assert not crossed.drive_equal or not crossed.equal


@pytest.mark.parametrize("name, chip, count, said", [
    ("27128", "2764", 3, "3 chips cannot share"), ("27128", "2764", 1, "1 chips cannot share"),
    ("27128", "2764", 0, "0 chips cannot share"), ("27128", "2764", -2, "cannot share"),
    ("prom-82s23", "prom-82s23", 32, "32 chips cannot share 32 words"),
    ("27C1024", "27C512", 4, "4 chips of 8 bits for 16 data lines"),
    ("27C1024", "27C512", 3, "3 chips of 8 bits"),
])  # fmt: skip
def test_counts_that_do_not_go(name, chip, count, said):
    with pytest.raises(OptionError, match=said) as error:
        share_out(ordered(name), ordered(chip), count)
    assert error.value.expected


@pytest.mark.parametrize("length", [0, 3, 100, 16385])
def test_contents_that_do_not_fill_the_original_are_refused(length):
    for share in (*split_lanes(ordered("27C1024")), *split_words(ordered("27128"), 2)):
        with pytest.raises(NotFittingError, match=f"{length:,} bytes"):
            share.of(bytes(length))


@pytest.mark.parametrize("name", ["27128", "prom-82s129"])
def test_lanes_of_anything_else_are_refused(name):
    with pytest.raises(OptionError, match=f"{name} has . data lines"):
        split_lanes(ordered(name))


# --- one for two ------------------------------------------------------------------------------------------------------

JOINS = [
    ("rom-2364-24", "27128"), ("rom-2364-24", "27C256"), ("2764", "27128"), ("2732", "27C64"), ("2532", "2764"),
    ("2716", "2732"), ("rom-2332-a11-pin18", "2764"), ("rom-2364-24", "28C256"), ("27128", "27C512"),
]  # fmt: skip


@pytest.mark.parametrize("pair", JOINS, ids=" for two ".join)
def test_one_chip_answers_for_two_sockets(pair):
    """In every state that can come: on for either select, off else, and the words of the socket that is selected."""
    one, chip = ordered(pair[0]), ordered(pair[1])
    original, beyond = join_sockets(one, one)
    plan = plan_wiring(original, chip, (), ("first", "second"), beyond)
    first = spelling(one)
    contents = {"first": first, "second": bytes(255 - value for value in first)}
    burnt = burn(plan, contents, 0xFF)
    given = Burnt(words_of(burnt, chip), [words_of(contents[bank], original) for bank in plan.banks])
    proof = prove_plan(plan, given)
    assert proof.equal and proof.drive_equal, proof
    (point,), wired = beyond.points, Wired(plan, burnt)
    assert point == f"pin {one.by_function[one.select].number} ({one.select}) of the second socket"
    seen = set()
    for state in wired.states():
        here = asked(one, state)
        there = asked(one, state | {one.select: state[point]})
        assert not here or not there  # never both: such states are left out
        for address in (0, 1, one.words - 1, 0x55 % one.words):
            assert wired.drives(address, state) is (here or there)
            if here or there:
                bank = "first" if here else "second"
                seen.add(bank)
                assert wired.read(address, state) == word_at(contents[bank], one, address)
    assert seen == {"first", "second"}
    turned = Burnt(given.chip, given.wanted[::-1])
    assert not prove_plan(plan, turned).equal


def test_a_wrong_bank_line_is_refuted():
    """The address pin that chooses between the two, on any other line or level."""
    one = ordered("rom-2364-24")
    original, beyond = join_sockets(one, one)
    plan = plan_wiring(original, ordered("27128"), (), ("first", "second"), beyond)
    row = next(row for row in plan.rows if row.function == "A13")
    for how, more in (
        (How.VCC, {}), (How.GND, {}), (How.OPEN, {}), (How.WIRE, {"wire_to": 21}), (How.WIRE, {"wire_to": 9}),
        (How.POINT, {"point": beyond.points[0]}), (How.WIRE, {"wire_to": one.by_function[one.select].number}),
    ):  # fmt: skip
        changed = replace(row, how=how, gate="", wire_to=None, inverted=False, point="", strap="", detail="")
        changed = replace(changed, **more)
        if (changed.how, changed.wire_to, changed.point) != (row.how, row.wire_to, row.point):
            rows = tuple(changed if each is row else each for each in plan.rows)
            proof = read_every_address(
                plan.original, plan.chip, rows, plan.image_at, plan.gates, lay_out(plan), 2, None, beyond
            )
            assert not proof.equal, (how, more)


@pytest.mark.parametrize("first, second, said", [
    ("2764", "27128", "2764 has 8,192 x 8, 27128 16,384 x 8"), ("2764", "27C1024", "x 16"),
    ("rom-2364-24", "2764", "has an enable .* that .* has not"),
])  # fmt: skip
def test_two_that_do_not_go_together(first, second, said):
    with pytest.raises(OptionError, match=said):
        join_sockets(ordered(first), ordered(second))


def test_a_rom_without_a_select_is_refused():
    from msgspec.structs import replace as changed

    one = ordered("2764")
    for pair in ((changed(one, select=None), one), (one, changed(one, select=None, name="other"))):
        with pytest.raises(OptionError, match="which pin takes the decoder's select"):
            join_sockets(*pair)
