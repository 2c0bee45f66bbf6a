"""Values to terminal text or JSON. Plain text when the output is not a terminal."""

from __future__ import annotations

import contextlib
import json
import sys
import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Self

import click

from romwright.cli.quiet import aloud, is_quiet
from romwright.findings import Finding, Severity, blocks, worst_first

PIPE_COLUMNS = 110  # line length where there is no terminal to ask
STYLES = {
    Severity.STOP: "bold white on red",
    Severity.FAULT: "bold red",
    Severity.CAUTION: "yellow",
    Severity.NOTE: "cyan",
}


def print_json(value: object) -> None:
    """Print a value as indented JSON with its keys in the order given."""
    click.echo(json.dumps(value, indent=2))


def inert(text: str) -> str:
    """Make control characters of a foreign string (a file name, a list name) visible and harmless."""
    if text.isprintable():
        return text
    # A byte of a file name that is no UTF-8 comes as one of DC80 to DCFF.
    return "".join(
        c if c.isprintable() else f"\\x{ord(c) & 0xFF if 0xDC80 <= ord(c) <= 0xDCFF else ord(c):02x}" for c in text
    )


def show(*renderables: object) -> None:
    """Print rich renderables to standard output; where that is no terminal, plain, of fixed width, no end blanks."""
    from rich.console import Console

    terminal = sys.stdout.isatty()
    plain = {"markup": False, "emoji": False, "highlight": False}
    console = Console(width=None if terminal else PIPE_COLUMNS, **plain)
    with contextlib.nullcontext() if terminal else console.capture() as caught:
        for renderable in renderables:
            console.print(renderable)
    if not terminal:
        click.echo("\n".join(line.rstrip() for line in caught.get().split("\n")), nl=False)


def labelled(label: str, text: str, label_columns: int, columns: int) -> list[str]:
    """Lay out a label and its text, wrapped beside it."""
    first = f"  {label:<{label_columns}} "
    return textwrap.wrap(
        inert(text), columns, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False
    )


def print_table(headers: Sequence[str], rows: Iterable[Sequence[object]], right: Sequence[int] = ()) -> None:
    """Print rows in aligned columns; the columns numbered in `right` are flush right."""
    from rich import box
    from rich.table import Table
    from rich.text import Text

    table = Table(box=box.SIMPLE_HEAD if sys.stdout.isatty() else None, pad_edge=False, header_style="bold")
    for index, header in enumerate(headers):
        table.add_column(header, justify="right" if index in right else "left", overflow="fold")
    for row in rows:
        table.add_row(*(Text(inert(str(cell))) for cell in row))
    show(table)


def print_findings(findings: Iterable[Finding], about: str = "") -> None:
    """Print findings, worst first: severity and title, then evidence and remedy below; with --quiet only the worst.

    `about` names what they are about, where with --quiet nothing else would.
    """
    from rich.text import Text

    quiet = is_quiet()
    shown = [finding for finding in worst_first(findings) if blocks([finding]) or not quiet]
    with aloud():
        if about and shown and quiet:
            click.echo(f"{inert(about)}:")
        for finding in shown:
            severity = (str(finding.severity), STYLES[finding.severity])
            notes = [f"{label}: {text}" for label, text in (("seen", finding.evidence), ("do", finding.remedy)) if text]
            show(Text.assemble(severity, f" ({finding.code.name}): {inert(finding.title)}"), *map(indented, notes))
    if shown:
        print_hint(shown[0].code.name)


def print_hint(code: str) -> None:
    """Say on a terminal, once for each command, where more is said of a finding."""
    context = click.get_current_context(silent=True)
    if sys.stdout.isatty() and context and "romwright.hint" not in context.meta:
        context.meta["romwright.hint"] = code
        show(indented(f"romwright explain {code} says more"))


def print_result(text: str = "", **style) -> None:
    """Print a line of what came of a command: it is heard with --quiet too."""
    with aloud():
        click.secho(inert(text), **style)


def print_cautions(cautions: Iterable[str]) -> None:
    """Print what can hurt a person or a chip."""
    from rich.text import Text

    show(Text("Take care", style="bold"), *map(indented, cautions))


def print_unchecked(pages: Mapping[str, Sequence[str]]) -> None:
    """Print what nobody has read about what an answer rests on, by the page that marks it; nothing if all is read."""
    if any(pages.values()):
        click.secho("\nUNCHECKED: do not rely on these", bold=True, fg="yellow")
        show(*(indented(f"{name}: {entry}") for name, entries in pages.items() for entry in entries))


def indented(text: str):
    """Return a paragraph set in by two columns."""
    from rich.padding import Padding
    from rich.text import Text

    return Padding(Text(inert(text)), (0, 0, 0, 2), expand=False)


def progress(items: Sequence, label: str, after_s: float = 0.8) -> Iterator:
    """Yield the items; on a terminal, show a bar on standard error once the work has lasted `after_s` seconds."""
    if not sys.stderr.isatty() or is_quiet():
        yield from items
        return
    with LateBar(label, len(items), after_s) as bar:
        for done, item in enumerate(items):
            bar.move(done)
            yield item


class LateBar:
    """A bar that comes only if the work lasts, be it one long step; a context manager."""

    def __init__(self, label: str, total: int, after_s: float) -> None:
        import threading

        self._label, self._total, self._done = label, total, 0
        self._bar, self._task, self._over = None, None, False
        self._lock = threading.Lock()
        self._timer = threading.Timer(after_s, self._show)
        self._timer.daemon = True

    def __enter__(self) -> Self:
        self._timer.start()
        return self

    def __exit__(self, *exception: object) -> None:
        self._timer.cancel()
        with self._lock:
            self._over = True
            if self._bar:
                self._bar.stop()

    def _show(self) -> None:
        from rich.console import Console
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        columns = TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn()
        with self._lock:
            if not self._over:
                self._bar = Progress(*columns, console=Console(stderr=True), transient=True)
                self._task = self._bar.add_task(self._label, total=self._total, completed=self._done)
                self._bar.start()

    def move(self, done: int) -> None:
        """Say how many items are done."""
        with self._lock:
            self._done = done
            if self._bar:
                self._bar.update(self._task, completed=done)


@contextlib.contextmanager
def step_bar(what: str, done: int, total: int) -> Iterator[None]:
    """Show, on a terminal, which of a number of steps is being taken; nothing elsewhere, or with --quiet."""
    if not sys.stderr.isatty() or is_quiet():
        yield
        return
    from rich.console import Console
    from rich.progress import Progress
    from rich.text import Text

    kept = {"redirect_stdout": False, "redirect_stderr": False}
    with Progress(console=Console(stderr=True), transient=True, **kept) as bar:
        bar.add_task(Text(inert(what)).markup, completed=done, total=total)
        yield


def print_files(files: list[dict]) -> None:
    """Print which files were written."""
    for file in files:
        print_result(f"written: {file['file']} ({file['format']}, {file['size']:,} bytes)")
