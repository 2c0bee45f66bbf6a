"""A part: its data-sheet page as a frozen object. pinmaps/README.md describes every key."""

from __future__ import annotations

import itertools
import re
from enum import StrEnum
from functools import cached_property
from typing import Literal

from msgspec import Struct
from msgspec.structs import replace

from romwright.errors import OptionError

Level = Literal["H", "L"]
Choice = Literal["H", "L", "NC"]
Row = dict[str, Literal["H", "L", "?"]]
OTHER: dict[Level, Level] = {"H": "L", "L": "H"}


class Role(StrEnum):
    """What a pin is for while the chip is read."""

    ADDRESS = "address"
    DATA = "data"
    SUPPLY = "supply"
    VPP = "programming supply"
    CONTROL = "control"
    OUTPUT = "status output"
    NC = "not connected"


class Pin(Struct, frozen=True):
    """One pin of a package, numbered from 1."""

    number: int
    name: str
    role: Role

    @property
    def function(self) -> str:
        """What the pin does in read: the first of its names."""
        return self.name.split("|")[0]

    @property
    def index(self) -> int:
        """The number of an address or data line."""
        return int(self.function[1:])


class Source(Struct, frozen=True, forbid_unknown_fields=True):
    """A document that was read, and the keys of the page that it covers."""

    covers: str
    text: str


class Protection(Struct, frozen=True, forbid_unknown_fields=True):
    """The software write protection of an EEPROM as it comes from the maker, and the bytes that switch it."""

    supplied: Literal["on", "off"]
    enable: tuple[str, ...]
    disable: tuple[str, ...]


class Programming(Struct, frozen=True, forbid_unknown_fields=True):
    """What a programmer must give the chip, in volts; what erases it, and how often."""

    vpp_v: float | None = None
    vpp_range_v: tuple[float, float] | None = None
    vpp_max_v: float | None = None
    vpp_erase_v: float | None = None
    vcc_v: float | None = None
    vcc_range_v: tuple[float, float] | None = None
    by_maker: tuple[str, ...] = ()
    signature: str | None = None
    erase_dose_ws_cm2: tuple[float, float] | None = None
    erase_minutes: tuple[float, float] | None = None
    erase_intensity_mw_cm2: float | None = None
    erase_dose_max_ws_cm2: float | None = None
    erase_cycles: tuple[int, int] | None = None
    protection: Protection | None = None


class Times(Struct, frozen=True, forbid_unknown_fields=True):
    """Read times in nanoseconds, one value for each speed grade, in step with access_ns."""

    access_ns: tuple[float, ...] = ()
    enable_ns: tuple[float, ...] = ()
    output_enable_ns: tuple[float, ...] = ()
    float_ns: tuple[float, ...] = ()


class Currents(Struct, frozen=True, forbid_unknown_fields=True):
    """Largest supply and input currents."""

    active_ma: float | None = None
    standby_ma: float | None = None
    standby_cmos_ma: float | None = None
    vpp_read_ma: float | None = None
    input_ua: float | None = None


class Levels(Struct, frozen=True, forbid_unknown_fields=True):
    """Input thresholds, and output levels at the currents named."""

    vih_min_v: float | None = None
    vil_max_v: float | None = None
    vol_max_v: float | None = None
    iol_ma: float | None = None
    voh_min_v: float | None = None
    ioh_ma: float | None = None


