"""The bench sheet of a job: what is known put into the order in which the work is done."""

from __future__ import annotations

from collections.abc import Iterator

from romwright.findings import Finding, worst_first
from romwright.fit.onboard.settings import Study
from romwright.fit.plans.rows import How
from romwright.images.checksums import measure
from romwright.images.words import counted, in_bytes
from romwright.jobs.dumps import Examined
from romwright.jobs.fitting import Burning, Fitted
from romwright.jobs.model import Job
from romwright.parts.cautions import LOCAL_RULES, fitting_cautions, programming_cautions
from romwright.sheets.adapter import draw_view
from romwright.sheets.board import build_board_svg
from romwright.sheets.document import Block, Facts, Picture, Section, Sheet, Statement, Table, Tick, Ticks, Words
from romwright.sheets.drawing import build_svg, draw_text, size_of
from romwright.sheets.links import draw_link
from romwright.sheets.shapes import page
from romwright.sheets.wirelist import HEADER, list_straight, list_ties, list_wires
from romwright.sheets.wiring import LEGEND, VIEWS, remarks, title_of, warning_about

LIKELIEST = 3  # findings that are told for the case that it does not work
NO_LIMITS = "{0:+g} V; limits: see the chip's data sheet"
READ_MARKING = "Read what is printed on the chip before a voltage is set: maker, number, letters behind it."


def brief(
    job: Job, dumps: tuple[Examined, ...], fitted: Fitted | None, burning: Burning | None, unrecorded: tuple[str, ...]
) -> Sheet:
    """Write the sheet of a job from all that was found out."""
    sections = [Section("What and why", tuple(purpose(job, fitted, burning, unrecorded)), whole=True)]
    cautions = tuple(before(fitted))
    sections += [Section("Before you start", cautions)]
    if fitted:
        sections.append(Section("Supplies, with the socket empty", tuple(supplies(fitted)), whole=True))
    sections += [Section(f"The dump {' and '.join(each.files)}", tuple(verdict(each))) for each in dumps]
    if fitted:
        sections.append(Section(f"The chip: {fitted.plan.chip.name}", tuple(chip(fitted)), whole=True))
    if burning and fitted:
        sections.append(Section("Burn it, and check the sums", tuple(sums(job, fitted, burning)), whole=True))
    if fitted:
        if fitted.onboard and fitted.onboard.links:
            sections.append(Section("Links", tuple(links(fitted)), whole=True))
        sections += wiring(fitted)
        sections.append(Section("After fitting", tuple(after(job, fitted))))
        sections.append(Section("If it does not work", tuple(trouble(fitted, burning))))
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
    yield Facts(tuple(pairs))
    if fitted and not fitted.works:
        yield Words("As planned it does not do what the original did: read the findings before you solder.", loud=True)
    for finding in worst_first(fitted.findings if fitted else ()):
        yield Statement.of(finding)
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
    lines = []
    if fitted:
        soldering = any(row.how not in (How.STRAIGHT, How.OPEN) for row in fitted.plan.rows) or fitted.plan.gates
        lines = [line for line in fitting_cautions() if soldering or not line.startswith("Solder")]
        lines += programming_cautions(fitted.plan.chip)
    yield Ticks(tuple(Tick(line) for line in dict.fromkeys(lines) if line != LOCAL_RULES))


def supplies(fitted: Fitted) -> Iterator[Block]:
    """Yield what to measure at the empty socket."""
    socket, items = fitted.plan.socket, []
    ground = next((net.position for net in socket.nets.values() if net.volts == 0), None)
    against = f" against position {ground}" if ground else ""
    for net in sorted(socket.nets.values(), key=lambda net: net.position or 0):
        if net.volts and net.position:
            items.append(Tick(f"position {net.position}{against}", "V", NO_LIMITS.format(net.volts)))
    if not items:
        yield Words("The socket brings no supply that its page names: find it before the chip goes in.", loud=True)
    yield Ticks((*items, Tick("no other position carries more than 5 V, or less than 0 V", "V")))
    yield Words("The board's file states no limits for its rails and no supply current: note what you measure.")


def verdict(dump: Examined) -> Iterator[Block]:
    """Yield what is known of a dump."""
    pairs = [("size", in_bytes(dump.image.span_bytes)), ("CRC-32", dump.sums.crc32), ("16-bit sum", dump.sums.sum16),
             ("SHA-256", dump.sums.sha256)]  # fmt: skip
    if dump.identification:
        known = [f"{match.how}: {match.name} (list {match.list})" for match in dump.identification.matches]
        pairs.append(("it is", "; ".join(known) or "no ROM of the lists"))
    if dump.comparison:
        same = dump.comparison.identical
        pairs.append(("against " + dump.reference, "identical" if same else "it differs: see below"))
    if dump.settlement:
        settled = dump.settlement
        state = "settled" if settled.settled else "NOT settled"
        pairs.append(("reads", f"{settled.votes and settled.fewest or 0} counted, {state}"))
    yield Facts(tuple(pairs))
    yield from map(Statement.of, worst_first(dump.findings))


