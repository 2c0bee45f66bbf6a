"""A board's file begun from answers: it passes every rule, links runs on it, and its example works."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romwright.boards.answers import Answers, Other, Place, lines_for, rails_for
from romwright.boards.decoding import cycle_rows, decode, decoder_lines
from romwright.boards.draft import build_draft
from romwright.boards.library import cpu_names, read_board, require_cpu
from romwright.boards.model import expand
from romwright.errors import DataFileError, OptionError
from romwright.fit.settings import Study
from romwright.parts.library import require_part
from romwright.parts.model import Role

# 16 to 42 pins, one and three supplies, selects of open polarity, no drive row, four, eight and sixteen bits
PARTS = (
    "prom-82s129", "2716", "2708", "rom-2364-24", "rom-68364", "27128", "27C512", "rom-23128-style-b", "rom-2364-28",
    "rom-6540", "28C256", "27C040", "rom-4m-32-jedec", "27C400", "27C1024", "rom-4m-40-x16", "27C322",
)  # fmt: skip
CPUS = {name: require_cpu(name) for name in cpu_names()}
PAIRS = [(cpu, part) for cpu in CPUS for part in PARTS if require_part(part).bits <= len(CPUS[cpu].data_lines)]


def answers(cpu, part, **changes):
    """A board with the part at one end of the addresses, where it fits, and a RAM at the other."""
    cpu, part = CPUS[cpu], require_part(part)
    bus = len(cpu.data_lines) // 8
    size = min(part.words * bus, (cpu.top + 1) // 2)
    words = {
        "name": "board", "title": 'A "board" \\ of ours', "cpu": cpu, "source": "invented for this test",
        "rails": rails_for([part]),
        "places": (Place("U7", (cpu.top + 1 - size, cpu.top), part, lines_for(part, cpu)),),
        "others": (Other("RAM", (0, 0x3FFF), "RAM", cpu.data_lines),),
    }  # fmt: skip
    return Answers(**words | changes)


def board_of(text, tmp_path):
    path = tmp_path / "board.toml"
    path.write_text(text, "utf-8")
    return read_board(path)


def with_example(text):
    """Take the # from the example of glue and a link."""
    lines, inside = [], False
    for line in text.split("\n"):
        inside = (inside and line.startswith("#")) or line.startswith("# [[")
        lines.append(line[2:] if inside else line)
    return "\n".join(lines)


def test_the_sample_has_every_cpu_and_the_usual_packages():
    assert {cpu for cpu, _ in PAIRS} == set(cpu_names()) and len(CPUS) == 9
    assert {require_part(part).pin_count for part in PARTS} >= {24, 28, 32, 40}


@pytest.mark.parametrize("cpu, part", PAIRS)
def test_a_draft_passes_every_rule_and_links_runs_on_it(cpu, part, tmp_path):
    given_answers = answers(cpu, part)
    text = build_draft(given_answers)
    board_of(with_example(text), tmp_path)  # the example passes the rules too
    board = board_of(text, tmp_path)
    chip, (socket,), lines = require_part(part), board.sockets, CPUS[cpu].address_lines
    assert board.title == given_answers.title and socket.pin_count == chip.pin_count
    for pin in chip.pins:
        node = socket.nodes[pin.number]
        if pin.role is Role.SUPPLY:
            assert board.rails[node] == chip.supplies[pin.function]
        elif pin.role is Role.ADDRESS:  # A0 of a chip on the 68000's bus meets A1
            assert node == (lines[pin.index] if pin.index < len(lines) else f"U7.{pin.number}")
        elif pin.role is Role.DATA:
            assert node == CPUS[cpu].data_lines[pin.index]
        else:
            assert node == ("NC" if pin.role is Role.NC else f"U7.{pin.number}")
    if not chip.drives:
        return
    study = Study(board, CPUS[cpu], socket, chip.ordered_as(chip.polarities({})[0]))
    judged = study.judge({})
    assert judged.verdict != "works"  # what drives its controls is not known yet
    assert not [
        finding for finding in judged.findings if finding.code.name in ("supply-pin", "address-line", "data-line")
    ]


PLAIN = ["2716", "rom-68364", "27128", "27C512", "28C256", "27C040", "rom-4m-32-jedec", "27C400", "27C1024", "27C322"]


