"""One version of a whole folder of procedures as values, and what differs between two of them.

Besides what the dialogue uses there are files that the program makes from the others, and comments; both are told in a
sentence and can be in no conflict: what is made is made again, and a comment decides nothing.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.core.comparison.change import About, Alteration, names
from assistant.core.comparison.of_odds import odds_changes
from assistant.core.comparison.procedures import compare
from assistant.core.library.library import Library

if TYPE_CHECKING:
    from collections.abc import Collection


MADE = ("likelihoods.json", "procedure.schema.json")
"""Files that `lint` writes from the others."""

GRAMMARS = "grammars"
"""Folder of a copy's own grammars, and the name of their changes."""


@dataclass(frozen=True)
class Version:
    """One version of a folder.

    Attributes:
        library: Its procedures, cautions and terms.
        odds: The bytes of its odds; b"" for none.
        sums: Checksum of each file, by its name.
        phrases: What can be said, by kind and name; empty if grammars are not compared.
    """

    library: Library
    odds: bytes = b""
    sums: Mapping[str, str] = field(default_factory=dict)
    phrases: Mapping[tuple[str, str], tuple[str, ...]] = field(default_factory=dict)


def changes(before: Version, after: Version, ignored: Collection[str] = ()) -> list[Alteration]:
    """What differs in what the dialogue uses.

    Args:
        before: The earlier version.
        after: The later version.
        ignored: Names of procedures that the earlier one left out on purpose.
    """
    unwanted = {f"{name}.yaml" for name in ignored}
    found = [one for one in compare(before.library, after.library) if one.file not in unwanted]
    if before.odds and after.odds:
        found += odds_changes(before.odds, after.odds)
    if before.phrases and after.phrases:
        found += _phrases(before.phrases, after.phrases)
    return found


def others(before: Version, after: Version, changed: Collection[Alteration]) -> list[Alteration]:
    """Files that differ and hold no change: made ones, and those with other comments or another layout."""
    told = {change.file for change in changed}
    found = []
    for name in sorted(before.sums.keys() & after.sums.keys()):
        if before.sums[name] == after.sums[name] or name in told or name.startswith(f"{GRAMMARS}/"):
            continue
        if name in MADE:
            found.append(Alteration(name, ("file",), About.ODDS, "it was written anew from the procedures"))
        elif name.endswith(".yaml"):
            found.append(Alteration(name, ("file",), About.WORDS, "only comments or the layout differ"))
    return found


def _phrases(
    before: Mapping[tuple[str, str], tuple[str, ...]], after: Mapping[tuple[str, str], tuple[str, ...]]
) -> list[Alteration]:
    found = []
    for kind, name in dict.fromkeys((*before, *after)):
        was, now = before.get((kind, name), ()), after.get((kind, name), ())
        came = [phrase for phrase in now if phrase not in was]
        went = [phrase for phrase in was if phrase not in now]
        parts = [f"can be said: {names(came)}"] if came else []
        parts += [f"can no longer be said: {names(went)}"] if went else []
        if not parts and was != now:
            parts = [
                f"the first of its phrases is now '{now[0]}'" if was[0] != now[0] else "its phrases moved"
            ]
        if parts:
            found.append(
                Alteration(GRAMMARS, (kind, name), About.GRAMMAR, "; ".join(parts), names(was), names(now))
            )
    return found
