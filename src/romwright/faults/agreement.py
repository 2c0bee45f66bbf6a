"""Which of several reads agree, so that they may be counted together; the others are set aside."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from romwright.faults.reads import Apart, Read, apart, compatible
from romwright.faults.votes import Votes
from romwright.images.formats import raw

Walk = Callable[[Sequence, str], Iterable]  # goes through items, showing how far it is

LEADERS = 32  # groups up to which a read is compared with the first of each
ROUNDS = 3  # times that members are chosen anew by the settled image
AGREEING = 2  # reads that make a group


@dataclass(frozen=True, eq=False)
class Agreement:
    """The groups of reads that agree, the largest first; blank reads are kept apart unless all are blank.

    `votes` counts the group that is taken, None where none can be called right; `apart` says for each of its reads how
    it differs from the settled image.
    """

    groups: tuple[tuple[Read, ...], ...]
    blank: tuple[Read, ...]
    votes: Votes | None = None
    apart: tuple[Apart, ...] = ()

    @property
    def counted(self) -> tuple[Read, ...]:
        """The reads that are counted."""
        return self.groups[0] if self.votes else ()


def plain(items: Sequence, label: str) -> Iterable:
    """Go through items without showing anything."""
    return items


def agree(reads: Sequence[Read], walk: Walk = plain) -> Agreement:
    """Sort reads into groups, and take the largest: more than half of the reads that are not blank, or the only group.

    Members are chosen a second time by their own settled image, so that the order of the reads does not matter.
    """
    blank = tuple(read for read in reads if read.blank)
    filled = [read for read in reads if not read.blank]
    filled, blank = (filled, blank) if filled else (list(reads), ())
    groups = grouped(filled, walk)
    sizes = [len(group) for group in groups]
    rivals = [size for size in sizes[1:] if size >= AGREEING]
    if sizes[0] < AGREEING or (rivals and 2 * sizes[0] <= len(filled)):
        return Agreement(tuple(map(tuple, groups)), blank)
    members = groups[0]
    for _ in range(ROUNDS):
        votes = Votes.of(members)
        settled = Read("", members[0].format, votes.image)
        distances = {id(read): apart(settled, read) for read in walk(filled, "comparing") if compatible(settled, read)}
        near = [read for read in filled if id(read) in distances and not distances[id(read)].wholesale]
        if near == members or len(near) < AGREEING:
            break
        members = near
    kept = {id(read) for read in members}
    others = [[read for read in group if id(read) not in kept] for group in groups]
    groups = [members, *sorted(filter(None, others), key=len, reverse=True)]
    return Agreement(tuple(map(tuple, groups)), blank, votes, tuple(distances[id(read)] for read in members))


def grouped(reads: Sequence[Read], walk: Walk) -> list[list[Read]]:
    """Sort reads into groups by whether they agree with the first of a group; the largest comes first."""
    groups: list[list[Read]] = []
    for read in walk(sorted(reads, key=lambda read: read.format != raw.NAME), "sorting"):
        for group in groups[:LEADERS]:
            if compatible(group[0], read) and not apart(group[0], read).wholesale:
                group.append(read)
                break
        else:
            groups.append([read])
    return sorted(groups, key=len, reverse=True)
