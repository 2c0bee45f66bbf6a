"""The page of a part, for the terminal."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Iterable, Iterator, Sequence

import click

from romwright.cli.render import inert, labelled
from romwright.images.words import listed

LABEL = 14  # columns of the labels on the left
SYMBOLS = {"vih", "vil", "voh", "vol", "iol", "ioh", "vpp", "cmos"}  # written in capitals


def report(page, reading) -> Iterator[str]:
    """Yield the lines of a part's page."""
    from romwright.sheets.drawing import draw_text, size_of

    yield click.style(inert(page.name), bold=True) + f"  {size_of(page)}"
    yield from marking_lines(reading)
    yield from caution_lines(reading)
    if page.aliases:
        yield from row(
            "also marked", ", ".join(page.aliases) + " (the pins agree; voltages, times and currents may not)"
        )
    if page.unchecked:
        yield ""
        yield click.style("UNCHECKED: do not rely on these without a data sheet", fg="yellow", bold=True)
        for entry in page.unchecked:
            yield from bullet(entry)
    yield ""
    yield from draw_text(page, can_print("┌●"))
    yield from function_lines(page)
    yield from electric_lines(page)
    if page.traps:
        yield from heading("Traps")
        for trap in page.traps:
            yield from bullet(trap)
    yield from heading("Sources")
    for source in page.sources:
        yield from bullet(f"{source.covers}: {source.text}")
    if not page.sources:
        yield from bullet("none: all of this page is from memory, unchecked")


def marking_lines(reading) -> Iterator[str]:
    """Yield what was read of a marking."""
    from romwright.parts.reading import doubt

    if reading.how in ("name", "file") and not reading.suffix:
        return
    how = {"name": "the page's own name", "listed": "listed on the page"}.get(
        reading.how, "by the number behind the maker's letters, which its page does not list: compare the data sheet"
    )
    yield from row("marking", f"{inert(reading.word)}: {how}")
    if maker := reading.maker:
        yield from row("maker", maker.maker + doubt(maker.unchecked))
    if speeds := reading.speeds:
        evidence = f" ({speeds.source})" if speeds.source else ""
        yield from row("speed", f"{reading.speed_ns} ns{evidence}{doubt(speeds.unchecked)}")
    elif reading.suffix:
        yield from row("speed", f"unknown: no rule for {inert(reading.suffix)} on this marking has a source")


def caution_lines(reading) -> Iterator[str]:
    """Yield the caution of a name that is printed on other parts too, with a line for each of them."""
    from romwright.parts.reading import doubt

    for finding in reading.findings:
        yield ""
        title = f"{str(finding.severity).upper()} ({finding.code.name}): {finding.title}"
        yield from (click.style(line, fg="yellow", bold=True) for line in textwrap.wrap(title, width()))
        if finding in reading.voltage:
            yield from bullet(finding.evidence)
            yield from bullet(finding.remedy)
            continue
        for part, tell in reading.meanings.parts.items():
            yield from bullet(f"{part}: {tell}")
        yield from bullet(finding.remedy + doubt(reading.meanings.unchecked))


def function_lines(page) -> Iterator[str]:
    """Yield the function table, and what the factory chose."""
    from romwright.parts.page import function_pins, function_table

    yield from heading("Function table", page, "drives", "read_levels", "writes", "standby", "byte_mode", "options")
    table, pins = function_table(page), function_pins(page)
    if page.drives:
        heads = [("", *(f"pin {pin.number}" for pin in pins), ""), ("", *(pin.function for pin in pins), "data pins")]
        rows = [(line.mode, *line.levels.values(), line.data) for line in table]
        yield from (f"  {line}" for line in aligned([*heads, *rows]))
    else:
        yield "  no row is known in which it drives its outputs: nothing can be planned for it"
    either = [name for name in page.read_either if name in page.read_levels]
    if either:
        yield f"  H/L: tie it to the first; the other is allowed too, but not open ({', '.join(either)})"
    if any(level == "Vpp" for line in table for level in line.levels.values()):
        yield "  Vpp: at its programming voltage"
    for label, (number, choices) in zip(once("factory chose"), page.choices().items()):
        chosen = listed(choices, "or")
        left_out = " (NC: left out)" if "NC" in choices else ""
        yield from row(label, f"pin {number}, {page.pins[number - 1].function}: {chosen}{left_out}")
    yield from row("outputs", page.output)
    if page.latched is not None:
        yield from row("address latch", "on an edge of the select" if page.latched else "none")
    if page.erased:
        yield from row("erased", f"reads {page.erased}")


