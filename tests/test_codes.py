"""Every code explains itself, in words for the bench, by an example that its check can still print."""

import ast
import re
from pathlib import Path

import pytest

from romwright.codes import MODULES, all_codes, require_code
from romwright.errors import UnknownNameError
from romwright.findings import Code, Severity

SRC = Path(__file__).parents[1] / "src" / "romwright"
CODES = all_codes()
JARGON = re.compile(
    r"\b(exception|parameter|argument|boolean|bool|null|instance|object|module|function|string|array|index|"
    r"offset \d|parse[dr]?|regex|API|JSON|stdout|iterat\w+|algorithm|metadata|callback|thread|traceback)\b",
    re.IGNORECASE,
)
ANYTHING = "\0"


@pytest.mark.parametrize("code", CODES, ids=lambda code: code.name)
def test_every_code_is_explained(code):
    for text in (code.checks, code.why, code.do, code.example):
        assert text.strip() == text and len(text) > 5 and text.isprintable() and not JARGON.search(text)
    assert code.checks[0].islower() or code.checks.split()[0].strip(",").isupper()
    assert not code.checks.endswith(".") and not code.example.endswith(".")
    assert code.why.endswith((".", "source).")) and code.do.endswith((".", "source)."))
    assert len(code.checks) <= 80 and len(code.example) <= 100 and 8 <= len(code.do) <= 260
    assert 1 <= len(re.findall(r"[.:?](?= [A-Z]|$)", code.do)) <= 4


@pytest.mark.parametrize("code", [code for code in CODES if code.severity is Severity.STOP], ids=lambda code: code.name)
def test_what_to_do_about_a_stop_begins_with_the_power(code):
    assert code.do.startswith("Do not power up.")


def test_a_code_without_what_to_do_cannot_be_made():
    with pytest.raises(TypeError, match="'do'"):
        Code("new", Severity.NOTE, "all is well", "It may not be.")


def test_the_list_of_modules_is_complete():
    """A module that makes a Code, found in the source, is listed; no other is."""
    making = {
        ".".join(path.relative_to(SRC).with_suffix("").parts)
        for path in SRC.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "Code"
    }
    assert set(MODULES) == making and len(MODULES) == len(making)


def pieces(node):
    """Return what a piece of source comes to as text, with ANYTHING for what is put in; None if it is no text."""
    if isinstance(node, ast.Constant):
        return node.value if isinstance(node.value, str) else None
    if isinstance(node, ast.JoinedStr):
        return "".join(p.value if isinstance(p, ast.Constant) else ANYTHING for p in node.values)
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        left, right = pieces(node.left), pieces(node.right)
        return None if left is None and right is None else (left or ANYTHING) + (right or ANYTHING)
    return None


@pytest.fixture(scope="module")
def titles():
    """Every text of the checks that could be a title, as patterns; the codes themselves left out."""
    found = set()
    for path in SRC.rglob("*.py"):
        tree = ast.parse(path.read_text("utf-8"))
        calls = [node for node in ast.walk(tree) if isinstance(node, ast.Call)]
        own = {id(node) for call in calls if getattr(call.func, "id", "") == "Code" for node in ast.walk(call)}
        found |= {text for node in ast.walk(tree) if id(node) not in own and (text := pieces(node))}
    told = [text for text in found if sum(map(str.isalnum, text)) >= 5 or text == f"{ANYTHING} V on {ANYTHING}"]
    return {text: re.compile(".*".join(map(re.escape, text.split(ANYTHING)))) for text in told}


@pytest.mark.parametrize("code", CODES, ids=lambda code: code.name)
def test_an_example_is_what_a_check_can_print(code, titles):
    """As a whole, or most of it where a title is put together from pieces."""
    whole = any(title.fullmatch(code.example) for title in titles.values())
    assert whole or any(2 * len(text) > len(code.example) and text in code.example for text in titles), code.example


@pytest.mark.parametrize(
    "typed", ["bus-contention", "BUS-CONTENTION", "(bus-contention):", " bus_contention ", "Bus Contention"]
)
def test_a_code_is_found_as_it_is_printed_or_typed(typed):
    assert require_code(typed).name == "bus-contention"


@pytest.mark.parametrize("typed", ["", "x" * 500, "\x1b[31m", "\u202ecode", "../../etc", "приве́т"])
def test_no_code_of_that_name(typed):
    with pytest.raises(UnknownNameError) as caught:
        require_code(typed)
    assert caught.value.help == "romwright explain lists them all"


def test_near_names_are_offered():
    with pytest.raises(UnknownNameError) as caught:
        require_code("bus-contenton")
    assert caught.value.near[0] == "bus-contention"
