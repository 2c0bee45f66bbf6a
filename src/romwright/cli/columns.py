"""A chip in a socket of a board as `romwright links` answers for it: a column of its table."""

from __future__ import annotations

from romwright.errors import OptionError
from romwright.jobs.sockets import Other


class Column:
    """A chip as it is seated, with its polarities, the chips in the other sockets, and its settings ranked."""

    def __init__(self, study, reading, polarity: dict, assumed: dict, others: dict[str, Other]) -> None:
        self.study, self.reading, self.polarity, self.assumed = study, reading, polarity, assumed
        self.others = others
        self.links = [name for name, _ in study.board.settings()]
        self.ranked = study.rank()

    def state_grade(self, stated: float | None) -> None:
        """Say which speed grade the chip is of; else its marking does. Raises OptionError if its page has no such."""
        from romwright.timing.chip import require_grade_ns

        self.grade = require_grade_ns(self.study.chip, stated, self.reading.speed_ns)

    def timing(self, setting):
        """Judge whether the chip is in time at a setting; None where that cannot be said of its CPU or its seat."""
        from romwright.timing.onboard import judge_on_board

        straight = self.study.seated == "straight"
        return judge_on_board(self.study.mount(self.study.nets(setting)), self.grade) if straight else None

    def shown(self, present: dict[str, str] | None) -> dict[str, str]:
        """Return the setting that is explained: the present one, else the best."""
        return present or self.setting(next(self.ranked.distinct()))

    def is_late(self, present: dict[str, str] | None) -> bool:
        """Tell whether the chip is too slow at the setting that is explained."""
        from romwright.findings import blocks

        answer = self.timing(self.shown(present))
        return answer is not None and blocks(answer.findings)

    @property
    def label(self) -> str:
        """The chip in a few words, with the polarities that were not stated."""
        pins = ",".join(f"{pin}={choice}" for pin, choice in self.assumed.items())
        seated = "" if self.study.seated == "straight" else self.study.seated
        return " ".join(filter(None, [self.study.chip.name, pins, seated]))

    @property
    def readings(self) -> list:
        """How the words for this chip and for those in the other sockets were read."""
        return [self.reading, *(other.reading for other in self.others.values() if other.reading)]

    @property
    def unchecked(self) -> dict[str, list[str]]:
        """What nobody has read about the pins and levels of the chips, and about the board and its CPU, by page."""
        from romwright.fit.standins import unchecked_pins

        study = self.study
        pages = {study.board.name: study.board.unchecked, study.board.cpu: study.wiring.cpu.unchecked}
        pages |= {part.name: unchecked_pins(part) for _, part, _ in study.seats}
        return {name: list(entries) for name, entries in pages.items() if entries}

    def setting(self, positions) -> dict[str, str]:
        """Return positions under the names of their links."""
        return dict(zip(self.links, positions))

    def verdict(self, positions: tuple[str, ...]) -> str:
        """Return the verdict of one setting."""
        from romwright.fit.onboard.ranking import verdict_of

        return verdict_of(self.ranked.codes_at(positions))

    def works(self, present: dict[str, str] | None) -> bool:
        """Tell whether the present setting works, or any: the best one then."""
        return self.verdict(tuple(present.values()) if present else next(self.ranked.distinct())) == "works"

    def nearest(self, present: dict[str, str]) -> dict[str, str] | None:
        """Return the setting that works with the fewest links moved; None if there is none."""
        best = self.best(present)
        return best if self.works(best) else None

    def best(self, present: dict[str, str]) -> dict[str, str]:
        """Return the setting with the least that is wrong; of several, the one with the fewest links moved."""
        return self.setting(self.ranked.nearest(tuple(present.values())))

    def symptoms(self, setting, contents: bytes | None, law) -> list:
        """Predict what a contention looks like at the bench; nothing without contents."""
        from romwright.fit.onboard.symptoms import contents_of, find_symptoms

        if contents is None:
            return []
        mounted = self.study.mount(self.study.nets(setting))
        cells = contents_of(contents, self.study.chip)
        return find_symptoms(mounted, self.study.cases(mounted), cells, law)

    def as_json(self, present, contents, law) -> dict:
        """The column under the documented JSON keys."""
        from romwright.fit.onboard.symptoms import predict

        found = []
        for positions, _ in self.ranked:
            judged = self.study.judge(self.setting(positions))
            symptoms = self.symptoms(judged.links, contents, law)
            answer = judged.as_json()
            for case, cycle in zip(judged.cases, answer["cycles"]):
                predicted = predict(case, law, symptoms)
                cycle |= {"predicted": predicted} if predicted else {}
            found.append(answer | ({"symptoms": [s.as_json() for s in symptoms]} if contents is not None else {}))
        answer = {
            "board": self.study.board.name, "socket": self.study.socket.name, "part": self.study.chip.name,
            "polarity": self.polarity, "assumed": self.assumed, "seated": self.study.seated, "settings": found,
            "also": {name: other.as_json() for name, other in self.others.items()}, "unchecked": self.unchecked,
            "findings": [finding.as_json() for reading in self.readings for finding in reading.findings],
        }  # fmt: skip
        answer["timing"] = (timing := self.timing(self.shown(present))) and timing.as_json()
        if present:
            best = self.nearest(present)
            answer |= {"now": present, "change": best and moved(present, best)}
        return answer


def list_columns(page, cpu, place, parts, polarity, seated, others: dict[str, Other]) -> list[Column]:
    """Return a column for each part, polarity that is not stated, and way to sit. Raises OptionError."""
    from romwright.fit.onboard.settings import Study
    from romwright.parts.library import require_marked

    found, shared, also = [], {}, {name: other.chip for name, other in others.items()}
    chips = [require_marked(word) for word in parts]
    free = {pin for part, _ in chips for pin in part.choices()}
    if unknown := sorted(polarity.keys() - free):
        raise OptionError(f"--polarity: no part given has a polarity to state for pin {unknown[0]}")
    ways = {None: ["straight"], "offset": ["one up", "one down"], "turned": ["turned"]}[seated]
    for part, reading in chips:
        stated = {pin: choice for pin, choice in polarity.items() if pin in part.choices()}
        for choices in part.polarities(stated):
            assumed = {pin: choice for pin, choice in choices.items() if pin not in stated}
            for way in ways:
                study = Study(page, cpu, place, part.ordered_as(choices), way, shared, also)
                found.append(Column(study, reading, choices, assumed, others))
    return found


def moved(present: dict[str, str], setting: dict[str, str]) -> dict[str, str]:
    """Return the links that change, with their new positions."""
    return {link: position for link, position in setting.items() if present[link] != position}
