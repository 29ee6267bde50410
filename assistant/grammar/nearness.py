"""Finds phrases that sound alike: compares all with all by the weighted edit distance of `lexicon`.

The phrases form trees of phones, one for each length, and are looked up a length at a time; the search leaves a
branch as soon as everything in it is too far.
The edit-distance rows of all phrases that are still near lie side by side, so a thousand phrases take about a
second.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from assistant.grammar.lexicon import CHEAPEST, PHONES, omission, substitution

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from numpy.typing import NDArray

    from assistant.grammar.lexicon import Lexicon, Pronunciation

    Floats = NDArray[np.float64]
    Numbers = NDArray[np.intp]

Near: TypeAlias = "dict[tuple[str, ...], list[tuple[tuple[str, ...], float]]]"
"""For each phrase, the near phrases with their distances."""

_ORDER = sorted(PHONES)
_NUMBER = {phone: number for number, phone in enumerate(_ORDER)}
_OMISSION = np.array([omission(phone) for phone in _ORDER])
_SUBSTITUTION = np.array([[substitution(one, other) for other in _ORDER] for one in _ORDER])
_AT_ONCE = 500
"""Number of phrases that are looked up together: some ten thousand branches, which take a few megabytes."""


def close_phrases(
    texts: Iterable[tuple[str, ...]],
    lexicon: Lexicon,
    limit: float,
    progress: Callable[[float, float], None] = lambda _done, _all: None,
) -> Near:
    """For each phrase, the others whose pronunciation is closer than `limit`, with their distances.

    Args:
        texts: Phrases; those with words outside the lexicon are skipped.
        lexicon: Pronunciations, of which the usual one of each word counts.
        limit: Distance from which phrases count as different.
        progress: Called with (done, total) phrases.
    """
    spoken = {text: phones for text in texts if (phones := lexicon.phones(text)) is not None}
    lengths: dict[int, list[tuple[str, ...]]] = {}
    for text, phones in spoken.items():
        lengths.setdefault(len(phones), []).append(text)
    trees = {
        length: _PhoneTree(length, [(spoken[text], text) for text in some])
        for length, some in lengths.items()
    }
    found: Near = {text: [] for text in spoken}
    looked_up = 0
    for short, some in lengths.items():
        for begin in range(0, len(some), _AT_ONCE):
            wanted = some[begin : begin + _AT_ONCE]
            numbered = _numbered([spoken[text] for text in wanted])
            for length, tree in trees.items():
                # The distance is the same in both directions, so only longer ones are looked for.
                if length >= short and CHEAPEST * (length - short) < limit:
                    for number, other, distance in tree.near(numbered, limit):
                        found[wanted[number]].append((other, distance))
        looked_up += len(some)
        progress(looked_up, len(spoken))
    near: Near = {text: [] for text in spoken}
    for text, others in found.items():
        for other, distance in others:
            if other != text:
                near[text].append((other, distance))
            if len(spoken[other]) > len(spoken[text]):
                near[other].append((text, distance))
    return near


def _numbered(spoken: list[Pronunciation]) -> Numbers:
    """Phones of pronunciations of one length as numbers, shape ``(phrases, phones)``."""
    return np.array([[_NUMBER[phone] for phone in phones] for phones in spoken], np.intp).reshape(
        len(spoken), -1
    )


class _PhoneTree:
    """Phrases of one length by their phones: nodes by number, level by level, the root first."""

    def __init__(self, length: int, phrases: Iterable[tuple[Pronunciation, tuple[str, ...]]]) -> None:
        self.length = length
        branches: list[dict[str, int]] = [{}]
        here: dict[int, list[tuple[str, ...]]] = {}
        for phones, text in phrases:
            node = 0
            for phone in phones:
                if phone not in branches[node]:
                    branches[node][phone] = len(branches)
                    branches.append({})
                node = branches[node][phone]
            here.setdefault(node, []).append(text)
        # Renumbered so that the branches of a node follow each other; kept are the first and their count.
        self._here: dict[int, list[tuple[str, ...]]] = {}
        level, phone_of = [0], [0]
        first: list[int] = []
        count: list[int] = []
        for number in level:
            if number in here:
                self._here[len(first)] = here[number]
            first.append(len(level))
            count.append(len(branches[number]))
            level.extend(branches[number].values())
            phone_of.extend(_NUMBER[phone] for phone in branches[number])
        self._phone, self._first, self._count = (np.array(part, np.intp) for part in (phone_of, first, count))
        self._rank = _last_first(first, count)

    def near(self, wanted: Numbers, limit: float) -> Iterator[tuple[int, tuple[str, ...], float]]:
        """Phrases that are closer than `limit` to some phrases of one length.

        Args:
            wanted: Phones of those phrases, by number, shape ``(phrases, phones)``.
            limit: As for `close_phrases`.

        Yields:
            The number of the wanted phrase, in order; a phrase of the tree; their distance.
        """
        target = np.ascontiguousarray(wanted.T)
        size, count = target.shape
        lost = _OMISSION[target]
        which, node = np.arange(count), np.zeros(count, np.intp)
        rows = np.concatenate([np.zeros((1, count)), np.cumsum(lost, axis=0)])
        places = np.arange(size + 1)
        for depth in range(1, self.length + 1):
            children = self._count[node]
            before = np.repeat(np.arange(len(node)), children)
            nth = np.arange(len(before)) - np.repeat(np.cumsum(children) - children, children)
            node, which = self._first[node][before] + nth, which[before]
            rows = _following(rows[:, before], self._phone[node], target[:, which], lost[:, which])
            # If the two are out of step by some phones, at least that many must still be lost or added.
            behind = CHEAPEST * np.abs(size - places - self.length + depth)
            kept = (rows + behind[:, None]).min(axis=0) < limit
            node, which, rows = node[kept], which[kept], rows[:, kept]
        kept = rows[-1] < limit
        node, which, distance = node[kept], which[kept], rows[-1, kept]
        for place in np.lexsort((self._rank[node], which)):
            for text in self._here[int(node[place])]:
                yield int(which[place]), text, float(distance[place])


def _following(rows: Floats, phone: Numbers, target: Numbers, lost: Floats) -> Floats:
    """One step of `lexicon.next_row` for many rows at once; shape ``(phones + 1, rows)``."""
    dropped = _OMISSION[phone]
    out = np.empty_like(rows)
    best = np.add(rows[0], dropped, out=out[0])
    for index in range(len(target)):
        replaced = rows[index] + _SUBSTITUTION[phone, target[index]]
        best = np.minimum(
            np.minimum(rows[index + 1] + dropped, best + lost[index]), replaced, out=out[index + 1]
        )
    return out


def _last_first(first: list[int], count: list[int]) -> Numbers:
    """The order in which a walk that takes the last branch first meets the nodes."""
    rank = np.empty(len(first), np.intp)
    todo, number = [0], 0
    while todo:
        node = todo.pop()
        rank[node], number = number, number + 1
        todo.extend(range(first[node], first[node] + count[node]))
    return rank
