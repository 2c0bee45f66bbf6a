"""`romwright explain`: what a finding means, why it matters, how it looks, and what to do."""

from __future__ import annotations

import click

from romwright.cli.options import AS_JSON
from romwright.cli.page import aligned
from romwright.cli.render import PIPE_COLUMNS, labelled, print_json
from romwright.findings import Code, Severity

LABEL = 14  # columns of the labels on the left
HEADS = ("severity", "code", "what should be so")
MEANS = {
    Severity.STOP: "it can damage a part or a person: do not power up",
    Severity.FAULT: "it is not right, or will not work",
    Severity.CAUTION: "it may be right: check",
    Severity.NOTE: "for information",
}


@click.command("explain", short_help="Tell what a finding means, and what to do.")
@click.argument("code", metavar="[CODE]", required=False)
@AS_JSON
def command(code: str | None, as_json: bool) -> None:
    """Tell what a finding means: what should be so and is not, why it matters, how it looks, and what to do about it.

    CODE stands in brackets behind the severity of every finding: fault (bus-contention). Without CODE all are listed,
    the worst first.

    \b
    Example: romwright explain bus-contention
    """
    from romwright.codes import all_codes, require_code

    if code is not None:
        found = require_code(code)
        print_json(as_plain(found)) if as_json else click.echo("\n".join(lines(found)))
        return
    codes = all_codes()
    if as_json:
        print_json([as_plain(each) for each in codes])
        return
    click.echo("\n".join(aligned([HEADS, *((str(each.severity), each.name, each.checks) for each in codes)])))
    click.echo(f"\n{len(codes)} codes; romwright explain CODE tells why it matters and what to do")


def as_plain(code: Code) -> dict[str, str]:
    """Return a code under the documented JSON keys."""
    return {
        "code": code.name, "severity": str(code.severity), "checks": code.checks, "why": code.why,
        "example": code.example, "do": code.do,
    }  # fmt: skip


def lines(code: Code) -> list[str]:
    """Lay out all that is to be said of a code."""
    example = code.example and f"{code.severity} ({code.name}): {code.example}"
    rows = {"should be so": code.checks, "why it matters": code.why, "for example": example, "what to do": code.do}
    said = [click.style(f"{code.severity} ({code.name})", bold=True) + f": {MEANS[code.severity]}"]
    for label, text in rows.items():
        said += labelled(label, text, LABEL, PIPE_COLUMNS) if text else []
    return said
