"""The files that `romwright wire` writes: a plan as drawing, table, netlist and plan file, and the bytes to burn."""

from __future__ import annotations

import hashlib
from pathlib import Path

from msgspec import Struct

from romwright.errors import OptionError


class Made(Struct, frozen=True):
    """A plan with its proof; `pages` are those of its two parts (None: no file has it), `names` what found them.

    `share` takes this chip's part out of the contents of a set of chips.
    """

    plan: object
    proof: object
    pages: tuple
    names: tuple[str, str] = ("", "")
    share: object = None


def require_one_wiring(verdict, targets: dict[str, str | None]) -> None:
    """Raise OptionError while a polarity is open: a file holds one wiring, and nothing in it is guessed."""
    if verdict.open_pins and any(targets.values()):
        pins = ", ".join(verdict.open_pins)
        raise OptionError(
            f"polarity not stated for pin {pins}: there is more than one wiring",
            where=", ".join(f"--{kind}" for kind, path in targets.items() if path),
            expected="every polarity stated",
            help="state it with --polarity, and that of TO with --chip-polarity",
        )


def write_plans(
    made: list[Made], targets: dict[str, str | None], images: tuple[str, ...], pages: tuple[str, ...], overwrite: bool
) -> list[dict]:
    """Write plans to the targets given, by their kind, all or none; returns what was written.

    Of several chips each gets its own file: FILE-1, FILE-2, ... before the suffix. `pages` are names of parts and
    boards: one that is a file is an input, as the images are. Raises OptionError, OutputError.
    """
    from romwright.images.formats import write_files
    from romwright.jobs.files import pages_of, require_not_inputs

    wanted = {kind: path for kind, path in targets.items() if path}
    if bool(images) != bool(targets.get("burn")):
        raise OptionError(
            "--image and --burn go together", expected="what the socket must show, and a file for the bytes"
        )
    written: dict[str, tuple[str, bytes]] = {}
    for number, each in enumerate(made, 1):
        for kind, path in wanted.items():
            name = path if len(made) == 1 else str(Path(path).with_stem(f"{Path(path).stem}-{number}"))
            if name in written:
                raise OptionError(f"{name} is named for two outputs", expected="a file of its own for each")
            written[name] = kind, build(kind, each, images)
    files = [name for text in images for name in (text, text.rpartition("@")[0])]
    require_not_inputs(list(written), pages_of(*files, *pages))
    write_files({name: data for name, (_, data) in written.items()}, overwrite)
    return [
        {"file": name, "format": kind, "size": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        for name, (kind, data) in written.items()
    ]


def build(kind: str, made: Made, images: tuple[str, ...]) -> bytes:
    """Return the bytes of one kind of file."""
    if kind == "svg":
        from romwright.sheets.wiring import build_wiring_svg, warning_about

        return build_wiring_svg(made.plan, warning_about(made.proof))
    if kind == "csv":
        from romwright.fit.plans.plantable import build_csv

        return build_csv(made.plan)
    if kind == "netlist":
        from romwright.fit.plans.netlist import build_netlist

        return build_netlist(made.plan)
    if kind == "burn":
        return burnt(made, images)
    from romwright.fit.plans.planfile import build_plan

    return build_plan(made.plan, *made.pages, *made.names)


def burnt(made: Made, images: tuple[str, ...]) -> bytes:
    """Return the bytes to burn so that the socket shows the images. Raises OptionError, NotFittingError, InputError."""
    from romwright.fit.plans.contents import burn
    from romwright.images.formats import read
    from romwright.jobs.planned import deal

    plan, contents = made.plan, {}
    if plan.chip.erased is None:
        raise OptionError(
            f"the page of {plan.chip.name} does not say what an erased chip reads", help="use prepare --plan"
        )
    for bank, files in deal(plan, images).items():
        if len(files) > 1:
            raise OptionError(f"{len(files)} files for {bank or 'the contents'}", expected="one; prepare joins them")
        data = read(files[0]).image.flat()
        contents[bank] = made.share(data) if made.share else data
    return burn(plan, contents, int(plan.chip.erased, 16))
