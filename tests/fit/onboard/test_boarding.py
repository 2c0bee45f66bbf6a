"""Plans for a board's socket: a second model of the finished board agrees, and nothing cheaper works."""

from itertools import combinations, product

import pytest
from board_model import State, cpu_lines
from fit.onboard.test_bus import CHIPS, CPU, TERN, boards
from hypothesis import HealthCheck, assume, given, reject, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from msgspec.structs import replace as changed
from plan_model import spelling

from romwright.boards.library import fitted_chips, require_board, require_cpu
from romwright.boards.model import Device, Gate, expand
from romwright.errors import OptionError
from romwright.fit.onboard.boarding import judge_plan, plan_board
from romwright.fit.onboard.site import Surroundings
from romwright.fit.plans.contents import burn
from romwright.fit.plans.rows import How
from romwright.fit.plans.work import points
from romwright.fit.verdict import prove_plan
from romwright.parts.library import require_part

DECODER = {"inputs": (1, 2, 3, 6, 4, 5), "outputs": (15, 14, 13, 12, 11, 10, 9, 7)}  # TI, SN74LS138, SDLS014


def part(name):
    page = require_part(name)
    return page.ordered_as(page.polarities({})[0])


# --- the finished board, by a second model ----------------------------------------------------------------------------


def soldered_board(board, socket, plan, bank=0):
    """The board with the plan's gates, and the nodes that each chip pin is joined with, from the rows alone."""
    rail = {level: next(name for name, volts in board.rails.items() if volts == want) for level, want in
            (("H", 5), ("L", 0))}  # fmt: skip
    gates = []
    for gate in plan.gates:
        nodes = {
            tap.pin or number: tap.gate or tap.point or rail.get(tap.level) or f"{socket.name}.{tap.position}"
            for number, tap in enumerate(gate.taps)
        }
        inputs, outputs = nodes.values(), [gate.name]
        if gate.kind == "3-to-8":
            inputs = [nodes[pin] for pin in DECODER["inputs"]]
            outputs = [gate.name if pin == gate.output else "NC" for pin in DECODER["outputs"]]
        kind = "and" if gate.kind == "diodes" else gate.kind
        gates.append(Gate(gate.name, kind, " ".join(inputs), " ".join(outputs)))
    pairs = []
    for row in plan.rows:
        if row.chip and row.how is not How.OPEN:
            node = {
                How.STRAIGHT: f"{socket.name}.{row.socket}", How.WIRE: f"{socket.name}.{row.wire_to}",
                How.VCC: rail["H"], How.GND: rail["L"], How.GATE: row.gate, How.POINT: row.point,
                How.STRAP: rail["LH"[bank >> int(row.strap[1:] or 1) - 1 & 1]] if row.strap else None,
            }[row.how]  # fmt: skip
            pairs.append((node, f"{socket.name} pin {row.chip}"))
    return replace(board, gates=(*board.gates, *gates)), pairs


def lines_of(state, name):
    """The data lines of something on the bus."""
    told = {device.name: set(expand(device.data)) or set(state.cpu.data_lines) for device in state.board.devices}
    return told[name] if name in told else state.data_lines(name)


def asked_at(board, cpu, cycle, address, line, lines):
    """The device that the map has at an address on a data line; None if the map has nothing."""
    within = (1 << int(cpu.address_lines[0][1:])) - 1
    for area in board.map:
        first, last = area.span[0] & ~within, area.span[1] | within
        if area.space == cycle.space and first <= address <= last and line in lines.get(area.device, {line}):
            return area.device if cycle.access in area.access.split() or area.device == "none" else None
    return None


def word_seen(state, socket, chip, held):
    """What the data lines carry while the chip shows a word: by its pins."""
    seen = {}
    for bit in range(chip.bits):
        net = state.net(state.node(socket, f"D{bit}"))
        seen |= dict.fromkeys(net & {*state.cpu.data_lines}, held >> bit & 1)
    return seen


