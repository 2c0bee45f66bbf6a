"""A board's sockets and links: as lines of text, and as SVG for a printer without colours.

What a position carries stands beside it, and beside that where it comes from: a rail, a gate, a link with what it
joins at present. The same board and setting give the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from romwright.boards.model import UNCONNECTED, Board, Socket
from romwright.sheets.links import link_shapes, link_size
from romwright.sheets.shapes import BODY, LEG, PITCH, body, leg, page, text, width_of, wrap

MARGIN, LINE, LEAST = 36, 26, 920  # pixels
LINKS = "Links: pads in their order, not as they lie on the board; below them what each position joins"
Setting = Mapping[str, str]


def draw_socket(board: Board, socket: Socket, now: Setting | None = None) -> list[str]:
    """Draw a socket in ASCII as seen from above, notch up, with nodes and where they come from."""
    half = socket.pin_count // 2
    cells = {n: (name_at(board, socket, n), note_at(board, socket, n, now)) for n in socket.nodes}
    note, width = (max(len(cells[n][i]) for n in range(1, half + 1)) for i in (1, 0))
    indent = " " * (note + width + 8)
    lines = [f"{indent}+----\\_/----+"]
    for n in range(1, half + 1):
        (name, told), (other, its) = cells[n], cells[socket.pin_count + 1 - n]
        mark = "*" if n == 1 else " "
        lines.append(f"  {told:>{note}}  {name:>{width}} --|{mark}{n:<3}   {socket.pin_count + 1 - n:>3} |-- "
                     f"{other:<{max(8, width)}}  {its}".rstrip())  # fmt: skip
    return [*lines, f"{indent}+-----------+"]


def name_at(board: Board, socket: Socket, position: int) -> str:
    """Return the node at a position; a question mark where nothing but the position itself is named."""
    node = socket.nodes[position]
    mentions = [each for _, each in board.uses() if each == node]
    return "?" if node == socket.place(position) and len(mentions) == 1 else node


def note_at(board: Board, socket: Socket, position: int, now: Setting | None = None) -> str:
    """Say where a position's node comes from: a rail, gates, resistors, links with what they join in a setting."""
    node = socket.nodes[position]
    if node == UNCONNECTED:
        return ""
    if name_at(board, socket, position) == "?":
        return "to be found out"
    if node in board.rails:
        volts = f"{board.rails[node]:+g} V" if board.rails[node] else "0 V"
        return "" if node == volts.replace(" ", "") else volts
    nodes = {node, socket.place(position)}
    found = []
    for link in board.links:
        if not nodes & link.nodes:
            continue
        met = [other for group in link.groups(now[link.name]) if nodes & set(group) for other in group] if now else []
        others = " ".join(dict.fromkeys(other for other in met if other not in nodes))
        found.append(link.name if now is None else f"{link.name}: {others or 'open'}")
    found += [f"from {gate.name}" for gate in board.gates if nodes & set(gate.outputs.split())]
    for resistor in board.resistors:
        ends = set(resistor.nodes.split())
        found += [f"{resistor.name} to {' '.join(sorted(ends - nodes))}"] if nodes & ends else []
    return ", ".join(found)


def build_board_svg(board: Board, now: Setting | None = None) -> bytes:
    """Draw every socket and link on a page; with a setting `now`, the jumpers in place."""
    sizes = [link_size(link) for link in board.links]
    widths = [socket_width(board, socket, now) for socket in board.sockets]
    width = max(LEAST, *widths, *(wide + 2 * MARGIN for wide, _ in sizes))
    room = width - 2 * MARGIN
    lines: list[str] = []
    y = 44
    for line in wrap(board.title, 28, room) or [board.name]:
        lines.append(text(width // 2, y, line, 28, "middle", bold=True))
        y += 34
    drawn = ", ".join(f"{link} {position}" for link, position in now.items()) if now else ""
    for line in wrap(f"{board.name}, CPU {board.cpu}" + (f"; links now: {drawn}" if drawn else ""), 18, room):
        lines.append(text(width // 2, y - 4, line, 18, "middle"))
        y += LINE
    for socket in board.sockets:
        y += 20
        lines += socket_shapes(board, socket, width, y, now)
        y += 28 + socket.pin_count // 2 * PITCH + 20
    if board.links:
        y += 14
        lines.append(text(width // 2, y, LINKS, 16, "middle"))
        y += 6
    for link, (_, height) in zip(board.links, sizes):
        y += 10
        lines += link_shapes(link, MARGIN, y, now[link.name] if now else None)
        y += height
    for entry in [f"UNCHECKED: {entry}" for entry in board.unchecked]:
        for line in wrap(entry, 18, room):
            lines.append(text(width // 2, y + 20, line, 18, "middle", bold=True))
            y += LINE
    return page(width, y + MARGIN, board.title, lines)


def columns(board: Board, socket: Socket, now: Setting | None) -> tuple[int, int]:
    """Return the widths of the nodes' names and of the notes beside them."""
    names = [width_of(name_at(board, socket, n), 23) for n in socket.nodes]
    notes = [width_of(note_at(board, socket, n, now), 16) for n in socket.nodes]
    return max(names), max(notes)


def socket_width(board: Board, socket: Socket, now: Setting | None) -> int:
    """Return how wide a socket's drawing is."""
    return max(
        width_of(caption(socket), 22) + 2 * MARGIN, BODY + 2 * (LEG + sum(columns(board, socket, now)) + 28 + MARGIN)
    )


def caption(socket: Socket) -> str:
    """Return what stands above a socket."""
    return f"{socket.name}{f', {socket.title}' if socket.title else ''}, seen from above"


def socket_shapes(board: Board, socket: Socket, width: int, top: int, now: Setting | None) -> Iterator[str]:
    """Draw a socket as seen from above: positions in the body, nodes outside, and where these come from."""
    left = (width - BODY) // 2
    right, half = left + BODY, socket.pin_count // 2
    names, _ = columns(board, socket, now)
    yield text(width // 2, top + 8, caption(socket), 22, "middle", bold=True)
    yield from body(left, right, top + 28, half * PITCH)
    yield text(width // 2, top + 28 + half * PITCH // 2, socket.name, 26, "middle", bold=True)
    for n, node in socket.nodes.items():
        side, edge = (-1, left) if n <= half else (1, right)
        row = n - 1 if n <= half else socket.pin_count - n
        y = top + 28 + row * PITCH + PITCH // 2
        yield from leg(n, y, edge, side, filled=node in board.rails, dashed=node == UNCONNECTED)
        anchor = "end" if side < 0 else "start"
        told, name = note_at(board, socket, n, now), name_at(board, socket, n)
        beside = edge + side * (LEG + 12)
        yield text(beside, y + 8, name, 23, anchor, bold=bool(told))
        if told:
            yield text(beside + side * (names + 16), y + 6, told, 16, anchor)
