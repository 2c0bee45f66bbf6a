"""The sheet as text: no line is over 80 columns, nothing in it does anything to a terminal, nothing is lost."""

import pytest
from hypothesis import HealthCheck, given, settings
from sheet_model import CJK, samples, sheets, squeezed, strings_of

from romwright.sheets.document import Facts, Picture, Section, Sheet, Table, Tick, Ticks, readable
from romwright.sheets.text import broken, build_text, columns


def check(sheet):
    text = build_text(sheet)
    assert all(columns(line) <= 80 for line in text.splitlines()), text
    assert all(c == "\n" or c.isprintable() for c in text)
    assert text.encode("utf-8") and text == build_text(sheet)
    return text


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
@given(sheets)
def test_no_line_is_too_long_and_nothing_is_lost(sheet):
    check(sheet)


@settings(max_examples=200, deadline=None, suppress_health_check=list(HealthCheck))
@given(sheets)
def test_every_string_is_found_piece_by_piece(sheet):
    """Each string's letters come in their order; cells stand side by side, so other letters come between."""
    text = build_text(sheet)
    for said in strings_of(sheet):
        left = iter(squeezed(text).casefold())
        assert all(c in left for c in squeezed(said).casefold()), said


def only(*blocks):
    return check(Sheet("t", "", "", (Section("s", blocks),)))


@pytest.mark.parametrize("name", samples())
def test_sheets_of_real_jobs(name):
    text = check(samples()[name])
    for said in strings_of(samples()[name]):
        assert len(said) > 30 or squeezed(said).casefold() in squeezed(text).casefold(), said


def test_a_long_name_of_a_fact_and_one_without_a_value_are_kept():
    text = only(Facts((("n" * 50, "v"), ("alone", ""))))
    assert squeezed(text).count("n" * 50) == 1 and "alone" in text


def test_a_thing_to_do_without_words_keeps_its_box():
    assert "[ ] -" in only(Ticks((Tick(""),)))


def test_a_drawing_that_is_too_wide_goes_on_below():
    text = only(Picture("c", b"", ("a" * 80 + "b" * 5, "short")))
    assert "a" * 80 + "\nshort\n(what stands to the right of that:)\nbbbbb" in text


def test_a_table_of_too_many_columns_becomes_lists():
    headers = tuple(f"header{n}" for n in range(20))
    text = only(Table(headers, (tuple(f"cell {n} is long" for n in range(20)),), ticked=True))
    assert text.count("[ ]") == 1 and "header19: cell 19 is long" in text


def test_headers_are_wrapped_too():
    text = only(Table(("one two three four", "x" * 100), (("a", "b"),)))
    assert squeezed(text).count("x") == 100


def test_wide_letters_take_two_columns():
    assert columns(CJK) == 2 * len(CJK)
    assert all(columns(line) <= 7 for line in broken(CJK * 3, 7))
    assert all(columns(line) <= 3 for line in broken("\u6f6e\u0301ab" * 3, 3))  # as many columns as letters, yet wide


def test_a_row_of_other_length_is_refused():
    with pytest.raises(ValueError, match="a row of 1 cells below 2 headers"):
        Table(("a", "b"), (("x",),))


def test_lists_are_made_readable_as_tuples_are():
    assert Facts([["a\x1b[2J", "b"]]).pairs == (("a\ufffd[2J", "b"),)
    assert readable("\u202e\x00\n\ud800") == "\ufffd\ufffd \ufffd"
