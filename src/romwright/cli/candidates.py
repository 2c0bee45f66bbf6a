"""romwright repair without a reference: checksums in, every correction that fulfils them out."""

from __future__ import annotations

import click

from romwright.cli.conditions import parse_digest, promised, stated
from romwright.cli.options import parse_range
from romwright.cli.repair import byte_change, nothing_to_write, print_written, write
from romwright.errors import InputError, OptionError

MOST_BYTES = 4 << 20
BITS, LISTED = 2, 20  # unless given
UNDEFINED = 0xFF  # in gaps that enter no checksum
WAYS = (  # erased state 1: Intel 27128A data sheet, order 230849-009, p. 5-34; what fell means is reasoning, no source
    "rose: bits that should be 0 read 1 (an EPROM or OTP chip that loses charge: erased cells read 1)",
    "fell: bits that should be 1 read 0 (no charge loss of an EPROM: a line, a contact, a second chip on the bus)",
    "either: not known (a bad read); twice as many cells, four times as many pairs",
)


def run(loaded, read_as, fill: int | None, output: str | None, overwrite: bool, as_json: bool, options: dict) -> int:
    """Search, report, and write the candidate that was chosen."""
    from romwright.faults.outcome import outcome, unseen, wrong_sums
    from romwright.findings import blocks

    image = loaded.image
    require_room(loaded)
    data = image.flat(UNDEFINED if fill is None else fill)
    conditions, digests = checksums(data, image.start, options)
    if fill is None:
        require_defined(image, conditions, digests)
    require_whole(options, output)
    weak, others = weak_cells(loaded, read_as, options)
    suspects, uncovered = suspected(image, data, conditions, digests, weak, read_as, options)
    findings = [*loaded.findings, *wrong_sums(data, image.start, conditions, digests)]
    wrong = not all(each.holds(data) for each in (*conditions, *digests))
    corrections = search(data, image.start, suspects, conditions, digests, options) if wrong else None
    findings += [*outcome(corrections)] if wrong else []
    findings += [unseen(uncovered)] if uncovered else []
    written = None
    if output:
        chosen = choose(corrections, options["candidate"], output)
        corrected = turned_image(image, data, chosen)
        written = write(
            corrected, loaded, output, overwrite, [loaded.file, *others],
            lambda again: all(
                each.holds(again.flat(UNDEFINED if fill is None else fill)) for each in (*conditions, *digests)
            ),
        )  # fmt: skip
    answer = {
        "file": loaded.file, "size": image.size_bytes, "origin": image.start, "decay": options["decay"],
        "bits": options["bits"] or BITS, "holds": not wrong,
        "sums": [state_sum(each, data, image.start) for each in conditions],
        "digests": [{"name": each.name, "wanted": each.value, "holds": each.holds(data)} for each in digests],
        "cells": len(suspects), "bytes_unseen": uncovered, **state_search(corrections, data, image.start),
        "written": written, "findings": [finding.as_json() for finding in findings],
    }  # fmt: skip
    if as_json:
        from romwright.cli.render import print_json

        print_json(answer)
    else:
        report(loaded.file, answer, corrections, findings, conditions, data, image.start)
        hint(data, image.start, conditions)
        print_written(written)
    return int(wrong or blocks(loaded.findings))


def require_room(loaded) -> None:
    """Raise InputError if the image is too large."""
    from romwright.images.words import in_bytes

    if loaded.image.span_bytes > MOST_BYTES:
        raise InputError(
            f"the image spans {in_bytes(loaded.image.span_bytes)}", where=loaded.file,
            expected=f"at most {MOST_BYTES:,} bytes",
        )  # fmt: skip


def require_defined(image, conditions: list, digests: list) -> None:
    """Raise GapError if a checksum covers bytes that nothing defines."""
    from romwright.errors import GapError

    for first, last in image.gaps:
        gap = range(first - image.start, last - image.start)
        if digests or any(each.touched(image.span_bytes)[gap.start : gap.stop].any() for each in conditions):
            raise GapError(image.gaps)


def require_whole(options: dict, output: str | None) -> None:
    """Raise OptionError unless the options say all that is needed, and nothing that has no use."""
    if options["decay"] is None:
        raise OptionError(
            "it is not said which way bits went", where="--decay",
            expected="one of these" + "".join(f"\n    {way}" for way in WAYS),
            help="with a good image of the same ROM give --reference FILE instead",
        )  # fmt: skip
    if options["only_weak"] and not options["weak"]:
        raise OptionError("--only-weak turns the cells of --weak only, but there is no --weak")
    if output and options["candidate"] is None:
        raise OptionError(
            "it is not said which candidate to write", where=output,
            expected="--candidate N, the number in the list that the same command prints without -o",
        )  # fmt: skip
    if options["candidate"] is not None and not output:
        raise OptionError("--candidate says what to write, but no -o says where")


