"""What the tool must say about chips that are simply plugged in.

Where an expected value comes from is named beside it; "trade" is common practice without a source.
"""

import re
from itertools import product

import pytest
from msgspec.structs import replace

from romwright.findings import Severity
from romwright.fit.verdict import examine_fit
from romwright.fit.wiring import plan_wiring
from romwright.parts.library import require_part

ALL_LOW = {20: "L", 22: "L", 27: "L"}


def examine(socket, chip, polarity=None, chip_polarity=None):
    return examine_fit(require_part(socket), require_part(chip), polarity, chip_polarity)


def said(verdict, code):
    return [finding for finding in verdict.findings if finding.code.name == code]


def one(verdict, code):
    found = said(verdict, code)
    assert len(found) == 1, found
    return found[0]


def codes(verdict):
    """The codes of all findings but those about access times, which have tests of their own below."""
    return {finding.code.name for finding in verdict.findings} - {"slower", "access-time-unknown"}


def worst(verdict):
    return verdict.findings[0].severity if verdict.findings else None


# --- the select on pin 27 -------------------------------------------------------------------------------------


@pytest.mark.parametrize("chip", ["27128", "27C128", "27256", "27C256", "27128A"])
def test_eprom_in_a_socket_that_selects_on_pin_27_is_never_off_the_bus(chip):
    """Trade: an EPROM takes its select on pin 20; facts/mask-roms.toml, key finding and style A's last trap."""
    verdict = examine("rom-23128-style-b", chip, ALL_LOW)
    finding = one(verdict, "drives-unselected")
    assert finding.severity is Severity.FAULT
    assert finding.title == "the EPROM drives the bus during every memory read, whether selected or not"
    assert f"the {chip} takes its select on pin 20 (common practice, no source)" in finding.evidence
    assert "drives at pin 20 L, pin 22 L, whatever the level of socket pin 27" in finding.evidence
    assert (
        f"socket pin 27 (CS), where the {chip} has {require_part(chip).pins[26].name}, which does not gate"
        in finding.evidence
    )
    assert "AND" in finding.evidence and "reads of RAM come back wrong" in finding.evidence
    assert "links for a ROM that selects on pin 20" in finding.remedy and "wire it to socket pin 27" in finding.remedy


def test_the_same_chip_in_a_style_a_socket_is_off_the_bus():
    verdict = examine("rom-23128-style-a", "27128", ALL_LOW)
    assert "drives-unselected" not in codes(verdict)


def test_a_program_strobe_on_the_select_is_low_in_every_read():
    finding = one(examine("rom-23128-style-b", "27128", ALL_LOW), "read-level")
    assert "/PGM (chip pin 27) is low while the chip is read" in finding.title


@pytest.mark.parametrize("polarity", [ALL_LOW, None], ids=["stated", "every polarity"])
def test_28c256_there_is_a_stop_because_pin_27_is_we(polarity):
    """Atmel AT28C256, 0006M: a byte write needs /CE low, /WE low, /OE high."""
    verdict = examine("rom-23128-style-b", "28C256", polarity)
    finding = one(verdict, "write-strobe")
    assert finding.severity is Severity.STOP and verdict.findings[0] == finding
    assert finding.title == "pin 27 of the chip is /WE"
    assert "a select strobe there writes the chip when pin 20 L, pin 22 H, pin 27 L" in finding.evidence
    assert "Only if" not in finding.evidence


def test_an_address_line_on_we_is_a_stop_too():
    finding = one(examine("rom-23256-a14-pin27", "28C256", {20: "L", 22: "L"}), "write-strobe")
    assert finding.severity is Severity.STOP and "A14" in finding.evidence


@pytest.mark.parametrize("polarity, follows", [(ALL_LOW, "CS"), ({20: "L", 22: "L", 27: "H"}, "CS")])
def test_27256_where_pin_27_is_a_select(polarity, follows):
    finding = one(examine("rom-23128-style-b", "27256", polarity), "address-on-signal")
    assert finding.severity is Severity.FAULT and finding.title == f"A14 of the chip follows {follows}"


def test_27256_where_pin_27_is_an_address_is_right():
    verdict = examine("rom-23256-a14-pin27", "27256", {20: "L", 22: "L"})
    assert codes(verdict) == {"read-level-unknown"}
    assert worst(verdict) is Severity.CAUTION


