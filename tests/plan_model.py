"""A second, slow model of a planned chip: one pin, one level, one address at a time, from the rows alone.

Shares no code with fit; the '138 and the other gates are as their data sheets have them.
"""

from itertools import product

from romwright.parts.model import Role

DECODER_OUTPUTS = {15: 0, 14: 1, 13: 2, 12: 3, 11: 4, 10: 5, 9: 6, 7: 7}  # TI, SN74LS138, SDLS014: pin -> Y


class Wired:
    """A plan as it is soldered, with bytes burnt into the chip."""

    def __init__(self, plan, burnt=b"", rows=None):
        self.plan, self.original, self.chip, self.burnt = plan, plan.original, plan.chip, burnt
        self.rows = {row.chip: row for row in rows or plan.rows if row.chip}
        self.gates = {gate.name: gate for gate in plan.gates}

    def states(self):
        """Every combination of levels of the control lines, those that never come left out."""
        tables = (self.original.drives, self.original.writes, self.plan.beyond.idle)
        names = sorted({name for rows in tables for row in rows for name in row} | {*self.plan.beyond.signals})
        for levels in product("LH", repeat=len(names)):
            state = dict(zip(names, levels))
            if not any(row.items() <= state.items() for row in self.plan.beyond.idle):
                yield state

    def asked(self, state):
        """Whether the original drives the bus."""
        return any(row.items() <= state.items() for row in self.original.drives)

    def position(self, number, address, state):
        """The level at a socket position; None if nobody knows."""
        pin = self.original.pins[number - 1]
        name = pin.function
        if pin.role is Role.ADDRESS:
            return "LH"[address >> int(name[1:]) & 1]
        if pin.role is Role.SUPPLY:
            return {5: "H", 0: "L"}.get(self.original.supplies[name])
        return state.get(name) or self.original.read_levels.get(name)

    def gate(self, name, address, state):
        """The level that comes out of a gate; None if an input is not known."""
        gate, at = self.gates[name], {}
        for number, tap in enumerate(gate.taps):
            level = tap.level or state.get(tap.point)
            level = self.gate(tap.gate, address, state) if tap.gate else level
            at[tap.pin or number] = self.position(tap.position, address, state) if tap.position else level
        if None in at.values():
            return None
        high = [level == "H" for level in at.values()]
        if gate.kind == "3-to-8":
            picked = sum((at[pin] == "H") << bit for bit, pin in enumerate((1, 2, 3)))
            on = at[6] == "H" and at[4] == "L" and at[5] == "L"
            return "L" if on and picked == DECODER_OUTPUTS[gate.output] else "H"
        return "LH"[
            {"inverter": not high[0], "nand": not all(high), "or": any(high)}.get(gate.kind, all(high))
        ]  # fmt: skip

    def pin(self, function, address, state, bank=0):
        """The level at a chip pin; None if nobody knows."""
        row = self.rows[self.chip.by_function[function].number]
        how = row.how.name
        if how == "STRAP":
            return "LH"[bank >> int(row.strap[1:]) - 1 & 1]
        if how in ("VCC", "GND", "OPEN"):
            return {"VCC": "H", "GND": "L"}.get(how)
        if how == "GATE":
            return self.gate(row.gate, address, state)
        return state[row.point] if how == "POINT" else self.position(row.wire_to or row.socket, address, state)

    def drives(self, address, state, bank=0):
        """Whether the chip drives the bus: True, False, or None if nobody knows."""
        answers = []
        for row in self.chip.drives:
            have = [(self.pin(name, address, state, bank), level) for name, level in row.items()]
            unknown = any(level is None for level, _ in have)
            answers.append(False if any(a not in (None, b) for a, b in have) else None if unknown else True)
        return True if True in answers else None if None in answers else False

    def cell(self, address, state, bank=0):
        """The cell that the address pins choose."""
        lines = range(self.chip.words.bit_length() - 1)
        return sum((self.pin(f"A{line}", address, state, bank) == "H") << line for line in lines)

    def read(self, address, state, bank=0):
        """The word on the socket's data lines."""
        cell, wide = self.cell(address, state, bank), 2 if self.chip.bits > 8 else 1
        held = int.from_bytes(self.burnt[cell * wide : (cell + 1) * wide], "little")
        word = 0
        for bit in range(self.chip.bits):
            row = self.rows[self.chip.by_function[f"D{bit}"].number]
            place = row.wire_to if row.how.name == "WIRE" else row.socket if row.how.name == "STRAIGHT" else None
            if place and (line := self.original.pins[place - 1]).role is Role.DATA:
                word |= (held >> bit & 1) << int(line.function[1:])
        return word


def word_at(contents, part, address):
    """A word of contents in a file, the low byte first; short contents are repeated."""
    wide = 2 if part.bits > 8 else 1
    data = contents[address * wide % len(contents) :][:wide]
    return int.from_bytes(data, "little") & ((1 << part.bits) - 1)


def spelling(part):
    """Contents whose words spell their address: exchange two lines anywhere and a word changes."""
    if part.bits == 16:
        return b"".join((a >> 6 * (a & 1) & 0xFFFF).to_bytes(2, "little") for a in range(part.words))
    if part.bits == 4:
        return bytes((a >> 4 * (a & 3)) & 15 ^ (a & 3) for a in range(part.words))
    return bytes((a >> 8 * (a & 3)) & 255 if a & 3 < 3 else 0x5A for a in range(part.words))