def check_by_hand(board, cpu, socket, made, also, addresses, bank=0, contents=None):
    """Go through the reads of a board with a finished plan; returns how many the chip answered, all with its words."""
    plan, answered = made.plan, 0
    contents = spelling(plan.original) if contents is None else contents
    names = plan.banks or ("",)
    burnt = burn(plan, {name: bytes(v ^ n for v in contents) for n, name in enumerate(names)}, 0xFF)
    fitted, pairs = soldered_board(board, socket, plan, bank)
    span = next(area.span for area in board.map if area.device == socket.name)
    own = [int(line[1:]) for line in cpu.address_lines if (span[0] ^ span[1]) >> int(line[1:])]
    lines = {each.name: board.lines_of(each.name, cpu) for each in (*board.devices, *board.sockets)}
    others = {name: chip for name, chip in also.items() if name != socket.name}
    known = {*(device.name for device in board.devices), socket.name, *others, "none"}
    for cycle, fill, address in product(cpu.cycles, "LH", addresses):
        if cycle.access == "none" or cycle.address and not in_range(cycle.address, address):
            continue
        levels = cpu_lines(cpu, cycle, address, dict.fromkeys(cpu.controls, fill))
        state = State(fitted, cpu, made.links, socket, plan.chip, levels, others, pairs)
        drivers = state.drivers()
        assert not state.written() or plan.chip.volatile or any(a.access != "read" for a in board.map)
        for line in expand(cycle.data) or cpu.data_lines:
            driving = {name: how for name, how in drivers.items() if line in lines_of(state, name)}
            asked = asked_at(board, cpu, cycle, address, line, lines)
            where = (cycle.name, f"{address:X}", line, driving)
            if cycle.access == "write":
                alone = set(driving) <= {asked} or asked is None and len(driving) <= 1
                assert not driving or alone and "read write" not in map_access(board, asked), where
            elif asked == "none":
                assert not driving, where
            elif asked in known:
                assert driving == {asked: "H"}, where
            else:
                assert len(driving) <= 1, where
        if cycle.access == "read" and drivers.get(socket.name) and socket.name in {
            asked_at(board, cpu, cycle, address, line, lines) for line in lines[socket.name]
        }:  # fmt: skip
            cell, wide = state.cell(), plan.chip.word_bytes
            held = int.from_bytes(burnt[cell * wide : (cell + 1) * wide], "little")
            index = sum((address >> line & 1) << bit for bit, line in enumerate(own))
            wanted = contents[index] ^ bank
            base = min(int(line[1:]) for line in lines[socket.name])
            seen = word_seen(state, socket.name, plan.chip, held)
            assert [seen[f"D{base + bit}"] for bit in range(8)] == [wanted >> bit & 1 for bit in range(8)], where
            answered += 1
    assert answered
    return answered


def map_access(board, device):
    return [area.access for area in board.map if area.device == device]


def in_range(text, address):
    first, _, last = text.partition("-")
    return int(first, 16) <= address <= int(last or first, 16)


