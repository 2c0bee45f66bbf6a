"""What the pages say in words, at their top and in their traps, worked out again from the pins.

The files are read with tomllib and taken apart here, not by romwright.parts, so that the rules have a second witness.
"""

import re
import tomllib
from collections import Counter
from pathlib import Path

import pytest

FOLDER = Path(__file__).parents[2] / "pinmaps" / "parts"
NUMBER = {"one": 1, "two": 2, "three": 3, "four": 4}
SCALE = {"": 1, "K": 1 << 10, "M": 1 << 20}


class Page:
    """A file as its author wrote it: words, table, and the pins in order of their numbers."""

    def __init__(self, path):
        text = path.read_text("utf-8")
        self.words = " ".join(line[1:].strip() for line in text.split("\nname =")[0].splitlines())
        self.table = tomllib.loads(text)
        self.pins = [*self.table["left"].split(), *reversed(self.table["right"].split())]
        self.first = [pin.split("|")[0] for pin in self.pins]
        self.traps = " ".join(self.table.get("traps", ()))
        self.programming = self.table.get("programming", {})

    def bare(self, number):
        """The name at a pin without its polarity: CE for /CE and CE?."""
        return self.first[number - 1].strip("/?")


PAGES = {path.stem: Page(path) for path in sorted(FOLDER.glob("*.toml"))}
ALIASES = {alias: stem for stem, page in PAGES.items() for alias in page.table.get("aliases", ())}
CLAIMS = Counter()


def claims(page, kind, pattern, traps=False):
    """Return the matches of a pattern in a page's words, or in its traps, and count them."""
    found = re.findall(pattern, page.traps if traps else page.words)
    CLAIMS[kind] += len(found)
    return found


@pytest.mark.parametrize("name", PAGES)
def test_the_words_agree_with_the_pins(name):
    page = PAGES[name]
    table, volts = page.table, page.table["supplies"]

    ((count, scale, bits),) = claims(page, "size", r"^(\d+)([KM]?) x (\d+) ")
    assert (table["words"], table["bits"]) == (int(count) * SCALE[scale], int(bits))
    assert sorted(p for p in page.first if re.fullmatch(r"A\d+", p)) == sorted(
        f"A{n}" for n in range(table["words"].bit_length() - 1)
    )
    assert sorted(p for p in page.first if re.fullmatch(r"D\d+", p)) == sorted(f"D{n}" for n in range(int(bits)))

    for pin, number in claims(page, "pin", r"(?<![\w])(/?[A-Z]+\d+|/[A-Z]+|VCC) on (?:pin )?(\d+)"):
        assert page.bare(int(number)) == pin.strip("/?")
    for number, pin in claims(page, "pin", r"pin (\d+) is (/?[A-Z]+\d*)"):
        assert page.first[int(number) - 1] == pin
    for number in claims(page, "shared", r"VPP shares pin (\d+) with /OE"):
        assert page.pins[int(number) - 1] == "/OE|VPP"
    for number in claims(page, "package", r"(?<!style )\b(\d\d) pins\b"):
        assert int(number) == len(page.pins) == int(table["package"].removeprefix("DIP-"))
    for number in claims(page, "select", r"select (?:goes to|on) pin (\d+)"):
        assert page.first[int(number) - 1] == table["select"]

    # traps speak of other parts too, so only what they say of this one counts: whole runs, and "here"
    for first, last, run in claims(page, "run", r"\b([AD]\d+) to ([AD]\d+) on (\d+(?:, \d+)+)", traps=True):
        check_run(page, first, last, run)
    for run, first, last in claims(
        page, "run", r"\b(\d+(?:, \d+)+) are (?:O1 to O4, here )?(D\d+) to (D\d+)", traps=True
    ):
        check_run(page, first, last, run)
    for pin, number in claims(page, "end", r"(D\d+) on pin (\d+)(?=[,;])", traps=True):
        assert page.first[int(number) - 1] == pin
    for number, pin in claims(page, "here", r"Pin (\d+) is (A\d+)(?: here|[,:])", traps=True):
        assert page.first[int(number) - 1] == pin
    for pin, number in claims(page, "here", r"\b(A\d+) is on (\d+) here", traps=True):
        assert page.first[int(number) - 1] == pin
    for vcc, one, two in claims(page, "rails", r"VCC is pin (\d+) and GND (\d+) and (\d+)", traps=True):
        assert [page.first[int(number) - 1] for number in (vcc, one, two)] == ["VCC", "GND", "GND"]

    for value in claims(page, "vpp", r"(?:programmed|written) (?:at|with) ([\d.]+) V|the ([\d.]+) V version"):
        assert page.programming["vpp_v"] == float("".join(value))
    for value in claims(page, "erase", r"erased at ([\d.]+) V"):
        assert page.programming["vpp_erase_v"] == float(value)
    for _ in claims(page, "5 V only", r"5 V only"):
        assert "vpp_v" not in page.programming and set(volts.values()) == {0, 5}
    for _ in claims(page, "three supplies", r"three supplies"):
        assert sorted(volts.values()) == [-5, 0, 5, 12]
    for _ in claims(page, "single supply", r"single supply"):
        assert sorted(volts.values()) == [0, 5]

    for _ in claims(page, "output", r"open-collector"):
        assert table["output"] == "open-collector"
    for _ in claims(page, "output", r"three-state"):
        assert table.get("output", "three-state") == "three-state"
    for word in claims(page, "byte mode", r"(with|without) a byte mode"):
        assert ("byte_mode" in table) == (word == "with")
    for word in claims(page, "enables", r"(?<!more )\b(one|two|three|four) (?:enables?|selects?)\b"):
        controls = {pin for row in table["drives"] for pin in row} - {"/OE"}
        assert len(controls) == NUMBER[word]


