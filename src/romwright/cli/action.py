"""The next physical action: the line with which a command that ends a step of the job closes.

Each `after_` function says what is to be done at the bench now, true for the case at hand; nothing where no action
follows. Orders of work are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from romwright.images.words import listed

READ_AGAIN = {  # after a bad read: what was found, what hinders most first, and what to do
    ("reads-blank", "one-value"): "see that the chip is supplied, selected and the right way round; then read it again",
    ("line-joined",): "look for solder or a whisker between those pins, reseat the chip, and read it again",
    ("line-stuck", "line-reaches-nothing", "line-crossed"): "check those lines from the chip's pins to the reader, "
    "reseat the chip and the adapter, and read it again",
    ("silent-by-address",): "probe that line and the selects at the chip while it is read; then read it again",
    ("contact-comes-and-goes", "answers-now-and-then", "stretches-missing"): "clean the pins, reseat the chip and the "
    "adapter, and read it again, slower",
    ("few-ones",): "if another ROM shares these data lines, pull it; then read this one again",
    ("not-explained", "other-contents"): "read the chip a second time: if it reads the same, it is another version or "
    "another ROM",
    ("bytes-slipped",): "read the chip again, slower, over another cable or port, and compare the two reads",
    ("reads-one-value",): "read the chip again, slower, and compare the two reads",
    ("bits-rose",): "read the chip several times, at 4.5 V too, and give the reads to romwright settle",
    ("bits-fell",): "reseat the chip, look for a second chip on the bus, and read it again",
    ("bits-both-ways",): "read the chip several times, slower and at 4.5, 5.0 and 5.5 V, and give the reads to "
    "romwright settle",
    ("rom-header", "checksum-wrong"): "read the chip again and compare the two reads",
}
KNOWN_BY = {  # how a dump shows a known ROM, and the code of a bad read that is like it
    "two at once": "few-ones",
    "lines joined": "line-joined",
    "lines loose": "contact-comes-and-goes",
    "lines stuck": "line-stuck",
    "lines crossed": "line-crossed",
}
BLANKS = {"EPROM": "an erased {}", "flash": "an erased {}", "bipolar PROM": "a fresh {}", "EEPROM": "the {}"}


def print_next(action: str) -> None:
    """Print the next action below everything else; nothing if there is none."""
    from romwright.cli.render import inert, show

    if action:
        show("", inert(f"Next: {action}."))


def after_read(findings: Iterable) -> str:
    """Say what to do with a chip whose read has these findings."""
    codes = {finding.code.name for finding in findings}
    return next((action for names, action in READ_AGAIN.items() if codes & set(names)), "")


def after_identify(how: Sequence[str]) -> str:
    """Say what to do with one file that is known so: `how` of its matches, the surest first, none if it is unknown."""
    if not how:
        return (
            "if it was read from a chip, read it a second time: if both are equal, probably no list here has that ROM; "
            "romwright inspect looks for lines that are stuck or dead"
        )
    words = how[0].split(" and ")
    codes = {code for word, code in KNOWN_BY.items() if word in words}
    for names, action in READ_AGAIN.items():
        if codes & set(names):
            return action
    return "reseat the chip, read it again, and compare the two reads" if "damaged" in words else ""


def after_settle(found) -> str:
    """Say how the chip is to be read on, unless its reads settle it."""
    if found.settled and not found.undecided:
        return after_read(found.findings)
    if action := after_read(found.findings):
        return action
    counted = len(found.agreement.counted)
    more = (found.reads_needed or 0) - counted
    if found.votes is None or more <= 0 or found.never:
        times = "at least three times more" if found.votes is None else "again, slower and at 4.5 V too"
    else:
        times = f"{more} times more" if more > 1 else "once more"
    return f"take the chip out, seat it anew, and read it {times}"


def after_restoration(restoration, written: Mapping | None) -> str:
    """Say what follows from a comparison with the bytes of a good image."""
    if restoration.comparison.identical:
        return ""
    if restoration.refusal:
        return "read the chip a second time, and keep this dump"
    if not restoration.straight:
        return "put the lines right, and read the chip again"
    return burn_written(written) or "read the chip a second time; if the same bytes are wrong, -o OUT mends a copy"


def after_corrections(holds: bool, count: int, written: Mapping | None) -> str:
    """Say what follows from a search for corrections."""
    if holds:
        return ""
    if not count:
        return "reseat the chip, read it again, and compare the two reads"
    if written:
        return f"read the chip once more and compare it with {written['file']} before you burn that"
    return "read the chip several times more: with --read only cells that waver count"


def burn_written(written: Mapping | None) -> str:
    """Say that a mended file is to be burnt; nothing if there is none."""
    return f"burn {written['file']} into a fresh chip (romwright prepare fits it to one)" if written else ""


READ_FIRST = "read the marking on the {}, and state it with --marking"


def before_burning(reading) -> str:
    """Say that the marking is read first, if the chip's voltage would kill a look-alike; else nothing."""
    return READ_FIRST.format(reading.page) if reading.voltage else ""


