"""A plan as a picture: the socket, the chip beside it, the gates below, and each wire on its own way.

Straight pins are thin and quiet. What is done with a pin is told by its shape: a pin bent up is a hook that ends in
an open ring, a wire has a number at each end, a tie ends in the sign for ground or for the supply.
"""

from __future__ import annotations

from romwright.fit.plans.glue import PlacedGate
from romwright.fit.plans.rows import How, Row
from romwright.fit.plans.wiring import Plan
from romwright.parts.model import Part, Role
from romwright.sheets.canvas import Canvas
from romwright.sheets.lanes import Track, choose_dashes, cut
from romwright.sheets.placement import BODY, GATE_HEIGHT, LEG, LIFT, PITCH, Picture, gate_notes, terminals_of
from romwright.sheets.shapes import INK, PAPER, width_of

DASHES = ("", ' stroke-dasharray="16 5"', ' stroke-dasharray="14 4 3 4"', ' stroke-dasharray="5 4"')
SIDES = {False: "FROM ABOVE", True: "SOLDER SIDE"}
UNDERSIDE = ' stroke-dasharray="11 6"'  # how the body is drawn behind the board
Name = tuple[str, int]  # with the size of its letters
COLOURS = ("#000", "#00307a", "#7a1500", "#00491c")  # dark enough to print as black


def draw_view(plan: Plan, mirrored: bool) -> tuple[Canvas, float]:
    """Draw a plan, seen from above or from the solder side; returns the picture and its height."""
    picture = Picture(plan)
    canvas = Canvas(picture.width, mirrored)
    draw_socket(canvas, picture)
    draw_chip(canvas, picture)
    draw_gates(canvas, picture)
    tracks = picture.tracks()
    draw_wires(canvas, tracks)
    draw_numbers(canvas, picture)
    draw_banner(canvas, picture)
    return canvas, picture.height


def draw_banner(canvas: Canvas, picture: Picture) -> None:
    """Write between socket and chip from which side they are seen: white from above, black from the solder side."""
    words, middle = SIDES[canvas.mirrored], (picture.socket_right + picture.chip_left) / 2
    wide = max(width_of(each, 17) for each in SIDES.values()) + 16
    canvas.box(middle - wide / 2, 3, wide, 27, 3, INK if canvas.mirrored else PAPER)
    canvas.write(middle, 22.5, words, 17, "middle", bold=True, ink=PAPER if canvas.mirrored else INK)


def draw_wires(canvas: Canvas, tracks: list[Track]) -> None:
    """Draw the wires: neighbours dashed otherwise, a gap where one passes under another, a dot where three meet."""
    parts, styles = cut(tracks), choose_dashes(tracks, len(DASHES))
    for track in tracks:
        way = "".join(
            f"M{line.at:.1f} {line.low:.1f}V{line.high:.1f}" if line.upright
            else f"M{line.low:.1f} {line.at:.1f}H{line.high:.1f}"
            for line in parts[track.number]
        ).replace(".0", "")  # fmt: skip
        style = styles[track.number]
        extra = f'{DASHES[style]} stroke-linecap="{"butt" if style else "square"}" data-wire="{track.number}"'
        canvas.path(way, 3, ink=COLOURS[style], extra=extra)
        for x, y in track.dots:
            canvas.disc(x, y, 5)


def draw_outline(canvas: Canvas, left: float, top: float, bottom: float, stroke: float) -> None:
    """Draw the body of a package with its notch."""
    middle, right = left + BODY / 2, left + BODY
    notch = f"H{middle - 20}A20 20 0 0 0 {middle + 20} {top}H{right}"
    extra = ' stroke-linejoin="round"' + UNDERSIDE * canvas.mirrored
    canvas.path(f"M{left} {top}{notch}V{bottom}H{left}Z", stroke, PAPER, extra=extra)


