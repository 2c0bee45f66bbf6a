"""romwright repair without a reference: checksums in, every correction that fulfils them out."""

from __future__ import annotations

from romwright.cli.action import after_corrections, print_next
from romwright.cli.conditions import parse_digest, promised, stated
from romwright.cli.corrections import hint, report, state_search, state_sum
from romwright.cli.repair import nothing_to_write, print_written, write
from romwright.errors import InputError, OptionError
from romwright.images.notation import parse_range

MOST_BYTES = 4 << 20
MOST_WEAK = 256 << 20  # bytes of a list of weak cells: a list cut there is no JSON
BITS, LISTED = 2, 20  # unless given
UNDEFINED = 0xFF  # in gaps that enter no checksum
WAYS = (  # erased state 1: Intel 27128A data sheet, order 230849-009, p. 5-34; what fell means is reasoning, no source
    "rose: bits that should be 0 read 1 (an EPROM or OTP chip that loses charge: erased cells read 1)",
    "fell: bits that should be 1 read 0 (no charge loss of an EPROM: a line, a contact, a second chip on the bus)",
    "either: not known (a bad read); twice as many cells, four times as many pairs",
)


def run(loaded, read_as, fill: int | None, output: str | None, overwrite: bool, as_json: bool, options: dict) -> int:
    """Search, report, and write the candidate that was chosen."""
    from romwright.faults.repairs.outcome import outcome, unseen, wrong_sums
    from romwright.findings import blocks

    image = loaded.image
    require_room(loaded)
    data = image.flat(UNDEFINED if fill is None else fill)
    conditions, digests = checksums(data, image.start, options)
    if fill is None:
        require_defined(image, conditions, digests)
    wrong = not all(each.holds(data) for each in (*conditions, *digests))
    require_whole(options, output, wrong)
    weak, others = weak_cells(loaded, read_as, options)
    suspects, uncovered = suspected(image, data, conditions, digests, weak, read_as, options)
    findings = [*loaded.findings, *wrong_sums(data, image.start, conditions, digests)]
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
    action = after_corrections(not wrong, corrections.count if corrections else 0, written)
    if as_json:
        from romwright.cli.render import print_json

        print_json(answer | {"next": action})
    else:
        report(loaded.file, answer, corrections, findings, conditions, data, image.start)
        hint(data, image.start, conditions)
        print_written(written)
        print_next(action)
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


def require_whole(options: dict, output: str | None, wrong: bool) -> None:
    """Raise OptionError unless the options say all that is needed, and nothing that has no use."""
    if wrong and options["decay"] is None:
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
    from romwright.faults.repairs.suspects import parse_weak
    from romwright.images import formats

    if not options["weak"]:
        return None, list(options["reads"])
    file = options["weak"]
    try:
        with open(file, "rb") as stream:
            text = stream.read(MOST_WEAK)
    except OSError as error:
        raise formats.unreadable(file, error) from None
    weak = parse_weak(text, file, loaded.image.start, loaded.image.span_bytes)
    return weak, [file, *options["reads"]]


def suspected(image, data: bytes, conditions: list, digests: list, weak, read_as, options: dict) -> tuple:
    """Return the cells that a correction may turn, and how many bytes enter no checksum."""
    from romwright.faults.repairs.suspects import Decay, Suspects, checked_bytes, disagreeing, require_cells
    from romwright.images import formats

    there, uncovered = checked_bytes(image, conditions, whole=bool(digests))
    if options["within"]:
        first, last = (each - image.start for each in parse_range(options["within"], "--within"))
        if not 0 <= first < last <= len(data):
            raise OptionError(
                f"{options['within']} does not lie in the image", where="--within",
                expected=f"addresses in {image.start:04X}-{image.stop - 1:04X}, as the file has them",
            )  # fmt: skip
        there[:first], there[last:] = False, False
    suspects = Suspects.of(data, Decay(options["decay"] or Decay.EITHER), there, weak, options["only_weak"])
    if options["reads"]:
        loaded = [(file, formats.read(file, read_as).image) for file in options["reads"]]
        suspects = suspects.among(disagreeing(image, loaded))
    return require_cells(suspects), uncovered


def search(data: bytes, start: int, suspects, conditions: list, digests: list, options: dict):
    """Find every correction, with a bar where it takes long."""
    from romwright.cli.render import progress
    from romwright.faults.repairs.corrections import Search

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
    from romwright.faults.repairs.suspects import turned

    corrected = turned(data, candidate.cells)
    pieces = ((s.start, corrected[s.start - image.start : s.stop - image.start]) for s in image.segments)
    return type(image).of(pieces, image.entry)
