"""The plan file: any plan comes back equal; what was edited well survives; every malformed edit is named."""

import copy
import json

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from plans import PARTS, hardest, plan_of, plans

from romwright.datafiles import data_folder
from romwright.errors import PlanFileError, RomwrightError
from romwright.fit.planfile import build_plan, digest, parse_plan
from romwright.fit.proof import read_every_address
from romwright.fit.rows import How
from romwright.parts.library import read_part


def pages_of(plan):
    return PARTS[plan.original.name], PARTS[plan.chip.name]


def written(plan):
    return build_plan(plan, *pages_of(plan))


def read(data):
    return parse_plan(data, "a.plan", PARTS.__getitem__)


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(plans())
def test_any_plan_comes_back_equal(plan):
    data = written(plan)
    again = read(data)
    assert again == plan
    assert again.nets == plan.nets and again.image_at == plan.image_at
    assert written(again) == data


GATED = plan_of("rom-2364-24", "27C64", ((20, "H"),))  # an inverter, wires, ties, two pins more on each side
BASE = json.loads(written(GATED))


def edited(change):
    record = copy.deepcopy(BASE)
    change(record)
    return json.dumps(record).encode()


def row(record, chip):
    return next(row for row in record["rows"] if row["chip"] == chip)


def test_the_file_names_format_version_parts_and_polarity():
    assert (BASE["format"], BASE["version"]) == ("romwright plan", 1)
    assert BASE["socket"]["part"] == "rom-2364-24" and BASE["socket"]["polarity"] == {"20": "H"}
    assert BASE["chip"] == {"part": "27C64", "polarity": {}, "sha256": digest(PARTS["27C64"])}
    assert [gate["name"] for gate in BASE["gates"]] == ["X1.2"]


def test_a_row_edited_by_hand_survives_and_the_proof_judges_it():
    def exchange(record):
        a, b = row(record, 2), row(record, 23)  # A12 and A11
        a["wire_to"], b["wire_to"] = b["wire_to"], a["wire_to"]

    plan = read(edited(exchange))
    assert {r.chip: r.wire_to for r in plan.rows if r.how is How.WIRE} == {2: 18, 23: 21}
    proof = read_every_address(plan.original, plan.chip, plan.rows, plan.image_at, plan.gates)
    assert not proof.equal


def test_a_tie_turned_by_hand_survives():
    plan = read(edited(lambda record: row(record, 22).update(how="tie to VCC")))
    assert next(r.how for r in plan.rows if r.chip == 22) is How.VCC


def drop(record, chip):
    record["rows"].remove(row(record, chip))


def twice(record, chip):
    record["rows"].append(dict(row(record, chip)))