# --- lost enables and drop-ins ------------------------------------------------------------------------------


def test_style_a_loses_its_third_enable_on_a_27128():
    verdict = examine("rom-23128-style-a", "27128", ALL_LOW)
    finding = one(verdict, "enable-lost")
    assert finding.severity is Severity.CAUTION and "pin 27" in finding.title
    assert verdict.as_json()["drive"]["differs_at"] == [
        {"levels": {"20 CS": "L", "22 OE0": "L", "27 OE1": "H"}, "original": "off", "fitted": "drives"}
    ]


@pytest.mark.parametrize("socket, chip, polarity", [
    ("27256", "27C256", None), ("27C256", "27256", None), ("rom-23512", "27512", {20: "L", 22: "L"}),
    ("rom-23512", "27C512", {20: "L", 22: "L"}), ("27512", "27C512", None), ("2764", "27C64", None),
])  # fmt: skip
def test_drop_ins_give_no_finding(socket, chip, polarity):
    verdict = examine(socket, chip, polarity)
    assert codes(verdict) == set()
    assert verdict.fits[0].drive.equal and verdict.fits[0].proof.equal
    assert all(row.how == "straight" for row in verdict.fits[0].plan.rows)


def test_style_c_with_27_high_takes_a_27128_as_it_is():
    """facts/mask-roms.toml, style C: pin for pin where the board has pins 1 and 27 at +5 V."""
    verdict = examine("rom-23128-style-c", "27128", {27: "H"})
    assert worst(verdict) is Severity.CAUTION
    assert codes(verdict) == {"read-level-unknown", "enable-lost"}
    lost = one(verdict, "enable-lost")
    assert "leave the gate out then (--prefer no-gates)" in lost.remedy
    assert (
        "Exact with a gate: X1 is a 74LS00, VCC on pin 14, GND on pin 7; the chip then answers up to 30 ns later"
        in lost.evidence
    )
    assert verdict.fits[0].plan.wired.equal and verdict.fits[0].proof.drive_equal
    assert not verdict.fits[0].spare.gates and verdict.fits[0].spare.wired.ignores("27 CS")


def test_style_c_without_a_select_on_27_is_exact():
    verdict = examine("rom-23128-style-c", "27128", {27: "NC"})
    assert codes(verdict) == {"read-level-unknown"}  # pins 1 and 27 of the original are not connected
    assert [f.title.split(" (")[0] for f in said(verdict, "read-level-unknown")] == ["VPP", "/PGM"]
    assert any("hold pin 27 at +5 V" in trap for trap in verdict.original.traps)
    assert verdict.fits[0].drive.equal


# --- polarity -----------------------------------------------------------------------------------------------


def test_a_select_that_is_active_high_goes_through_an_inverter():
    verdict = examine("rom-2364-24", "27C64", {20: "H"})
    finding = one(verdict, "gate-needed")
    assert finding.severity is Severity.FAULT and "wiring alone is not enough" in finding.title
    assert finding.evidence.startswith("chip pin 20 (/CE) to pin 2 of X1 (L while socket 20 is H). X1 is a 74LS04")
    row = next(row for row in verdict.fits[0].plan.rows if row.function == "/CE")
    assert (row.how, row.wire_to, row.inverted, row.gate) == ("bend up and wire to a gate", 20, True, "X1.2")
    assert row.detail.startswith("to pin 2 of X1 (L while socket 20 is H)")
    (gate,) = verdict.fits[0].plan.gates
    assert (gate.part, [tap.position for tap in gate.taps], gate.output) == ("74LS04", [20], 2)
    assert verdict.fits[0].plan.wired.equal and verdict.fits[0].proof.drive_equal


def test_an_inverted_select_stays_at_its_own_pin():
    """Before, the plan dropped this select and gave /CE another enable, and its proof read every address."""
    fit = examine("rom-23128-style-a", "27128", {20: "H", 22: "L", 27: "L"}).fits[0]
    row = next(row for row in fit.plan.rows if row.socket == 20)
    assert row.how == "bend up and wire to a gate" and not fit.plan.wired.ignores("20 CS")
    assert row.detail.startswith("to pin 6 of X1 (L while socket 20 is H and socket 27 is L)")
    assert fit.plan.wired.fitted.words == "pin 20 H, pin 22 L, pin 27 L" and fit.plan.wired.equal


