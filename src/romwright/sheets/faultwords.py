"""What stands below a drawing of lines at fault: what was found, how sure it is, and what the signs mean."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romwright.faults.comparison import Comparison
from romwright.faults.lines import Law
from romwright.sheets.faultlines import Group, in_ranges

ABOUT_LINES = ("line-", "starts-elsewhere", "not-explained", "blank-reference", "reads-blank")
SIGNS = {
    Law.AND: "AND: joined lines, the low level wins.",
    Law.OR: "OR: joined lines, the high level wins.",
}


def notes_on(comparison: Comparison) -> Iterator[tuple[str, bool]]:
    """Yield what was found, each with whether it is to be in bold."""
    if comparison.identical:
        yield "The two files are identical: all lines run straight.", True
        return
    titles = [f.title for f in comparison.findings if f.code.name.startswith(ABOUT_LINES)]
    for title in titles:
        yield f"{title[:1].upper()}{title[1:]}.", True
    if not comparison.explained or comparison.blank:
        yield "So the lines are not known, and none is drawn.", False
        return
    if not titles:
        yield "All lines run straight.", True
    if bits := comparison.best.residual:
        counted = "1 bit is" if bits == 1 else f"{bits:,} bits are"
        yield f"{counted} wrong besides: --picture draws where.", False
    for names in comparison.ambiguity.alike:
        them = f"{', '.join(names[:-1])} and {names[-1]}"
        yield f"The contents cannot tell {them} apart: exchanged, every byte would be the same.", False
    if comparison.ambiguity.idle:
        yield f"The contents do not change with {', '.join(comparison.ambiguity.idle)}: a fault would not show.", False
    if comparison.ambiguity.constant:
        yield (
            f"Never changes, so whether it is stuck would not show: {', '.join(comparison.ambiguity.constant)}.",
            False,
        )
    if len(comparison.others) > len(comparison.ambiguity.ways[1:]):
        yield "Other explanations are possible: romwright compare lists them.", False
    if not comparison.certain:
        yield "More may be wrong with the lines than is looked for.", False


def signs_of(groups: Sequence[Group]) -> Iterator[str]:
    """Yield what the signs mean that occur."""
    nets = [net for group in groups for net in group.nets]
    if any(group.faulty for group in groups):
        yield "Thin: straight. Bold: at fault; beside its name stands where it goes."
    if not all(net.direct for net in nets):
        yield "Gap: a line passes under another, not joined. Dot: joined."
    yield from (SIGNS[law] for law in SIGNS if any(net.law is law for net in nets))
    if any(net.inverted for net in nets):
        yield "Ring: inverted."
    if any(group.stuck for group in groups):
        yield "Three bars and L: stays low. Bar and H: stays high."
    if any(group.unused for group in groups):
        yield "Cross: reaches nothing."
    for group in groups:
        kind = "address" if group.letter == "A" else "data"
        if spare := [n for n in range(group.rows) if group.spare(n)]:
            more = "the dump is a part of the ROM" if len(group.lines) > group.sending else "the dump is larger"
            yield f"{in_ranges(spare, group.letter)}: no {kind} line on the other side, since {more}."
