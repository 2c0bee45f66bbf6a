"""Truth tables: laws, and agreement with brute force on up to four signals."""

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from romwright.fit import tables

NAMES = st.integers(0, 4).map(lambda n: tuple("abcd"[:n]))
LEVELS = st.sampled_from("HL")


@st.composite
def names_and_rows(draw):
    names = draw(NAMES)
    row = st.dictionaries(st.sampled_from(names), LEVELS) if names else st.just({})
    return names, draw(st.lists(row, max_size=4))


def every_state(names):
    """All combinations of levels; the first name changes fastest."""
    return [dict(zip(names, reversed(levels))) for levels in product("LH", repeat=len(names))]


@given(names_and_rows())
def test_any_row_agrees_with_brute_force(case):
    names, rows = case
    table = tables.any_row(names, rows)
    brute = [any(all(state[n] == level for n, level in row.items()) for row in rows) for state in every_state(names)]
    assert [bool(table >> r & 1) for r in range(1 << len(names))] == brute
    assert list(tables.true_rows(names, table)) == [state for state, true in zip(every_state(names), brute) if true]
    assert table & ~tables.everywhere(names) == 0


@given(names_and_rows())
def test_depends_on_agrees_with_brute_force(case):
    names, rows = case
    table = tables.any_row(names, rows)
    value = {tuple(state.items()): bool(table >> r & 1) for r, state in enumerate(every_state(names))}
    for name in names:
        turned = [value[tuple({**dict(key), name: "H" if dict(key)[name] == "L" else "L"}.items())] for key in value]
        assert tables.depends_on(names, table, name) == (turned != list(value.values()))


@given(names_and_rows(), names_and_rows())
def test_or_of_rows_is_or_of_tables(first, second):
    names = max(first[0], second[0], key=len)
    assert tables.any_row(names, first[1] + second[1]) == tables.any_row(names, first[1]) | tables.any_row(
        names, second[1]
    )


@given(names_and_rows())
def test_a_table_is_the_or_of_its_true_rows(case):
    names, rows = case
    table = tables.any_row(names, rows)
    assert tables.any_row(names, tables.true_rows(names, table)) == table


@given(NAMES)
def test_a_line_and_its_opposite_are_everything(names):
    for name in names:
        high, low = tables.row(names, {name: "H"}), tables.row(names, {name: "L"})
        assert high == tables.line(names, name)
        assert high & low == 0 and high | low == tables.everywhere(names)