def checksums(data: bytes, start: int, options: dict) -> tuple[list, list]:
    """Return the conditions and the digests that the good image keeps. Raises OptionError if there are none."""
    conditions = stated(options["sums"], options["crc32"], options["order"], start, len(data))
    digests = [parse_digest(name, options[name]) for name in ("sha1", "sha256") if options[name] is not None]
    conditions = conditions or ([] if digests else promised(data))
    if not conditions and not digests:
        raise OptionError(
            "no checksum is stated, and no header in the dump promises one",
            expected="--sum, --crc32, --sha1 or --sha256 of the good image, or a good image: --reference FILE",
            help="for instance --sum sum8=00 if all bytes sum to zero, --sum sum16@3FFE if the sum is stored there",
        )  # fmt: skip
    return conditions, digests


def weak_cells(loaded, read_as, options: dict) -> tuple:
    """Return the cells that are known to be weak (None: not known), and every file that was read for it."""
    from romwright.faults.suspects import parse_weak
    from romwright.images import formats

    if not options["weak"]:
        return None, list(options["reads"])
    file = options["weak"]
    try:
        with open(file, "rb") as stream:
            text = stream.read()
    except OSError as error:
        raise formats.unreadable(file, error) from None
    weak = parse_weak(text, file, loaded.image.start, loaded.image.span_bytes)
    return weak, [file, *options["reads"]]


def suspected(image, data: bytes, conditions: list, digests: list, weak, read_as, options: dict) -> tuple:
    """Return the cells that a correction may turn, and how many bytes enter no checksum."""
    import numpy as np

    from romwright.faults.comparison import defined
    from romwright.faults.suspects import Decay, Suspects, disagreeing, require_cells
    from romwright.images import formats

    there = defined(image)
    seen = np.full(len(data), bool(digests))
    for each in conditions:
        seen |= each.touched(len(data))
    uncovered = int((there & ~seen).sum())
    there &= seen
    if options["within"]:
        first, last = (each - image.start for each in parse_range(options["within"], "--within"))
        if not 0 <= first < last <= len(data):
            raise OptionError(
                f"{options['within']} does not lie in the image", where="--within",
                expected=f"addresses in {image.start:04X}-{image.stop - 1:04X}, as the file has them",
            )  # fmt: skip
        there[:first], there[last:] = False, False
    suspects = Suspects.of(data, Decay(options["decay"]), there, weak, options["only_weak"])
    if options["reads"]:
        loaded = [(file, formats.read(file, read_as).image) for file in options["reads"]]
        suspects = suspects.within(np.isin(suspects.cells, disagreeing(image, loaded)))
    return require_cells(suspects), uncovered


def search(data: bytes, start: int, suspects, conditions: list, digests: list, options: dict):
    """Find every correction, with a bar where it takes long."""
    from romwright.cli.render import progress
    from romwright.faults.corrections import Search

    return Search(data, start, suspects, conditions, digests, progress).run(
        options["bits"] or BITS, options["listed"] or LISTED
    )


def choose(corrections, number: int, output: str):
    """Return the candidate of a number. Raises OptionError."""
    if corrections is None:
        raise nothing_to_write(output)
    there = len(corrections.candidates)
    if number > there:
        raise OptionError(
            f"there is no candidate {number}", where="--candidate",
            expected=f"1 to {there}, as listed" if there else "a candidate, but no correction makes the checksums hold",
            help="--list N lists more" if there < corrections.count else "",
        )  # fmt: skip
    return corrections.candidates[number - 1]


def turned_image(image, data: bytes, candidate):
    """Return the image with a candidate's cells turned; gaps stay gaps."""
    from romwright.faults.suspects import turned

    corrected = turned(data, candidate.cells)
    pieces = ((s.start, corrected[s.start - image.start : s.stop - image.start]) for s in image.segments)
    return type(image).of(pieces, image.entry)


def state_sum(condition, data: bytes, start: int) -> dict:
    """Return a checksum under the documented JSON keys."""
    stored = condition.at and condition.at[0] + start
    return {
        "kind": condition.kind.name, "first": condition.over[0] + start, "last": condition.over[1] + start - 1,
        "at": stored, "order": condition.order if condition.at else None, "origin": condition.origin,
        "computed": condition.kind.text(condition.computed(data)),
        "wanted": condition.kind.text(condition.wanted(data)), "holds": condition.holds(data),
    }  # fmt: skip