@pytest.mark.parametrize("cpu, part", [pair for pair in PAIRS if pair[1] in PLAIN])
def test_the_example_makes_the_original_work_in_the_first_position_only(cpu, part, tmp_path):
    text = with_example(build_draft(answers(cpu, part)))
    chip = require_part(part)
    above = {f"A{n}": "L" for n in range(len(CPUS[cpu].address_lines), 24)}
    held = chip.read_levels | chip.strobes | above
    for pin in chip.pins:  # what the schematic would have told
        if level := held.get(pin.function):
            text = re.sub(rf"\bU7\.{pin.number}(?=[ \"])", "+5V" if level == "H" else "GND", text)
    board = board_of(text, tmp_path)
    original = chip.ordered_as(dict.fromkeys(chip.choices(), "L"))
    study = Study(board, CPUS[cpu], board.sockets[0], original)
    verdicts = {position: study.judge({"LK-U7": position}) for position in ("1-2", "2-3")}
    assert verdicts["1-2"].verdict == "works", verdicts["1-2"].findings
    assert verdicts["2-3"].verdict == "fault"


def test_what_is_open_is_asked_for_in_the_file():
    text = build_draft(answers("6502", "rom-23128-style-b"))
    asked = re.findall(r"#   position +(\d+)  (\S+)", text)
    assert asked == [("1", "NC"), ("20", "OE?"), ("22", "OD?"), ("27", "CS?")]
    assert "decoder's select" in text and "polarity" in text


def test_address_pins_that_stand_still_are_asked_for():
    place = Place("U7", (0xC000, 0xFFFF), require_part("27C010"), CPUS["6502"].data_lines)
    text = build_draft(answers("6502", "27C010", places=(place,)))
    assert "position  3  A15        above the range: does the board bring A15 there, or a level?" in text
    assert "position  2  A16        the 6502 has no line for it: which level or latch" in text
    assert " A13 " in text and "A13        above" not in text


def test_two_halves_of_a_word(tmp_path):
    cpu, part = CPUS["68000"], require_part("27C256")
    places = tuple(Place(name, (0, 0xFFFF), part, expand(lines)) for name, lines in (("U1", "D8-D15"), ("U2", "D0-D7")))
    board = board_of(build_draft(answers("68000", "27C256", places=places, others=())), tmp_path)
    even, odd = board.sockets
    assert even.nodes[11] == "D8" and odd.nodes[11] == "D0" and even.nodes[10] == odd.nodes[10] == "A1"
    assert [area.range for area in board.map] == ["000000-00FFFF"] * 2
    assert cpu.top == 0xFFFFFF


@pytest.mark.parametrize(
    "words, changes",
    [
        ("is 32,768 words of the CPU, 27128 holds 16,384", {"span": (0, 0x7FFF)}),
        ("address 10000 is beyond the Z80", {"span": (0xF000, 0x10000)}),
        ("7 data lines for 8 data pins", {"lines": tuple(f"D{i}" for i in range(7))}),
        ("8 data lines for 8 data pins", {"lines": tuple(f"D{i}" for i in range(8, 16))}),
    ],
)
def test_a_socket_that_does_not_hold_together(words, changes):
    place = {"name": "U7", "span": (0, 0x3FFF), "part": require_part("27128"), "lines": CPUS["Z80"].data_lines}
    with pytest.raises(OptionError, match=words):
        build_draft(answers("Z80", "27128", places=(Place(**place | changes),), others=()))


def test_words_of_a_wide_bus_are_whole():
    place = Place("U7", (1, 0x100), require_part("27C400"), CPUS["68000"].data_lines)
    with pytest.raises(OptionError, match="does not hold whole words"):
        build_draft(answers("68000", "27C400", places=(place,)))


def test_a_supply_without_a_rail():
    with pytest.raises(OptionError, match=r"pin 19 \(VDD\) of 2708 needs \+12 V"):
        build_draft(answers("8080", "2708", rails={"+5V": 5, "GND": 0, "-5V": -5}))


def test_what_else_is_wrong_is_told_by_the_rules():
    others = (Other("U7", (0, 0xFF), "RAM", CPUS["Z80"].data_lines),) * 2
    with pytest.raises(DataFileError) as caught:
        build_draft(answers("Z80", "27128", others=others))
    assert any("[name-twice]" in fault for fault in caught.value.faults)
    assert any("[overlap]" in fault for fault in caught.value.faults)