def test_two_enables_of_the_wrong_polarity_share_one_gate():
    """20 and 22 active high, the select on 27 active low: one NAND, and the select goes to /CE by wire."""
    verdict = examine("rom-23128-style-b", "27128", {20: "H", 22: "H", 27: "L"})
    rows = {row.chip: row for row in verdict.fits[0].plan.rows}
    assert (rows[20].how, rows[20].wire_to) == ("bend up and wire", 27)
    assert rows[22].detail.startswith("to pin 3 of X1 (L while socket 20 is H and socket 22 is H)")
    finding = one(verdict, "wired-enable-lost")
    assert finding.title == "lost without a gate: socket pin 20 (OE, active H) and pin 22 (OD, active H)"
    assert "Exact with a gate: X1 is a 74LS00" in finding.evidence
    assert "gate-needed" not in codes(verdict)  # wires alone heed the select


def test_the_delay_is_that_of_the_slowest_way_through_the_gates():
    """Two sections of a 74LS00 in a row, 15 ns each (Fairchild DS006439); no gate, no delay."""
    assert examine("rom-23128-style-b", "27128", {20: "L", 22: "L", 27: "H"}).fits[0].plan.delay_ns == 30
    assert examine("2764", "27C64").fits[0].plan.delay_ns == 0


def test_a_write_pin_is_no_enable_of_the_wrong_polarity():
    assert "polarity" not in codes(examine("rom-23128-style-b", "28C256", ALL_LOW))


def test_an_opposite_polarity_is_a_fault():
    finding = one(examine("rom-23256-a14-pin27", "27256", {20: "H", 22: "L"}), "polarity")
    assert "/CE (chip pin 20)" in finding.title and finding.severity is Severity.FAULT


def test_an_unstated_polarity_is_reported_for_each():
    verdict = examine("rom-23256-a14-pin27", "27256")
    data = verdict.as_json()
    assert data["assumed"] == data["drive"]["assumed"] == {"20": "L", "22": "L"}
    assert [case["assumed"] for case in data["polarities"]] == [
        {"20": a, "22": b} for a in "LH" for b in ("L", "H", "NC")
    ]
    assert [case["drive"]["equal"] for case in data["polarities"]] == [True] + 5 * [False]
    assert all(case["findings"] for case in data["polarities"])
    turned = [f for f in data["findings"] if f["code"] == "polarity" and "/CE" in f["title"]]
    assert turned[0]["holds_for"] == [{"20": "H", "22": b} for b in ("L", "H", "NC")]
    assert turned[0]["evidence"].endswith("Only if ordered with 20=H")
    always = [f for f in data["findings"] if f["code"] == "read-level-unknown" and "VPP" in f["title"]]
    assert "holds_for" not in always[0]


def test_a_stated_polarity_leaves_one_case():
    data = examine("rom-23256-a14-pin27", "27256", {20: "L", 22: "L"}).as_json()
    assert "polarities" not in data and data["assumed"] == {} and data["polarity"] == {"20": "L", "22": "L"}


# --- supplies, VPP, sizes -------------------------------------------------------------------------------------


def test_pins_free_in_read_raise_no_fault():
    """ST M27C1001, June 2002, Table 3: VPP and /PGM may be at either level in read; a 27C020 needs them high."""
    socket = {22: "L", 24: "L"}
    free, bound = (said(examine("rom-4m-32-jedec", chip, socket), "read-level") for chip in ("27C010", "27C020"))
    assert free == [] and "/PGM (chip pin 31) is low while the chip is read" in one_of(bound).title
    floating = said(examine("rom-1m-32-jedec", "27C010", socket), "read-level-unknown")
    assert [f.title.split(", and")[0] for f in floating] == [
        "VPP (chip pin 1) must not float", "/PGM (chip pin 31) must not float",
    ]  # fmt: skip


def one_of(findings):
    (finding,) = findings
    return finding


def test_a_select_of_the_other_polarity_is_not_wired_without_its_inverter():
    finding = one(examine("rom-23128-style-b", "27128", {20: "L", 22: "L", 27: "H"}), "drives-unselected")
    assert "wire it to socket pin 27 through a gate (X1)" in finding.remedy
    inverted = one(examine("rom-23128-style-b", "27128", {20: "H", 22: "H", 27: "H"}), "drives-unselected")
    assert "wire it to socket pin 27 through" in inverted.remedy


