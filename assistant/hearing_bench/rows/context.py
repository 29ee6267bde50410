"""The test set and the makers of sound, which all rows share."""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.hearing_bench.manifest import Manifest
from assistant.hearing_bench.mixing import in_noise
from assistant.hearing_bench.orders import HELD, order_grammar, read_labels, read_orders
from assistant.hearing_bench.talk import with_talk
from assistant.hearing_bench.testset import TestSet
from assistant.hearing_bench.trial import SoundTrial, level_name

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.hearing_bench.mixing import Mixture, Signal
    from assistant.hearing_bench.orders import Order, OrderGrammar
    from assistant.hearing_bench.plans import RowsPlan
    from assistant.hearing_bench.testset import BenchUtterance

QUICK = 2
"""Number of conditions of each row in a quick measurement."""


@dataclass
class RowContext:
    """The test set and the makers of sound that a row draws on.

    Attributes:
        manifest: The plan.
        made: The test set, which speaks.
        share: Share of each row, 0 to 1.
        quick: Whether each row has only `QUICK` of its conditions.
        orders: Folder of people's orders; None leaves them out.
        part: File that names the orders to be heard; None for those of the fixtures.
    """

    manifest: Manifest
    made: TestSet
    share: float
    quick: bool
    orders: Path | None
    part: Path | None

    @property
    def plan(self) -> RowsPlan:
        """The plans of the rows."""
        return self.manifest.rows

    def note(self, text: str) -> None:
        """Say once why something is left out."""
        if text not in self.made.notes:
            self.made.notes.append(text)

    def few(self, conditions: Sequence[float]) -> Sequence[float]:
        """The conditions to measure: all, or the first and the middle one."""
        if not self.quick or len(conditions) <= QUICK:
            return conditions
        return (conditions[0], conditions[len(conditions) // 2])

    def shared(self, count: int) -> int:
        """This share of a number, at least one."""
        return max(1, round(count * self.share))

    def draw(self, *what: object) -> random.Random:
        """Chance that is the same in every measurement for the same things."""
        return random.Random(" ".join(str(one) for one in (self.manifest.seed, *what)))  # noqa: S311  a test set

    # --- orders ---

    def people_orders(self) -> tuple[list[Order], OrderGrammar] | None:
        """People's orders and their grammar; None, with a note, if no folder was named.

        Raises:
            BayAssistantError: The folder or the list cannot be used.
        """
        if self.orders is None:
            self.note(
                "People's orders are left out: name the folder of their recordings with --orders. "
                "Without them nobody's talk is in the rows of talk either."
            )
            return None
        found = read_orders(self.orders, self.part or self.manifest.path.parent / HELD)
        grammar = order_grammar(read_labels(self.orders), self.made.grammars.lexicon, self.orders)
        step = max(1, round(1 / self.share))
        return found[::step], grammar

    # --- sound ---

    def noisy(self, speech: Callable[[], Signal], kind: str, seed: int) -> Callable[[float], Mixture]:
        """Makes speech in noise at a ratio."""
        mixing = self.manifest.mixing

        def at(ratio_db: float) -> Mixture:
            return in_noise(
                speech(),
                kind,
                ratio_db,
                seed,
                lead_s=mixing.lead_s,
                tail_s=mixing.tail_s,
                level_db=mixing.speech_dbfs,
            )

        return at

    def talked_over(
        self, speech: Callable[[], Signal], pieces: Callable[[], Sequence[Signal]], ratio_db: float, seed: str
    ) -> Mixture:
        """Speech with talk in the background."""
        mixing = self.manifest.mixing
        return with_talk(
            speech(),
            pieces(),
            ratio_db,
            self.draw("talk", seed),
            lead_s=mixing.lead_s,
            tail_s=mixing.tail_s,
            level_db=mixing.speech_dbfs,
        )


def in_bay_noise(
    context: RowContext, utterances: Sequence[BenchUtterance], levels_db: Sequence[float], *, beside: int = 1
) -> list[SoundTrial]:
    """Utterances in bay noise, each at every ratio; the recogniser for comparison hears one in `beside`, 0: none."""
    return [
        SoundTrial(
            one.part,
            one.speaker,
            level_name(level),
            one.words,
            one.truth,
            one.grammar,
            partial(context.made.mixture, one, level),
            beside=beside > 0 and number % beside == 0,
        )
        for number, one in enumerate(utterances)
        for level in levels_db
    ]
