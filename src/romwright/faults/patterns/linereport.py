"""What a dump of the line finder says, in a technician's words and under JSON keys, proved on every word."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from romwright.errors import RomwrightError
from romwright.faults.causes import UNSOURCED, in_bits
from romwright.faults.diagnosis import BLANK, INVERTED, STUCK, crossed, joined, named
from romwright.faults.extent import SIZE
from romwright.faults.lines import LEVELS, Line, State
from romwright.faults.patterns.readout import Readout, Ways
from romwright.faults.statement import level_of, state_lines
from romwright.findings import Code, Finding, Severity

INVERTED_ADDRESS = Code(
    "address-inverted", Severity.FAULT, "no address line reaches a line finder inverted",
    "Each byte is read where that line has the other level: the two halves are exchanged.",
    do="Look for an inverter between the reader and that address pin, or a gate that was taken for a buffer "
    "(reasoning, no source); read again without it.",
    example="A13 is inverted",
)  # fmt: skip
NOT_PATTERN = Code(
    "not-line-finder", Severity.FAULT, "a dump is the line finder of its chip, seen through faults of lines",
    "The image may be for another size of chip, or not burnt, or more lines are wrong than can be told.",
    do="Make sure that the chip was burnt with the line finder for this very part and verified; then reseat it, "
    "clean the pins and read again. If most lines are wrong, try it in another reader.",
    example="this is no dump of the line finder for 65,536 words of 8 bits",
)  # fmt: skip
UNDECIDED = Code(
    "lines-undecided", Severity.CAUTION, "only one combination of line faults gives the dump of a line finder",
    "With so little left to be seen several faults look alike; mending one of them and reading again parts them.",
    do="Mend one of the faults named, the easiest to reach first, and read the line finder again.",
    example="2 combinations of faults give this dump",
)  # fmt: skip
WRONG_BITS = Code(
    "pattern-bits-wrong", Severity.FAULT, "no bit of a line finder is wrong beside what its lines do",
    "A cell was not burnt, or has lost its charge, or a contact comes and goes.",
    do="Verify the chip in the programmer that burnt it. If it is right there, reseat it and read several times: "
    "a contact comes and goes. If not, erase it and burn it again.",
    example="3 bits of the 524,288 are wrong besides",
)  # fmt: skip
MOST_LISTED = 24
SHOWN = 3


def find_line_faults(readout: Readout) -> Iterator[Finding]:
    """Yield what is wrong with the lines and with the bits."""
    finder, best = readout.finder, readout.best
    if readout.blank:
        yield Finding(
            BLANK, f"every word of the dump is {word(int(readout.dump[0]), finder.bits)}",
            "nothing tells one line from another; an erased chip and an empty socket read so",
            "check that the chip is burnt, supplied and selected (/CE, /OE), then read again",
        )  # fmt: skip
        return
    seen = min(readout.reader_lines, finder.lines)
    if len(readout.dump) != len(finder.cells):
        yield check_size(readout, best.address[seen:] if readout.explained else ())
    if not readout.explained:
        yield Finding(
            NOT_PATTERN, f"this is no dump of the line finder for {len(finder.cells):,} words of {finder.bits} bits",
            f"with the best that was found {in_bits(best.wrong)} of {finder.bits * len(readout.dump):,} are wrong",
            "check that it was made for this part; mend what a line finder in a sound socket shows, and read again",
        )  # fmt: skip
        return
    yield from faults_of(best.address[:seen], "A", "the ROM")
    yield from faults_of(best.data, "D", "the reader")
    if best.wrong:
        rose, fell = directions(readout)
        yield Finding(
            WRONG_BITS, f"{in_bits(best.wrong)} of the {finder.bits * len(readout.dump):,} are wrong besides",
            f"{rose:,} rose 0→1, {fell:,} fell 1→0", f"read again, and compare the two reads {UNSOURCED}",
        )  # fmt: skip
    if readout.others:
        ways = [difference(best, other) for other in readout.others]
        more = f", and {len(ways) - SHOWN} more" if len(ways) > SHOWN else ""
        yield Finding(
            UNDECIDED, f"{len(ways) + 1} combinations of faults give this dump",
            f"or: {'; or: '.join(ways[:SHOWN])}{more}", "mend what is sure, then read again",
        )  # fmt: skip


def check_size(readout: Readout, beyond: Sequence[Line]) -> Finding:
    """Say how the sizes differ; `beyond` are the ROM's lines for which the reader has none."""
    first, size = readout.finder.lines - len(beyond), len(readout.finder.cells)
    held = [f"A{first + n} {LEVELS[line.level]}" for n, line in enumerate(beyond)]
    what = f"it is the part with {' and '.join(held)}: the reader was set to a smaller chip" if held else ""
    if not len(readout.dump) % size:
        what = f"it holds {len(readout.dump) // size} copies: the reader was set to a larger chip"
    return Finding(SIZE, f"the dump has {len(readout.dump):,} words, the chip {size:,}", what)