def electric_lines(page) -> Iterator[str]:
    """Yield voltages, erasing, times, currents and levels."""
    from romwright.parts.programming import list_facts

    yield from heading("Voltages", page, "supplies", "programming")
    yield from row(
        "supplies",
        ", ".join(f"{name} {volts:+g} V" if volts else f"{name} 0 V" for name, volts in page.supplies.items()),
    )
    if programming := page.programming:
        for label, value in (
            ("program VPP", volts_of(programming.vpp_v, programming.vpp_range_v)),
            ("never above", volts_of(programming.vpp_max_v)),
            ("erase VPP", volts_of(programming.vpp_erase_v)),
            ("program VCC", volts_of(programming.vcc_v, programming.vcc_range_v)),
            ("signature", programming.signature or ""),
            *zip(once("by maker"), programming.by_maker),
        ):
            yield from row(label, value) if value else ()
    for label, value in list_facts(page):
        yield from row(label, value)
    if times := page.times:
        yield from heading("Times in ns, by grade", page, "times")
        table = [
            (label, *(f"{value:g}" for value in values))
            for label, values in (
                ("access", times.access_ns), ("enable", times.enable_ns),
                ("output enable", times.output_enable_ns), ("float", times.float_ns),
            )
            if values
        ]  # fmt: skip
        grades = max(map(len, table))
        yield from (
            f"  {line}"
            for line in aligned([(*line, *[""] * (grades - len(line))) for line in table], right=range(1, grades))
        )
    for title, key in (("Currents, largest", "currents"), ("Levels", "levels")):
        if record := getattr(page, key):
            yield from heading(title, page, key)
            yield from textwrap.wrap(
                ", ".join(quantities(record)), width(), initial_indent="  ", subsequent_indent="  "
            )


def quantities(record) -> Iterator[str]:
    """Yield the values of a record with the units that stand at the end of their names: active_ma is 30 mA."""
    units = {"ma": "mA", "ua": "µA" if can_print("µ") else "uA", "v": "V"}
    for field in record.__struct_fields__:
        value = getattr(record, field)
        if value is not None:
            *words, unit = field.split("_")
            yield f"{' '.join(w.upper() if w in SYMBOLS else w for w in words)} {value:g} {units[unit]}"


def volts_of(value: float | None, span: tuple[float, float] | None = None) -> str:
    """Write a voltage and its range."""
    between = f"{span[0]:g} to {span[1]:g} V" if span else ""
    return f"{value:g} V" + (f" ({between})" if span else "") if value is not None else between


def aligned(rows: Sequence[Sequence[str]], right: Iterable[int] = ()) -> list[str]:
    """Lay rows out in columns; those numbered in `right` are flush right. (rich would double the start.)"""
    right = set(right)
    widths = [max(map(len, column)) for column in zip(*rows)]
    return [
        "  ".join(c.rjust(w) if i in right else c.ljust(w) for i, (c, w) in enumerate(zip(cells, widths))).rstrip()
        for cells in rows
    ]


def heading(text: str, page=None, *keys: str) -> list[str]:
    """Return an empty line and a heading, loud if anything under these keys of the page is unchecked."""
    loud = page.unchecked_about(*keys) if page else []
    mark = (
        click.style("  UNCHECKED: " + ", ".join(e.split(":")[0] for e in loud), fg="yellow", bold=True) if loud else ""
    )
    return ["", click.style(text, bold=True) + mark]


def once(label: str) -> Iterator[str]:
    """Yield a label, then blanks."""
    yield label
    while True:
        yield ""


def row(label: str, text: str) -> list[str]:
    """Lay out one line of the page."""
    return labelled(label, text, LABEL, width())


def bullet(text: str) -> list[str]:
    """Lay out one entry of a list."""
    return textwrap.wrap(inert(text), width(), initial_indent="  - ", subsequent_indent="    ", break_on_hyphens=False)


def width() -> int:
    """Return how long a line may be: 80 columns, on a wider terminal up to 110."""
    return min(max(shutil.get_terminal_size().columns, 80), 110) if sys.stdout.isatty() else 80


def can_print(text: str) -> bool:
    """Tell whether standard output has these characters."""
    try:
        text.encode(sys.stdout.encoding or "ascii")
    except UnicodeEncodeError:
        return False
    return True