def after_prepare(part, names: Sequence[str], sum16: Sequence[str], plan: str | None, unread: bool = False) -> str:
    """Say what to burn into what, and what the programmer must show; nothing for a part that nobody can burn.

    `unread`: its voltage would kill a look-alike, and nobody has said what is printed on it.
    """
    if unread:
        return READ_FIRST.format(part.name)
    if part.family not in BLANKS:
        return ""
    chip = BLANKS[part.family].format(part.name)
    chip = chip if len(names) == 1 else f"{chip.replace('the ', 'a ')} each"
    one = len(names) == 1 and part.bits == 8
    check = f"the 16-bit sum {sum16[0]}" if one else "the sums above"
    then = f"; then wire it as {plan} says" if plan else ""
    return f"burn {listed(names)} into {chip}, and verify against {check}{then}"


def after_plan(plan, proof, links: str = "", judged: bool = False) -> str:
    """Say how the wired chip gets into its socket.

    `links` says which links are set first; `judged`: the whole board was, so that states in which it makes no
    difference who drives are known.
    """
    if not proof.equal:
        return f"leave the {plan.chip.name} out of the socket: wired so it does not give the original's bytes"
    bent = [str(row.chip) for row in plan.rows if row.chip and row.how not in ("straight", "leave open")]
    pins = f"chip pin{'s' * (len(bent) > 1)} {listed(bent)}"
    seat = next((row for row in plan.rows if row.chip and row.socket), None)
    steps = [links] if links else []
    if not seat:
        steps.append(f"wire the {plan.chip.name} to the socket by the table, pin by pin")
    else:
        gates = f", with the {listed(list(dict.fromkeys(gate.part for gate in plan.gates)))}" if plan.gates else ""
        steps += [f"bend up and wire {pins} as the table says{gates}"] if bent else []
        steps.append(f"plug the {plan.chip.name} in, its pin {seat.chip} at socket pin {seat.socket}")
    doubt = [] if proof.drive_equal or judged else ["see that the board never makes the states in which the two differ"]
    return "; ".join([*doubt, "switch off", *steps])


def after_plans(made: Sequence) -> str:
    """Say how several chips get into the places of one."""
    if any(not each.proof.equal for each in made):
        return "leave these chips out: wired so they do not give the original's bytes"
    return f"switch off, and wire chip 1 to {len(made)}, each by its own table"


def after_boarding(found, proof, socket: str, now: Mapping[str, str] | None) -> str:
    """Say how a chip gets into a board's socket by links and wires."""
    if found.judged.verdict != "works":
        return f"leave the {found.plan.chip.name} out of {socket}: even so wired the board does not work with it"
    return after_plan(found.plan, proof, setting_words(found.links, found.moved, now), judged=True)


