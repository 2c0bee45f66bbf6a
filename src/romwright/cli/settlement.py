"""What is printed of repeated reads of one chip."""

from __future__ import annotations

import click

from romwright.cli.render import inert, print_findings, print_result, print_table
from romwright.faults.causes import in_bits
from romwright.faults.repeats.chances import missed_at
from romwright.faults.repeats.unsettled import chance
from romwright.images.image import hex_range
from romwright.images.words import in_bytes

READS_SHOWN = 24  # reads, counts and unstable bits that are listed on paper; --json has all
COUNTS_SHOWN = 8
BITS_SHOWN = 16
BECAME = {  # of a read, by the reason for which it is not counted
    None: "counted",
    "size": "set aside: another size", "addresses": "set aside: other addresses", "blank": "set aside: blank",
    "lines": "set aside: its lines", "other contents": "set aside: other contents", "no majority": "no majority",
    "same": "not counted: the same read as another",
}  # fmt: skip
EXPLAINED = """\
  wrong at most: the chance of so few reads against a bit, were it in truth as often 0 as 1 (or worse):
    P(X <= k) for a binomial X of n reads and 1/2; a tie decides nothing
  wrong at that rate: no majority of n reads is right, if k of n is how often the cell reads wrong
  looks stable: a cell that reads so is read alike in all n reads, (k/n)^n + (1 - k/n)^n"""


def report(found, odd: list) -> None:
    """Print what became of each read, the findings, the unstable bits and how sure all that is."""
    if found.votes:
        counted, given = len(found.agreement.counted), len(found.given.reads) + len(found.given.same)
        size, where = in_bytes(int(found.votes.known.sum())), hex_range(found.votes.start, found.votes.stop)
        click.echo(click.style(f"{counted} of {given} reads counted: {size}, {where}", bold=True))
    else:
        click.echo(click.style("nothing is settled", bold=True))
    if found.given.moved_to:
        click.echo(f"files without addresses are taken to start at {found.given.moved_to:04X}, as the hex files do")
    print_reads(found)
    if odd or found.findings:
        click.echo()
    for file, finding in odd:
        click.echo(inert(f"{file}:"))
        print_findings([finding], file)
    print_findings(found.findings)
    if found.votes:
        print_bits(found)
        print_chances(found)


def print_reads(found) -> None:
    """Print what became of each read; if there are too many, those that are not counted or differ most."""
    reads = found.of_reads()
    if len(reads) > READS_SHOWN:
        reads.sort(key=lambda each: (each["counted"], -(each["stray_bits"] or 0)))
    rows = [
        (
            each["file"], f"{each['size']:,}" if "size" in each else "",
            f"{each['stray_bits']:,}" if each["counted"] else "", BECAME[each["reason"]],
        )
        for each in reads[:READS_SHOWN]
    ]  # fmt: skip
    print_table(("read", "bytes", "stray bits", ""), rows, right=(1, 2))
    if len(reads) > READS_SHOWN:
        click.echo(f"and {len(reads) - READS_SHOWN:,} more reads (see --json)")


def print_bits(found) -> None:
    """Print the first unstable bits: how often 0, how often 1, and what that makes of them."""
    if not found.unstable:
        return
    click.echo("\nUnstable bits")
    rows = [
        (
            f"{each['address']:04X}", each["bit"], each["zeros"], each["ones"],
            "-" if each["value"] is None else each["value"], chance(each["chance_wrong"]), each["state"],
        )
        for each in found.entries(BITS_SHOWN)
    ]  # fmt: skip
    print_table(("address", "bit", "read 0", "read 1", "majority", "wrong at most", ""), rows, right=(2, 3, 4, 5))
    if found.unstable > BITS_SHOWN:
        click.echo(f"and {found.unstable - BITS_SHOWN:,} more (see --json)")
    if found.undecided:
        click.echo("leaning: more reads would settle it; even: no number of reads will, as it looks; tied: no majority")


def print_chances(found) -> None:
    """Print the chance of a wrong bit: the formula, and its numbers."""
    n, u = found.fewest, found.unstable
    click.echo("\nHow sure")
    if u:
        print_counts(found.of_counts())
        if found.unseen and found.unseen >= 1:
            click.echo(f"  unstable bits that were read alike: at least about {found.unseen:,.0f} more (estimate)")
        click.echo(f"  unstable bits together: wrong with at most {chance(found.risk_unstable)} (the sum)")
    alike = f"({u:,} + 1) / 2^{n} = {chance(found.risk_alike)}"
    click.echo(f"  bits read alike: wrong with at most (u + 1) / 2^n = {alike}, u unstable bits, n reads")
    even = f"2^(1 - n) = {chance(missed_at(n, 1, 2))}"
    click.echo(f"  a cell that is even looks stable in {n} read{'s' * (n != 1)} with {even}")
    click.echo("  taken for granted: each cell goes wrong by chance, apart from all others, in up to half of its reads")
    word = "settled" if found.settled else "not settled"
    print_result(f"{word}: any bit wrong with at most {chance(found.risk_reached)}; {chance(found.risk)} is allowed")


def print_counts(counts: list[dict]) -> None:
    """Print how many bits have which counts, and what follows."""
    rows = [
        (
            f"{each['less_often']} of {each['reads']}", f"{each['bits']:,}", chance(each["chance_wrong"]),
            chance(each["wrong_at_rate"]), chance(each["missed_at_rate"]),
        )
        for each in counts[:COUNTS_SHOWN]
    ]  # fmt: skip
    headers = ("k of n against", "bits", "wrong at most", "wrong at that rate", "looks stable")
    print_table(headers, rows, right=(1, 2, 3, 4))
    if len(counts) > COUNTS_SHOWN:
        click.echo(f"and {len(counts) - COUNTS_SHOWN} other counts (see --json)")
    click.echo(EXPLAINED)


def say_written(found, output: str, written: dict | None, refused: list) -> None:
    """Print what was written, and which of its bits are undecided; or why nothing was."""
    click.echo()
    if not written:
        codes = sorted({each.code.name for each in refused})
        why = " and ".join(codes) if found.votes else "nothing is settled"
        accept = f"; if it is meant so: {' '.join(f'--accept {code}' for code in codes)}" if found.votes else ""
        print_result(f"not written: {output} ({why}){accept}")
        return
    size = in_bytes(written["size"])
    print_result(f"written and read back: {output} ({written['format']}, {size}, CRC-32 {written['crc32']})")
    undecided = [each for each in found.entries() if each["state"] != "settled"]
    if undecided:
        click.echo(f"in it {in_bits(len(undecided))} undecided, a tie written as the first read has it:")
        for each in undecided[:BITS_SHOWN]:
            click.echo(f"  {each['address']:04X} {each['bit']} as {each['written']} ({each['state']})")
        if len(undecided) > BITS_SHOWN:
            click.echo(f"  and {len(undecided) - BITS_SHOWN:,} more (see --json)")