def check_run(page, first, last, run):
    """Hold lines that the words list in order against the pins that they name."""
    lines = [f"{first[0]}{n}" for n in range(int(first[1:]), int(last[1:]) + 1)]
    assert [page.first[int(number) - 1] for number in run.split(", ")] == lines


ARRANGED = r"(?:in the arrangement of the|the arrangement of the|the pins of a) (?!MK)(\w+)"


@pytest.mark.parametrize("name", [name for name, page in PAGES.items() if re.search(ARRANGED, page.words)])
def test_arranged_as_the_part_that_the_words_name(name):
    """Address, data and supplies stand where that part has them; controls, VPP and free pins may differ."""
    page, (named,) = PAGES[name], re.findall(ARRANGED, PAGES[name].words)
    other = PAGES[next(s for s in (named, f"rom-{named}-a11-pin18", ALIASES.get(named)) if s in PAGES)]
    fixed = re.compile(r"[AD]\d+|GND|VCC")
    pairs = list(zip(page.first, other.first, strict=True))
    lines = [(a, b) for a, b in pairs if fixed.fullmatch(a)]
    assert len(lines) > 18 and all(a == b for a, b in lines)
    assert not [b for a, b in pairs if not fixed.fullmatch(a) and fixed.fullmatch(b)]


@pytest.mark.parametrize("name", PAGES)
def test_rows_name_controls_and_supplies_carry_no_signal(name):
    page = PAGES[name]
    table = page.table
    supplies = set(table["supplies"])
    signals = {pin for pin in page.first if re.fullmatch(r"[AD]\d+", pin)}
    controls = set(page.first) - signals - supplies - {"NC", "VPP", *table.get("outputs", ())}
    for key in ("drives", "writes", "standby"):
        for row in table.get(key, []):
            assert set(row) <= controls
    for pin in page.pins:
        uses = pin.split("|")
        assert not (supplies & set(uses) and any(re.fullmatch(r"[AD]-?\d+", use) for use in uses))
        assert pin == "VCC|PE" or not (supplies & set(uses)) or len(uses) == 1  # pin 24 of a TMS2716 programs too
    named = {pin for key in ("drives", "writes") for row in table.get(key, []) for pin in row}
    assert not table["drives"] or controls <= named | table.get("read_levels", {}).keys()


def test_the_words_are_really_read():
    """Each kind of claim is made by some page, so no pattern above has gone stale."""
    CLAIMS.clear()
    for name in PAGES:
        test_the_words_agree_with_the_pins(name)
    expected = {"size", "pin", "shared", "package", "select", "vpp", "erase", "5 V only", "three supplies"}
    assert CLAIMS.keys() >= expected | {"single supply", "output", "byte mode", "enables"}
    assert all(CLAIMS.values()), CLAIMS
    assert CLAIMS["size"] == len(PAGES) and CLAIMS["pin"] > 20 and CLAIMS["select"] > 20
    assert CLAIMS["run"] >= 5 and CLAIMS["end"] >= 2 and CLAIMS["here"] >= 8 and CLAIMS["rails"]
