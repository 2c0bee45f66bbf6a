"""The sheets of several chips made one: each step of the work once, for all the chips, in the order of the work."""

from __future__ import annotations

from collections.abc import Mapping

from msgspec.structs import replace

from romwright.sheets.document import Section, Sheet


def merge(sheets: Mapping[str, Sheet]) -> Sheet:
    """Return the sheets of chips, keyed by what the chips are called, as one sheet; the first gives title and date.

    Sections that say the same of every chip stand there once, unless they are done for each; others follow each other,
    and name their chip.
    """
    (first, *_), names = sheets.values(), list(sheets)
    if len(names) == 1:
        return first
    steps: list[tuple[str, dict[str, Section]]] = []  # a heading, and the section of each chip that has it
    for name in reversed(names):  # so that a step that only one chip has stands in the order of the chips
        place = 0
        for section in sheets[name].sections:
            found = next((at for at in range(place, len(steps)) if steps[at][0] == section.heading), None)
            if found is None:
                steps.insert(place, (section.heading, {}))
                found = place
            steps[found][1][name] = section
            place = found + 1
    merged = [section for _, of in steps for section in told(of, names)]
    unchecked = dict.fromkeys(entry for sheet in sheets.values() for entry in sheet.unchecked)
    return replace(first, sections=tuple(merged), unchecked=tuple(unchecked))


def told(sections: Mapping[str, Section], names: list[str]) -> list[Section]:
    """Return the sections of one step: one if it is the same for all chips, else one for each that differs.

    What is done anew for every chip is never told once: each needs its own boxes to tick and to write into.
    """
    groups: dict[tuple[Section, str], list[str]] = {}
    for name in names:
        if name in sections:
            section = sections[name]
            groups.setdefault((section, name if section.each else ""), []).append(name)
    if len(groups) == 1 and len(sections) == len(names):
        return [section for section, _ in groups]
    return [replace(each, heading=f"{', '.join(of)}: {each.heading}") for (each, _), of in groups.items()]