def test_three_supply_socket_is_a_stop_for_a_2716():
    """facts/programmable-parts.toml, 2708: pin 19 is +12 V and pin 21 is -5 V, A10 and VPP of a 2716."""
    verdict = examine("2708", "2716")
    assert [(f.severity, f.title) for f in said(verdict, "rail-on-pin")] == [
        (Severity.STOP, "+12 V on A10"), (Severity.STOP, "-5 V on VPP"),
    ]  # fmt: skip


def test_three_supply_chip_without_its_supplies_is_a_stop():
    verdict = examine("2716", "2708")
    assert {f.title for f in said(verdict, "supply-pin")} == {
        "VDD of the chip (12 V) does not meet its rail", "VBB of the chip (-5 V) does not meet its rail",
    }  # fmt: skip
    assert not verdict.fits[0].proof.equal


def test_a_chip_that_overhangs_has_no_supply():
    finding = one(examine("rom-2364-24", "2764", {20: "L"}), "supply-pin")
    assert finding.severity is Severity.STOP and "outside the socket" in finding.evidence


def test_turned_supplies_are_a_stop():
    """A 24-pin chip sits at 3 to 26 of a 28-pin site, so its VCC meets A13 there."""
    finding = one(examine("27128", "2716"), "supply-pin")
    assert "VCC of the chip on A13" in finding.evidence and finding.severity is Severity.STOP


def test_a_chip_with_its_supplies_exchanged_is_a_stop():
    chip = require_part("27256")
    turned = replace(chip, left=chip.left.replace("GND", "VCC"), right=chip.right.replace("VCC", "GND"))
    verdict = examine_fit(chip, turned)
    assert [f.evidence for f in said(verdict, "supply-pin")] == [
        "pin 14: VCC of the chip on GND", "pin 28: GND of the chip on VCC (+5 V)",
    ]  # fmt: skip


def test_vpp_in_a_mask_rom_socket_must_be_tied():
    finding = one(examine("rom-23128-style-a", "27128", ALL_LOW), "read-level-unknown")
    assert "tie it to VCC" in finding.remedy


def test_vpp_on_an_address_line():
    """facts/programmable-parts.toml, 27256: pin 1 is VPP here and A15 on a 27512."""
    verdict = examine("27512", "27256")
    assert one(verdict, "read-level").severity is Severity.FAULT
    assert one(verdict, "size").severity is Severity.FAULT


def test_a_27512_in_a_27256_socket_shows_its_upper_half():
    """facts/programmable-parts.toml, 27512: in a 27256 socket pin 1 is at +5 V and only the upper 32K shows."""
    verdict = examine("27256", "27512")
    assert codes(verdict) == {"part-shown"} and "8000-FFFF" in one(verdict, "part-shown").title


def test_status_output_on_the_vpp_rail():
    """facts/programmable-parts.toml, 28C64: a 2764 socket ties pin 1 to VCC."""
    verdict = examine("2764", "28C64")
    assert codes(verdict) == {"status-pin", "write-pin-held"} and worst(verdict) is Severity.STOP
    assert one(verdict, "write-pin-held").severity is Severity.STOP  # /PGM of a 2764 need not be H while power comes up
    assert [row.how for row in verdict.fits[0].plan.rows if row.socket in (1, 27)] == ["leave open", "tie to VCC"]


def test_status_output_is_a_stop_where_the_chip_can_be_written():
    verdict = examine("27C512", "28C64")
    assert one(verdict, "status-pin-driven").severity is Severity.STOP


def test_2732_in_a_2532_socket():
    """facts/programmable-parts.toml, 2532: a 2732 in its socket has its /CE on A11."""
    finding = one(examine("2532", "2732"), "never-answers")
    assert "/CE of the chip on A11" in finding.evidence


def test_open_collector_outputs_are_noticed():
    assert one(examine("prom-82s23", "2716"), "output-kind").severity is Severity.CAUTION


