"""How surely `identify` names dumps read through faulty lines, and whether it names what it should not.

python tests/benchmarks/bench_robust.py [IMAGES] [DUMPS] [UNRELATED] [FOLDER]

The list is synthesised, and is no evidence of anything but speed and statistics: pieces of 2 to 64 KiB are cut from
the ROM images and the programs and libraries of this machine (below /usr), three in ten with fill after a program that
does not fill the chip. Each dump is one of them under a transform of TRANSFORMS, one of DAMAGES and, every second, one
of SIZES. Left out are dumps that show fewer than 512 bytes, or a tenth, that are not fill. Unrelated dumps are other
pieces of the same files, every third through faulty lines, and random bytes, text, erased and nearly erased images.
Programs share libraries: a piece that has a tenth of its byte strings or more in common with the image named is rightly
said to be that one damaged, or another version; so is one of which a tenth of the image's pages are there byte for
byte through the lines that are said (tables of one origin, laid out otherwise). Such names are counted apart, and what
is beside a dump of another size is of no image of the list. With FOLDER the list is kept for the next run.
"""

from __future__ import annotations

import glob
import os
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from functools import partial
from multiprocessing import Pool
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from line_faults import random_map, turned  # noqa: E402

from romwright.faults.lines import Line, LineMap  # noqa: E402
from romwright.recognition.identification import Identifier, measured  # noqa: E402
from romwright.recognition.reference import Store  # noqa: E402
from romwright.recognition.verdicts import Contents, Match  # noqa: E402

SOURCES = (
    "/usr/bin/*",
    "/usr/lib/*/*.so*",
    "/usr/share/seabios/*.bin",
    "/usr/lib/ipxe/qemu/*",
    "/usr/share/vgabios/*.bin",
)
TRANSFORMS = (
    "straight", "few crossed", "data crossed", "data inverted", "some inverted", "data stuck", "address stuck",
    "address joined", "all crossed", "all, inverted", "all, address stuck", "all, address joined", "all, data stuck",
)  # fmt: skip
DAMAGES = "none", "bits", "pages", "missing"
SIZES = "half", "doubled", "doubled with other", "shifted"
LEAST_BYTES, LEAST_SHARE = 512, 0.1
RELATED = 0.1  # share of byte strings in common
BATCH = 125  # dumps
GRAM, KEPT = 12, 64  # byte strings of so many bytes, one in so many of them


