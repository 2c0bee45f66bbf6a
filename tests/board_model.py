"""A second, slow model of a board: one set of levels at a time, nets as plain sets. Shares no code with fit."""

from romwright.boards.model import UNCONNECTED, expand


def seats_of(chip, socket_pins):
    """Position of each pin of a chip, bottom-aligned."""
    shift = (socket_pins - chip.pin_count) // 2
    return {pin.number: pin.number + shift for pin in chip.pins if 1 <= pin.number + shift <= socket_pins}


def nets_of(board, setting, seats, soldered=()):
    """Return the nets as sets of nodes: traces, wires, links, seated or soldered pins, merged till nothing changes."""
    groups = [{f"{s.name}.{n}", node} for s in board.sockets for n, node in s.nodes.items() if node != UNCONNECTED]
    groups += [set(wire.split()) for wire in board.wires] + [set(pair) for pair in soldered]
    for socket, places in seats.items():
        groups += [{f"{socket}.{place}", f"{socket} pin {pin}"} for pin, place in places.items()]
    for link in board.links:
        groups += [set(group.split()) for group in link.positions[setting[link.name]].split(",") if group.split()]
    merged = []
    for group in groups:
        for other in [g for g in merged if g & group]:
            group |= other
            merged.remove(other)
        merged.append(group)
    return merged


def gate_output(gate, number, level):
    """Return what output `number` of a gate gives, by the words of its kind: H, L, X (not known) or Z (off)."""
    inputs = [level(node) for node in gate.inputs.split()]
    kind, nodes = gate.kind, gate.inputs.split()

    def decode(enables, picks, ordered):
        want = [(e, "L" if name.startswith("/") else "H") for name, e in enables] + [
            (pick, "LH"[number >> i & 1]) for i, pick in enumerate(picks)
        ]
        asked_of = {(node, asked) for node, (_, asked) in zip(ordered, want, strict=True)}
        if any({have, asked} == {"H", "L"} for have, asked in want) or len(asked_of) > len(set(ordered)):
            return "H"  # an input is at the other level, or one node would have to be at both
        return "L" if all(have == asked for have, asked in want) else "X"

    if kind == "2-to-4":
        return decode([("/G", inputs[0])], inputs[1:], nodes)
    if kind == "3-to-8":
        return decode(list(zip(("G1", "/G2A", "/G2B"), inputs[3:])), inputs[:3], nodes[3:] + nodes[:3])
    if kind == "three-state buffer":
        value = inputs[0] if inputs[0] in "HL" else "X"
        return {"L": value, "H": "Z"}.get(inputs[1], "X")
    known = [x if x in "HL" else "X" for x in inputs]
    out = {
        "inverter": known[0], "buffer": known[0], "xor": "X",
        "and": "L" if "L" in known else "X" if "X" in known else "H",
        "or": "H" if "H" in known else "X" if "X" in known else "L",
    }  # fmt: skip
    out |= {"nand": out["and"], "nor": out["or"]}
    if kind == "xor" and "X" not in known:
        out["xor"] = "LH"[known[0] != known[1]]
    return {"H": "L", "L": "H", "X": "X"}[out[kind]] if kind in ("nand", "nor", "inverter") else out[kind]


