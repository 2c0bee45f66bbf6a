"""What was seen: findings are values, never log lines.

A finding belongs to a Code, which stands beside the check that makes it and says why it matters.
"""

from __future__ import annotations

from collections.abc import Iterable
from enum import StrEnum

from msgspec import Struct


class Severity(StrEnum):
    """How bad it is, worst first."""

    STOP = "stop"
    FAULT = "fault"
    CAUTION = "caution"
    NOTE = "note"

    @property
    def rank(self) -> int:
        """0 for the worst."""
        return list(Severity).index(self)


class Code(Struct, frozen=True):
    """One kind of finding, explained: `romwright explain NAME` prints all of it.

    `checks` says what should be so, and is not where this is found, `why` why that matters, `do` what to do about it
    at the bench, whatever the case (a finding's own remedy is about its case), `example` how a real finding's title
    reads.
    """

    name: str
    severity: Severity
    checks: str
    why: str
    do: str
    example: str = ""


class Finding(Struct, frozen=True):
    """One statement about a dump or a fit, with its evidence and what to do about it."""

    code: Code
    title: str
    evidence: str = ""
    remedy: str = ""

    @property
    def severity(self) -> Severity:
        """The severity of its code."""
        return self.code.severity

    def as_json(self) -> dict[str, str]:
        """The finding under the documented JSON keys."""
        return {
            "severity": str(self.severity),
            "code": self.code.name,
            "title": self.title,
            "evidence": self.evidence,
            "remedy": self.remedy,
        }


def worst_first(findings: Iterable[Finding]) -> list[Finding]:
    """Sort findings by severity, keeping the order of equals."""
    return sorted(findings, key=lambda finding: finding.severity.rank)


def blocks(findings: Iterable[Finding]) -> bool:
    """Tell whether any finding means that it will not work or must not be tried (exit status 1)."""
    return any(finding.severity in (Severity.STOP, Severity.FAULT) for finding in findings)