def cut_images(count: int, source: random.Random, taken: set) -> list[bytes]:
    """Cut pieces of files that have not been taken before."""
    files = sorted({os.path.realpath(path) for pattern in SOURCES for path in glob.glob(pattern)})
    files = [path for path in files if os.path.isfile(path) and os.path.getsize(path) > 100_000]
    found = []
    while len(found) < count:
        path, size = source.choice(files), 1 << source.randint(11, 16)
        at = source.randrange(0, os.path.getsize(path) - size // 2) // size * size
        spots = [(path, at + step) for step in range(0, size, 2048)]
        if not taken.isdisjoint(spots):
            continue
        with open(path, "rb") as stream:
            stream.seek(at)
            data = stream.read(size)
        if len(data) < size:
            continue
        if source.random() < 0.3:
            used = source.randrange(size // 3, size)
            data = data[:used] + bytes([source.choice((255, 255, 0))]) * (size - used)
        times = np.bincount(np.frombuffer(data, np.uint8), minlength=256)
        if times.max() > 0.7 * size or (times > size / 500).sum() < 24:
            continue
        taken.update(spots)
        found.append(data)
    return found


def grams(data: bytes) -> np.ndarray:
    """Return some of the byte strings of an image, as numbers: those whose number is a multiple of KEPT."""
    values = np.lib.stride_tricks.sliding_window_view(np.frombuffer(data, np.uint8), GRAM).astype(np.uint64)
    numbers = np.zeros(len(values), np.uint64)
    for column in values.T:
        numbers = (numbers + column + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)
    return numbers[numbers >> np.uint64(40) & np.uint64(KEPT - 1) == 0]


def strangers(pieces: list[bytes], images: list[bytes]) -> list[bytes]:
    """Return the pieces that have next to nothing in common with any image."""
    known = np.unique(np.concatenate([grams(image) for image in images]))

    def share(strings: np.ndarray) -> float:
        return float((known[np.minimum(np.searchsorted(known, strings), len(known) - 1)] == strings).mean())

    return [piece for piece in pieces if share(grams(piece)) < RELATED / 4]


def same(images: list[bytes], image: int, named: int) -> bool:
    """Tell whether an image was named, or one with the same contents: some files are copies of others."""
    return image == named or np.isin(grams(images[named]), grams(images[image])).mean() > 0.9


def line_map(rng: np.random.Generator, lines: int, kind: str) -> LineMap:
    straight = random_map(rng, lines, [], crossed=False)
    if kind.startswith("all"):
        faults = [kind[5:]] if kind[5:] not in ("", "ssed", "inverted") and kind != "all crossed" else []
        crossed = random_map(rng, lines, faults)
        turned_over = tuple(Line.inverted(line.of[0]) for line in crossed.data) if kind == "all, inverted" else None
        return LineMap(crossed.address, turned_over or crossed.data)
    if kind == "few crossed":
        address = list(straight.address)
        for _ in range(rng.integers(1, 3)):
            a, b = rng.choice(lines, 2, replace=False)
            address[a], address[b] = address[b], address[a]
        return LineMap(tuple(address), straight.data)
    if kind == "data crossed":
        return LineMap(straight.address, random_map(rng, lines, []).data)
    if kind in ("data inverted", "some inverted"):
        share = 1.0 if kind == "data inverted" else 0.4
        data = tuple(Line.inverted(bit) if rng.random() < share else Line.follows(bit) for bit in range(8))
        return LineMap(straight.address, data)
    return straight if kind == "straight" else random_map(rng, lines, [kind], crossed=False)


def damaged(rng: np.random.Generator, dump: np.ndarray, kind: str) -> np.ndarray:
    dump, size = dump.copy(), len(dump)
    if kind == "bits":
        return turned(rng, dump, rng.random() * 0.005)
    if kind == "pages":
        pages = size // 256
        for page in rng.choice(pages, max(1, int(pages * rng.random() * 0.25)), replace=False):
            fill = rng.integers(0, 256, 256, np.uint8), np.full(256, 255, np.uint8), np.zeros(256, np.uint8)
            dump[page * 256 : page * 256 + 256] = fill[rng.integers(3)]
    elif kind == "missing":
        kept = int(size * rng.uniform(0.6, 0.98))
        if rng.random() < 0.5:
            return dump[:kept]
        dump[kept:] = 255
    return dump


def resized(rng: np.random.Generator, dump: np.ndarray, kind: str, other: bytes) -> np.ndarray:
    size, beside = len(dump), np.frombuffer(other, np.uint8)
    if kind == "half":
        return dump[: size // 2] if rng.random() < 0.5 else dump[size // 2 :]
    if kind == "doubled":
        return np.concatenate([dump, dump])
    if kind == "doubled with other":
        rest = np.resize(beside, size) if rng.random() < 0.6 else np.full(size, 255, np.uint8)
        return np.concatenate([dump, rest] if rng.random() < 0.5 else [rest, dump])
    if kind == "shifted":
        step = int(rng.integers(1, size // 4))
        return (np.roll(dump, step), np.concatenate([beside[:step], dump]), dump[step:])[rng.integers(3)]
    return dump


def spoil(image: bytes, other: bytes, seed: int) -> tuple[bytes, tuple[str, ...]]:
    """Return a dump of an image and what was done to it; empty if too little of it is left."""
    rng = np.random.default_rng(seed)
    values = np.frombuffer(image, np.uint8)
    kinds = (
        str(rng.choice(TRANSFORMS)), str(rng.choice(DAMAGES)), str(rng.choice(SIZES)) if rng.random() < 0.5 else "same"
    )  # fmt: skip
    dump = line_map(rng, len(values).bit_length() - 1, kinds[0]).apply(values, len(values))
    dump = damaged(rng, dump, kinds[1])
    whole = resized(rng, dump, kinds[2], other)
    seen = whole if kinds[2] == "half" else dump
    live = len(seen) - int(np.bincount(seen, minlength=256).max())
    return (whole.tobytes() if live >= max(LEAST_BYTES, LEAST_SHARE * len(values)) else b""), kinds


def unrelated(number: int, pieces: list[bytes]) -> tuple[bytes, bytes]:
    """Return a dump that is of no image of the list, and the image that it is of.

    Every second is a piece of a program, the others are random or nearly nothing.
    """
    source, rng = random.Random(number), np.random.default_rng(number)
    if number % 2:
        data = pieces[number // 2 % len(pieces)]
        if number // 2 % 3:
            return data, data
        values = np.frombuffer(data, np.uint8)
        lines = line_map(rng, len(data).bit_length() - 1, str(rng.choice(TRANSFORMS)))
        return lines.apply(values, len(values)).tobytes(), data
    size = 1 << source.randint(11, 15)
    kind = number // 2 % 4
    if kind == 0:
        data = source.randbytes(size)
    elif kind == 1:
        words = ["load", "the", "byte", "ERROR", "ready", "disk", "\r\n", "0", "line", "memory", "OK?", "file"]
        data = " ".join(source.choice(words) for _ in range(size)).encode()[:size]
    else:
        nearly = bytearray([source.choice((0x00, 0xFF, 0xE5))]) * size
        for _ in range(0 if kind == 2 else source.randint(1, size // 8)):
            nearly[source.randrange(size)] = source.randrange(256)
        data = bytes(nearly)
    return data, data


def add(task: tuple[str, bytes]) -> tuple:
    return measured(*task)


def identify(file: str, tasks: list[bytes]) -> list[tuple[Match, ...]]:
    with Store(file) as store:
        rows = Identifier(store, thorough=True).identify(range(len(tasks)), lambda number: Contents(tasks[number]))
    return [row.matches for row in rows]


def in_processes(pool: Pool, file: str, tasks: list[bytes]) -> Iterator[tuple[Match, ...]]:
    """Identify in batches of which each shares one index, and yield what matches in order as batches are done."""
    batches = [tasks[first : first + BATCH] for first in range(0, len(tasks), BATCH)]
    for matches in pool.imap(partial(identify, file), batches):
        yield from matches


def pages_through(match: Match, dump: bytes, image: bytes) -> float:
    """Return the share of an image's pages, of many different bytes, that a dump has through the lines of a match."""
    lines = (*match.address_lines, *match.data_lines)
    if any(line["state"] not in ("follows", "inverted") for line in lines):
        return 0.0
    values, addresses = np.frombuffer(dump, np.uint8), np.arange(len(image))
    at = match.at + sum((addresses >> n & 1) << int(line["of"][1:]) for n, line in enumerate(match.address_lines))
    there = (at >= 0) & (at < len(values))
    found = values[np.where(there, at, 0)]
    seen = sum(
        (found >> n & 1 ^ (line["state"] == "inverted")) << int(line["of"][1:])
        for n, line in enumerate(match.data_lines)
    )
    pages = (there & (seen == np.frombuffer(image, np.uint8))).reshape(-1, 256).all(axis=1)
    many = [len(set(image[first : first + 256])) >= 24 for first in range(0, len(image), 256)]
    return float((pages & many).mean())


def in_common(plain: bytes, image: bytes) -> float:
    """Return the share of byte strings that two images have in common, of the one that has more of them."""
    strings = grams(plain), grams(image)
    return float(max(np.isin(*strings).mean(), np.isin(*reversed(strings)).mean()))


def main() -> None:
    count, dumps, others = (int(text) for text in [*sys.argv[1:4], *("10000", "1000", "10000")[len(sys.argv[1:4]) :]])
    with tempfile.TemporaryDirectory() as made, Pool(2) as pool:
        folder = Path(sys.argv[4] if len(sys.argv) > 4 else made)
        source, taken = random.Random(1984), set()
        images = cut_images(count, source, taken)
        beside = strangers(cut_images(400, source, taken), images)
        file = str(folder / f"robust-{count}.sqlite")
        if not os.path.exists(file):
            begun = time.perf_counter()
            with Store(file, create=True) as store, store.changing():
                for row, traces in pool.imap(add, ((str(n), data) for n, data in enumerate(images)), chunksize=16):
                    store.add_image("list", row, traces)
            print(f"added {count:,} images in {time.perf_counter() - begun:.0f} s", flush=True)
        with Store(file) as store:
            longest = max(len(sketch) for _, _, sketch in store.sketches())
        print(f"list of {count:,} images, {os.path.getsize(file) / count:,.0f} bytes each; sketch at most {longest:,}")
        chosen, seed = [], 0
        while len(chosen) < dumps:
            seed += 1
            image = random.Random(seed).randrange(count)
            dump, kinds = spoil(images[image], beside[seed % len(beside)], seed)
            if dump:
                chosen.append((image, dump, kinds))
        begun = time.perf_counter()
        named = list(in_processes(pool, file, [dump for _, dump, _ in chosen]))
        took = (time.perf_counter() - begun) / dumps
        tried, right, whole, wrong = Counter(), Counter(), 0, 0
        for (image, _, kinds), matches in zip(chosen, named):
            good = bool(matches) and same(images, image, int(matches[0].name))
            whole += good
            wrong += bool(matches) and not good
            for kind in kinds:
                tried[kind] += 1
                right[kind] += good
        print(f"{whole:,} of {dumps:,} named right: {whole / dumps:.2%} (bar 99 %), {wrong} wrong; {took:.1f} s each")
        for kind in (*TRANSFORMS, *DAMAGES, "same", *SIZES):
            print(f"  {kind}: {right[kind]} of {tried[kind]}")
        print(flush=True)
        if not others:
            return
        pieces = cut_images(max(others // 2, 1), source, taken)
        tasks = [unrelated(number, pieces) for number in range(others)]
        common, begun = [], time.perf_counter()
        for number, matches in enumerate(in_processes(pool, file, [data for data, _ in tasks])):
            for match in matches[:1]:
                (data, plain), image = tasks[number], images[int(match.name)]
                common.append(max(in_common(plain, image), pages_through(match, data, image)))
                print(f"  {number} named {match.name}: {common[-1]:.1%} in common", flush=True)
            if number % 1000 == 999:
                print(f"  {number + 1:,} tried, {time.perf_counter() - begun:.0f} s", flush=True)
        false = sum(share < RELATED for share in common)
        print(f"{false} of {others:,} unrelated images named (bar 0); {len(common) - false} that have code in common")


if __name__ == "__main__":
    main()
