"""The bench sheet of a job: what is known put into the order in which the work is done."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.findings import blocks, worst_first
from romwright.fit.plans.rows import How
from romwright.fit.plans.wiring import Plan
from romwright.fit.standins import why_not
from romwright.images.checksums import measure
from romwright.images.words import counted, in_bytes
from romwright.jobs.doubts import unchecked
from romwright.jobs.dumps import Examined
from romwright.jobs.fitting import Burning, Fitted
from romwright.jobs.measurements import after, stays_out, supplies
from romwright.jobs.model import Job
from romwright.jobs.troubles import trouble
from romwright.parts.cautions import LOCAL_RULES, job_cautions
from romwright.parts.programming import list_facts
from romwright.sheets.adapter import draw_view
from romwright.sheets.document import Block, Facts, Picture, Section, Sheet, Statement, Table, Tick, Ticks, Words
from romwright.sheets.drawing import size_of
from romwright.sheets.jumpers import build_jumpers_svg, draw_jumpers
from romwright.sheets.pinlines import draw_pin_lines
from romwright.sheets.placement import gate_notes, join_ends
from romwright.sheets.shapes import page
from romwright.sheets.wirelist import HEADER, list_straight, list_ties, list_wires
from romwright.sheets.wiring import LEGEND, VIEWS, title_of, warning_about

READ_MARKING = "Read the marking first: maker, number, letters behind it."
MARGINS = "path", "the CPU gives", "delays take", "the chip takes", "is left"
DECOUPLED = "100 nF beside it (common practice, no source)"


def brief(
    job: Job, dumps: tuple[Examined, ...], fitted: Fitted | None, burning: Burning | None, unrecorded: tuple[str, ...],
    file: str = "",
) -> Sheet:  # fmt: skip
    """Write the sheet of a job from all that was found out; `file` is what is burnt, if the job writes it."""
    sections = [Section("What and why", tuple(purpose(job, fitted, burning, unrecorded)))]
    sections.append(Section("Before you start", tuple(before(fitted))))
    if fitted:
        own = not fitted.share  # chips in place of one have one socket, which is measured once
        sections.append(Section("Supplies, with the socket empty", tuple(supplies(fitted)), whole=True, each=own))
    sections += [Section(f"The dump {' and '.join(each.files)}", tuple(verdict(each))) for each in dumps]
    if fitted:
        sections.append(Section(f"The chip: {fitted.plan.chip.name}", tuple(chip(fitted))))
    if burning and fitted:
        sections.append(Section("Burn it, and check the sums", tuple(sums(fitted, burning, file)), each=True))
    if fitted:
        if fitted.onboard and fitted.onboard.links:
            sections.append(Section("Links", tuple(links(fitted)), whole=True))
        sections.append(Section("Wiring", tuple(views(fitted))))
        listed = tuple(wires(fitted))
        sections.append(Section("Wires", listed, each=isinstance(listed[0], Table)))
        sections.append(Section("After fitting", tuple(after(job, fitted)), each=True))
        if not stays_out(fitted):
            sections.append(Section("If it does not work", tuple(trouble(fitted, burning)), whole=True))
    if fitted and fitted.board:
        sections.append(Section("In time?", tuple(in_time(fitted)), whole=True))
    return Sheet(job.title, job.why, job.date, tuple(sections), tuple(unchecked(fitted)))


def purpose(job: Job, fitted: Fitted | None, burning: Burning | None, unrecorded: tuple[str, ...]) -> Iterator[Block]:
    """Yield what the job is, and the verdict on its plan."""
    pairs = []
    if fitted:
        board, original = fitted.board, fitted.plan.original
        where = f"{fitted.socket.name} of {board.title}" if board else f"laid out for {original.name}"
        pairs += [("socket", where), ("chip", fitted.plan.chip.name)]
        if fitted.cpu:
            pairs.append(("CPU", fitted.cpu.name))
    if burning and job.contents:
        pairs.append(("contents", ", ".join(job.contents.files)))
    if fitted:
        pairs.append(("proof", proof_in_words(fitted, burning)))
    if fitted and fitted.timing:
        pairs.append(("time", fitted.timing.words))
    if pairs:
        yield Facts(tuple(pairs))
    if fitted and not fitted.works:
        why = why_not((), fitted.plan, fitted.proof)
        failing = f"As planned it does not do what the original did{why and f': {why}'}."
        yield Words(f"{failing} Read the findings before you solder.", loud=True)
    yield from map(Statement.of, worst_first(dict.fromkeys(fitted.findings) if fitted else ()))
    if unrecorded:
        yield Words(f"The job's file records no checksum of {', '.join(unrecorded)}: other files may have been meant.")


def proof_in_words(fitted: Fitted, burning: Burning | None) -> str:
    """Say what was proved."""
    proof = fitted.proof
    what = "the byte wanted" if burning else "the cell that belongs there"
    read = f"{proof.addresses:,} addresses read in {counted(proof.states, 'state')} of the control lines"
    if not proof.equal:
        return f"{read}: NOT equal"
    drives = "" if proof.drive_equal else f"; it drives the bus otherwise in {counted(proof.states_differ, 'state')}"
    return f"{read}, each gives {what}{drives}"


def before(fitted: Fitted | None) -> Iterator[Block]:
    """Yield the cautions that apply."""
    yield Words(LOCAL_RULES, loud=True)
    if not fitted:
        return
    plan, board = fitted.plan, fitted.board
    soldering = bool(plan.gates) or any(row.how not in (How.STRAIGHT, How.OPEN) for row in plan.rows)
    said = job_cautions(plan.chip, board and board.rails, soldering)
    yield Ticks(tuple(Tick(caution) for caution, _ in said))
    sources = "; ".join(dict.fromkeys(source for _, source in said if source))
    yield Words(f"Sources: {sources}; else common practice, no source.")


def verdict(dump: Examined) -> Iterator[Block]:
    """Yield what is known of a dump: the verdict first."""
    good, words = judgement(dump)
    yield Words(words, loud=not good)
    pairs = [("size", in_bytes(dump.image.span_bytes)), ("CRC-32", dump.sums.crc32), ("16-bit sum", dump.sums.sum16),
             ("SHA-256", dump.sums.sha256)]  # fmt: skip
    if dump.identification:
        known = [f"{match.how}: {match.name} (list {match.list})" for match in dump.identification.matches]
        pairs.append(("it is", "; ".join(known) or "no ROM of the lists"))
    if dump.settlement:
        settled = dump.settlement
        state = "settled" if settled.settled else "NOT settled"
        pairs.append(("reads", f"{settled.fewest} counted, {state}"))
    yield Facts(tuple(pairs))
    yield from map(Statement.of, worst_first(dump.findings))


def judgement(dump: Examined) -> tuple[bool, str]:
    """Return whether a dump is known to be good, and the verdict in a sentence."""
    found = worst_first(dump.findings)
    if dump.comparison and not dump.comparison.identical:
        wrong, rose, fell = dump.comparison.plain
        where = f"{wrong:,} of {in_bytes(dump.comparison.bytes_compared)} differ from {dump.reference}"
        return False, f"NOT GOOD: {where}: {counted(rose, 'bit')} rose, {fell:,} fell."
    if blocks(found):
        return False, f"NOT GOOD: {found[0].title}."
    if dump.settlement and not dump.settlement.settled:
        return False, "NOT SURE: the reads do not settle every bit: read the chip again."
    if dump.comparison:
        return True, f"GOOD: every byte is that of {dump.reference}."
    if dump.identification and dump.identification.known:
        first = next(match for match in dump.identification.matches if match.lossless)
        return True, f"GOOD: it is {first.name} of the list {first.list} ({first.how})."
    held = "no ROM of the lists has these bytes" if dump.identification else "the job names nothing to hold it against"
    return False, f"NOT KNOWN: {held}: read the chip once more and compare."


def chip(fitted: Fitted) -> Iterator[Block]:
    """Yield the chip: how it is burnt and erased."""
    part = fitted.plan.chip
    programming, volts = part.programming, "its page names none"
    if programming and programming.vpp_v:
        limit = f", never above {programming.vpp_max_v:g} V" if programming.vpp_max_v else ""
        doubt = " (UNCHECKED)" if part.unchecked_about("programming.vpp_v") else ""
        volts = f"{programming.vpp_v:g} V{limit}{doubt}"
    yield from map(Statement.of, fitted.voltage)
    yield Words(f"Programming voltage: {volts}. {READ_MARKING}", loud=True)
    makers = programming.by_maker if programming else ()
    pairs = [("part", size_of(part)), *(("by maker", line) for line in makers), *list_facts(part)]
    doubt = " (UNCHECKED)" if part.unchecked_about("erased") else ""
    blank = [("then reads", f"every byte {part.erased}{doubt}")] if part.erased else []
    yield Facts((*pairs, *blank))


def sums(fitted: Fitted, burning: Burning, file: str) -> Iterator[Block]:
    """Yield what was done to the contents, and what the programmer should show."""
    measured = measure(burning.burnt)
    yield Facts((
        *((f"step {number}", step) for number, step in enumerate(burning.steps, 1)),
        ("burn", ", ".join(filter(None, (file, in_bytes(len(burning.burnt)))))), ("16-bit sum", measured.sum16),
        ("8-bit sum", measured.sum8), ("CRC-32", measured.crc32), ("SHA-256", measured.sha256),
    ))  # fmt: skip
    erase = (Tick("the chip reads blank before it is burnt"),) if fitted.plan.chip.erased else ()
    yield Ticks((*erase, Tick("burnt and verified"), Tick("the sum on the programmer's display", "", measured.sum16)))
    yield from map(Statement.of, worst_first(burning.findings))


def in_time(fitted: Fitted) -> Iterator[Block]:
    """Yield whether the chip gives its data in time: the margins, what binds, what cannot be said."""
    timing = fitted.timing
    if timing is None:
        yield Words(f"It cannot be said: no page has the read timing of the {fitted.board.cpu}.")
        return
    yield Words(timing.words, loud=timing.verdict == "too slow")
    rows = [(path.short, *(part.words for part in (path.window, path.delay, path.need, path.margin)))
            for path in timing.paths]  # fmt: skip
    if rows:
        yield Table(MARGINS, tuple(rows))
    known = [*timing.circumstances, *[f"not known: {'; '.join(timing.lacks)}"] * bool(timing.lacks)]
    at, sources = "; ".join(known), f"Sources: {'; '.join(timing.checked)}."
    granted = f"Taken for granted: {'; '.join(timing.granted)}." if timing.granted else ""
    yield Words(" ".join(filter(None, (f"{at[0].upper()}{at[1:]}.", timing.slowest_words, sources, granted))))


def links(fitted: Fitted) -> Iterator[Block]:
    """Yield the links: which to move, and how all are set."""
    found, now = fitted.onboard, fitted.now
    moves = [f"{link}: move from {now[link]} to {position}" for link, position in found.moved.items()]
    stays = "stays at" if now else "set to"
    stay = [f"{link}: {stays} {position}" for link, position in found.links.items() if link not in found.moved]
    yield Ticks(tuple(map(Tick, (*moves, *stay))))
    links = [link for link in fitted.board.links if link.name in found.links]
    if links:
        drawn = tuple(draw_jumpers(links, found.links, now))
        svg = build_jumpers_svg(links, found.links, now)
        yield Picture("Pads in their order, not as they lie on the board", svg, drawn)


def views(fitted: Fitted) -> Iterator[Block]:
    """Yield the drawings of the wiring: from above and from the solder side."""
    plan = fitted.plan
    if warning := warning_about(fitted.proof):
        yield Words(warning, loud=True)
    yield Words(title_of(plan))
    for mirrored, view in zip((False, True), VIEWS):
        canvas, height = draw_view(plan, mirrored)
        svg = page(round(canvas.width), round(height), title_of(plan), canvas.elements(0))
        yield Picture(f"{view[0].upper()}{view[1:]}", svg, tuple(draw_pin_lines(plan, mirrored)), share=2)


def wires(fitted: Fitted) -> Iterator[Block]:
    """Yield the list of wires, the gates' other pins, and what the signs in the drawing mean."""
    plan = fitted.plan
    listed = (*list_wires(plan), *list_ties(plan))
    yield Table(HEADER, listed, ticked=True, wide=3) if listed else Words("Nothing to wire.")
    if plan.gates:
        packages = {each.package: [gate for gate in plan.gates if gate.package == each.package] for each in plan.gates}
        notes = ["; ".join((*gate_notes(gates), DECOUPLED)) for gates in packages.values()]
        late = "an unknown time" if plan.delay_ns is None else f"up to {plan.delay_ns:g} ns"
        yield Ticks(tuple(map(Tick, notes)))
        yield Words(f"Through these the chip answers later by {late}.")
    yield Facts(tuple(seat(plan)))
    bent, numbered = any(row.how is not How.STRAIGHT for row in plan.rows if row.chip), any(join_ends(plan))
    legend = [line for line, shown in zip(LEGEND, (bent, True, numbered)) if shown]
    yield Words(" ".join(f"{line[0].upper()}{line[1:]}" for line in legend))


def seat(plan: Plan) -> Iterator[tuple[str, str]]:
    """Yield how the chip sits, when both drive the bus, and where the contents lie."""
    for line in list_straight(plan):
        yield "straight in", line.partition(": ")[2]
    if seating := plan.socket.seating(plan.chip):
        yield "seat", seating
    yield "original drives", f"at {plan.wired.original.words}"
    yield "chip, wired", f"at {plan.wired.fitted.words}"
    if plan.chip.words > plan.original.words:
        yield "contents", f"from {plan.burn_at:04X} of the chip's file on"
    for line in plan.bank_lines:
        yield "bank", line
