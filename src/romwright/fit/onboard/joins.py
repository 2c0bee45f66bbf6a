"""Nets on which two things drive against each other, whatever chip is in the socket."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from romwright.findings import Code, Finding, Severity
from romwright.fit.onboard.nets import Nets
from romwright.fit.onboard.traces import Source

RAILS_JOINED = Code(
    "rails-joined", Severity.STOP, "no two rails are joined", "The supply is shorted: tracks and links burn.",
    do="Do not power up. Move the links so that the two rails stay apart, and measure between them with the supply "
    "off.",
    example="+5V and GND are joined",
)  # fmt: skip
SIGNAL_ON_RAIL = Code(
    "signal-on-rail", Severity.STOP, "no line that something drives is joined with a rail",
    "The output works against the supply and dies.",
    do="Do not power up. Move the links so that the line and the rail stay apart.",
    example="A13 and +5V are joined",
)  # fmt: skip
TWO_DRIVERS = Code(
    "two-drivers", Severity.STOP, "no two outputs that can be at opposite levels are joined",
    "Push-pull outputs that may be opposite even briefly must not be joined: excess current and damage "
    "(TI SN74HC00 data sheet SCLS181H, August 2021, section 9.2.1.3).",
    do="Do not power up. Move the links so that the two outputs stay apart.",
    example="A13 and /ROMSEL are joined",
)  # fmt: skip
DATA_JOINED = Code(
    "data-line-joined", Severity.STOP, "a data line is joined with nothing else",
    "Every byte on the bus is wrong, and whatever drives the other line fights with it.",
    do="Do not power up. Move the links so that nothing else is joined with the data line.",
    example="A13 and D7 are joined",
)  # fmt: skip


def find_clashes(nets: Nets, nodes: Iterable[str]) -> Iterator[Finding]:
    """Yield a finding for each net of some nodes on which two sources work against each other."""
    for root in sorted({nets.joints.find(node) for node in nodes}):
        sources = nets.sources(root)
        for number, one in enumerate(sources):
            for other in sources[:number]:
                if code := judge(nets, other, one):
                    title = f"{other.label} and {one.label} are joined"
                    yield Finding(code, title, f"links {words(nets)}", "set the links so that they stay apart")


def judge(nets: Nets, one: Source, other: Source) -> Code | None:
    """Return what is wrong with two sources on one net; None if they never work against each other."""
    volts = [source.volts for source in (one, other) if source.volts is not None]
    if len(volts) == 2:
        return RAILS_JOINED if volts[0] != volts[1] else None
    if one.data or other.data:
        return DATA_JOINED
    if volts:
        return SIGNAL_ON_RAIL
    if one.cpu and other.cpu:
        return TWO_DRIVERS
    (high, low, on), (its_high, its_low, its_on) = nets.drives(one), nets.drives(other)
    unsure = (on & ~(high | low) & its_on) | (its_on & ~(its_high | its_low) & on)
    return TWO_DRIVERS if (high & its_low) | (low & its_high) | unsure else None


def words(nets: Nets) -> str:
    """Write the setting of the links: `LK1=1-2,LK2=2-3`."""
    return ",".join(f"{link}={position}" for link, position in nets.setting.items()) or "none"
