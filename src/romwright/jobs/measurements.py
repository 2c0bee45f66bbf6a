"""What is measured at the bench: supplies with the socket empty, and levels and activity once the chip is in.

A value to expect comes from the board's file, the part's page or the plan; where none of them has one, the sheet leaves
room and says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from romwright.boards.linerates import line_rates
from romwright.boards.model import Board
from romwright.electric.socketed import rail_of
from romwright.fit.plans.rows import How, Row
from romwright.images.words import listed
from romwright.jobs.fitting import Fitted
from romwright.jobs.model import Job
from romwright.parts.model import Role
from romwright.sheets.document import Block, Tick, Ticks, Words

TIED = {How.VCC: ("tied to VCC", "H, +5 V"), How.GND: ("tied to GND", "L, 0 V")}
NO_LIMITS = "{0} states no limits for {1}: write down what you measure."
TRUST = (
    "While a rail is out, no verdict on RAM or ROM counts (common practice, no source). "
    "romwright bench check judges it."
)
LOGIC = "0 to +5 V"  # what TTL and NMOS signals keep within (common practice, no source)
LEFT_OUT = "Leave the chip out, and do not switch on with it: put right what stands under 1, then run the job again."
QUIET = "An enable that never pulses: nothing is read there. One that never rests: the chip is always on."


def supplies(fitted: Fitted) -> Iterator[Block]:
    """Yield what to measure at the empty socket, and at the rails that do not come to it."""
    board, items = fitted.board, []
    nets = sorted((net for net in fitted.plan.socket.nets.values() if net.position), key=lambda net: net.position)
    ground = next((f" against position {net.position}" for net in nets if net.volts == 0), "")
    met = {board.rails.get(fitted.socket.nodes[net.position]) for net in nets} if board else set()
    for net in (net for net in nets if net.volts):
        name = rail = fitted.socket.nodes[net.position] if board else net.function
        if board and name not in board.rails:
            rail = next((each for each, volts in board.rails.items() if volts == net.volts), "")
            name += ", with the links set as drawn below"  # which is done later: until then another level may be there
        expected = range_or(board, rail, net.volts)
        items.append(Tick(f"position {net.position} ({name}){ground}", "V", expected))
    if not items:
        yield Words("The socket brings no supply that its page names: find it before the chip goes in.", loud=True)
    items.append(Tick("every other position: the one furthest off", "V", LOGIC))
    for name, volts in (board.rails if board else {}).items():
        if volts and volts not in met:
            limits = board.limits.get(name)
            place = limits.probe if limits else "where the board has it"
            items.append(Tick(f"rail {name}: {place}", "V", range_or(board, name, volts)))
    usual = board.limits.get(feeding_rail(fitted)) if board else None
    most = f"no more than {usual.current_ma[1]:g} mA, that of every chip in" if usual and usual.current_ma else ""
    items.append(Tick("supply current, socket empty", "mA", most))
    yield Ticks(tuple(items))
    if bare := without_limits(board):
        yield Words(NO_LIMITS.format("The board's file" if board else "The socket's page", bare))
    if board and board.limits:
        yield Words(TRUST)


def window(board: Board | None, rail: str) -> str:
    """Return the range of a rail, if the board's file states one."""
    limits = board.limits.get(rail) if board else None
    return "{:+g} to {:+g} V".format(*limits.range_v) if limits and limits.range_v else ""


def range_or(board: Board | None, rail: str, volts: float) -> str:
    """Return what to expect on a rail: its range, or its volts where the board's file states none."""
    return window(board, rail) or f"{volts:+g} V"


def without_limits(board: Board | None) -> str:
    """Name what the board's file states no limits for: rails, supply current, clock."""
    clock = [] if clock_mhz(board) else ["the clock"]
    if not board or not board.limits:
        return listed(["rails", "supply current", *clock])
    bare = [name for name, volts in board.rails.items() if volts and not window(board, name)]
    amps = [f"the current of {name}" for name, volts in board.rails.items() if volts and not draw(board, name)]
    return listed([*bare, *amps, *clock])


def clock_mhz(board: Board | None) -> float | None:
    """Return the clock of a board's CPU, if its file states it."""
    return board.timing.clock_mhz if board and board.timing else None


def draw(board: Board | None, rail: str) -> str:
    """Return what a board draws from a rail, if its file states it."""
    limits = board.limits.get(rail) if board else None
    return "{:g} to {:g} mA".format(*limits.current_ma) if limits and limits.current_ma else ""


def after(job: Job, fitted: Fitted) -> Iterator[Block]:
    """Yield what to measure once the chip is in, and what it should show; nothing of that if it must stay out."""
    if stays_out(fitted):
        yield Words(LEFT_OUT, loud=True)
        return
    items = [Tick("notch and pin 1 once more, then switch on"), *supply_pins(fitted), *controls(fitted)]
    if mhz := clock_mhz(fitted.board):
        items.append(Tick(f"clock of the {fitted.cpu.name}", "MHz", f"{mhz:g} MHz"))
    items += [*activity(fitted), *map(Tick, job.after.measure)]
    items += [Tick(f"it should show: {sight}") for sight in job.after.shows]
    if not job.after.shows:
        items.append(Tick("what it shows: the job's file does not say what it should", "noted"))
    yield Ticks(tuple(items))
    if any(how_enabled(fitted, row) for row in fitted.plan.rows):
        yield Words(QUIET)


