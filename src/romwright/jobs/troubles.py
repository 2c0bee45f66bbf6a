"""What is likeliest wrong if a job's chip does not work, each worked out from the job's own plan and bytes.

First what is seen if a step of the plan was left undone: a link not moved, the chip plugged in without its wires, as
the same checks find it that judged the plan, the worst of each. Then what the programmer's display shows after a slip
in burning, then what else is seen of the first, then slips of the hand as the chip goes in. That order is common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from msgspec.structs import replace

from romwright.findings import Finding, Severity, worst_first
from romwright.fit.onboard.boarding import wires, with_gates
from romwright.fit.onboard.bus import CONTENTION
from romwright.fit.onboard.settings import Study
from romwright.fit.onboard.symptoms import Law, contents_of, find_symptoms
from romwright.fit.plans.rows import How
from romwright.images.checksums import measure
from romwright.jobs.fitting import Burning, Fitted
from romwright.parts.model import Role
from romwright.sheets.document import Block, Table, Words
from romwright.sheets.wirelist import ranges

LIKELIST = 3  # that are told
MODEL = "a model: where outputs fight a low usually wins"  # common practice, no source
HAND = "(common practice, no source)"
HEADER = ("left undone", "it is seen so", "do this")
Trouble = tuple[str, str, str]


def trouble(fitted: Fitted, burning: Burning | None) -> Iterator[Block]:
    """Yield the likeliest findings if it does not work."""
    first, *more = undone(fitted, burning) or [[]]
    rest = (each for rank in more for each in rank)
    likely = [*first, *slips(fitted, burning), *rest, *seats(fitted)][:LIKELIST]
    yield Table(HEADER, tuple(likely), wide=1)
    if burning:
        yield Words(f"Read the chip back: its CRC-32 must be {measure(burning.burnt).crc32}.")


def undone(fitted: Fitted, burning: Burning | None) -> list[list[Trouble]]:
    """Return what is seen if links were not moved, or wires not made: the worst of each, then the next of each."""
    ways = [way for way in (still_linked(fitted, burning), plugged_in(fitted)) if way]
    seen, ranks = set(), []
    for rank in range(LIKELIST):
        ranks.append([])
        for step, found in ways:
            if rank < len(found) and found[rank].code not in seen:
                seen.add(found[rank].code)
                ranks[-1].append((step, found[rank].title, found[rank].remedy))
    return ranks


def still_linked(fitted: Fitted, burning: Burning | None) -> tuple[str, list[Finding]] | None:
    """Return what is wrong if the links stay as they are, the wires made, and how a contention then shows itself."""
    if not fitted.onboard or not fitted.onboard.moved:
        return None
    board, plan = fitted.board, fitted.plan
    joined = wires(board, fitted.socket, plan, 0)
    study = Study(with_gates(board, fitted.socket, plan), fitted.cpu, fitted.socket, plan.chip,
                  also=fitted.also, wired=joined)  # fmt: skip
    found = bad(fitted, study.judge(fitted.now).findings)
    if burning:
        mounted = study.mount(study.nets(fitted.now))
        signs = find_symptoms(mounted, study.cases(mounted), contents_of(burning.burnt, plan.chip), Law.LOW)
        said = "; ".join(sign.words for sign in signs if sign.device.kind == "RAM")
        shown = f": {said} ({MODEL})" if said else ""
        found = [replace(f, title=f.title + shown) if f.code is CONTENTION else f for f in found]
    stay = ", ".join(f"{link} still at {fitted.now[link]}" for link in fitted.onboard.moved)
    return stay, found


def plugged_in(fitted: Fitted) -> tuple[str, list[Finding]] | None:
    """Return what is wrong if the chip goes in without its wires, the links set."""
    done = [row.chip for row in fitted.plan.rows if row.chip and row.how not in (How.STRAIGHT, How.OPEN)]
    if not done:
        return None
    if fitted.onboard:
        study = Study(fitted.board, fitted.cpu, fitted.socket, fitted.plan.chip, also=fitted.also)
        found = bad(fitted, study.judge(fitted.onboard.links).findings)
    else:
        found = bad(fitted, fitted.plugged_in)
    return f"not wired: pin{'s' * (len(done) > 1)} {ranges(sorted(done))}", found


def bad(fitted: Fitted, findings: Iterable[Finding]) -> list[Finding]:
    """Return the findings that are more than notes, the worst first, without those of the plan itself."""
    planned = {finding.code for finding in fitted.findings}
    return [f for f in worst_first(findings) if f.severity is not Severity.NOTE and f.code not in planned]


def slips(fitted: Fitted, burning: Burning | None) -> Iterator[Trouble]:
    """Yield what the programmer's display or the socket shows after a slip in burning."""
    if not burning:
        return
    part, burnt, wanted, at = fitted.plan.chip, burning.burnt, burning.wanted, fitted.plan.burn_at
    right = measure(burnt)
    if part.erased:
        blank = measure(bytes.fromhex(part.erased) * len(burnt))
        kind, shown, due = ("16-bit sum", blank.sum16, right.sum16)
        if shown == due:
            kind, shown, due = ("CRC-32", blank.crc32, right.crc32)
        doubt = " (UNCHECKED)" if part.unchecked_about("erased") else ""
        seen = f"its {kind} is {shown}, not {due}: {part.erased} throughout{doubt}"
        yield "not burnt, or another chip", seen, "burn it, and verify"
    if at and burnt[at : at + len(wanted)] == wanted:
        elsewhere = measure(wanted + burnt[: len(burnt) - len(wanted)])
        seen = f"its CRC-32 is {elsewhere.crc32}, the 16-bit sum is right: the socket shows what lies at {at:04X}"
        yield f"burnt at 0000 in place of {at:04X}", seen, f"burn {len(burnt):,} bytes from 0000: the whole file"
    if part.word_bytes == 2:
        turned = bytearray(burnt)
        turned[::2], turned[1::2] = burnt[1::2], burnt[::2]
        seen = f"its CRC-32 is {measure(bytes(turned)).crc32}; the sum of its bytes is right"
        yield "burnt with the bytes of each word exchanged", seen, "set the programmer to low byte first"


def seats(fitted: Fitted) -> Iterator[Trouble]:
    """Yield what is seen after a slip of the hand as the chip goes in."""
    pins, supplies = fitted.plan.chip.pins, fitted.plan.chip.supplies
    data = ranges(sorted(pin.number for pin in pins if pin.role is Role.DATA))
    yield "a leg bent under the chip", f"one of pins {data} stays still, or many bytes are wrong {HAND}", (
        "switch off, straighten the leg, seat the chip anew"
    )  # fmt: skip
    for pin in pins:
        across = pins[(pin.number - 1 + len(pins) // 2) % len(pins)]
        if supplies.get(pin.function) and supplies.get(across.function) == 0:
            seen = f"{supplies[pin.function]:+g} V meets pin {across.number} ({across.name}): it gets hot {HAND}"
            yield "notch at the wrong end", seen, "switch off at once; do not trust this chip again"
