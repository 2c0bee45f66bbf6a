"""romwright pattern: images that test the bench and the board instead of running on it."""

from __future__ import annotations

from functools import partial

import click

from romwright.cli.options import AS_JSON, MARKING, OVERWRITE, READ_AS
from romwright.cli.render import indented, inert, print_cautions, print_findings, print_json, print_table, progress
from romwright.cli.render import show as show_text
from romwright.errors import InputError, OptionError

OUTPUT = click.option("-o", "--output", metavar="OUT", help="The file to write.")
WRITE_AS = click.option(
    "--write-as", type=click.Choice(["raw", "intel-hex", "s-record"]), default="raw", show_default=True,
    help="Format of the output.",
)  # fmt: skip
LARGEST = 16  # times the chip, up to which a dump is read, and the part of it down to which
FEW_WORDS = 256  # in which more than two faults at once cannot be told for sure
BURN = "At the bench: burn {file}, verify it, then fit the chip where the lines are in doubt: the adapter, the socket"
UNREAD = "Read the marking on the {part} and state it with --marking, before it is burnt and fitted;"
READ = "read it there as a {part}, and say: romwright pattern line-finder --for {part} --read DUMP"
FORCE = (
    "The chip must answer at every address that the CPU reads: tie its select and output enable to their active "
    "level, and keep every other memory off the data bus (pull it, or hold its select off). Where another memory "
    "answers the CPU leaves the do-nothing words, and the frequencies are wrong."
)
INSTEAD = (
    "If you force the word on the data lines without a chip, use resistors and no wires: 1k to +5 V for each 1, "
    "33 to 100 ohm to ground for each 0, with all memories pulled (a hobby page, third-party copy)."
)


@click.group("pattern", short_help="Make bench patterns: find crossed lines, let a CPU run free.")
def command() -> None:
    """Make images that test the bench and the board: a line finder, and a free run.

    \b
    Example: romwright pattern line-finder --for 27C64 -o lines.bin
    """


@command.command("line-finder", short_help="An image from which every line fault can be read off.")
@click.option("--for", "part_name", required=True, metavar="PART", help="The chip to burn, for instance 27C64.")
@OUTPUT
@WRITE_AS
@click.option("--read", "dump", metavar="DUMP", help="Say what is wrong with the lines through which DUMP was read.")
@READ_AS
@MARKING
@OVERWRITE
@AS_JSON
def line_finder(part_name, output, write_as, dump, read_as, marking, overwrite, as_json) -> int:
    """Write an image for PART from which line faults can be read off, or with --read say which they are.

    Every word of it names one address line and the level that it had. Found are address and data lines crossed, stuck,
    joined or inverted, several at once, with some wrong bits besides, in a read of the whole chip, of half of it or of
    several copies. Exit status 0 if every line is right, 1 if not; to burn it, --marking as in `romwright prepare`.

    \b
    Example: romwright pattern line-finder --for 27C64 -o lines.bin
             romwright pattern line-finder --for 27C64 --read dump.bin
    """
    from romwright.faults.patterns.image import LineFinder
    from romwright.findings import blocks
    from romwright.parts.library import require_marked, to_burn

    if (output is None) == (dump is None):
        raise OptionError("give -o OUT or --read DUMP, one of them", expected="the image to write, or a dump of it")
    part, reading = require_marked(part_name)
    finder = LineFinder(part.address_bits, part.bits)
    if dump is not None:
        return read_dump(part, finder, dump, read_as, as_json)
    reading = to_burn(part, reading, marking)
    title = f"the line finder for {part.words:,} words of {part.bits} bits"
    answer, show = write_chip(part, part_name, title, finder.image_bytes(), output, write_as, overwrite)
    answer["findings"] += [finding.as_json() for finding in reading.findings]
    rows = by_eye(finder)
    if as_json:
        print_json(answer | {"lines": rows})
        return int(blocks(reading.findings))
    show()
    print_findings(reading.findings)
    click.echo("\nBy eye, in a hex dump" + (" (addresses of words)" if part.bits > 8 else "") + ":")
    print_table(
        ("line", "low says", "high says", "look at", "must be", "and at", "must be"),
        [(row["line"], row["low"], row["high"], row["alone"], row["high"], row["without"], row["low"]) for row in rows],
    )
    click.echo(
        "Another word of the table there tells what the line does: the high word of A5 where A3's should be says that\n"
        "A5 follows A3. A word that is not in the table, or one bit wrong everywhere: a data line."
    )
    if len({row[level] for row in rows for level in ("low", "high")}) < 2 * len(rows):
        click.echo("Some words serve two lines, as there are too few of them: --read tells them apart.")
    burn = UNREAD.format(part=part.name) if reading.voltage else f"{BURN.format(file=output)};"
    click.echo(f"\n{inert(burn)}\n{inert(READ.format(part=part_name))}\n")
    print_cautions(answer["cautions"])
    return int(blocks(reading.findings))