BAD = {
    "an unknown key": (lambda r: r.update(note="x"), "note: unknown key"),
    "a slip in a key": (lambda r: row(r, 2).update(wire_too=3), "rows[26].wire_too: unknown key; did you mean wire_to"),
    "a missing key": (lambda r: r.pop("rows"), "rows: missing"),
    "a word for a number": (lambda r: row(r, 2).update(wire_to="21"), "rows[26].wire_to: '21', expected a whole number"),
    "a number for a word": (lambda r: row(r, 2).update(how=1), "rows[26].how:"),
    "a truth for a number": (lambda r: row(r, 2).update(wire_to=True), "rows[26].wire_to:"),
    "an unknown way": (lambda r: row(r, 2).update(how="glue"), "rows[26].how:"),
    "an unknown key in a tap": (lambda r: r["gates"][0]["taps"][0].update(pins=1), "taps[1].pins: unknown key"),
    "another format": (lambda r: r.update(format="a plan"), "this is no plan file"),
    "a later version": (lambda r: r.update(version=2), "version: 2; this romwright reads version 1"),
    "an unknown preference": (lambda r: r.update(prefer=["cheap"]), "prefer: there is no preference named 'cheap'"),
    "a position outside the socket": (lambda r: row(r, 2).update(wire_to=25), "there is no socket position 25"),
    "position 0": (lambda r: row(r, 2).update(wire_to=0), "rows[26].wire_to: there is no socket position 0"),
    "a gate that is not there": (lambda r: row(r, 20).update(gate="X1.4"), "there is no gate X1.4 in this plan"),
    "no gate at all": (lambda r: r.update(gates=[]), "there is no gate X1.2 in this plan"),
    "a chip pin missing": (lambda r: drop(r, 28), "rows: chip pin 28 stands in no row"),
    "a chip pin twice": (lambda r: twice(r, 28), "rows: chip pin 28 stands in 2 rows"),
    "a position missing": (lambda r: drop(r, 5), "rows: socket position 3 stands in no row"),
    "a position twice": (lambda r: twice(r, 5), "rows: socket position 3 stands in 2 rows"),
    "a pin that is not there": (lambda r: row(r, 28).update(chip=29), "rows: there is no chip pin 29"),
    "a row of nothing": (lambda r: r["rows"].append({**row(r, 28), "chip": None}), "neither a socket position"),
    "a pin where it does not sit": (lambda r: row(r, 28).update(socket=1), "chip pin 28 sits outside"),
    "a name that is not the pin's": (lambda r: row(r, 28).update(function="A9"), "'A9', but chip pin 28 is VCC"),
    "a signal that is not there": (lambda r: row(r, 5).update(signal="A9"), "'A9', but socket position 3 is A5"),
    "a wire to nowhere": (lambda r: row(r, 2).update(wire_to=None), "rows[26].wire_to: missing"),
    "a tie with a wire": (lambda r: row(r, 28).update(wire_to=4), "rows[28].wire_to: has no meaning"),
    "straight from outside": (lambda r: row(r, 28).update(how="straight"), "chip pin 28 is outside the socket"),
    "a pin of no gate": (lambda r: r["gates"][0]["taps"][0].update(pin=2), "are no gate of a 74LS04"),
    "an input fed twice": (lambda r: r["gates"][0]["taps"][0].update(level="H"), "expected one of position"),
    "an input fed by nothing": (lambda r: r["gates"][0]["taps"][0].update(position=None), "expected one of position"),
    "a gate fed by itself": (
        lambda r: r["gates"][0]["taps"][0].update(position=None, gate="X1.2"), "no gate X1.2 stands before this one"),
    "an input at no position": (lambda r: r["gates"][0]["taps"][0].update(position=99), "no socket position 99"),
    "another package": (lambda r: r["gates"][0].update(part="74LS00"), "a gate of kind 'inverter' is in '74LS04'"),
    "an unknown gate": (lambda r: r["gates"][0].update(kind="xor"), "there is no gate 'xor'"),
    "a gate of another name": (lambda r: r["gates"][0].update(name="X2.2"), "is not the package and its output pin"),
    "a gate twice": (lambda r: r["gates"].append(r["gates"][0]), "X1.2 stands twice"),
    "a delay below nothing": (lambda r: r["gates"][0].update(delay_ns=-1), "delay_ns: -1 is less than nothing"),
    "a point that is not there": (
        lambda r: row(r, 2).update(how="bend up and wire to the board", point="U5 pin 6", wire_to=None),
        "rows[26].point: the board has no point 'U5 pin 6'"),
    "an input at no point": (
        lambda r: r["gates"][0]["taps"][0].update(position=None, point="U5"), "taps[1].point: the board has no point"),
    "a level of nothing": (lambda r: r["beyond"].update(idle=[{"CS9": "H"}]), "beyond: only the socket of a board"),
    "a list for a table": (lambda r: r.update(beyond=[]), "Expected `object`, got `array`"),
    "an unknown key beyond": (lambda r: r["beyond"].update(point=[]), "beyond.point: unknown key"),
    "a polarity that is open": (lambda r: r["socket"]["polarity"].clear(), "socket.polarity.20: missing, not L or H"),
    "a polarity of no pin": (lambda r: r["chip"]["polarity"].update({"20": "L"}), "27C64 has no choice there"),
    "a page that has changed": (lambda r: r["chip"].update(sha256="0" * 64), "the page of 27C64 has changed since"),
}  # fmt: skip