def some_addresses(cpu, step, low=0x155):
    """An address in each block of that size, the lines below moving."""
    within = (1 << int(cpu.address_lines[0][1:])) - 1
    return [block + (low * (1 + block // step) % step & ~within) for block in range(0, cpu.top + 1, step)]


ON_THE_TERN = ("27128", "27C256", "28C256", "27C512", "rom-23128-style-b", "27C010")
ON_THE_DUNLIN = [("U7", "2732"), ("U8", "2732"), ("U7", "2764"), ("U8", "28C64"), ("U7", "2532"), ("U8", "27C256")]
SHIPPED = [("tern-tl-1", "U7", chip) for chip in ON_THE_TERN] + [("dunlin-dl-2", *each) for each in ON_THE_DUNLIN]


@pytest.mark.parametrize("case", SHIPPED, ids=" ".join)
def test_the_shipped_boards(case):
    board, cpu = require_board(case[0]), require_cpu(require_board(case[0]).cpu)
    socket = next(each for each in board.sockets if each.name == case[1])
    made = plan_board(board, cpu, socket, part(case[2]))
    assert made.judged.verdict == "works", made.judged.findings
    proof = prove_plan(made.plan)
    assert proof.equal and proof.drive_equal
    answered = check_by_hand(board, cpu, socket, made, fitted_chips(board), some_addresses(cpu, 0x800))
    assert answered >= 4


@pytest.mark.parametrize("socket, chip", [
    ("U3", "27C256"), ("U4", "27C512"), ("U3", "28C256"), ("U4", "27C010"), ("U3", "27C256 crossed"),
])  # fmt: skip
def test_the_board_of_a_68000(socket, chip):
    """Two ROMs side by side, each on its half of the word."""
    board = require_board("kittiwake-kw-68")
    cpu, name, prefer = require_cpu(board.cpu), chip.split()[0], ("crossed-lines",) if "crossed" in chip else ()
    place = next(each for each in board.sockets if each.name == socket)
    made = plan_board(board, cpu, place, part(name), prefer=prefer)
    assert made.judged.verdict == "works", made.judged.findings
    tops = sorted({area.span[end] & ~1 for area in board.map for end in (0, 1)})
    inside = [area.span[0] + 0x1556 for area in board.map]
    assert check_by_hand(board, cpu, place, made, fitted_chips(board), [*tops, *inside]) >= 4


@pytest.mark.parametrize("bank", [0, 1])
def test_banks_on_a_board(bank):
    made = plan_board(TERN, CPU, TERN.sockets[0], part("27C256"), banks=("game", "test"))
    board, place = TERN, TERN.sockets[0]
    assert made.judged.verdict == "works" and made.plan.banks == ("game", "test")
    assert judge_plan(board, CPU, place, site_of(board, made), made.plan).verdict == "works"
    assert check_by_hand(board, CPU, place, made, {}, some_addresses(CPU, 0x1000), bank)


def site_of(board, made):
    around = Surroundings(board, require_cpu(board.cpu), board.sockets[0])
    return around.site(made.links)


STROBES = (
    Gate("U30", "2-to-4", "GND A14 A15", "/S0 /S4 /S8 /SC"), Gate("U31", "nand", "PHI2 R/W", "/RDS"),
    Gate("U32", "inverter", "PHI2", "/ACC"),
)  # fmt: skip
MEMORIES = (
    Device("M0", "RAM", "RAM", ({"/S0": "L", "/RDS": "L"},)),
    Device("M1", "RAM", "RAM", ({"/S8": "L", "A13": "L", "/RDS": "L"},)),
)


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(boards(), st.sampled_from(sorted(set(CHIPS) - {"2732", "2764"})), st.sampled_from([None, "27", "20 22"]))
def test_random_boards(board, name, given_to):
    """Random glue, links and resistors around a socket, beside memories that are decoded soundly."""
    right = board.sockets[0].right.split()
    places = {"27": {1: "/SC"}, "20 22": {8: "/SC", 6: "/RDS"}}.get(given_to, {})  # index in the column, from pin 28 on
    right = [places.get(index, node) for index, node in enumerate(right)]
    socket = replace(board.sockets[0], right=" ".join(right))
    board = replace(board, sockets=(socket,), gates=(*board.gates, *STROBES), devices=MEMORIES)
    try:
        made = plan_board(board, CPU, socket, CHIPS[name])
    except OptionError:
        reject()
    assume(made.judged.verdict == "works")
    assert prove_plan(made.plan).equal
    check_by_hand(board, CPU, socket, made, {}, some_addresses(CPU, 0x2000))


def test_some_random_boards_work():
    """The law above is not empty: the same boards with the select at the socket work."""
    socket = replace(TERN.sockets[0], right="+5V /SC A13 A8 A9 A11 /RDS A10 /ACC D7 D6 D5 D4 D3")
    board = replace(TERN, sockets=(socket,), links=(), gates=(*TERN.gates[:0], *STROBES), devices=MEMORIES, map=(
        *(replace(area, device={"DRAM": "M0", "U8": "M1", "U9": "none"}.get(area.device, area.device))
          for area in TERN.map),
    ))  # fmt: skip
    for name in ("27128", "27C256", "28C256"):
        made = plan_board(board, CPU, socket, CHIPS[name])
        assert made.judged.verdict == "works" and made.plan.work
        check_by_hand(board, CPU, socket, made, {}, some_addresses(CPU, 0x2000))


# --- teeth: a plan that is not right is seen by both -----------------------------------------------------------------


def test_a_select_moved_is_seen_by_hand_and_judged():
    made = plan_board(TERN, CPU, TERN.sockets[0], part("27128"))
    place = TERN.sockets[0]
    for how, more in ((How.GND, {}), (How.WIRE, {"wire_to": 22}), (How.VCC, {})):
        rows = tuple(
            changed(row, how=how, wire_to=None, **more) if row.chip == 20 and not more else
            changed(row, how=how, **more) if row.chip == 20 else row for row in made.plan.rows
        )  # fmt: skip
        wrong = changed(made, plan=changed(made.plan, rows=rows))
        judged = judge_plan(TERN, CPU, place, site_of(TERN, made), wrong.plan)
        assert judged.verdict == "fault"
        with pytest.raises(AssertionError):
            check_by_hand(TERN, CPU, place, wrong, {}, some_addresses(CPU, 0x2000), contents=spelling(part("27128")))


# --- the least work --------------------------------------------------------------------------------------------------

FIXED_27 = replace(TERN, links=(), sockets=(
    replace(TERN.sockets[0], right=TERN.sockets[0].right.replace("P27", "/ROMSEL").replace("P20", "/ACC")),
))  # fmt: skip
FIXED_20 = replace(TERN, links=(), sockets=(
    replace(TERN.sockets[0], right=TERN.sockets[0].right.replace("P20", "/ROMSEL").replace("P27", "/ACC")),
))  # fmt: skip
NOWHERE = replace(TERN, links=(), sockets=(
    replace(TERN.sockets[0], right=TERN.sockets[0].right.replace("P20", "/ACC").replace("P27", "/ACC")),
))  # fmt: skip
BOARDS = {"tern": TERN, "select on 27": FIXED_27, "select on 20": FIXED_20, "select nowhere": NOWHERE}
FREE = (1, 20, 22, 26, 27)  # the positions at which ROMs of this size differ


def cheaper_by_brute_force(board, chip, made, now, most=2):
    """Every change of up to two pins, and every move of the links, that costs less than the plan and works as well."""
    socket, cost, found = board.sockets[0], points(), []
    cautions = {finding.code.name for finding in made.judged.findings}
    ways = [(How.OPEN, None, cost.open), (How.VCC, None, cost.tie), (How.GND, None, cost.tie)]
    ways += [(How.WIRE, place, cost.wire) for place in FREE]
    around = Surroundings(board, CPU, socket)
    straight = tuple(
        changed(row, how=How.STRAIGHT, wire_to=None, gate="", inverted=False, point="", strap="") if row.chip else row
        for row in made.plan.rows
    )
    for positions in product(*(each for _, each in board.settings())):
        links = dict(zip((name for name, _ in board.settings()), positions))
        moves = sum(now[name] != position for name, position in links.items()) * cost.link if now else 0
        for count in range(most + 1):
            for pins in combinations(FREE, count):
                for chosen in product(ways, repeat=count):
                    total = moves + sum(points_of for _, _, points_of in chosen)
                    moved = {pin: way for pin, way in zip(pins, chosen) if way[1] != pin}
                    if total < made.points and len(moved) == count:
                        rows = tuple(
                            changed(row, how=moved[row.chip][0], wire_to=moved[row.chip][1]) if row.chip in moved
                            else row for row in straight
                        )  # fmt: skip
                        plan = changed(made.plan, rows=rows, gates=())
                        site = changed(next(iter(around.sites(("/ROMSEL",))))[0], links=links)
                        judged = judge_plan(board, CPU, socket, site, plan)
                        if judged.verdict == "works" and {f.code.name for f in judged.findings} <= cautions:
                            found.append((total, links, moved))
    return found


@pytest.mark.parametrize("chip", ["27128", "27C256", "27C512", "28C256", "rom-23128-style-b"])
@pytest.mark.parametrize("name", BOARDS)
def test_nothing_cheaper_works_on_the_tern(name, chip):
    board = BOARDS[name]
    for now in [dict(zip(("LK1", "LK2"), p)) for p in (("1-2", "1-2"), ("2-3", "1-2"))] if board.links else [{}]:
        made = plan_board(board, CPU, board.sockets[0], part(chip), now)
        assert made.judged.verdict == "works", made.judged.findings
        assert made.points == sum(p for _, _, p in made.plan.work) + len(made.moved) * points().link
        assert made.moved == {link: at for link, at in made.links.items() if now[link] != at}
        assert not cheaper_by_brute_force(board, part(chip), made, now)


def test_a_board_without_the_select_at_the_socket_is_wired_from_a_point():
    """Position 20 and 27 both on /ACC: only a wire from the decoder tells when to answer."""
    made = plan_board(NOWHERE, CPU, NOWHERE.sockets[0], part("27128"))
    pointed = {row.point for row in made.plan.rows if row.point}
    pointed |= {tap.point for gate in made.plan.gates for tap in gate.taps if tap.point}
    assert pointed == {"/ROMSEL"} and made.judged.verdict == "works" and made.points >= points().point
    check_by_hand(NOWHERE, CPU, NOWHERE.sockets[0], made, {}, some_addresses(CPU, 0x1000))


def test_a_wire_from_the_decoder_is_less_work_than_an_inverter():
    """The select comes to position 20 turned; the decoder's own output is one wire away."""
    socket = replace(TERN.sockets[0], right=TERN.sockets[0].right.replace("P20", "ROMSEL").replace("P27", "/ACC"))
    turned = Gate("U30", "inverter", "/ROMSEL", "ROMSEL")
    board = replace(TERN, links=(), sockets=(socket,), gates=(*TERN.gates, turned))
    made = plan_board(board, CPU, socket, part("27128"))
    assert not made.plan.gates and made.points == points().point + points().tie
    assert {row.chip: row.point for row in made.plan.rows if row.point} == {20: "/ROMSEL"}
    check_by_hand(board, CPU, socket, made, {}, some_addresses(CPU, 0x1000))


def test_a_board_that_decodes_nothing_for_it_cannot_be_planned():
    """No gate and no line tells when to answer: a sentence, not a guess."""
    board = replace(NOWHERE, gates=(), devices=(), sockets=(
        replace(NOWHERE.sockets[0], right="+5V +5V A13 A8 A9 A11 GND A10 GND D7 D6 D5 D4 D3"),
    ), map=NOWHERE.map[:1] + tuple(area for area in NOWHERE.map if area.device == "U7"))  # fmt: skip
    board = replace(board, map=tuple(replace(a, device="none") if a.device == "DRAM" else a for a in board.map))
    with pytest.raises(OptionError, match="tells when the chip is to answer"):
        plan_board(board, CPU, board.sockets[0], part("27128"))


# --- links -----------------------------------------------------------------------------------------------------------


def test_links_are_moved_only_where_that_is_least():
    """Each move counts as the preference has it; the present setting stays where it is the least work."""
    place = TERN.sockets[0]
    right = plan_board(TERN, CPU, place, part("27128"), {"LK1": "1-2", "LK2": "2-3"})
    assert not right.moved or right.points <= 1
    moved = plan_board(TERN, CPU, place, part("27128"), {"LK1": "2-3", "LK2": "1-2"})
    assert moved.moved and moved.points == sum(p for _, _, p in moved.plan.work) + len(moved.moved)
    dear = plan_board(TERN, CPU, place, part("27128"), {"LK1": "2-3", "LK2": "1-2"}, ("wires",))
    assert dear.points == sum(p for _, _, p in dear.plan.work) + len(dear.moved) * points(("wires",)).link
    free = plan_board(TERN, CPU, place, part("27128"), {"LK1": "2-3", "LK2": "1-2"}, ("links",))
    assert free.points == sum(p for _, _, p in free.plan.work)


def test_links_elsewhere_stay():
    """LK2 of the Dunlin is about the other socket alone: it stays wherever that one works."""
    board = require_board("dunlin-dl-2")
    for name, wanted in (("2532", "2532"), ("2732", "2532")):
        now = {"LK1": "2532", "LK2": "2532", "LK3": "2532"}
        made = plan_board(board, require_cpu(board.cpu), board.sockets[0], part(name), now)
        assert made.judged.verdict == "works" and made.links["LK2"] == wanted and "LK2" not in made.moved


def test_the_other_socket_keeps_working():
    """A 2732 beside a ROM of the 2532 kind: the link for pin 21 cannot be right for both, so the chip is wired."""
    board = require_board("dunlin-dl-2")
    cpu, place = require_cpu(board.cpu), board.sockets[0]
    made = plan_board(board, cpu, place, part("2732"))
    assert made.links["LK3"] == "2532" and made.plan.work and made.judged.verdict == "works"
    alone = plan_board(board, cpu, place, part("2732"), also={})
    assert not alone.plan.work and alone.links["LK3"] == "2732"
    check_by_hand(board, cpu, place, made, fitted_chips(board), some_addresses(cpu, 0x800))
