"""A chip that answered only some of the time: between its own bytes stand those of a bus that nobody drives.

What a program holds depends on what stands before it; what a bus reads does not. So of the 256 bytes that may come
before, those are taken after which the value in question is rarest in one half of the dump, and it is counted after
them in the other half. Of a program that leaves next to nothing; of a chip that drops out, its share of lost bytes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from romwright.faults.alone.signs import UNSOURCED, Dump, Sign, all_lines
from romwright.findings import Code, Finding, Severity
from romwright.images.image import hex_range
from romwright.images.words import in_bytes

DROPS = Code(
    "answers-now-and-then", Severity.FAULT, "no value of an undriven bus stands at random between the bytes of a dump",
    "The chip, its select or a contact drops out while it is read: the bytes that do come are good.",
    do="Clean the pins, reseat the chip and the adapter, press on the chip and read again, slower. Probe /CE and /OE "
    "at the chip, and its supply, which may sag (common practice, no source).",
    example="about 9.9% of the bytes are not the chip's: it answers only some of the time",
)  # fmt: skip
ADDRESS = Code(
    "reads-its-address", Severity.CAUTION, "the bytes of a dump are not their own addresses",
    "Where nothing answers, some readers read back what was last on the bus. Test patterns look so too.",
    do="Unless it is a test pattern, probe /CE and /OE at the chip while it is read, and look at its supply.",
    example="each byte is the low byte of its own address",
)  # fmt: skip

LOOKED_AT, PIECES = 1 << 17, 16  # bytes looked at; in longer dumps they are as many pieces, spread evenly
FEWEST = 1024  # bytes that are judged together
CLASSES = 4  # addresses by their rest: words of 2 and 4 bytes have 00 in one of them only
CONTEXTS, FOLLOWED = 16, (8, 2)  # contexts, each so often, from which is judged: first, and in small programs
STRONG = 2  # times more must be lost in these, and where lines fail: what stands before a byte is wrong then
RARE = 4  # times more often than the mean value of the dump must the value of a bus come
COMPRESSED = 7.5  # bits a byte
CONTROLS, TELLING = 8, 0.65  # frequent values looked at; what is left of their rate after what they seldom follow
PAGES = 8  # pages of 256 bytes from which a high address byte can be told from a letter that is frequent
HITS = 24  # times that the value was counted
LINE_TELLS = 0.5  # by this share of the mean a rate must differ with a line
ALL = 0.98
SUREST = 8.0  # standard errors between the rates at the two levels of a line


class Bus(Struct, frozen=True):
    """What an undriven bus may read: in words, the least share of lost bytes that shows, and how even it must be."""

    name: str
    words: str
    least: float
    even: float


FF = Bus("FF", "FF, as of a bus with pull-ups, or of open TTL inputs", 0.03, 0.6)
ZERO = Bus("00", "00, as of a bus with pull-downs", 0.15, 0.6)
LAST = Bus("previous byte", "the byte before it once more, as of a bus that keeps its charge", 0.05, 0.5)
LOW = Bus("low address", "the low byte of its address, as of a bus that still holds it", 0.03, 0.6)
HIGH = Bus("high address", "the high byte of its address, as of a bus that still holds it", 0.03, 0.6)
BUSES = (FF, ZERO, LAST, LOW, HIGH)


class Piece(Struct, frozen=True):
    """Bytes side by side with the byte before and the address of each."""

    before: np.ndarray
    byte: np.ndarray
    address: np.ndarray

    def part(self, start: int, stop: int) -> Piece:
        """Return some of it."""
        return Piece(self.before[start:stop], self.byte[start:stop], self.address[start:stop])


class Loss(Struct, frozen=True):
    """How often a value came where it should not: `share` of the bytes looked at, `hits` counted in `seen`."""

    bus: Bus
    share: float
    total: float
    hits: int
    seen: int
    contexts: int
    where: np.ndarray
    piece: Piece


def check_reads_address(dump: Dump) -> Iterator[Sign]:
    """Find a dump whose bytes are their own addresses."""
    piece = pieces(dump)
    for bus in (LOW, HIGH):
        guessed = guess(bus, piece, len(dump.data)) if len(piece.byte) >= FEWEST else None
        if guessed and (share := float(guessed[0].mean())) >= ALL:
            yield Sign(
                Finding(
                    ADDRESS, f"each byte is the {bus.name.replace(' address', '')} byte of its own address",
                    f"{share:.1%} of {in_bytes(len(piece.byte))} looked at: nothing answers, and the bus still holds "
                    f"the address {UNSOURCED}; or it is a test pattern",
                    "if it is none: probe /CE and /OE at the chip while it is read, and look at its supply",
                ),
                {"value": bus.name, "share": round(share, 4)}, all_lines() | {("repeat", str(1 << 16))},
            )  # fmt: skip


def check_answers(dump: Dump, buses: Sequence[Bus], lines_fail: bool = False) -> Iterator[Sign]:
    """Find values of an undriven bus at random among the bytes, over all or over a quarter of the dump."""
    piece = pieces(dump)
    size = len(piece.byte)
    spans = [(0, size), *((size * n // 4, size * (n + 1) // 4) for n in range(4))]
    for bus in buses:
        for start, stop in spans:
            loss = lost(bus, piece.part(start, stop), len(dump.data), STRONG if lines_fail else 1)
            if loss:
                yield say(dump, loss, start == 0 and stop == size)
                break


def pieces(dump: Dump) -> Piece:
    """Return the bytes that are looked at."""
    data = dump.data
    if len(data) <= LOOKED_AT:
        at = np.arange(1, len(data))
    else:
        length = LOOKED_AT // PIECES
        starts = np.linspace(1, len(data) - length, PIECES).astype(np.int64)
        at = (starts[:, None] + np.arange(length)).ravel()
    return Piece(data[at - 1], data[at], dump.view.addresses(at))


def guess(bus: Bus, piece: Piece, size: int) -> tuple[np.ndarray, np.ndarray] | None:
    """Return where the bus would give the byte, and where that can be told from what stands before it."""
    before, byte = piece.before, piece.byte
    if bus is FF or bus is ZERO:
        value = int(bus.name, 16)
        return byte == value, before != value
    if bus is LAST:
        return byte == before, (before != 0) & (before != 0xFF)
    told = ~((byte == before) & np.isin(byte, (0, 0xFF)))
    if bus is LOW:
        return byte == (piece.address & 0xFF), told
    count = min(1 << max((size - 1).bit_length() - 8, 0), 256)
    if count < PAGES:
        return None
    pages = (piece.address >> 8).astype(np.uint8)
    offsets = np.bincount(byte[told] - pages[told], minlength=256)
    offsets[np.arange(256) & count - 1 != 0] = 0
    return byte == pages + np.uint8(offsets.argmax()), told


def lost(bus: Bus, piece: Piece, size: int, times: float) -> Loss | None:
    """Return how many bytes are the bus's, if they come at random, not as in a program, and `times` the least share."""
    guessed = guess(bus, piece, size) if len(piece.byte) >= FEWEST else None
    if guessed is None:
        return None
    hit, told = guessed
    values = np.count_nonzero(np.bincount(piece.byte, minlength=256))
    times = max(times, RARE / (values * bus.least))  # of few values each comes often, whatever stands before
    if not told.any() or hit[told].mean() < bus.least * times:
        return None
    if bus is HIGH and not in_all_pages(piece, hit & told):
        return None
    half = piece.address >> 2 & 1
    key = (piece.before.astype(np.int64) << 3 | (piece.address & 3) << 1 | half)[told]
    seen = np.bincount(key, minlength=2048).reshape(256, CLASSES, 2)
    hits = np.bincount(key[hit[told]], minlength=2048).reshape(256, CLASSES, 2)
    first, first_hits = seen[:, :, 0].sum(axis=1), hits[:, :, 0].sum(axis=1)
    for followed in FOLLOWED:
        known = np.flatnonzero(first >= followed)
        if len(known) >= 2 * CONTEXTS:
            break
        times = max(times, STRONG)
    else:
        return None
    known = known[np.argsort(first_hits[known] / first[known], kind="stable")]
    rarest = known[: len(known) // 2]
    counted, in_all = hits[rarest, :, 1].sum(axis=0), seen[rarest, :, 1].sum(axis=0)
    total = float(hit[told].mean())
    share = float(counted.sum() / max(in_all.sum(), 1))
    least = float((counted / np.maximum(in_all, 1)).min())  # in the rest of addresses where it is rarest
    if counted.sum() < HITS or share < bus.least * times or share < bus.even * total or least < bus.even * share:
        return None
    if not context_tells(piece, hit):
        return None
    return Loss(bus, share, total, int(counted.sum()), int(in_all.sum()), len(rarest), hit & told, piece)


def context_tells(piece: Piece, hit: np.ndarray) -> bool:
    """Whether the other bytes do depend on what stands before them, or are all alike frequent, as if compressed.

    If not, address lines are crossed: then any value that is frequent seems to come at random.
    """
    kept = ~hit & (piece.byte != 0) & (piece.byte != 0xFF)
    half = (piece.address >> 2 & 1)[kept]
    key = (half << 16) + (piece.before.astype(np.int64) << 8)[kept] + piece.byte[kept]
    first, second = np.bincount(key, minlength=1 << 17).reshape(2, 256, 256)
    times = first.sum(axis=0) + second.sum(axis=0)
    share = times[times > 0] / max(times.sum(), 1)
    if -(share @ np.log2(share)) >= COMPRESSED:
        return True
    seen = first.sum(axis=1)
    known = np.flatnonzero(seen >= FOLLOWED[-1])
    ratios = []
    for value in np.argsort(-times)[:CONTROLS]:
        rarest = known[np.argsort(first[known, value] / seen[known], kind="stable")][: len(known) // 2]
        rate = second[rarest, value].sum() / max(second[rarest].sum(), 1)
        ratios.append(rate * second.sum() / max(second[:, value].sum(), 1))
    return float(np.median(ratios)) <= TELLING


def in_all_pages(piece: Piece, hit: np.ndarray) -> bool:
    """Whether hits come in most pages: a value that is frequent anyway is the high address byte in one."""
    page = (piece.address >> 8) - int(piece.address[0] >> 8)
    times = np.bincount(page, weights=hit)
    return len(times) >= PAGES and float(np.median(times)) >= 0.5 * times.mean() > 0


def say(dump: Dump, loss: Loss, everywhere: bool) -> Sign:
    """Say that a chip drops out, how often, and whether with a line."""
    bus, piece = loss.bus, loss.piece
    place = "" if everywhere else f" at {hex_range(int(piece.address[0]), int(piece.address[-1]) + 1)}"
    shares = {"value": bus.name, "share": round(loss.share, 4), "contexts": loss.contexts, "counted": loss.seen}
    facts = shares | {"first": int(piece.address[0]), "last": int(piece.address[-1])}
    line = by_line(loss)
    words = "at random: no address line makes a difference"
    if line:
        number, low, high = line
        facts |= {"line": f"A{number}", "low": round(low, 4), "high": round(high, 4)}
        side = ("low", "high")[high > low]
        words = f"more often with A{number} {side}: {low:.1%} with it low, {high:.1%} with it high"
    at = piece.address[loss.where][:3]
    where = ", ".join(f"{int(address):04X}" for address in at)
    return Sign(
        Finding(
            DROPS, f"about {loss.share:.1%} of the bytes{place} are not the chip's: it answers only some of the time",
            f"they read {bus.words} {UNSOURCED}; the first of them perhaps at {where}. After the {loss.contexts} byte "
            f"values that it follows least it still comes {loss.hits:,} times in {loss.seen:,}; in a program, where "
            f"a byte depends on the one before, next to never. They come {words}",
            "clean the pins, reseat chip and adapter, press on the chip and read again, slower; probe /CE and /OE at "
            f"the chip and its supply, which may sag{', and the line named first' * bool(line)} {UNSOURCED}",
        ),
        facts,
    )  # fmt: skip


def by_line(loss: Loss) -> tuple[int, float, float] | None:
    """Return the address line with which most is lost at one level, and the rates at low and high."""
    at, hit = loss.piece.address, loss.where
    best: tuple[float, tuple[int, float, float] | None] = (SUREST, None)
    for line in range(int(at[-1]).bit_length()):
        high = (at >> line & 1).astype(bool)
        if not 0 < high.sum() < len(high):
            continue
        rates = float(hit[~high].mean()), float(hit[high].mean())
        mean = float(hit.mean())
        error = (mean * (1 - mean) * (1 / high.sum() + 1 / (~high).sum())) ** 0.5
        far = abs(rates[1] - rates[0]) / max(error, 1e-12)
        if far > best[0] and abs(rates[1] - rates[0]) >= LINE_TELLS * mean:
            best = far, (line, *rates)
    return best[1]
