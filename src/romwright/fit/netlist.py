"""A plan as a netlist in KiCad's open form, so that an adapter board can be laid out.

The form is the s-expression that its schematic editor exports: version "E" with design, components, libparts and nets
(as kinparse 1.2 reads it; KiCad's own description was not read). No date, so the same plan gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator

from romwright.fit.circuit import Circuit, Component, build_circuit
from romwright.fit.wiring import Plan


def build_netlist(plan: Plan) -> bytes:
    """Write the circuit of a plan."""
    circuit = build_circuit(plan)
    title = f"{plan.chip.name} in a socket laid out for {plan.original.name}"
    lines = ['(export (version "E")', f'  (design (source {quoted(title)}) (date "") (tool "romwright"))']
    lines += ["  (components", *component_lines(circuit), "  )", "  (libparts", *libpart_lines(circuit), "  )"]
    lines += ["  (nets", *net_lines(circuit), "  )", ")"]
    return ("\n".join(lines) + "\n").encode("utf-8")


def quoted(text: str) -> str:
    r"""Write a string as the form has it: in quotes, with \" and \\ inside, on one line.

    >>> quoted('a "b"')
    '"a \\"b\\""'
    """
    plain = " ".join(text.split()).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{plain}"'


def component_lines(circuit: Circuit) -> Iterator[str]:
    """Yield a line for each component."""
    for part in circuit.components:
        place = f" (footprint {quoted(part.package)})" if part.package else ""
        source = f"(libsource (lib romwright) (part {quoted(kind(part))}) (description {quoted(part.value)}))"
        yield f"    (comp (ref {quoted(part.ref)}) (value {quoted(part.value)}){place} {source})"


def libpart_lines(circuit: Circuit) -> Iterator[str]:
    """Yield the pins of each kind of component."""
    for name, part in {kind(part): part for part in circuit.components}.items():
        yield f"    (libpart (lib romwright) (part {quoted(name)})"
        yield "      (pins"
        for lead in part.leads:
            yield f"        (pin (num {quoted(lead.number)}) (name {quoted(lead.name)}) (type {quoted(lead.kind)}))"
        yield "      ))"


def kind(part: Component) -> str:
    """Name the kind of a component: those of one kind have the same pins."""
    return f"{part.ref.rstrip('0123456789')} {part.value}"


def net_lines(circuit: Circuit) -> Iterator[str]:
    """Yield each net with all its pins."""
    leads = {(part.ref, lead.number): lead for part in circuit.components for lead in part.leads}
    for code, (name, pins) in enumerate(circuit.nets.items(), 1):
        yield f'    (net (code "{code}") (name {quoted(name)})'
        for number, (ref, pin) in enumerate(pins, 1):
            lead = leads[ref, pin]
            called = f" (pinfunction {quoted(lead.name)})" if lead.name else ""
            end = ")" if number == len(pins) else ""
            yield f"      (node (ref {quoted(ref)}) (pin {quoted(pin)}){called} (pintype {quoted(lead.kind)})){end}"
