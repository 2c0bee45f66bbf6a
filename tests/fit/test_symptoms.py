"""Predicted bits against a RAM test that is run cell by cell through the fight, for every law."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romwright.boards.library import require_board, require_cpu
from romwright.errors import OptionError
from romwright.fit.settings import Study
from romwright.fit.symptoms import Law, contents_of, find_symptoms, predict
from romwright.parts.library import require_part

TERN = require_board("tern-tl-1")
LAWS = {
    Law.LOW: lambda a, b: {a & b}, Law.HIGH: lambda a, b: {a | b}, Law.UNKNOWN: lambda a, b: {a & b, a | b, a ^ 255},
}  # fmt: skip


def fight(chip, lk2="1-2"):
    study = Study(TERN, require_cpu("6502"), TERN.sockets[0], require_part(chip))
    mounted = study.mount(study.nets({"LK1": "2-3", "LK2": lk2}))
    return mounted, study.cases(mounted)


@settings(max_examples=20, deadline=None)
@given(st.binary(min_size=256, max_size=256), st.sampled_from(list(Law)))
def test_bits_and_addresses_are_those_of_a_ram_test(page, law):
    """Write every byte of a pair that has each bit at both levels, read it back through the law, compare."""
    mounted, cases = fight("27128")
    rom = contents_of(page, 16384, "27128")
    found = {s.device.name: s for s in find_symptoms(mounted, cases, rom, law)}
    assert set(found) == {"DRAM", "U8", "U9"}
    for name, first, count in (("DRAM", 0, 0x4000), ("U8", 0x8000, 0x2000)):
        wrong = dict.fromkeys(range(8), 0)
        for address in range(first, first + 256):
            bad = 0
            for written in (0x55, 0xAA):
                for read in LAWS[law](written, rom[address & 0x3FFF]):
                    bad |= read ^ written
            for bit in range(8):
                wrong[bit] += bad >> bit & 1
        assert found[name].wrong == {f"D{bit}": n * (count // 256) for bit, n in wrong.items()}
        assert found[name].addresses == count


def test_law_is_said_to_be_a_model():
    mounted, cases = fight("27128")
    symptoms = find_symptoms(mounted, cases, bytes(16384), Law.LOW)
    case = next(case for case in cases if case.drives == ("DRAM", "U7"))
    answer = predict(case, Law.LOW, symptoms)
    assert answer["read"] == "DRAM AND U7" and "common practice, no source" in answer["said_of_law"]
    assert predict(case, Law.UNKNOWN, [])["read"] is None
    fine = next(case for case in cases if case.outcome == "fine")
    assert predict(fine, Law.LOW, symptoms) is None


def test_contents_fill_the_chip_a_whole_number_of_times():
    assert contents_of(b"ab", 8, "x") == b"abababab"
    for data in (b"", b"abc", bytes(16)):
        with pytest.raises(OptionError):
            contents_of(data, 8, "x")