def test_other_row_pitch_cannot_be_plugged_in():
    """What the pins would meet is then no question: the carrier is said once, and every pin is wired."""
    verdict = examine("prom-82s23", "2716")
    assert one(verdict, "row-pitch").severity is Severity.FAULT and "on a carrier" in one(verdict, "row-pitch").evidence
    assert codes(verdict) == {"row-pitch", "output-kind"} and verdict.fits[0].proof.equal
    assert all("bend" not in row.detail and "None" not in row.detail for row in verdict.fits[0].plan.rows)
    assert (
        next(r for r in verdict.fits[0].plan.rows if r.chip == 24).detail
        == "wire to VCC at socket 16; the chip's supply"
    )


def test_width():
    verdict = examine("27C400", "28C256")
    assert one(verdict, "width") and one(verdict, "size") and said(verdict, "data-pin-driven")


# --- the wiring table -------------------------------------------------------------------------------------------


def test_table_for_a_28c256_in_the_pin_27_socket():
    rows = {row.socket: row for row in examine("rom-23128-style-b", "28C256", ALL_LOW).fits[0].plan.rows}
    assert len(rows) == 28
    assert {n: str(row.how) for n, row in rows.items() if row.how != "straight"} == {
        1: "tie to GND", 20: "bend up and wire to a gate", 27: "tie to VCC",
    }  # fmt: skip
    assert (rows[20].function, rows[20].gate) == ("/CE", "X1.3")
    assert rows[20].detail == (
        "to pin 3 of X1 (L while socket 20 is L and socket 27 is L); the socket position goes to X1"
    )
    assert rows[27].detail == "bend up, to VCC at socket 28; never writes; the socket position goes to X1"


@pytest.mark.parametrize("socket, chip, polarity, position, goes_to", [
    ("rom-23128-style-b", "27128", ALL_LOW, 28, "chip pin 1 and 27"),
    ("rom-23128-style-b", "27128", ALL_LOW, 20, "X1"),
    ("rom-2364-24", "2764", {20: "L"}, 24, "chip pin 1, 27 and 28"),
])  # fmt: skip
def test_where_a_position_goes_is_listed(socket, chip, polarity, position, goes_to):
    rows = {row.socket: row for row in examine(socket, chip, polarity).fits[0].plan.rows}
    assert rows[position].detail.endswith(f"the socket position goes to {goes_to}")


def test_the_same_table_without_a_gate():
    """--prefer no-gates: the select alone goes to /CE, as boards with links for it have it."""
    stated = require_part("rom-23128-style-b").ordered_as(ALL_LOW)
    plan = plan_wiring(stated, require_part("28C256"), ("no-gates",))
    rows = {row.socket: row for row in plan.rows}
    assert {n: str(row.how) for n, row in rows.items() if row.how != "straight"} == {
        1: "tie to GND", 20: "bend up and wire", 27: "tie to VCC",
    }  # fmt: skip
    assert (rows[20].function, rows[20].wire_to, rows[20].detail) == ("/CE", 27, "to socket 27 (CS)")
    assert rows[27].detail == "bend up, to VCC at socket 28; never writes; the socket position goes to chip pin 20"
    assert plan.gates == () and plan.heeds and not plan.wired.equal


def test_table_for_a_28_pin_chip_in_a_24_pin_socket():
    """facts/mask-roms.toml, 2364: A11 to chip 23, select to chip 20 or 22, A12 to chip 2, VCC to chip 28.

    The select meets /OE as the chip sits, so the other enable is tied: two points where a wire costs three.
    """
    rows = {row.chip: row for row in examine("rom-2364-24", "28C64", {20: "L"}).fits[0].plan.rows}
    assert (rows[23].wire_to, rows[2].wire_to) == (18, 21)
    assert (rows[22].socket, rows[22].how) == (20, "straight")
    assert (rows[20].how, rows[20].detail.split("; ")[1]) == ("tie to GND", "always enabled")
    assert [rows[n].how for n in (27, 28, 1)] == ["tie to VCC", "tie to VCC", "leave open"]
    assert rows[1].socket is rows[2].socket is rows[27].socket is None