@pytest.mark.parametrize("name", BAD)
def test_a_malformed_plan_is_refused_with_the_place(name):
    change, said = BAD[name]
    with pytest.raises(PlanFileError) as caught:
        read(edited(change))
    assert any(said in fault for fault in caught.value.faults), caught.value.faults
    assert caught.value.where == "a.plan" and caught.value.help


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "not JSON"),
        (b"[]", "not a JSON object"),
        (b"\xff{}", "not UTF-8 text: byte FF at 0"),
        (b'{"format": "romwright plan",\n "version" 1}', "line 2, column 12"),
        (b'{"format": "a", "format": "romwright plan"}', "format: the key stands twice"),
        (b'{"format": NaN}', "NaN is no JSON number"),
        (b"[" * 100_000, "nested too deep"),
        (b'{"version": ' + b"1" * 5000 + b"}", "a number is too long"),
        (b" " * (1 << 21), "a plan file has at most"),
    ],
)
def test_what_is_no_plan_file_is_refused(data, said):
    with pytest.raises(PlanFileError, match=said):
        read(data)


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_whatever_is_changed_the_file_is_read_or_refused_in_words(data):
    """Any value of the file replaced by any other: an equal or another plan, or one of our errors."""
    record, spots = copy.deepcopy(BASE), []

    def visit(value):
        for key in value if isinstance(value, dict) else range(len(value)):
            spots.append((value, key))
            if isinstance(value[key], (dict, list)):
                visit(value[key])

    visit(record)
    holder, key = data.draw(st.sampled_from(spots))
    known = st.sampled_from(["leave open", "straight", "tie to GND", "X1.2", "X1", "27C64", "H", "no-gates", ""])
    holder[key] = data.draw(
        st.none() | st.booleans() | st.integers(-3, 60) | st.floats() | known | st.text(max_size=4)
        | st.lists(st.integers(), max_size=2) | st.dictionaries(st.text(max_size=3), st.integers(), max_size=2)
    )  # fmt: skip
    try:
        plan = parse_plan(json.dumps(record).encode(), "a.plan")
    except RomwrightError as error:
        assert error.found
    else:
        assert plan.nets.keys() == {pin.number for pin in plan.chip.pins}


def test_a_page_of_ones_own_is_found_by_its_path(tmp_path):
    page = tmp_path / "own.toml"
    text = (data_folder("parts") / "27C64.toml").read_text("utf-8").replace('name = "27C64"', 'name = "own"', 1)
    page.write_text(text, "utf-8")
    own = read_part(page)
    plan = plan_of("2764", "27C64")
    plan = type(plan)(plan.original, own.ordered_as({}), plan.rows, plan.gates, lines=plan.lines)
    data = build_plan(plan, PARTS["2764"], own, "2764", str(page))
    assert parse_plan(data, "a.plan") == plan
    page.write_text("# a remark changes nothing\n" + text, "utf-8")
    assert parse_plan(data, "a.plan") == plan
    page.write_text(text.replace("words = 8192", "words = 4096"), "utf-8")
    with pytest.raises(RomwrightError):
        parse_plan(data, "a.plan")
    page.unlink()
    with pytest.raises(PlanFileError, match="cannot be read"):
        parse_plan(data, "a.plan")


def test_a_changed_page_is_noticed_and_a_default_written_out_is_no_change():
    part = PARTS["27C64"]
    assert digest(part) == digest(replace(part, volatile=False))
    assert digest(part) != digest(replace(part, volatile=True))
    supplies = {**part.supplies, "VCC": 12.0}
    assert digest(part) != digest(replace(part, supplies=supplies))


@pytest.mark.parametrize("plan", hardest(), ids=lambda plan: f"{plan.original.name}-{plan.chip.name}")
def test_the_hardest_pairs_come_back_equal(plan):
    assert read(written(plan)) == plan
