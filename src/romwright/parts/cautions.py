"""What can hurt a person or a chip when a part is burned, erased or fitted.

Sources: UV-C exposure limit (6 mJ/cm2 in 8 hours at 254 nm), CIE 187:2010; eraser intensity 12 mW/cm2, Intel 27128A
data sheet 230849-009, page 5-34; static, ANSI/ESD S20.20 and IEC 61340-5-1; mains equipment, IEC 62368-1. The rest is
common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping

from romwright.parts.model import Part

LOCAL_RULES = (
    "Local rules and licensed practice come first, above all at mains supplies and picture tubes: "
    "they stay charged when switched off."
)
POWER_OFF = (
    "Switch off and wait until the supply has fallen before you pull or fit a chip. "
    "Wear a wrist strap; check the notch and pin 1."
)
UV = (
    "The UV-C light of an eraser harms eyes and skin within a second: closed box only, never look in, mind ozone; "
    "a broken tube sets mercury free."
)

LIVE = (
    "Measure on the low-voltage side only, the meter on volts and its black lead on the board's 0 V first; for a "
    "current open the circuit with the power off. A probe that slips can kill a chip (common practice, no source)."
)
SOLDER = "Solder with fume extraction; flux fumes can cause asthma. Wash your hands after leaded solder."
UNKNOWN_RAILS = (
    "Before a 5 V chip goes in, measure the supply pins of the empty socket: old sockets may carry -5 V or +12 V."
)
SOURCES = {  # of the cautions that rest on a document
    UV: "UV-C: CIE 187:2010, Intel 27128A sheet p. 5-34", SOLDER: "flux: HSE INDG248",
    POWER_OFF: "static: ANSI/ESD S20.20, IEC 61340-5-1",
}  # fmt: skip


def job_cautions(part: Part, rails: Mapping[str, float] | None, soldering: bool) -> list[tuple[str, str]]:
    """Return the cautions for one chip on one board, each with its source: those that apply, in the order of the work.

    `rails` are the board's supplies in volts, None if no board's file says them; local rules are for the caller.
    """
    lines = [POWER_OFF]
    foreign = [name for name, volts in (rails or {}).items() if volts not in (0, *part.supplies.values())]
    if rails is None and set(part.supplies.values()) <= {0, 5}:
        lines.append(UNKNOWN_RAILS)
    if foreign:
        which = f"This board has {' and '.join(foreign)}"
        lines.append(f"{which}: before the chip goes in, see that none of its positions carries that.")
    if soldering:
        lines.append(SOLDER)
    makers = part.programming.by_maker if part.programming else ()
    lines += [line for line in programming_cautions(part) if not (makers and line.startswith("By maker: "))]
    return [(line, SOURCES.get(line, "")) for line in dict.fromkeys(lines) if line != LOCAL_RULES]


def programming_cautions(part: Part) -> list[str]:
    """Return the cautions for burning a part: its voltage, by maker, then what concerns the person."""
    programming = part.programming
    lines = []
    if programming and programming.vpp_v:
        volts = f"Programming voltage of this page: {programming.vpp_v:g} V"
        if programming.vpp_max_v:
            volts += f", never above {programming.vpp_max_v:g} V"
        if part.unchecked_about("programming.vpp_v"):
            volts += " (from memory, unchecked)"
        lines.append(f"{volts}. Read the chip's marking and its maker's data sheet first: a wrong voltage destroys it.")
    if programming:
        lines += [f"By maker: {line}." for line in programming.by_maker]
    if part.family == "EPROM":
        lines.append(UV)
    return [*lines, POWER_OFF, LOCAL_RULES]


def measuring_cautions() -> list[str]:
    """Return the cautions for measuring with the power on."""
    return [LOCAL_RULES, LIVE]


def fitting_cautions() -> list[str]:
    """Return the cautions for work at the socket."""
    return [
        POWER_OFF,
        UNKNOWN_RAILS,
        SOLDER,
        LOCAL_RULES,
    ]
