"""Options that several commands share, and values on the command line that belong together."""

from __future__ import annotations

import click

READ_AS = click.option(
    "--read-as",
    type=click.Choice(["raw", "intel-hex", "s-record"]),
    help="Read the files as this format, whatever their content looks like.",
)
AS_JSON = click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON.")
MARKING = click.option(
    "--marking", default="", metavar="TEXT", help="What is printed on the chip: confirms its voltage."
)
GRADE = click.option(
    "--grade", type=click.FloatRange(0, min_open=True), metavar="NS", help="The speed grade of the chip, as marked."
)
OVERWRITE = click.option("--overwrite", is_flag=True, help="Replace an output that exists.")


def read_polarity(context: click.Context, parameter: click.Parameter, text: str | None) -> dict[int, str]:
    """Read the polarities that an option states."""
    from romwright.parts.notation import parse_polarity

    return parse_polarity(text, parameter.opts[0])


def read_also(context: click.Context, parameter: click.Parameter, entries) -> list[tuple[str, str, dict]]:
    """Read what an option says of other sockets."""
    from romwright.jobs.sockets import parse_also

    return parse_also(entries, parameter.opts[0])


ALSO = click.option(
    "--also", multiple=True, callback=read_also, metavar="SOCKET=PART[,PIN=L…]",
    help="What sits in another socket, with its polarities; SOCKET=none: nothing. Repeat it for each socket.",
)  # fmt: skip
