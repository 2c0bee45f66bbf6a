"""The few questions from which a job's file is begun: what is asked, when, what is known, and which answers will do.

Every question stands for one of the `Answers`, which is an option of `job new` too. An empty answer is the default, or
skips the question.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

from msgspec import Struct

from romwright.boards.library import board_names
from romwright.errors import InputError, OptionError
from romwright.jobs.fitting import Pages
from romwright.jobs.model import file_of
from romwright.jobs.recipes import require_burnable
from romwright.jobs.sockets import ordered, parse_setting, require_thing
from romwright.parts.library import part_names
from romwright.parts.notation import parse_polarity

Said = dict[str, object]  # answers so far, by their keys
MOST_SHOWN = 40  # files of a folder


class Talk:
    """What the questions are about: the folder of the job's file, and the answers so far."""

    def __init__(self, folder: Path, said: Said) -> None:
        self.folder, self.said, self.pages = folder, said, Pages(folder)

    def text(self, key: str) -> str:
        """Return an answer, "" if there is none."""
        return str(self.said.get(key) or "")

    def files(self) -> list[str]:
        """Return the files of the folder."""
        if not self.folder.is_dir():
            return []
        return sorted(path.name for path in self.folder.iterdir() if path.is_file())[:MOST_SHOWN]

    def require_files(self, text: str) -> tuple[str, ...]:
        """Return the files that are listed. Raises InputError."""
        names = tuple(filter(None, (name.strip() for name in text.split(","))))
        for name in names:
            path = self.folder / file_of(name, self.said.get("banks") or ())
            if not path.is_file():
                help = "write / between folders" if "\\" in name else "name it from the folder of the job's file"
                raise InputError("there is no such file", where=str(path), help=help)
        return names

    def require_file(self, text: str) -> str:
        """Return one file. Raises InputError."""
        (name,) = self.require_files(text) or ("",)
        return name

    def require_board(self, text: str) -> str:
        """Return the name of a board. Raises UnknownNameError, DataFileError."""
        return self.pages.board(text) and text

    def board(self):
        """Return the board that was named."""
        return self.pages.board(self.text("board"))

    def sockets(self) -> list[str]:
        """Return the sockets of the board."""
        return [socket.name for socket in self.board().sockets]

    def require_socket(self, text: str) -> str:
        """Return a socket of the board. Raises UnknownNameError."""
        board = self.board()
        return require_thing("socket", text, {each.name: each for each in board.sockets}, board.name).name

    def links(self) -> list[str]:
        """Return the links of the board with their positions."""
        return [f"{link.name}={' or '.join(link.positions)}" for link in self.board().links]

    def require_links(self, text: str) -> str:
        """Return a setting of all links. Raises OptionError, UnknownNameError."""
        return ",".join(f"{link}={position}" for link, position in parse_setting(self.board(), text).items())

    def require_part(self, text: str) -> str:
        """Return the name of a part. Raises UnknownNameError, SeveralMeaningsError, DataFileError."""
        return self.pages.part(text) and text

    def require_chip(self, text: str) -> str:
        """Return the name of a chip that can be burned. Raises what `require_part` raises, OptionError."""
        require_burnable(self.pages.part(text)[0])
        return text

    def choices(self, key: str) -> list[str]:
        """Return the polarities that the factory chose of a part."""
        part = self.pages.part(self.text(key))[0] if self.text(key) else None
        return [f"{pin}={' or '.join(levels)}" for pin, levels in part.choices().items()] if part else []

    def require_polarity(self, key: str, text: str) -> str:
        """Return every polarity of a part that the factory chose. Raises OptionError."""
        ordered(self.pages.part(self.text(key))[0], parse_polarity(text, key), "all of them:")
        return text


class Question(Struct, frozen=True):
    """A question: the key of its answer, the words, and what is known, asked and done of and with an answer."""

    key: str
    words: str
    check: Callable[[Talk, str], object]
    known: Callable[[Talk], list[str]] = lambda talk: []
    asked: Callable[[Talk], object] = lambda talk: True
    default: Callable[[Talk], str] = lambda talk: ""
    needed: bool = False


def as_said(talk: Talk, text: str) -> str:
    """Return an answer that may be anything."""
    return text


def only(names: list[str]) -> str:
    """Return the only name, "" if there are several."""
    return names[0] if len(names) == 1 else ""


QUESTIONS = (
    Question("title", "What is the job, in a few words", as_said, default=lambda talk: talk.text("file")),
    Question("why", "What is wrong, in one sentence", as_said),
    Question(
        "dumps", "Which file is the read of the old chip; several reads of one chip: with commas", Talk.require_files,
        Talk.files,
    ),
    Question(
        "reference", "Which file has what that should be", Talk.require_file, Talk.files,
        lambda talk: talk.said.get("dumps"),
    ),
    Question(
        "lists", "Which file has reference lists, to name the ROM", Talk.require_file, Talk.files,
        lambda talk: talk.said.get("dumps"),
    ),
    Question("chip", "Which chip do you fit; as printed on it, if you like", Talk.require_chip, lambda _: part_names()),
    Question(
        "chip_polarity", "Its polarities", lambda talk, text: talk.require_polarity("chip", text),
        lambda talk: talk.choices("chip"), lambda talk: talk.choices("chip"), needed=True,
    ),
    Question(
        "contents", "Which file must the socket show; several: with commas", Talk.require_files, Talk.files,
        lambda talk: talk.said.get("chip"),
    ),
    Question(
        "board", "Which board is it; nothing if it is none of these", Talk.require_board, lambda _: board_names(),
        lambda talk: talk.said.get("chip") and not talk.said.get("original"),
    ),
    Question(
        "socket", "Which socket of it", Talk.require_socket, Talk.sockets, lambda talk: talk.said.get("board"),
        lambda talk: only(talk.sockets()), needed=True,
    ),
    Question(
        "now", "How are its links set now, all of them", Talk.require_links, Talk.links,
        lambda talk: talk.said.get("board") and talk.links(),
    ),
    Question(
        "original", "Which part was the socket laid out for", Talk.require_part, lambda _: part_names(),
        lambda talk: talk.said.get("chip") and not talk.said.get("board"), needed=True,
    ),
    Question(
        "polarity", "Its polarities, as the factory made it",
        lambda talk, text: talk.require_polarity("original", text),
        lambda talk: talk.choices("original"), lambda talk: talk.choices("original"), needed=True,
    ),
)  # fmt: skip


def open_questions(talk: Talk) -> Iterator[Question]:
    """Yield the questions that make sense and have no answer yet; the answer to each may open or close others."""
    for question in QUESTIONS:
        if not talk.said.get(question.key) and question.asked(talk):
            yield question


def accept(talk: Talk, question: Question, text: str) -> None:
    """Keep an answer, or the default for an empty one. Raises what is wrong with it, OptionError if one is needed."""
    text = text.strip() or question.default(talk)
    if not text and question.needed:
        raise OptionError("this is needed here", expected="one of what is shown for ?")
    if text:
        talk.said[question.key] = question.check(talk, text)