def stays_out(fitted: Fitted) -> bool:
    """Tell whether the chip must not go in as it is planned: something stops it, or it gives the wrong bytes."""
    return bool(fitted.stops) or not fitted.proof.equal


def supply_pins(fitted: Fitted) -> Iterator[Tick]:
    """Yield the supply pins of the chip, and what it may take."""
    part = fitted.plan.chip
    ground = next((pin.number for pin in part.pins if part.supplies.get(pin.function) == 0), None)
    for pin in part.pins:
        if volts := part.supplies.get(pin.function):
            yield Tick(f"chip pin {pin.number} ({pin.name}) against pin {ground}", "V", f"{volts:+g} V")
    most = part.currents and part.currents.active_ma
    doubt = " (UNCHECKED)" if part.unchecked_about("currents.active_ma") else ""
    more = f"at most {most:g} mA more{doubt}" if most else ""
    board, rail = fitted.board, feeding_rail(fitted)
    usual = draw(board, rail)
    whole = f"{usual} from {rail} with every chip in" if usual else ""
    yield Tick("supply current, chip in", "mA", "; ".join(filter(None, (more, whole))))
    for name in (name for name in (board.rails if board else ()) if name != rail and draw(board, name)):
        yield Tick(f"current of rail {name}, every chip in", "mA", draw(board, name))


def feeding_rail(fitted: Fitted) -> str:
    """Return the rail of the board that feeds the chip, nothing if there is none."""
    return rail_of(fitted.board, fitted.plan.chip) if fitted.board else ""


def controls(fitted: Fitted) -> Iterator[Tick]:
    """Yield the pins that enable the chip or must be at a level in read."""
    part = fitted.plan.chip
    for row in sorted((row for row in fitted.plan.rows if row.chip), key=lambda row: row.chip):
        pin = part.pins[row.chip - 1]
        name = f"chip pin {row.chip} ({pin.name})"
        if row.how in TIED and pin.role in (Role.CONTROL, Role.VPP):
            words, level = TIED[row.how]
            yield Tick(f"{name}, {words}", "V", f"always {level}")
        elif how_enabled(fitted, row):
            levels = " or ".join(sorted(part.enables[pin.function]))
            yield Tick(name, "", f"pulses {levels}{when(fitted, pin.function)}")
        elif pin.function in part.read_levels:
            yield Tick(name, "V", f"always {part.read_levels[pin.function]}")


def how_enabled(fitted: Fitted, row: Row) -> bool:
    """Tell whether a row is about an enable that the board switches."""
    return bool(row.chip) and row.how not in TIED and fitted.plan.chip.pins[row.chip - 1].function in (
        fitted.plan.chip.enables
    )  # fmt: skip


def when(fitted: Fitted, function: str) -> str:
    """Say at which addresses the board selects the chip; nothing for another pin, or without a board."""
    if not fitted.onboard or function != fitted.plan.chip.select:
        return ""
    accesses = [case.access for case in fitted.onboard.judged.cases if case.access.expected == fitted.socket.name]
    spans = {each.range: each.span for each in accesses if each.cycle.access == "read"}

    def is_inside(inner: tuple[int, int]) -> bool:
        return any(low <= inner[0] and inner[1] <= high for low, high in spans.values() if (low, high) != inner)

    widest = [name for name, each in spans.items() if not is_inside(each)]
    return f", in reads of {', '.join(widest)}" if widest else ""


def activity(fitted: Fitted) -> Iterator[Tick]:
    """Yield a data and an address pin of the chip: the quickest of the lines that tell whether a program runs."""
    part = fitted.plan.chip
    lines = {line: index for index, line in enumerate(fitted.plan.carried[: part.address_bits])}
    if "A0" in lines:
        pin = part.by_function[f"A{lines['A0']}"]
        moves = f"never still while a program runs{free_run(fitted)}"
        yield Tick(f"chip pin {pin.number} ({pin.name}), frequency", "kHz", moves)
    data = part.by_function["D0"]
    yield Tick(f"chip pin {data.number} ({data.name})", "", f"changes{output_levels(fitted)}")


def output_levels(fitted: Fitted) -> str:
    """Say between which levels a data pin of the chip changes; nothing if its page does not."""
    levels, doubt = fitted.plan.chip.levels, fitted.plan.chip.unchecked_about("levels.vol_max_v", "levels.voh_min_v")
    if not levels or levels.vol_max_v is None or levels.voh_min_v is None:
        return " between L and H"
    return f", at most {levels.vol_max_v:g} V, at least {levels.voh_min_v:g} V{' (UNCHECKED)' * bool(doubt)}"


def free_run(fitted: Fitted) -> str:
    """Say what frequency the lowest address line has in a free run of the board's CPU, or what part of its clock."""
    cpu = fitted.cpu
    if not cpu or not cpu.free_run:
        return ""
    rate = line_rates(cpu, Fraction(1))[0]
    doubt = " (UNCHECKED)" if cpu.free_run.unchecked else ""
    mhz = clock_mhz(fitted.board)
    share = f"{float(rate.hz) * mhz * 1000:g} kHz" if mhz else f"{rate.hz} of {cpu.free_run.clock}"
    return f"; in a free run {share}{doubt}"