class State:
    """A board in one state of its CPU's lines; `also` has the chips in sockets other than `socket`, by name.

    `soldered`: the nodes that the pins of the chip are joined with, where it is not simply plugged in.
    """

    def __init__(self, board, cpu, setting, socket, chip, lines, also=None, soldered=None):
        self.board, self.cpu, self.lines = board, cpu, lines
        self.chips = {socket.name: chip, **(also or {})}
        pins = {each.name: each.pin_count for each in board.sockets}
        seats = {name: seats_of(part, pins[name]) for name, part in self.chips.items()}
        if soldered is not None:
            seats[socket.name] = {}
        self.nets = nets_of(board, setting, seats, soldered or ())
        self.socket = socket.name
        self.outputs = {}  # nothing is known at first
        for _ in range(4 * len(board.gates) + 2):
            self.outputs = {
                (gate.name, i): gate_output(gate, i, self.level)
                for gate in board.gates
                for i, node in enumerate(gate.outputs.split())
                if node != UNCONNECTED
            }

    def net(self, node):
        return next((net for net in self.nets if node in net), {node})

    def strong(self, net):
        """The levels that drivers give a net."""
        found = [{5: "H", 0: "L"}.get(volts, "X") for name, volts in self.board.rails.items() if name in net]
        found += [level for name, level in self.lines.items() if name in net]
        for gate in self.board.gates:
            for i, node in enumerate(gate.outputs.split()):
                if node in net and node != UNCONNECTED:
                    value = self.outputs.get((gate.name, i), "X")
                    if gate.open_collector and value == "H":
                        value = "Z"
                    found.append(value)
        found = {value for value in found if value != "Z"}
        if not found:
            return "Z"
        return next(iter(found)) if len(found) == 1 else "X"

    def rail_level(self, net):
        """The level of a rail; not known if anything that is no rail is joined with it."""
        drivers = {*self.lines, *self.cpu.data_lines, *(n for gate in self.board.gates for n in gate.outputs.split())}
        return "X" if net & drivers else self.strong(net)

    def level(self, node):
        """The level of a node: its drivers, else what resistors bring, series before pulls."""
        net = self.net(node)
        value = self.strong(net)
        if value != "Z":
            return value
        ring, seen, pulls = [(net, 0)], [net], {}
        while ring:
            here, above = ring.pop(0)
            for resistor in self.board.resistors:
                ends, ohms = [self.net(end) for end in resistor.nodes.split()], above + resistor.ohms
                for other in [ends[1]] * (ends[0] == here) + [ends[0]] * (ends[1] == here):
                    if any(rail in other for rail in self.board.rails):
                        pulls.setdefault(self.rail_level(other), []).append(1 / ohms)
                    elif other not in seen:
                        seen.append(other)
                        ring.append((other, ohms))
                        if self.strong(other) != "Z":
                            return self.strong(other)
        total = sum(map(sum, pulls.values()))
        return next((value for value, some in pulls.items() if sum(some) >= 10 * (total - sum(some))), "Z")

    def match(self, rows, level, net=lambda name: name):
        """H if a row surely matches, X if one may, else L. One net cannot be at two levels, known or not."""
        answers = []
        for row in rows:
            have = [(level(name), wanted) for name, wanted in row.items()]
            wants = {(str(sorted(net(name))), wanted) for name, wanted in row.items()}
            if any({a, b} == {"H", "L"} for a, b in have) or len(wants) > len({where for where, _ in wants}):
                answers.append("L")
            else:
                answers.append("H" if all(a == b for a, b in have) else "X")
        return "H" if "H" in answers else "X" if "X" in answers else "L"

    def node(self, socket, function):
        return f"{socket} pin {self.chips[socket].by_function[function].number}"

    def pin_net(self, node):
        """The net of a pin; a pin on a net without any driver counts for itself, since nothing says what it is at."""
        net = self.net(node)
        drivers = {*self.board.rails, *self.lines, *(n for gate in self.board.gates for n in gate.outputs.split())}
        return net if net & drivers else {node}

    def match_pins(self, socket, rows):
        """As match, for rows of levels of a chip's pins."""
        nodes = [{self.node(socket, name): level for name, level in row.items()} for row in rows]
        return self.match(nodes, self.level, self.pin_net)

    def drivers(self):
        """Who drives the data bus: name -> H (surely) or X (may)."""
        found = {device.name: self.match(device.drives, self.level) for device in self.board.devices}
        found |= {socket: self.match_pins(socket, chip.drives) for socket, chip in self.chips.items()}
        return {name: how for name, how in found.items() if how != "L"}

    def written(self, socket=None):
        """Whether the chip in a socket may be written."""
        socket = socket or self.socket
        return self.match_pins(socket, self.chips[socket].writes) != "L"

    def cell(self):
        """The cell of the chip that its address pins show."""
        pins = [pin for pin in self.chips[self.socket].pins if pin.role == "address"]
        return sum(1 << pin.index for pin in pins if self.level(self.node(self.socket, pin.function)) == "H")

    def data_lines(self, socket):
        """The data lines that the chip in a socket meets with its data pins."""
        lines, pins = {*self.cpu.data_lines}, [pin for pin in self.chips[socket].pins if pin.role == "data"]
        met = [self.net(self.node(socket, pin.function)) & lines for pin in pins]
        return {line for net in met if len(net) == 1 for line in net}


def cpu_lines(cpu, cycle, address, names):
    """The levels of the CPU's lines in a cycle at an address; `names` fills what the cycle leaves free."""
    levels = {line: "LH"[address >> int(line[1:]) & 1] for line in cpu.address_lines}
    return levels | {name: cycle.levels.get(name, names.get(name, "L")) for name in expand(cpu.signals)}
