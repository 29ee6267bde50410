"""Three versions: the shipped one that a copy came from, the copy as it is now, and the one that ships now.

The copy's changes are its own work; the changes of what ships are the update.
A step, verdict, caution or term that both changed is a conflict: nobody can take both without reading them.
A change that both made alike is none.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.comparison.change import Alteration, Path

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


@dataclass(frozen=True)
class Conflict:
    """One place that both changed, and not alike.

    Attributes:
        file: Name of the file.
        place: Keys of the step, verdict, caution or term.
        yours: What the copy changed there.
        shipped: What the program changed there.
    """

    file: str
    place: Path
    yours: tuple[Alteration, ...]
    shipped: tuple[Alteration, ...]


@dataclass(frozen=True)
class ThreeWay:
    """What a copy changed, what the program changed since, and where both did.

    Attributes:
        yours: Changes of the copy, since it was made.
        shipped: Changes of the program, since then; those that the copy has as well are left out.
        alike: Changes that both made.
        conflicts: Places that both changed otherwise.
    """

    yours: tuple[Alteration, ...]
    shipped: tuple[Alteration, ...]
    alike: tuple[Alteration, ...] = ()
    conflicts: tuple[Conflict, ...] = ()


def three_way(yours: Sequence[Alteration], shipped: Sequence[Alteration]) -> ThreeWay:
    """Bring together what was found by comparing both with the version that they came from."""
    mine = set(map(_made, yours))
    theirs = set(map(_made, shipped))
    alike = tuple(change for change in yours if _made(change) in theirs)
    own = tuple(change for change in yours if _made(change) not in theirs)
    new = tuple(change for change in shipped if _made(change) not in mine)
    return ThreeWay(own, new, alike, tuple(_conflicts(own, new)))


def _made(change: Alteration) -> tuple[str, Path, str, str]:
    return change.file, change.path, change.before, change.after


def _conflicts(yours: Iterable[Alteration], shipped: Iterable[Alteration]) -> list[Conflict]:
    mine: dict[tuple[str, Path], list[Alteration]] = {}
    for change in yours:
        mine.setdefault((change.file, change.place), []).append(change)
    theirs: dict[tuple[str, Path], list[Alteration]] = {}
    for change in shipped:
        theirs.setdefault((change.file, change.place), []).append(change)
    whole = {file for file, place in (*mine, *theirs) if place == ("procedure",)}
    found = []
    for (file, place), changes in mine.items():
        if (file, place) in theirs:
            found.append(Conflict(file, place, tuple(changes), tuple(theirs[file, place])))
        elif file in whole and any(other == file for other, _ in theirs):
            # One of them removed or added the whole procedure.
            others = tuple(change for (other, _), many in theirs.items() if other == file for change in many)
            found.append(Conflict(file, place, tuple(changes), others))
    return found
