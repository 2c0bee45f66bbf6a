"""Which of several reads agree, so that they may be counted together; the others are set aside."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from msgspec import Struct
from msgspec.structs import replace

from romwright.faults.repeats.reads import LEAST, LEAST_COMMON, Apart, Read, apart, compatible
from romwright.faults.repeats.votes import Votes
from romwright.images.formats import raw

Walk = Callable[[Sequence, str], Iterable]  # goes through items, showing how far it is

LEADERS = 32  # groups up to which a read is compared with the first of each
ROUNDS = 3  # times that members are chosen anew by the settled image
AGREEING = 2  # reads that make a group


class Agreement(Struct, frozen=True, eq=False):
    """The groups of reads that agree, the largest first; blank reads are kept apart unless all are blank.

    `votes` counts the group that is taken, None where none can be called right; `stray` says for each of its reads in
    how many bits it goes against the majority.
    """

    groups: tuple[tuple[Read, ...], ...]
    blank: tuple[Read, ...]
    votes: Votes | None = None
    stray: tuple[int, ...] = ()

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
    filled, blank = parted(reads)
    groups = grouped(filled, walk)
    sizes = [len(group) for group in groups]
    rivals = [size for size in sizes[1:] if size >= AGREEING]
    if sizes[0] < AGREEING or (rivals and 2 * sizes[0] <= len(filled)):
        return Agreement(tuple(map(tuple, groups)), blank)
    members = [read for read in filled if read in groups[0]]
    votes, found = measured(members, filled, walk)
    for _ in range(ROUNDS):
        near = [read for read in filled if agrees(found.get(read), read)]
        if near == members or len(near) < AGREEING:
            break
        members = near
        votes, found = measured(members, filled, walk)
    others = [[read for read in group if read not in members] for group in groups]
    groups = [members, *sorted(filter(None, others), key=len, reverse=True)]
    return Agreement(tuple(map(tuple, groups)), blank, votes, tuple(map(votes.against, members)))


def parted(reads: Sequence[Read]) -> tuple[list[Read], tuple[Read, ...]]:
    """Part the reads that hold something from the blank ones; of an erased chip with a few weak bits all are taken."""
    blank = tuple(read for read in reads if read.blank)
    filled = [read for read in reads if not read.blank]
    erased = blank and all(compatible(blank[0], read) and apart(blank[0], read).bits < LEAST for read in filled)
    return (list(reads), ()) if erased else (filled, blank)


def measured(members: Sequence[Read], reads: Sequence[Read], walk: Walk) -> tuple[Votes, dict[Read, Apart]]:
    """Count the members, and tell how far the reads are from what they settle."""
    votes = Votes.of(members)
    whole = next((read for read in members if read.format == raw.NAME), members[0])
    settled = replace(whole, image=votes.image)
    return votes, {read: apart(settled, read) for read in walk(reads, "comparing") if compatible(settled, read)}


def agrees(found: Apart | None, read: Read) -> bool:
    """Tell whether a read agrees with another, from how they differ; None: they cannot be compared."""
    return found is not None and not found.wholesale and found.common >= LEAST_COMMON * read.size


def grouped(reads: Sequence[Read], walk: Walk) -> list[list[Read]]:
    """Sort reads into groups by whether they agree with the first of a group; the largest comes first.

    The first of a group is a raw file, or has most bytes: the others lie within it.
    """
    groups: list[list[Read]] = []
    for read in walk(sorted(reads, key=lambda read: (read.format != raw.NAME, -read.size)), "sorting"):
        for group in groups[:LEADERS]:
            if compatible(group[0], read) and agrees(apart(group[0], read), read):
                group.append(read)
                break
        else:
            groups.append([read])
    return sorted(groups, key=len, reverse=True)