def after_timing(answer, socket: str) -> str:
    """Say what a chip that is too slow for its board wants; nothing of one that is in time, or not judged."""
    from romwright.findings import blocks

    if answer is None or not blocks(answer.findings):
        return ""
    return f"leave the {answer.part.name} out of {socket}: {answer.cure}"


def after_polarities(pins: Sequence[str]) -> str:
    """Say that nothing can be wired while polarities are open."""
    return f"before you solder, find out (schematic or scope) the polarity of pin {listed(pins)}"


def setting_words(links: Mapping[str, str], moved: Mapping[str, str], now: Mapping[str, str] | None) -> str:
    """Say which links to move, or, while their present setting is not known, how to set them."""
    if now:
        steps = [f"{link} from {now[link]} to {position}" for link, position in moved.items()]
        return f"move {listed(steps)}" if steps else ""
    return f"set {listed([f'{link} to {position}' for link, position in links.items()])}" if links else ""


def after_links(column, present: Mapping[str, str] | None) -> str:
    """Say which links to move for a chip, or that no setting will do."""
    study = column.study
    chip, socket = study.chip.name, study.socket.name
    if study.seated != "straight":
        return f"switch off, and see that the {chip} sits straight in {socket}, its pin 1 at socket pin 1"
    if late := after_timing(column.timing(column.shown(present)), socket):
        return late
    best = column.best(present) if present else column.setting(next(column.ranked.distinct()))
    if not column.works(best):
        return f"leave the {chip} out of {socket} until romwright wire --board has planned its wires"
    live = {link: position for link, position in best.items() if link not in column.ranked.idle}
    moved = {link: position for link, position in best.items() if present and present[link] != position}
    words = setting_words(live, moved, present)
    return f"switch off; {words or 'leave the links as they are'}; then the {chip} goes into {socket}"


def after_proof(proof, file: str, chip: str) -> str:
    """Say whether the chip may be fitted as a plan file has it."""
    if proof.equal and proof.drive_equal and proof.power_up_safe:
        return f"switch off, and fit the {chip}, wired as {file} says"
    return f"leave the {chip} out of the socket until {file} and its bytes are right"


def after_run(run) -> str:
    """Say what to do once a whole job was run: what hinders most first."""
    bad = [chip for chip in run.chips if not chip.fitted.works]
    if bad:
        fitted = bad[0].fitted
        where = f"{fitted.socket.name} of {fitted.board.title}" if fitted.board else "the socket"
        return f"leave the {fitted.plan.chip.name} out of {where}, and read on the sheet what is wrong"
    if unread := [chip.fitted.plan.chip.name for chip in run.chips if chip.fitted.voltage]:
        return f"read the marking on the {unread[0]}, write it under confirmed in the job's file, and run it again"
    sheet = next((f" as {name} says" for name in reversed(run.written) if "-sheet." in name), "")  # the PDF, if any
    burnt = {output.name: run.chips[output.chip] for output in run.outputs() if output.kind == "burn"}
    if burnt:
        return "; ".join(burn_words(burnt, sheet))
    if run.chips:
        chips = listed(list(dict.fromkeys(chip.fitted.plan.chip.name for chip in run.chips)))
        return f"switch off, and fit the {chips}{sheet or ' by its plan'}"
    return next(filter(None, (after_read(dump.findings) for dump in run.dumps)), "")


def burn_words(burnt: Mapping, sheet: str) -> Iterable[str]:
    """Yield what to burn into what, with the sums, and that the chips are then fitted."""
    from romwright.images.checksums import measure

    for name, chip in burnt.items():
        part = chip.fitted.plan.chip
        blank = BLANKS.get(part.family, "the {}").format(part.name)
        blank = blank.replace("the ", "a ") if len(burnt) > 1 else blank
        yield f"burn {name} into {blank}, and verify the 16-bit sum {measure(chip.burning.burnt).sum16}"
    yield f"then switch off and fit {'them' if len(burnt) > 1 else 'it'}{sheet or ' by its plan'}"
