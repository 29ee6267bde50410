"""The amount of speech for a technician: number and length of sentences, words before the first crank."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.words.instructing import CRANK
from assistant.core.words.sentences import count_words
from assistant.rehearsal.exploring import Explorer
from assistant.rehearsal.judging import AIM

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.rehearsal.saying import SpokenSentence


@dataclass(frozen=True)
class Measure:
    """The amount of speech for a technician.

    Attributes:
        sentences: Number of different sentences.
        words: Words of each, as `count_words`.
        longest: The longest sentence.
        rate: Words a minute that the times are worked out with.
        before_crank: For each procedure with a cranking test on the way of good answers, the words that are spoken
            from the beginning to the first "Crank it.".
    """

    sentences: int
    words: tuple[int, ...]
    longest: str
    rate: int
    before_crank: dict[str, int]

    @property
    def over_aim(self) -> float:
        """Share of the sentences with more words than `AIM`."""
        return sum(count > AIM for count in self.words) / max(1, len(self.words))

    def lines(self) -> list[str]:
        """The same as text."""
        ordered = sorted(self.words)

        def at(share: float) -> int:
            return ordered[min(len(ordered) - 1, int(share * len(ordered)))] if ordered else 0

        seconds = 60 / self.rate
        longest = f"{at(1.0)} ({at(1.0) * seconds:.1f} s at {self.rate} words a minute)"
        found = [
            f"{self.sentences} different sentences.",
            f"Words: median {at(0.5)}, 95th percentile {at(0.95)}, longest {longest}.",
            f"Over {AIM} words: {100 * self.over_aim:.1f} %.",
            f"The longest: {self.longest}",
            "Words spoken before the first crank, everything good, nothing asked again:",
        ]
        found += [f"  {name}: {count} ({count * seconds:.0f} s)" for name, count in self.before_crank.items()]
        return found


def measure(
    library: Library, knowledge: Knowledge | None, spoken: Iterable[SpokenSentence], rate: int
) -> Measure:
    """Measure the amount of speech.

    Args:
        library: The procedures.
        knowledge: Weighs the results; None if nothing is weighed.
        spoken: All sentences.
        rate: Words a minute of the voice.
    """
    different = list(dict.fromkeys(one.sentence for one in spoken))
    counts = tuple(count_words(sentence) for sentence in different)
    before = {name: words_before_crank(library, knowledge, name) for name in library.procedures}
    return Measure(
        len(different),
        counts,
        max(different, key=count_words, default=""),
        rate,
        {name: words for name, words in before.items() if words is not None},
    )


def words_before_crank(library: Library, knowledge: Knowledge | None, procedure: str) -> int | None:
    """Words spoken until "Crank it." when every answer is the good one; None if the engine is not cranked."""
    explorer = Explorer(library, knowledge, procedure, {})
    for _ in range(60):
        text = " ".join(explorer.said)
        if CRANK in text:
            return count_words(text.partition(CRANK)[0] + CRANK)
        if not explorer.good():
            return None
    return None