def faults_of(lines: Sequence[Line], letter: str, side: str) -> Iterator[Finding]:
    """Yield what is wrong with the lines of one side."""
    whose = "the reader's" if letter == "A" else "the ROM's"
    for level in (0, 1):
        held = [n for n, line in enumerate(lines) if line == Line.stuck(level)]
        if held:
            names, verb = named(held, letter)
            yield Finding(
                STUCK, f"{names} {verb} stuck {LEVELS[level]}", f"no word was read with {names} {LEVELS[1 - level]}",
                f"check the contact of {names}, and for a short to {('GND', 'VCC')[level]} {UNSOURCED}",
            )  # fmt: skip
    turned = [n for n, line in enumerate(lines) if line.state is State.INVERTED]
    if turned:
        names, verb = named(turned, letter)
        shown, _ = named([lines[n].of[0] for n in turned], letter)
        yield Finding(
            INVERTED_ADDRESS if letter == "A" else INVERTED, f"{names} {verb} inverted",
            f"the opposite of {whose} {shown} everywhere",
            f"look for an inverting buffer between the chip and the reader {UNSOURCED}",
        )  # fmt: skip
    for line in dict.fromkeys(line for line in lines if line.law):
        same = [n for n, each in enumerate(lines) if each == line]
        yield joined(line, [f"{letter}{n}" for n in same], len(same), letter)
    moved = [n for n, line in enumerate(lines) if line.state is State.FOLLOWS and line.of[0] != n]
    if moved:
        yield crossed(lines, moved, letter, side)


def difference(best: Ways, other: Ways) -> str:
    """Say what another way has otherwise."""
    said = []
    for letter, mine, theirs in (("A", best.address, other.address), ("D", best.data, other.data)):
        stated = state_lines(theirs, letter)
        said += [in_words(line) for line, one, two in zip(stated, mine, theirs) if one != two]
    return ", ".join(said)


def in_words(line: dict) -> str:
    """Say what a stated line does."""
    of = line.get("of")
    sources = of if isinstance(of, str) or of is None else f" {line['law'].upper()} ".join(of)
    if line["state"] == "stuck":
        return f"{line['line']} stuck {LEVELS[line['level']]}"
    return f"{line['line']} {'inverted from' if line['state'] == 'inverted' else 'follows'} {sources}"


def word(value: int, bits: int) -> str:
    """Write a word of the chip as hex digits."""
    return f"{value:0{-(-bits // 4)}X}"


def directions(readout: Readout) -> tuple[int, int]:
    """Count the bits that rose and those that fell, as they were read."""
    turned = readout.expected ^ readout.dump
    return tuple(int(np.bitwise_count(turned & side).sum()) for side in (readout.dump, readout.expected))


def state_readout(readout: Readout) -> dict[str, object]:
    """Return a readout under the documented JSON keys; what it says of the lines has been proved."""
    finder = readout.finder
    explained = readout.explained
    said = state_ways(readout.best)
    if explained:
        prove_readout(said, readout)
    rose, fell = directions(readout)
    return {
        "words": len(finder.cells), "bits": finder.bits, "words_dump": len(readout.dump), "explained": explained,
        "unique": explained and not readout.others, **said,
        "wrong_bits": readout.best.wrong, "rose": rose, "fell": fell,
        "alternatives": [state_ways(other) for other in readout.others[:MOST_LISTED]] if explained else [],
    }  # fmt: skip


def state_ways(ways: Ways) -> dict[str, object]:
    """Return address and data lines under the documented JSON keys."""
    return {"address_lines": state_lines(ways.address, "A"), "data_lines": state_lines(ways.data, "D")}


def prove_readout(said: dict, readout: Readout) -> None:
    """Read the pattern through what is stated, line by line. Raises RomwrightError unless it leaves the bits stated."""
    addresses, finder = np.arange(len(readout.dump)), readout.finder
    cell, seen = np.zeros(len(addresses), np.int64), np.zeros(len(addresses), np.int64)
    for number, line in enumerate(said["address_lines"]):
        cell |= level_of(line, addresses) << number
    words = finder.words[cell].astype(np.int64)
    for number, line in enumerate(said["data_lines"]):
        seen |= level_of(line, words) << number
    wrong = int(np.bitwise_count(seen ^ readout.dump).sum())
    if wrong != readout.best.wrong:
        raise RomwrightError(
            "the line faults found do not reproduce the dump, so they are not printed",
            expected=f"{readout.best.wrong} wrong bits, not {wrong}",
            help="this is a fault of romwright: please report it with the dump",
        )  # fmt: skip