def chip(fitted: Fitted) -> Iterator[Block]:
    """Yield the chip: its pins, how it is burnt and erased."""
    part = fitted.plan.chip
    programming, pairs = part.programming, [("part", size_of(part))]
    if programming and programming.vpp_v:
        limit = f", never above {programming.vpp_max_v:g} V" if programming.vpp_max_v else ""
        doubt = " (UNCHECKED)" if part.unchecked_about("programming.vpp_v") else ""
        pairs.append(("programming voltage", f"{programming.vpp_v:g} V{limit}{doubt}"))
    pairs += [("by maker", line) for line in (programming.by_maker if programming else ())]
    ways = {"EPROM": "UV-C light through the window, then blank", "EEPROM": "electrically, by the programmer"}
    pairs.append(("erased", ways.get(part.family, "once programmed it stays so" if "PROM" in part.family else "-")))
    yield Facts(tuple(pairs))
    yield Words(READ_MARKING, loud=True)
    yield Picture(f"{part.name}, seen from above", build_svg(part), tuple(draw_text(part, boxes=False)))


def sums(job: Job, fitted: Fitted, burning: Burning) -> Iterator[Block]:
    """Yield what was done to the contents, and what the programmer should show."""
    measured = measure(burning.burnt)
    yield Table(("step",), tuple((step,) for step in burning.steps))
    yield Facts((
        ("bytes", f"{len(burning.burnt):,}"), ("16-bit sum", measured.sum16), ("8-bit sum", measured.sum8),
        ("CRC-32", measured.crc32), ("SHA-256", measured.sha256),
    ))  # fmt: skip
    erase = (Tick("the chip reads blank before it is burnt"),) if fitted.plan.chip.erased else ()
    yield Ticks((*erase, Tick("burnt and verified"), Tick("the sum on the programmer's display", "", measured.sum16)))
    yield from map(Statement.of, worst_first(burning.findings))


def links(fitted: Fitted) -> Iterator[Block]:
    """Yield the links: which to move, and how all are set."""
    found, board = fitted.onboard, fitted.board
    moves = [f"{link}: move from {fitted.now[link]} to {position}" for link, position in found.moved.items()]
    stay = [f"{link}: {position}" for link, position in found.links.items() if link not in found.moved]
    yield Ticks(tuple(map(Tick, (*moves, *stay))))
    drawn = [line for link in board.links for line in draw_link(link, found.links.get(link.name))]
    yield Picture("as they must be", build_board_svg(board, found.links), tuple(drawn))


def wiring(fitted: Fitted) -> Iterator[Section]:
    """Yield the drawings of the wiring, from above and from the solder side, and the list of wires."""
    plan = fitted.plan
    warning = warning_about(fitted.proof)
    for mirrored, view in zip((False, True), VIEWS):
        canvas, height = draw_view(plan, mirrored)
        svg = page(round(canvas.width), round(height), title_of(plan), canvas.elements(0))
        loud = (Words(warning, loud=True),) if warning else ()
        yield Section(f"Wiring, {view}", (*loud, Picture(title_of(plan), svg)), whole=True)
    wires = (*list_wires(plan), *list_ties(plan))
    listed = (Table(HEADER, wires, ticked=True, wide=3),) if wires else (Words("Nothing to wire."),)
    said = [Words(words) for words in (*list_straight(plan), *remarks(plan))]
    yield Section("Wires", (*listed, *said, *map(Words, LEGEND)))


def after(job: Job, fitted: Fitted) -> Iterator[Block]:
    """Yield what to measure once the chip is in, and what it should show."""
    plan, items = fitted.plan, [Tick("notch and pin 1 once more, then switch on")]
    for row in plan.rows:
        pin = plan.chip.pins[row.chip - 1] if row.chip else None
        if pin is None or pin.function not in (*plan.chip.enables, *plan.chip.read_levels):
            continue
        if row.how in (How.VCC, How.GND):
            level = "H" if row.how is How.VCC else "L"
            items.append(Tick(f"chip pin {row.chip} ({pin.name}), tied", "V", f"always {level}"))
        elif pin.function in plan.chip.enables:
            levels = " or ".join(sorted(plan.chip.enables[pin.function]))
            items.append(Tick(f"chip pin {row.chip} ({pin.name})", "", f"pulses {levels}"))
    yield Ticks((*items, *map(Tick, job.after.measure)))
    if job.after.shows:
        yield Words("It should show:")
        yield Ticks(tuple(map(Tick, job.after.shows)))
    yield Words("An enable that never pulses: nothing is read there. One that never rests: the chip is always on.")


def trouble(fitted: Fitted, burning: Burning | None) -> Iterator[Block]:
    """Yield the likeliest findings if it does not work: what is wrong if this or that was left undone."""
    likely = list(undone(fitted))[:LIKELIEST]
    if likely:
        yield Words("What was left undone shows so, the likeliest first:")
        yield Table(("what is seen", "what to do"), tuple((found.title, found.remedy) for found in likely))
    else:
        yield Words("Nothing that was planned is likely to be at fault: look at the seat of the chip and its legs.")
    if burning:
        yield Words(f"Read the chip back and compare its CRC-32 with {measure(burning.burnt).crc32}.")


def undone(fitted: Fitted) -> Iterator[Finding]:
    """Yield what is wrong with the links as they were, or with the chip simply plugged in; the worst first."""
    if fitted.onboard and fitted.onboard.moved:
        study = Study(fitted.board, fitted.cpu, fitted.socket, fitted.plan.chip)
        yield from worst_first(study.judge(fitted.now).findings)
    elif fitted.onboard:
        study = Study(fitted.board, fitted.cpu, fitted.socket, fitted.plan.chip)
        yield from worst_first(study.judge(fitted.onboard.links).findings)
    else:
        yield from worst_first(fitted.plugged_in)


def unchecked(fitted: Fitted | None) -> Iterator[str]:
    """Yield what no document was read for, and the sheet rests on."""
    for name, entries in (fitted.unchecked if fitted else {}).items():
        yield from (f"{name}: {entry}" for entry in entries)
