"""The files that `romwright wire` writes: the plan as a drawing, a table, a netlist, and as a file to be read back."""

from __future__ import annotations

import hashlib

from romwright.errors import OptionError, OutputError


def write_plan(verdict, names: tuple[str, str], targets: dict[str, str | None], overwrite: bool) -> list[dict]:
    """Write the plan of a verdict to the targets given, by their kind, all or none; returns what was written.

    `names` are those by which the two parts were asked for. Raises OptionError while a polarity is open: a file holds
    one wiring, and nothing in it is guessed. Raises OutputError.
    """
    from romwright.images.formats import write_files

    wanted = {kind: path for kind, path in targets.items() if path}
    if not wanted:
        return []
    if verdict.open_pins:
        pins = ", ".join(verdict.open_pins)
        raise OptionError(
            f"polarity not stated for pin {pins}: there is more than one wiring",
            where=", ".join(f"--{kind}" for kind in wanted),
            expected="every polarity stated",
            help="state it with --polarity, and that of TO with --chip-polarity",
        )
    if len(set(wanted.values())) < len(wanted):
        raise OutputError("two outputs would go to one file", where=", ".join(wanted.values()))
    written = {kind: build(kind, verdict, names) for kind in wanted}
    write_files({path: written[kind] for kind, path in wanted.items()}, overwrite)
    return [
        {"file": path, "format": kind, "size": len(written[kind]), "sha256": hashlib.sha256(written[kind]).hexdigest()}
        for kind, path in wanted.items()
    ]


def build(kind: str, verdict, names: tuple[str, str]) -> bytes:
    """Return the bytes of one kind of file."""
    fit = verdict.fits[0]
    if kind == "svg":
        from romwright.sheets.wiring import build_wiring_svg

        return build_wiring_svg(fit.plan, warning_about(fit.proof))
    if kind == "csv":
        from romwright.fit.plantable import build_csv

        return build_csv(fit.plan)
    if kind == "netlist":
        from romwright.fit.netlist import build_netlist

        return build_netlist(fit.plan)
    from romwright.fit.planfile import build_plan

    return build_plan(fit.plan, verdict.original, verdict.chip, *names)


def warning_about(proof) -> str:
    """Say on the drawing what the proof did not find right."""
    if not proof.equal:
        return "DO NOT BUILD THIS AS IT STANDS: read through these wires, the chip does not give the original's bytes"
    if not proof.drive_equal:
        return "CAUTION: the wired chip does not drive the bus in exactly the same states as the original"
    return ""