def draw_pin_text(canvas: Canvas, left: float, y: float, number: int, name: Name, right_side: bool, loud: bool) -> None:
    """Write the number of a pin and its name inside the body; that of pin 1 in reverse, below an arrow."""
    inward, edge = (-1, left + BODY) if right_side else (1, left)
    x = edge + inward * 21
    if number == 1:
        canvas.box(x - 15, y - 11, 30, 20, 0, INK)
        canvas.path(f"M{edge + 13} {y - PITCH / 2 - 16}h16l-8 12z", 0, INK)
        canvas.write(edge + 35, y - PITCH / 2 - 5, "pin 1", 13, bold=True)
    canvas.write(x, y + 7.5, str(number), 22, "middle", bold=True, ink=PAPER if number == 1 else INK)
    anchor = "end" if right_side else "start"
    canvas.write(edge + inward * 40, y + 5, name[0], name[1], anchor, bold=loud)


def fit_names(part: Part) -> dict[int, Name]:
    """Return the name of each pin with the size of its letters, so that two in one row have room in the body."""
    room, found = BODY - 88, {}
    for left, right in zip(part.pins[: part.pin_count // 2], reversed(part.pins)):
        names, size = [left.name, right.name], 14
        if sum(width_of(name, size) for name in names) > room:
            size = 11
        while sum(width_of(name, size) for name in names) > room:
            longer = names.index(max(names, key=len))
            names[longer] = f"{names[longer].rstrip('…')[:-1]}…"
        found |= {pin.number: (name, size) for pin, name in zip((left, right), names)}
    return found


def draw_socket(canvas: Canvas, picture: Picture) -> None:
    """Draw the socket: a filled contact takes a straight pin, an open one takes none."""
    part, left = picture.original, picture.socket_left
    top = picture.y(part, 1) - PITCH / 2
    draw_outline(canvas, left, top, picture.bottom, 4)
    canvas.write(left + BODY / 2, picture.bottom + 20, "SOCKET", 15, "middle", bold=True)
    used, names = {net.position for net in picture.nets}, fit_names(part)
    straight = {row.socket for row in picture.plan.rows if row.how is How.STRAIGHT}
    for pin in part.pins:
        y, right_side = picture.y(part, pin.number), pin.number > part.pin_count // 2
        x = left + BODY if right_side else left - LEG
        taken = pin.number in straight
        canvas.box(x, y - 6, LEG, 12, 1.5 if pin.number not in used else 3, INK if taken else PAPER)
        draw_pin_text(canvas, left, y, pin.number, names[pin.number], right_side, pin.number in used)


def draw_chip(canvas: Canvas, picture: Picture) -> None:
    """Draw the chip, each pin as what is done with it asks."""
    part, left, names = picture.chip, picture.chip_left, fit_names(picture.chip)
    draw_outline(canvas, left, picture.y(part, 1) - PITCH / 2, picture.bottom, 4)
    canvas.write(left + BODY / 2, picture.bottom + 20, f"CHIP {part.name}", 15, "middle", bold=True)
    for pin in part.pins:
        row, y, right_side = picture.rows[pin.number], picture.y(part, pin.number), pin.number > part.pin_count // 2
        out, edge = (1, left + BODY) if right_side else (-1, left)
        if row.how is How.STRAIGHT:
            canvas.box(edge if right_side else edge - LEG, y - 4, LEG, 8, 1.5)
            if row.socket != pin.number:
                anchor = "start" if right_side else "end"
                canvas.write(edge + out * (LEG + 6), y + 5, f"in {row.socket}", 13, anchor)
        elif pin.role is Role.NC and row.socket is None:
            canvas.line((edge, y), (edge + out * LEG, y), stroke=2)
        else:
            draw_hook(canvas, edge, y, out)
            draw_sign(canvas, row, edge + out * (LEG + 6), y - LIFT, out)
        draw_pin_text(canvas, left, y, pin.number, names[pin.number], right_side, row.how is not How.STRAIGHT)


def draw_hook(canvas: Canvas, edge: float, y: float, out: int) -> None:
    """Draw a pin that is bent up: it leaves the body and turns up, away from the board, into an open ring."""
    canvas.line((edge, y), (edge + out * 10, y), (edge + out * 17, y - LIFT + 3), stroke=6)
    canvas.disc(edge + out * (LEG + 1), y - LIFT, 5, 2.5, PAPER)


def draw_sign(canvas: Canvas, row: Row, x: float, y: float, out: int) -> None:
    """Draw what a pin that is bent up and takes no wire goes to: ground, supply, a switch, the board, nothing."""
    anchor = "start" if out > 0 else "end"
    if row.how in (How.WIRE, How.GATE):
        return
    if row.how is How.OPEN:
        canvas.write(x + out * 6, y + 5, "open", 13, anchor)
        return
    at = x + out * 20
    canvas.line((x, y), (at, y), stroke=3)
    if row.how is How.GND:
        canvas.line((at, y), (at, y + 9), stroke=3)
        for width, down in ((11, 9), (7, 13), (3, 17)):
            canvas.line((at - width, y + down), (at + width, y + down), stroke=2.5)
        canvas.write(at + out * 14, y + 9, "GND", 13, anchor, bold=True)
    elif row.how is How.VCC:
        canvas.line((at, y + 1.5), (at, y - 12), stroke=3)
        canvas.line((at - 10, y - 12), (at + 10, y - 12), stroke=4)
        canvas.write(at + out * 14, y + 4, "VCC", 13, anchor, bold=True)
    else:
        canvas.path(f"M{at} {y - 6}l{out * 9} 6l{-out * 9} 6z", 2, PAPER)
        name = row.point or row.strap
        canvas.write(at + out * 13, y + 5, name if len(name) <= 7 else f"{name[:6]}…", 12, anchor, bold=True)


def draw_gates(canvas: Canvas, picture: Picture) -> None:
    """Draw each gate package as a box with the pins that are used at its top, and what its other pins need."""
    for ref, (left, width) in picture.boxes.items():
        gates, top = picture.packages[ref], picture.gates + 14
        canvas.box(left, top, width, GATE_HEIGHT, 3.5)
        for gate in gates:
            draw_gate(canvas, picture, gate, top)
        for count, line in enumerate(gate_notes(gates)):
            canvas.write(left + width / 2, top + 72 + 18 * count, line, 14, "middle", bold=not count)


def draw_gate(canvas: Canvas, picture: Picture, gate: PlacedGate, top: float) -> None:
    """Draw the pins of a gate at the top of its box, with what is tied there, and say which is which."""
    pins = terminals_of(gate)
    for (pin, name), tap in zip(pins, (*gate.taps, None)):
        x = picture.gate_pin_x[gate.package, pin]
        canvas.line((x, picture.gates), (x, top), stroke=4)
        canvas.write(x, top + 25, name, 22, "middle", bold=True)
        if tap and (tap.level or tap.point):
            tied = {"H": "VCC", "L": "GND"}.get(tap.level, "board")
            canvas.write(x, picture.gates - 4, tied, 12, "middle", bold=True)
    first, last = (picture.gate_pin_x[gate.package, pin] for pin in (pins[0][0], pins[-1][0]))
    canvas.line((first - 12, top + 32), (last + 12, top + 32), stroke=1.5)
    words = f"{gate.kind}: {', '.join(name for _, name in pins[:-1])} → {pins[-1][1]}"
    canvas.write((first + last) / 2, top + 48, words, 13, "middle")


def draw_numbers(canvas: Canvas, picture: Picture) -> None:
    """Write the number of each wire at every end."""
    for net in picture.nets:
        places = []
        if net.position:
            (x, y), *_ = picture.socket_end(net.position).way
            far = net.position <= picture.original.pin_count // 2
            places.append((x + (-16 if far else 14), y))
        for pin in net.pins:
            (x, y), *_ = picture.chip_end(pin).way
            far = pin > picture.chip.pin_count // 2
            places.append((x + (16 if far else -14), y))
        places += [(picture.gate_pin_x[pin], picture.gates - 12) for pin in (*net.gate_pins, net.output) if pin]
        for x, y in places:
            canvas.disc(x, y, 10.5, 2, PAPER)
            canvas.write(x, y + 4.5, str(net.number), 13, "middle", bold=True)
