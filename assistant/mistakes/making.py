"""All kinds of mistakes, and a seeded choice that is spread over kinds and procedures."""

from __future__ import annotations

import random
from typing import TYPE_CHECKING

from assistant.mistakes import branches, connections

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Mapping

    from assistant.mistakes.editing import Mistake, ProcedureSource

KINDS: dict[str, Callable[[ProcedureSource], Iterator[Mistake]]] = {
    **{f"limit {word}": connections.limits_moved(word) for word in connections.FACTORS},
    "maker's value": connections.makers_limit,
    "bands swapped": branches.swapped("bands swapped", "bands"),
    "answers swapped": branches.swapped("answers swapped", "answers"),
    "answer led elsewhere": branches.led_to_sibling,
    "handed over elsewhere": branches.handed_over,
    "hand-over dropped": branches.not_continued,
    "skip led elsewhere": branches.skip_elsewhere,
    "skip dropped": branches.no_skip,
    "clip moved": connections.clip,
    "probe moved": connections.probe,
    "engine state": connections.engine,
    "not unplugged": connections.plugged_in,
    "unplugged besides": connections.unplugged,
    "other lamp": connections.lamp,
    "other instrument": connections.instrument,
    "step dropped": branches.dropped,
    "exclusion skirted": branches.skirted,
    "other part": branches.part("other part", named=True),
    "part named": branches.part("part named", named=False),
    "fault added": branches.fault_added,
    "fault left out": branches.fault_dropped,
    "ruled out besides": branches.ruled_out,
    "leads not subtracted": connections.reading_key("leads not subtracted", "subtract"),
    "temperature ignored": connections.reading_key("temperature ignored", "at_20_celsius"),
    "caution dropped": connections.caution,
}
"""For each kind, the function that makes its mistakes wherever one fits in a procedure."""


def everything(
    sources: Mapping[str, ProcedureSource], kinds: tuple[str, ...] = ()
) -> dict[str, list[Mistake]]:
    """All mistakes of each kind, or of the named kinds only."""
    return {
        kind: [mistake for source in sources.values() for mistake in KINDS[kind](source)]
        for kind in kinds or tuple(KINDS)
    }


def choose(made: Mapping[str, list[Mistake]], count: int, seed: int) -> list[Mistake]:
    """A seeded choice of `count` mistakes, spread evenly over the kinds and, within a kind, over the procedures.

    A kind with few places gives all of its mistakes, and the others give more.
    The same folder, count and seed give the same choice.
    """
    queues = {kind: _shuffled(kind, mistakes, seed) for kind, mistakes in made.items()}
    chosen: dict[str, list[Mistake]] = {kind: [] for kind in queues}
    while count > 0 and any(queues.values()):
        for kind, queue in queues.items():
            if queue and count > 0:
                chosen[kind].append(queue.pop(0))
                count -= 1
    return [mistake for mistakes in chosen.values() for mistake in mistakes]


def _shuffled(kind: str, mistakes: list[Mistake], seed: int) -> list[Mistake]:
    """In random order, with a turn for each procedure before any comes again."""
    lot = random.Random(f"{seed} {kind}")  # noqa: S311  no secret
    piles: dict[str, list[Mistake]] = {}
    for mistake in mistakes:
        piles.setdefault(mistake.procedure, []).append(mistake)
    for pile in piles.values():
        lot.shuffle(pile)
    names = list(piles)
    lot.shuffle(names)
    return [
        piles[name][turn]
        for turn in range(max((len(pile) for pile in piles.values()), default=0))
        for name in names
        if turn < len(piles[name])
    ]