def test_every_way_is_one_of_six_and_every_pin_has_a_row():
    from romwright.parts.library import part_names

    hows = {"straight", "bend up and wire", "bend up and wire to a gate", "tie to VCC", "tie to GND", "leave open"}
    chips = [require_part(name) for name in ("27128", "28C64", "2716", "2708", "27C400")]
    sockets = [require_part(name) for name in part_names() if name != "rom-6540"]  # its page has no drive row
    for socket, chip in product(sockets, chips):
        plan = plan_wiring(socket.ordered_as(socket.polarities({})[0]), chip)
        assert {row.how for row in plan.rows} <= hows
        assert sorted(row.chip for row in plan.rows if row.chip) == [pin.number for pin in chip.pins]
        assert [row.socket for row in plan.rows if row.socket] == [pin.number for pin in socket.pins]
        gates = {gate.name: gate for gate in plan.gates}
        for row in plan.rows:
            wired = row.how == "bend up and wire" or row.inverted
            assert wired == (row.wire_to is not None)
            assert (row.how == "bend up and wire to a gate") == (row.gate in gates)
            assert row.inverted == (row.gate in gates and gates[row.gate].kind == "inverter")


# --- pins outside the socket ------------------------------------------------------------------------------------


def test_pins_outside_the_socket_are_not_connected():
    verdict = examine("rom-2364-24", "2764", {20: "L"})
    finding = one(verdict, "address-line")
    assert finding.title == "A11, A12 of the chip do not meet their address lines"
    assert "chip pin 2 (A12), outside the socket" in finding.evidence
    assert verdict.seating.endswith("chip pin 3 in position 1; chip pins 1, 2, 27 and 28 outside")
    rows = {row.chip: row for row in verdict.fits[0].plan.rows if row.socket is None}
    assert rows[2].detail == "wire to socket 21 (A12); outside the socket"
    assert rows[28].detail == "wire to VCC at socket 24; the chip's supply; outside the socket"


def test_a_24_pin_chip_in_28_positions():
    verdict = examine("2764", "2716")
    assert verdict.seating.endswith("chip pin 1 in position 3; positions 1, 2, 27 and 28 stay empty")
    assert [r.detail for r in verdict.fits[0].plan.rows if r.socket == 2] == ["no chip pin sits here"]
    assert verdict.fits[0].plan.wired.equal


def test_an_enable_stays_on_a_level_that_the_socket_holds():
    """2708: pin 18, PGM, is at GND in read; a 2716 has /CE there."""
    rows = {row.socket: row for row in examine("2708", "2716").fits[0].plan.rows}
    assert (rows[18].function, rows[18].how) == ("/CE|PGM", "straight")
    assert rows[19].detail.endswith("this position carries +12 V")
    assert rows[21].detail.endswith("this position carries -5 V")


def test_a_supply_that_the_socket_lacks_comes_from_elsewhere():
    rows = {row.socket: row for row in examine("2716", "2708").fits[0].plan.rows}
    assert (rows[19].how, rows[19].detail.split(";")[0]) == (
        "leave open", "the socket has no +12 V: bring it from elsewhere",
    )  # fmt: skip


# --- several polarities in one answer ---------------------------------------------------------------------------


@pytest.mark.parametrize("socket, chip", [("rom-23128-style-a", "27128"), ("rom-23128-style-b", "27256")])
def test_merged_evidence_is_true_for_each_polarity(socket, chip):
    """Each sentence stands once, with the polarities for which it holds where these are not all of the finding."""
    verdict = examine(socket, chip)
    for fit in verdict.fits:
        for own in fit.findings:
            merged = next(f for f in verdict.findings if (f.title, f.remedy) == (own.title, own.remedy))
            for sentence in own.evidence.split(". "):
                (said,) = [part for part in merged.evidence.split(". ") if part.startswith(sentence)]
                cases = re.search(r"\(if ordered with (.*)\)$", said.removeprefix(sentence))
                assert not cases or fit.case in cases_in(cases[1], verdict.fits)


def cases_in(text, fits):
    """The cases that words such as `20=L, 27=H` (both) or `20=L,27=H or 20=H,27=L` (either) name."""
    if re.search(r"=\w+,\d", text):
        return [dict(pair.split("=") for pair in case.split(",")) for case in text.split(" or ")]
    asked = {pin: values.split(" or ") for pin, values in (pair.split("=") for pair in text.split(", "))}
    return [fit.case for fit in fits if all(fit.case[pin] in values for pin, values in asked.items())]