def state_search(corrections, data: bytes, start: int) -> dict:
    """Return what was tried and found under the documented JSON keys."""
    if corrections is None:
        return {"tried": 0, "width": None, "by_chance": None, "count": 0, "levels": [], "candidates": []}
    return {
        "tried": corrections.tried, "width": corrections.width, "by_chance": corrections.by_chance,
        "count": corrections.count,
        "levels": [
            {"bits": level.bits, "tried": level.tried, "count": level.count, "ranked": level.ranked}
            for level in corrections.levels
        ],
        "candidates": [
            {"candidate": number, "bits": len(each.cells), "weak": each.weak, "lines_apart": each.lines_apart,
             "changes": [
                 {"address": at + start, "reads": f"{reads:02X}", "becomes": f"{becomes:02X}"}
                 for at, reads, becomes in each.changes(data)
             ]}
            for number, each in enumerate(corrections.candidates, 1)
        ],
    }  # fmt: skip


def report(file: str, answer: dict, corrections, findings: list, conditions: list, data: bytes, start: int) -> None:
    """Print what holds, what was tried, and the candidates."""
    from romwright.cli import render
    from romwright.faults.suspects import Decay
    from romwright.images.words import in_bytes

    click.echo(click.style(f"{render.inert(file)}, {in_bytes(answer['size'])}", bold=True))
    for each in answer["sums"]:
        if each["holds"]:
            where = f"{each['kind']} over {each['first']:04X}-{each['last']:04X}"
            click.echo(f"the {where} is {each['computed']}, as it should be")
    for each in answer["digests"]:
        if each["holds"]:
            click.echo(f"the {each['name']} of the whole dump is as it should be")
    if answer["holds"]:
        click.echo("Every checksum holds: nothing to repair that they show.")
    render.print_findings(findings)
    if corrections is None:
        return
    click.echo(
        f"\nTried: every correction that {Decay(answer['decay']).words}, of up to {corrections.most} "
        f"bit{'s' * (corrections.most > 1)} in {answer['cells']:,} cells.\nNothing beyond these bounds was tried."
    )
    rows = [(level.bits, f"{level.tried:,}", f"{level.count:,}") for level in corrections.levels]
    render.print_table(("bits", "corrections tried", "make all checksums hold"), rows, right=(0, 1, 2))
    if corrections.candidates:
        print_candidates(corrections, conditions, data, start)


def print_candidates(corrections, conditions: list, data: bytes, start: int) -> None:
    """Print the best candidates, and what best means."""
    from romwright.cli import render

    weak = bool(corrections.suspects.weak.any())
    shown = len(corrections.candidates)
    first = "then most weak cells, " if weak else ""
    click.echo(
        f"\nCandidates, {shown:,} of {corrections.count:,}: fewest bits first, {first}then those whose cells lie "
        "closest\n(the fewest address and data lines tell them apart, as in one row or column of the chip)."
    )
    rows = []
    for number, each in enumerate(corrections.candidates, 1):
        changes = []
        for at, reads, becomes in each.changes(data):
            itself = any(begin <= at < end for begin, end in (c.own for c in conditions))
            changes.append(
                f"{at + start:04X}: {byte_change(reads, becomes)}" + ", in the stored checksum" * itself
            )
        rows.append((number, len(each.cells), each.weak, each.lines_apart, "; ".join(changes)))
    keep = (0, 1, 2, 3, 4) if weak else (0, 1, 3, 4)
    heads = ("no.", "bits", "weak", "lines apart", "changes")
    render.print_table(
        [heads[n] for n in keep], [[row[n] for n in keep] for row in rows], right=tuple(range(len(keep) - 1))
    )
    if not all(level.ranked for level in corrections.levels):
        click.echo("Too many to rank all: some in weak cells alone, or in one page of 256 bytes, stand for the rest.")
    click.echo("Which of them is true, if any, is not known. To write one: the same command with -o OUT --candidate N.")


def hint(data: bytes, start: int, conditions: list) -> None:
    """Say which byte sums the image's header promises beside those that were stated."""
    used = {(each.kind.name, each.over, each.value) for each in conditions}
    for each in promised(data):
        if ("sum8", each.over, 0) not in used:
            where = f"{each.over[0] + start:04X}-{each.over[1] + start - 1:04X}"
            click.echo(f"A header in the dump promises another one, not used here: --sum sum8=00:{where}")
