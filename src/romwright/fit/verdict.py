"""The answer about one chip for one socket, for every polarity that the factory may have chosen."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from math import prod

from msgspec import Struct
from msgspec.structs import replace

from romwright.errors import LostLineError
from romwright.findings import Finding, worst_first
from romwright.fit import kinds, pins, selects, writes
from romwright.fit.drive import Comparison
from romwright.fit.plans.bench import Burnt
from romwright.fit.plans.contents import lay_out
from romwright.fit.plans.proof import Proof, read_every_address
from romwright.fit.plans.wiring import Plan, plan_wiring
from romwright.fit.seating import Seating
from romwright.fit.socket import Socket
from romwright.parts.model import Choice, Part

Polarity = dict[int, Choice]


class Fit(Struct, frozen=True, dict=True):
    """A chip in a socket with all polarities stated: findings about plugging it in, the plan, its proof."""

    polarity: Polarity
    chip_polarity: Polarity
    drive: Comparison
    plan: Plan
    spare: Plan
    proof: Proof
    findings: tuple[Finding, ...]

    @cached_property
    def case(self) -> dict[str, Choice]:
        """The polarities by pin number in text; those of the chip are marked."""
        return {str(pin): c for pin, c in self.polarity.items()} | {
            f"chip {pin}": c for pin, c in self.chip_polarity.items()
        }

    def as_json(self) -> dict:
        """The fit under the documented JSON keys."""
        return {
            "assumed": self.case,
            "drive": self.drive.as_json(),
            "wired": self.plan.wired.as_json(),
            "proof": self.proof.as_json(),
            "rows": [row.as_json() for row in self.plan.rows],
            "gates": [gate.as_json() for gate in self.plan.gates],
            "findings": [finding.as_json() for finding in self.findings],
        }


class Verdict(Struct, frozen=True):
    """The fits for every polarity left open; the first takes the first choice of the page for what was not stated.

    `findings` are those of all fits, each once, worst first; each sentence of the evidence that does not hold for
    every polarity says for which it does, and `holds_for` has those of the finding (empty: for all).
    """

    original: Part
    chip: Part
    fits: tuple[Fit, ...]
    findings: tuple[Finding, ...]
    holds_for: tuple[tuple[dict[str, Choice], ...], ...]

    @property
    def open_pins(self) -> list[str]:
        """The pins whose polarity was not stated."""
        return [pin for pin in self.fits[0].case if len({fit.case[pin] for fit in self.fits}) > 1]

    @property
    def assumed(self) -> dict[str, Choice]:
        """What the first fit, which gives the tables, takes for the pins not stated."""
        return {pin: self.fits[0].case[pin] for pin in self.open_pins}

    @property
    def pages(self) -> list[Part]:
        """The pages of the two parts; one if they are the same."""
        return list({part.name: part for part in (self.original, self.chip)}.values())

    @property
    def seating(self) -> str:
        """How a chip of another length or row pitch is taken to sit in the socket."""
        return Socket(self.original).seating(self.chip)

    @property
    def plugs_in(self) -> bool:
        """Whether the chip goes into the socket at all."""
        return Socket(self.original).takes(self.chip)

    def as_json(self) -> dict:
        """The answer under the documented JSON keys.

        from, to        names of the two parts
        polarity        the polarities that were stated, by pin; those of the chip as "chip 20"
        assumed         what rows, drive, wired and proof take for the pins not stated, the first choice of the page;
                        empty if none is open
        unchecked       what the pages of the two parts mark as not read anywhere, under from and to
        traps           what goes wrong with the two parts, as their pages say, under from and to
        seating         how a chip of another length or pitch is taken to sit; empty if pin 1 is at position 1
        image_at        the chip address, in words, at which the original's contents begin
        burn_at         the same in bytes: the place in the file that is burnt
        rows            {socket, signal, chip, function, how, wire_to, inverted, detail}; wire_to is a socket position,
                        inverted whether an inverter lies in that wire
        findings        {severity, code, title, evidence, remedy, holds_for?}; holds_for lists polarities
        drive, wired    {original, fitted, equal, signals, differs_at: [{levels, original, fitted}]}: the chip
                        simply plugged in, and with the rows applied; levels are keyed "27 CS": position and name
        proof           {addresses, equal, drive_equal, states, states_differ, states_written, first_difference?}
        polarities      if any is open: {assumed, drive, wired, proof, rows, findings} for each
        """
        first = self.fits[0]
        several = len(self.fits) > 1
        return {
            "from": self.original.name,
            "to": self.chip.name,
            "polarity": {pin: choice for pin, choice in first.case.items() if pin not in self.assumed},
            "assumed": self.assumed,
            "unchecked": {"from": list(self.original.unchecked), "to": list(self.chip.unchecked)},
            "traps": {"from": list(self.original.traps), "to": list(self.chip.traps)},
            "seating": self.seating,
            **first.plan.as_json(),
            "findings": [
                f.as_json() | ({"holds_for": list(of)} if of else {}) for f, of in zip(self.findings, self.holds_for)
            ],
            "drive": first.drive.as_json() | ({"assumed": self.assumed} if several else {}),
            "wired": first.plan.wired.as_json(),
            "proof": first.proof.as_json(),
        } | ({"polarities": [fit.as_json() for fit in self.fits]} if several else {})


def examine_fit(
    original: Part, chip: Part, polarity: Polarity | None = None, chip_polarity: Polarity | None = None,
    prefer: tuple[str, ...] = (), banks: tuple[str, ...] = (),
) -> Verdict:  # fmt: skip
    """Fit `chip` into a socket laid out for `original`, once for each polarity that is not stated.

    Raises OptionError for a polarity that a part cannot have, or more banks than the chip has room for, and
    UnknownNameError for a preference.
    """
    fits = tuple(
        fit_once(original, chip, one, other, prefer, banks)
        for one in original.polarities(polarity or {})
        for other in chip.polarities(chip_polarity or {})
    )
    groups: dict[tuple, list[tuple[Finding, Fit]]] = {}
    for fit in fits:
        for finding in fit.findings:
            groups.setdefault((finding.code.name, finding.title, finding.remedy), []).append((finding, fit))
    said = sorted((merge(group, fits) for group in groups.values()), key=lambda pair: pair[0].severity.rank)
    return Verdict(original, chip, fits, tuple(finding for finding, _ in said), tuple(of for _, of in said))


def fit_once(
    original: Part, chip: Part, polarity: Polarity, chip_polarity: Polarity, prefer: tuple[str, ...] = (),
    banks: tuple[str, ...] = (),
) -> Fit:  # fmt: skip
    """Fit a chip with all polarities stated."""
    plan = plan_wiring(original.ordered_as(polarity), chip.ordered_as(chip_polarity), prefer, banks)
    seating = Seating(plan)
    plugged_in = (*selects.CHECKS, *writes.CHECKS, *pins.CHECKS) if seating.fits else ()
    checks = (*kinds.CHECKS, *plugged_in, *selects.WIRED_CHECKS)
    findings = worst_first(finding for check in checks for finding in check(seating))
    proof = prove_plan(plan)
    return Fit(polarity, chip_polarity, seating.drive, plan, seating.spare, proof, tuple(findings))


def prove_plan(plan: Plan, burnt: Burnt | None = None) -> Proof:
    """Read every address through a plan, in every bank; with `burnt` compare the bytes too."""
    try:
        layout = lay_out(plan)
    except LostLineError:
        layout = None  # the proof says where the words go that lack a line
    banks, beyond = max(1, len(plan.banks)), plan.beyond
    return read_every_address(
        plan.original, plan.chip, plan.rows, plan.image_at, plan.gates, layout, banks, burnt, beyond
    )


def merge(group: Sequence[tuple[Finding, Fit]], fits: Sequence[Fit]) -> tuple[Finding, tuple[dict[str, Choice], ...]]:
    """Make one finding of those of several polarities; each sentence of its evidence says for which it holds."""
    of = [fit for _, fit in group]
    held: dict[tuple[int, str], list[Fit]] = {}
    for finding, fit in group:
        for place, sentence in enumerate(finding.evidence.split(". ")):
            held.setdefault((place, sentence), []).append(fit)
    sentences = [
        sentence if len(some) == len(of) else f"{sentence} (if ordered with {cases(some, fits)})"
        for (_, sentence), some in sorted(held.items(), key=lambda entry: entry[0][0])
    ]
    if len(of) == len(fits):
        return replace(group[0][0], evidence=". ".join(sentences)), ()
    sentences.append(f"Only if ordered with {cases(of, fits)}")
    return replace(group[0][0], evidence=". ".join(sentences)), tuple(fit.case for fit in of)


def cases(of: Sequence[Fit], fits: Sequence[Fit]) -> str:
    """Write the polarities of some of the fits, naming only the pins that matter where that is possible."""

    def values(some: Sequence[Fit]) -> dict[str, list[Choice]]:
        return {pin: list(dict.fromkeys(fit.case[pin] for fit in some)) for pin in some[0].case}

    here, everywhere = values(of), values(fits)
    if prod(map(len, here.values())) == len(of):
        return ", ".join(f"{pin}={' or '.join(here[pin])}" for pin in here if len(here[pin]) < len(everywhere[pin]))
    return " or ".join(",".join(f"{pin}={choice}" for pin, choice in fit.case.items()) for fit in of)
