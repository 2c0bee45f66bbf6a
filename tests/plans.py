"""Plans for tests: any two parts of the library, every polarity stated; and the hardest pairs to draw."""

from functools import cache

from hypothesis import strategies as st

from romwright.fit.plans.wiring import plan_wiring
from romwright.parts.library import part_names, require_part

PARTS = {name: part for name in part_names() if (part := require_part(name)).drives}  # rom-6540 has no drive row

# Many wires, gates, other lengths, other row pitches, 16 bits: looked at as pictures, in colour and in grey.
HARDEST = (
    ("rom-6830", "rom-9316b-inhibit", {}),
    ("rom-6830", "27C800", {}),
    ("rom-2364-24", "27C64", {20: "H"}),
    ("rom-2364-24", "27C512", {20: "L"}),
    ("rom-2316e", "2716", {18: "H", 20: "L", 21: "H"}),
    ("rom-23128-style-b", "28C256", {20: "L", 22: "L", 27: "L"}),
    ("2708", "2716", {}),
    ("2564", "27C64", {}),
    ("prom-82s181", "2716", {}),
    ("prom-82s123", "27C256", {}),
    ("rom-4m-40-x16", "27C4096", {}),
    ("27C4096", "27C400", {}),
    ("SST39SF040", "27C322", {}),
    ("rom-4m-32-a17-pin1", "27C040", {}),
)


@cache
def plan_of(socket, chip, polarity=(), chip_polarity=(), prefer=(), banks=()):
    """The plan for two parts by name; polarities as pairs, what is left open is the page's first choice."""
    original, new = PARTS[socket], PARTS[chip]
    stated, its = original.polarities(dict(polarity))[0], new.polarities(dict(chip_polarity))[0]
    return plan_wiring(original.ordered_as(stated), new.ordered_as(its), prefer, banks)


def hardest():
    """The plans of the hardest pairs."""
    return [plan_of(socket, chip, tuple(polarity.items())) for socket, chip, polarity in HARDEST]


@st.composite
def plans(draw):
    """The plan for any two parts with any polarity and preference, for some contents if the chip has room for them."""
    socket, chip = draw(st.sampled_from(sorted(PARTS))), draw(st.sampled_from(sorted(PARTS)))
    stated = [tuple(draw(st.sampled_from(PARTS[name].polarities({}))).items()) for name in (socket, chip)]
    prefer = draw(st.sampled_from([(), (), ("no-gates",), ("crossed-lines",)]))
    room = PARTS[chip].words // PARTS[socket].words
    banks = draw(st.sampled_from([(), ("one", "two"), ("one", "two", "three")])) if room >= 4 else ()
    return plan_of(socket, chip, *stated, prefer, banks)