def test_devices_that_the_rows_cannot_tell_apart_are_named(tmp_path):
    lines = CPUS["68000"].data_lines
    others = (Other("P1", (0x100000, 0x100001), "port", lines), Other("P2", (0x100002, 0x100003), "port", lines))
    text = build_draft(answers("68000", "27C400", others=others))
    assert "# The rows do not tell it from P2: add the lines that do." in text
    assert "# The rows do not tell it from P1: add the lines that do." in text
    board = board_of(text, tmp_path)
    study = Study(board, CPUS["68000"], board.sockets[0], require_part("27C400"))
    assert any("P1" in finding.title and "P2" in finding.title for finding in study.judge({}).findings)


def test_ports_are_decoded_by_the_lines_of_a_port_number(tmp_path):
    lines = CPUS["Z80"].data_lines
    others = tuple(Other(f"P{n}", (n, n + 3), "port", lines, "io") for n in (0x10, 0x14))
    board = board_of(build_draft(answers("Z80", "27128", others=others)), tmp_path)
    assert [row["A2"] for device in board.devices for row in device.drives] == ["L", "H"]
    assert all(set(row) <= {*expand("A0-A7"), "/IORQ", "/RD"} for device in board.devices for row in device.drives)
    assert [area.space for area in board.map] == ["memory", "io", "io"]


def holds(row, levels):
    return all(levels[name] == level for name, level in row.items())


@given(st.integers(0, 63), st.integers(0, 63), st.integers(1, 6))
def test_rows_of_a_decoder_select_what_their_lines_can_tell(one, two, count):
    """By trying every address of 6 lines."""
    span, lines = (min(one, two), max(one, two)), tuple(f"A{5 - i}" for i in range(count))
    rows, block = decode(span, lines), 1 << (6 - count)
    for address in range(64):
        levels = {f"A{i}": "H" if address >> i & 1 else "L" for i in range(6)}
        matching = sum(holds(row, levels) for row in rows)
        assert matching == (span[0] // block <= address // block <= span[1] // block)


@given(st.lists(st.integers(0, 0xFFFF), min_size=2, max_size=8, unique=True).map(sorted))
def test_a_decoder_tells_ranges_apart_with_the_fewest_lines(ends):
    spans = [(ends[i], ends[i + 1]) for i in range(0, len(ends) - 1, 2)]
    lines = decoder_lines(CPUS["Z80"], spans)
    assert lines == tuple(f"A{15 - i}" for i in range(len(lines)))

    def apart(count):
        blocks = [{a >> (16 - count) for a in (first, last)} for first, last in spans]
        return all(max(a) < min(b) for a, b in zip(blocks, blocks[1:]))

    assert apart(len(lines)) or len(lines) == 12
    assert not lines or not apart(len(lines) - 1)


@pytest.mark.parametrize("name", CPUS)
@pytest.mark.parametrize("access", ["read", "write"])
@pytest.mark.parametrize("space", ["memory", "io"])
def test_rows_of_a_cpu_hold_in_their_cycles_and_in_no_other_that_can_be_told_apart(name, access, space):
    cpu = CPUS[name]
    rows = cycle_rows(cpu, access, space, cpu.data_lines)
    for cycle in cpu.cycles:
        free = [signal for signal in cpu.controls if signal not in cycle.levels]
        shown = any(row.items() <= cycle.levels.items() for row in rows)
        if (cycle.access, cycle.space) == (access, space) and not cycle.is_early:
            assert shown, cycle.name
        elif not free:
            assert not shown, cycle.name


def test_strobes_as_on_real_boards():
    """The Z80's /MREQ with /RD; a 6502's strobe in the high half of PHI2; the 68000's upper half by /UDS."""
    rows = {name: cycle_rows(CPUS[name], "read", "memory", CPUS[name].data_lines) for name in CPUS}
    assert rows["Z80"] == [{"/MREQ": "L", "/RD": "L"}] and rows["8080"] == [{"/MEMR": "L"}]
    assert rows["6502"] == [{"R/W": "H", "PHI2": "H"}] and rows["8088"] == [{"IO//M": "L", "/RD": "L"}]
    upper = expand("D8-D15")
    assert cycle_rows(CPUS["68000"], "read", "memory", upper) == [{"/UDS": "L", "R/W": "H"}]
    assert cycle_rows(CPUS["68000"], "write", "memory", upper) == [{"/UDS": "L", "R/W": "L"}]
