"""What a user says of a board's sockets: the links as they are set, what sits where, how a part was ordered."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from romwright.errors import OptionError, UnknownNameError
from romwright.parts.notation import parse_polarity

EMPTY = ("", "none")  # what is said of a socket without a chip


class Other(Struct, frozen=True):
    """The chip in another socket, its polarities stated; `reading` is how --also's word for it was read."""

    chip: object
    polarity: dict
    reading: object = None

    @property
    def label(self) -> str:
        """The chip in a few words."""
        return " ".join([self.chip.name, *(f"{pin}={choice}" for pin, choice in self.polarity.items())])

    def as_json(self) -> dict:
        """The chip under the documented JSON keys."""
        return {"part": self.chip.name, "polarity": self.polarity}


def require_thing(kind: str, name: str, known: dict, where: str):
    """Return what has that name, in any case of letters; raises UnknownNameError."""
    folded = {each.casefold(): thing for each, thing in known.items()}
    if name.casefold() not in folded:
        raise UnknownNameError(kind, name, known, where=where)
    return folded[name.casefold()]


def parse_setting(page, text: str) -> dict[str, str]:
    """Read `LK1=1-2,LK2=2-3` into a position for every link. Raises OptionError, UnknownNameError."""
    links = {link.name: link for link in page.links}
    found: dict[str, str] = {}
    for entry in filter(None, text.split(",")):
        name, equals, position = entry.strip().partition("=")
        if not equals:
            raise OptionError(f"--now {text}: {entry.strip()!r} is no setting", expected="LINK=POSITION: LK1=1-2")
        link = require_thing("link", name.strip(), links, page.name)
        if link.name in found:
            raise OptionError(f"--now {text}: {link.name} is given twice", expected="each link once")
        found[link.name] = require_thing("position", position.strip(), {p: p for p in link.positions}, link.name)
    if missing := [name for name in links if name not in found]:
        example = ",".join(f"{name}={next(iter(links[name].positions))}" for name in links)
        raise OptionError(
            f"--now says nothing about {', '.join(missing)}", expected=f"every link of the board, such as {example}"
        )
    return {name: found[name] for name in links}


def parse_also(entries: Iterable[str], option: str) -> list[tuple[str, str, dict]]:
    """Read each `U8=rom-2364-24,20=L` into the socket, the part and the polarities by pin. Raises OptionError."""
    found = []
    for entry in entries:
        socket, equals, rest = entry.partition("=")
        part, _, polarity = rest.partition(",")
        if not equals or not socket.strip():
            raise OptionError(f"{option} {entry}: no socket is named", expected="SOCKET=PART or SOCKET=none: U8=27C64")
        found.append((socket.strip(), part.strip(), parse_polarity(polarity, option)))
    return found


def fit_others(page, place, entries) -> dict[str, Other]:
    """Return the chips in the sockets other than `place`: those of the board's file, then as --also says.

    Raises OptionError, UnknownNameError.
    """
    from romwright.boards.library import fitted_chips
    from romwright.parts.library import require_marked

    sockets, said = {each.name: each for each in page.sockets}, set()
    found = {name: Other(chip, sockets[name].stated) for name, chip in fitted_chips(page).items()}
    for word, part, stated in entries:
        name = require_thing("socket", word, sockets, page.name).name
        if name == place.name or name in said:
            why = "the socket that is asked about" if name == place.name else "given twice"
            raise OptionError(f"--also {word}={part}: {name} is {why}", expected="each other socket once at most")
        said.add(name)
        found.pop(name, None)
        if part.casefold() in EMPTY:
            continue
        chip, reading = require_marked(part)
        choices = chip.polarities(stated)
        if len(choices) > 1:
            pins = ", ".join(str(pin) for pin in chip.choices() if pin not in stated)
            example = ",".join(f"{pin}={choice}" for pin, choice in choices[0].items())
            raise OptionError(
                f"--also {word}={part}: the polarity of pin {pins} of {chip.name} is not stated",
                expected=f"it behind the part, such as --also {word}={part},{example}",
            )
        found[name] = Other(chip.ordered_as(choices[0]), choices[0], reading)
    found.pop(place.name, None)
    return found


def ordered(part, polarity: dict, option: str):
    """Return a part with every polarity stated. Raises OptionError if one is open."""
    if open_pins := [pin for pin in part.choices() if pin not in polarity]:
        pins = ",".join(f"{pin}=L" for pin in part.choices())
        raise OptionError(
            f"the polarity of pin {', '.join(map(str, open_pins))} of {part.name} is not stated",
            expected=f"{option} {pins}, or H, as the ROM was ordered",
        )
    return part.ordered_as(part.polarities(polarity)[0])


def unchecked_of(page, cpu, chip) -> dict[str, list[str]]:
    """Return what nobody has read about the board, its CPU and the chip's pins and levels, by page."""
    from romwright.fit.standins import unchecked_pins

    found = {page.name: list(page.unchecked), cpu.name: list(cpu.unchecked), chip.name: unchecked_pins(chip)}
    return {name: entries for name, entries in found.items() if entries}