class Part(Struct, frozen=True, forbid_unknown_fields=True, dict=True):
    """One chip or one style, as its page in pinmaps/parts/ says."""

    name: str
    family: str
    words: int
    bits: int
    package: str
    left: str
    right: str
    supplies: dict[str, float]
    drives: tuple[Row, ...]
    sources: tuple[Source, ...]
    row_pitch_mm: float = 15.24
    aliases: tuple[str, ...] = ()
    select: str | None = None
    options: dict[str, tuple[Choice, ...]] = {}
    read_levels: dict[str, Level] = {}
    read_either: tuple[str, ...] = ()
    writes: tuple[dict[str, Level], ...] = ()
    standby: tuple[dict[str, Level], ...] = ()
    outputs: tuple[str, ...] = ()
    output: Literal["three-state", "open-collector"] = "three-state"
    latched: bool | None = None
    volatile: bool = False
    erased: Literal["FF", "00"] | None = None
    words_x8: int | None = None
    byte_mode: dict[str, Level] = {}
    programming: Programming | None = None
    times: Times | None = None
    currents: Currents | None = None
    levels: Levels | None = None
    traps: tuple[str, ...] = ()
    unchecked: tuple[str, ...] = ()

    @cached_property
    def pins(self) -> tuple[Pin, ...]:
        """The pins in order of their numbers: the left column downwards, then the right column upwards."""
        names = [*self.left.split(), *reversed(self.right.split())]
        return tuple(Pin(n, name, self._role(name.split("|")[0])) for n, name in enumerate(names, 1))

    def _role(self, function: str) -> Role:
        if function in self.supplies:
            return Role.SUPPLY
        if function in self.outputs:
            return Role.OUTPUT
        if function in ("NC", "VPP"):
            return Role.NC if function == "NC" else Role.VPP
        if re.fullmatch(r"[AD]\d+", function):
            return Role.ADDRESS if function[0] == "A" else Role.DATA
        return Role.CONTROL

    @cached_property
    def by_function(self) -> dict[str, Pin]:
        """The pins by what they do in read; of supplies with several pins, the highest."""
        return {pin.function: pin for pin in self.pins}

    def lines(self, role: Role) -> list[Pin]:
        """List the pins of the address or data lines, line 0 first."""
        return sorted((pin for pin in self.pins if pin.role is role), key=lambda pin: pin.index)

    @cached_property
    def pin_count(self) -> int:
        """How many pins the package has."""
        return int(self.package.removeprefix("DIP-"))

    @property
    def address_bits(self) -> int:
        """How many address lines select a word."""
        return self.words.bit_length() - 1

    @property
    def word_bytes(self) -> int:
        """How many bytes of a file hold one word."""
        return -(-self.bits // 8)

    def unchecked_about(self, *keys: str) -> list[str]:
        """List what is unchecked of these keys of the page, whole or in part: "times", "programming.vpp_v"."""

        def related(entry: str) -> bool:
            path = entry.partition(":")[0]
            return any(f"{path}.".startswith(f"{key}.") or f"{key}.".startswith(f"{path}.") for key in keys)

        return [entry for entry in self.unchecked if related(entry)]

    @cached_property
    def signals(self) -> frozenset[str]:
        """The controls that a board switches: those that its drive or write rows name."""
        return frozenset(name for row in (*self.drives, *self.writes) for name in row)

    @cached_property
    def strobes(self) -> dict[str, Level]:
        """The write strobes, each with the level at which it never writes.

        A control that only write rows name, or one whose asserted level (L after a slash, else H) stands in a write
        row and in no drive row: so /WE of an EEPROM is one, and its /OE, which must be off in a write, is not.
        """
        found: dict[str, Level] = {}
        for row in self.writes:
            for name, level in row.items():
                reads = {drive[name] for drive in self.drives if name in drive}
                asserted = level == ("L" if name.startswith("/") else "H")
                if not reads or (asserted and level not in reads):
                    found[name] = OTHER[level]
        return found

    @cached_property
    def enables(self) -> dict[str, frozenset[Level]]:
        """The controls that drive rows name, write strobes aside, with the levels at which they enable."""
        names = dict.fromkeys(name for row in self.drives for name in row if name not in self.strobes)
        return {name: frozenset(row[name] for row in self.drives if name in row) for name in names}

    def sources_of(self, key: str) -> list[str]:
        """The texts of the sources that cover a key of the page."""
        return [source.text for source in self.sources if key in source.covers.split()]

    def choices(self) -> dict[int, tuple[Choice, ...]]:
        """For each pin whose polarity the factory chose: what it may have chosen, in the order of the page."""
        optional = [pin for pin in self.pins if pin.function.endswith("?")]
        return {pin.number: self.options.get(pin.function, ("L", "H")) for pin in optional}

    def polarities(self, stated: dict[int, Choice]) -> list[dict[int, Choice]]:
        """List every combination of the factory's choices that agrees with those stated, the page's first first.

        Raises OptionError if a stated pin has no such choice.
        """
        for number, choice in stated.items():
            free = self.choices().get(number, ())
            if choice not in free:
                pins = ", ".join(f"{n}={' or '.join(c)}" for n, c in self.choices().items())
                raise OptionError(
                    f"pin {number} of {self.name} cannot be {choice}",
                    expected=f"polarities that the factory chose: {pins}"
                    if pins
                    else "no polarity: all of this part's are fixed",
                )
        choices = {number: (stated[number],) if number in stated else free for number, free in self.choices().items()}
        return [dict(zip(choices, picked)) for picked in itertools.product(*choices.values())]

    def ordered_as(self, polarity: dict[int, Choice]) -> Part:
        """Return the part with its factory choices made: no `?` any more, and pins left out are NC.

        Raises OptionError if the page has no drive row: what the factory chose is then more than anybody has read.

        >>> from romwright.parts.library import require_part
        >>> require_part("rom-2364-24").ordered_as({20: "L"}).drives
        ({'CS': 'L'},)
        """
        if not self.drives:
            raise OptionError(
                f"no drive row of {self.name} is known: nobody can say when it drives its outputs",
                expected="a part whose page has a row in drives",
                help="its page says under unchecked what is missing",
            )
        chosen = {self.pins[number - 1].function: choice for number, choice in polarity.items()}
        absent = {name for name, choice in chosen.items() if choice == "NC"}
        plain = {name: "NC" if name in absent else name.rstrip("?") for name in self.by_function}
        kept = [{name: level for name, level in row.items() if name not in absent} for row in self.drives]
        rows = tuple({plain[name]: chosen.get(name, level) for name, level in row.items()} for row in kept)
        left, right = (" ".join(plain.get(n, n) for n in column.split()) for column in (self.left, self.right))
        select = None if self.select in (None, *absent) else plain[self.select]
        return replace(self, drives=rows, left=left, right=right, select=select, options={})