def by_eye(finder) -> list[dict]:
    """Return for each address line its two words, and two addresses to look at: it alone high, and it alone low."""
    from romwright.faults.patterns.linereport import word

    every, digits = (1 << finder.lines) - 1, max(-(-finder.lines // 4), 2)
    return [
        {
            "line": f"A{line}", "low": word(low, finder.bits), "high": word(high, finder.bits),
            "alone": f"{1 << line:0{digits}X}", "without": f"{every - (1 << line):0{digits}X}",
        }
        for line, (low, high) in enumerate(finder.code)
    ]  # fmt: skip


def read_dump(part, finder, dump: str, read_as: str | None, as_json: bool) -> int:
    """Print what is wrong with the lines through which a line finder was read; return the exit status."""
    from romwright.faults.patterns.linereport import find_line_faults, state_readout
    from romwright.faults.patterns.readout import Readout
    from romwright.findings import blocks
    from romwright.images import formats

    loaded = formats.read(dump, read_as)
    image, chip = loaded.image, part.words * part.word_bytes
    if image.gaps:
        missing = sum(stop - start for start, stop in image.gaps)
        raise InputError(
            f"{missing:,} bytes of the dump are not defined", where=dump, expected="every byte of the read",
            help="save the read as a binary file, whole",
        )  # fmt: skip
    if not chip // LARGEST <= image.span_bytes <= chip * LARGEST:
        raise InputError(
            f"the dump has {image.span_bytes:,} bytes, the {part.name} {chip:,}", where=dump,
            expected=f"a read of the {part.name}: {max(chip // LARGEST, 1):,} to {chip * LARGEST:,} bytes",
            help="name the part that was read",
        )  # fmt: skip
    readout = Readout(finder, finder.words_of(image.flat()), partial(progress, label="trying faults of lines"))
    found = [*loaded.findings, *find_line_faults(readout)]
    answer = {"part": part.name, "file": dump} | state_readout(readout)
    if as_json:
        print_json(answer | {"findings": [finding.as_json() for finding in found]})
        return int(blocks(found))
    click.echo(click.style(f"{inert(dump)} as a read of the line finder for the {part.name}", bold=True))
    print_findings(found)
    if not blocks(found):
        click.echo("every address line and every data line is right")
    elif readout.explained:
        rest = "every bit" if not readout.best.wrong else f"all but {readout.best.wrong:,} bits"
        click.echo(f"\nWith this the line finder gives the dump: {rest} of it (checked at every address).")
        if not readout.others:
            click.echo("Nothing else that was tried gives it as well.")
        if part.words <= FEW_WORDS:
            click.echo(
                f"In {part.words:,} words more than two faults at once may be read as others: mend, and read again."
            )
    return int(blocks(found))


def write_chip(part, part_name: str, title: str, data: bytes, output: str, write_as: str, overwrite: bool):
    """Write the contents of a chip as `prepare` does; return the JSON answer, and what prints it."""
    from romwright.cli import prepare as preparing
    from romwright.images import formats, preparation
    from romwright.jobs.files import output_names, pages_of, require_not_inputs
    from romwright.jobs.recipes import require_burnable

    require_burnable(part)
    recipe = preparation.Recipe(len(data), part.name, 0, part.bits)
    prepared = preparation.prepare([preparation.Source(title, formats.Image.from_bytes(data))], recipe)
    names = output_names(output, 1)
    require_not_inputs(names, pages_of(part_name))
    writer = formats.format_named(write_as)
    formats.write_files({names[0]: writer.build(formats.Image.from_bytes(prepared.chips[0]))}, overwrite)
    prepared.steps[:] = [f"made {title}"]
    answer = preparing.answer(part, prepared, names, write_as, prepared.findings)

    def show() -> None:
        preparing.print_outputs(part, prepared, names)
        if prepared.findings:
            click.echo()
            print_findings(prepared.findings)

    return answer, show


@command.command("free-run", short_help="A do-nothing image, and the frequency of every address line.")
@click.option("--cpu", required=True, metavar="CPU", help="A CPU, such as 6502 or Z80.")
@click.option("--clock", default="1MHz", show_default=True, metavar="F", help="Its clock: 1MHz, 14.31818MHz/3.")
@click.option("--for", "part_name", metavar="PART", help="The chip to burn.")
@OUTPUT
@WRITE_AS
@MARKING
@OVERWRITE
@AS_JSON
def free_run(cpu, clock, part_name, output, write_as, marking, overwrite, as_json) -> int:
    """Say what a frequency counter shows on each address line while CPU does nothing; with -o write the image.

    The CPU reads the same word everywhere and counts through all addresses. Each line is then a square wave of half
    the frequency of the line below it: a line that is not is broken, or shorted.

    \b
    Example: romwright pattern free-run --cpu Z80 --clock 4MHz --for 27C64 -o nops.bin
    """
    from romwright.boards.library import require_cpu
    from romwright.boards.linerates import free_run_bytes, line_rates, parse_clock, require_free_run
    from romwright.findings import blocks
    from romwright.parts.cautions import fitting_cautions
    from romwright.parts.library import require_marked, to_burn

    if (output is None) != (part_name is None):
        raise OptionError("--for PART and -o OUT go together", expected="both, to write the image, or neither")
    model, hertz = require_cpu(cpu), parse_clock(clock)
    run, rates = require_free_run(model), line_rates(model, hertz)
    answer, show, findings = {"findings": []}, None, []
    if output is not None:
        part, reading = require_marked(part_name)
        reading = to_burn(part, reading, marking)
        title = f"{part.words:,} words for a free run of the {model.name}: {run.word} throughout"
        data = free_run_bytes(model, part.words, part.bits)
        answer, show = write_chip(part, part_name, title, data, output, write_as, overwrite)
        findings = reading.findings
        answer["findings"] += [finding.as_json() for finding in findings]
    cautions = list(dict.fromkeys([FORCE, *run.cautions, INSTEAD, *answer.get("cautions", ()), *fitting_cautions()]))
    unchecked = list(run.unchecked)
    if as_json:
        lines = [
            {
                "line": rate.line, "counts": rate.steady, "hz": float(rate.hz), "hz_exact": str(rate.hz),
                "counter_hz": None if rate.counter_hz is None else float(rate.counter_hz),
                "period_s": float(rate.period_s), "probe": rate.note,
            }
            for rate in rates
        ]  # fmt: skip
        print_json(
            answer | {
                "cpu": model.name, "word": run.word, "clock": run.clock, "clock_hz": float(hertz),
                "clock_hz_exact": str(hertz), "clocks_per_word": run.clocks, "starts": run.starts, "lines": lines,
                "seen": run.seen, "source": run.source, "unchecked": unchecked,
                "cautions": cautions,
            }
        )  # fmt: skip
        return int(blocks(findings))
    if show:
        show()
        print_findings(findings)
        click.echo()
    click.echo(f"Free run of the {model.name}: {run.word} at every address, {run.clocks} clocks for each word.")
    click.echo(f"It starts {run.starts}.")
    click.echo(f"Clock ({run.clock}): {in_units(hertz, FREQUENCIES, CLOCK_FIGURES)}\n")
    print_table(
        ("line", "frequency", "period", "counter shows"),
        [
            (
                rate.line, in_units(rate.hz, FREQUENCIES), in_units(rate.period_s, TIMES),
                "not known" if rate.counter_hz is None else in_units(rate.counter_hz, FREQUENCIES),
            )
            for rate in rates
        ],
    )  # fmt: skip
    for lines, note in run.probe.items():
        show_text(indented(f"{lines}: {note}"))
    for note in run.seen:
        show_text(indented(note))
    click.echo()
    print_cautions(cautions)
    click.echo(inert(f"Source: {run.source}."))
    for text in unchecked:
        click.echo(inert(f"Unchecked: {text}."))
    return int(blocks(findings))


CLOCK_FIGURES = 9  # a crystal is marked with up to eight: 14.318182
FREQUENCIES = ((10**6, "MHz"), (10**3, "kHz"), (1, "Hz"))
TIMES = ((1, "s"), (10**-3, "ms"), (10**-6, "us"), (10**-9, "ns"))


def in_units(value, units, figures: int = 6) -> str:
    """Write a quantity to so many figures in the largest unit of which there is one, the last if there is none.

    >>> in_units(7630, FREQUENCIES), in_units(0.000131, TIMES)
    ('7.63 kHz', '131 us')
    """
    size, name = next((unit for unit in units if value >= unit[0]), units[-1])
    return f"{float(value / size if isinstance(size, int) else float(value) / size):.{figures}g} {name}"