def test_merged_evidence_names_its_cases():
    finding = next(f for f in examine("rom-23128-style-b", "27256", {20: "H"}).findings if f.code.name == "gate-needed")
    package = "X1 is a 74LS00, VCC on pin 14, GND on pin 7; the chip then answers up to 15 ns later"
    assert finding.evidence == (
        "chip pin 20 (/CE) to pin 3 of X1 (L while socket 20 is H and socket 27 is H) "
        "(if ordered with 22=L, 27=H). "
        "chip pin 20 (/CE) to pin 3 of X1 (L while socket 27 is H); "
        "chip pin 22 (/OE) to pin 6 of X1 (L while socket 20 is H and socket 22 is H) (if ordered with 22=H, 27=H). "
        f"{package}. Only if ordered with 27=H"
    )


def test_nothing_is_assumed_silently_about_style_c():
    """Boards of style C hold pin 27 at +5 V, so that choice comes first; facts/mask-roms.toml, key finding."""
    verdict = examine("rom-23128-style-c", "27128")
    assert verdict.assumed == {"27": "H"}
    assert worst_of(verdict.fits[0]) is Severity.CAUTION
    assert [worst_of(fit) for fit in verdict.fits] == [Severity.CAUTION, Severity.FAULT, Severity.CAUTION]


def worst_of(fit):
    return fit.findings[0].severity


# --- a plan makes nothing worse -----------------------------------------------------------------------------------


def test_what_is_exact_when_plugged_in_stays_straight():
    fit = examine("28C256", "rom-23256-a14-pin1", None, {20: "L", 22: "L", 27: "H"}).fits[0]
    assert fit.drive.equal and fit.plan.wired.equal and fit.proof.drive_equal
    assert all(row.how == "straight" for row in fit.plan.rows)


def test_a_difference_after_wiring_is_always_said():
    """28C64 with a style A ROM in it: /WE low takes the EEPROM off the bus, and the ROM has no such pin.

    An inverter at one of its enables makes it exact; where the board never writes, that inverter is for nothing.
    """
    verdict = examine("28C64", "rom-23128-style-a", None, ALL_LOW)
    fit, finding = verdict.fits[0], one(verdict, "cannot-be-written")
    assert fit.plan.gates and fit.plan.wired.equal and not fit.spare.wired.equal
    off = "Without the gate rom-23128-style-a drives the bus at pin 20 L, pin 22 L, pin 27 L, where 28C64 is off"
    assert off in finding.evidence and "never writes it, and then without the gate" in finding.remedy


# --- access times ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize("socket, chip, said_so", [
    # Signetics 82S123 page: 50 ns; 2716: 350 ns (2716-1) and 450 ns, both as their pages quote them
    ("prom-82s123", "2716", "slower than the original: 350-450 ns against 50 ns"),
    ("62256", "28C256", "slower than the original: 150-350 ns against 70 ns"),
    ("27256", "27C256", None), ("27C256", "27256", None),  # grades that overlap: one can be chosen
])  # fmt: skip
def test_a_chip_whose_fastest_grade_is_too_slow(socket, chip, said_so):
    verdict = examine(socket, chip)
    assert [finding.title for finding in said(verdict, "slower")] == ([said_so] if said_so else [])
    assert all(finding.severity is Severity.CAUTION for finding in said(verdict, "slower"))
    assert not said(verdict, "access-time-unknown")


def test_equal_access_times_are_no_finding():
    """At the border: the fastest grade of the chip is just the slowest of the original."""
    fast, part = require_part("27256"), require_part("27512")
    assert one(examine_fit(fast, part), "slower").title.endswith("200 ns against 170 ns")
    border = replace(fast, times=replace(fast.times, access_ns=(150, 200)))
    assert not said(examine_fit(border, part), "slower")


def test_unread_access_times_are_loud():
    part = replace(require_part("2716"), unchecked=("times.access_ns: from memory",))
    (finding,) = said(examine_fit(require_part("prom-82s123"), part), "slower")
    assert "350-450 ns (UNCHECKED) against 50 ns" in finding.title


def test_times_that_no_page_has_are_a_note():
    bare = replace(require_part("27256"), name="bare", times=None)
    finding = one(examine_fit(bare, require_part("27512")), "access-time-unknown")
    assert finding.severity is Severity.NOTE and finding.evidence == "the page of bare has none"
    assert not said(examine_fit(bare, bare), "access-time-unknown")
