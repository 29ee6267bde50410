"""Counts right, wrong and rejected utterances, with the uncertainty of a count and the reliability of a confidence.

Pure: values in, values out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant.core.values.result import Result

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


Z_95 = 1.959964
"""Standard normal deviate of a two-sided 95 % interval."""

EXAMPLES = 20
"""Number of accepted results that are kept as examples."""

BINS = 10
"""Number of equal steps of confidence in a reliability diagram."""


@dataclass(frozen=True)
class Hearing:
    """One utterance, as one recogniser heard it.

    Attributes:
        truth: Meaning of the spoken words; None for speech outside the grammar.
        result: Meaning of the best words; None if they are not a phrase.
        accepted: Whether the result counts as heard.
        confidence: The recogniser's confidence, 0 to 1.
        elapsed_s: Time spent on it.
        duration_s: Length of the sound.
        words: The best words.
        sure: Whether the confidence reaches the limit from which nobody is asked, for an answer of this kind.
        silent: Whether it is accepted and takes effect without a yes.
    """

    truth: Result | None
    result: Result | None
    accepted: bool
    confidence: float
    elapsed_s: float
    duration_s: float
    words: str = ""
    sure: bool = False
    silent: bool = False

    @property
    def right(self) -> bool:
        """Whether it was accepted with the meaning of the spoken words."""
        return self.accepted and self.truth is not None and self.result == self.truth

    @property
    def wrong(self) -> bool:
        """Whether it was accepted with another meaning, or although the speech was outside the grammar."""
        return self.accepted and self.result != self.truth


@dataclass(frozen=True)
class Interval:
    """A share and the ends of its 95 % interval, 0 to 1; NaN for an empty sample."""

    share: float
    low: float
    high: float


def wilson(count: int, of: int, z: float = Z_95) -> Interval:
    """The score interval of a binomial share (Wilson, Journal of the American Statistical Association 22, 1927).

    Args:
        count: Number of members with the property.
        of: Number of all members.
        z: Standard normal deviate of the wanted coverage.

    Raises:
        ValueError: The count is negative or larger than the number of members.
    """
    if not 0 <= count <= of:
        raise ValueError(f"{count} of {of} is not a share")
    if of == 0:
        return Interval(math.nan, math.nan, math.nan)
    share = count / of
    denominator = 1 + z * z / of
    middle = (share + z * z / (2 * of)) / denominator
    half = z * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of)) / denominator
    return Interval(share, max(0.0, middle - half), min(1.0, middle + half))


@dataclass(frozen=True)
class HearingCounts:
    """Counts of one group of utterances; the `sure` counts have a confidence of `ask_below` or more."""

    n: int
    right: int
    wrong: int
    rejected: int
    sure_right: int
    sure_wrong: int


def score(hearings: Iterable[Hearing], ask_below: float) -> HearingCounts:
    """Count a group of utterances.

    Args:
        hearings: Utterances as one recogniser heard them.
        ask_below: Confidence from which a result is taken without a question.
    """
    n = right = wrong = sure_right = sure_wrong = 0
    for one in hearings:
        n += 1
        sure = one.confidence >= ask_below
        right += one.right
        wrong += one.wrong
        sure_right += one.right and sure
        sure_wrong += one.wrong and sure
    return HearingCounts(n, right, wrong, n - right - wrong, sure_right, sure_wrong)


@dataclass(frozen=True)
class Bin:
    """One step of confidence: from `low` to below `high` (the last one includes its end).

    `confidence` and `right` are the means of its members; NaN if there are none.
    """

    low: float
    high: float
    count: int
    confidence: float
    right: float


@dataclass(frozen=True)
class Reliability:
    """How well a confidence agrees with the probability of being right.

    Attributes:
        bins: Equal steps of confidence.
        calibration_error: Mean distance of confidence and share right over the bins, weighed by count (expected
            calibration error; Naeini and others, AAAI 2015).
        brier: Mean square of confidence less 1 for right, 0 for wrong (Brier, Monthly Weather Review 78, 1950).
        count: Utterances whose best words are a phrase.
    """

    bins: tuple[Bin, ...]
    calibration_error: float
    brier: float
    count: int


def reliability(pairs: Sequence[tuple[float, bool]], bins: int = BINS) -> Reliability:
    """Reliability of stated confidences.

    Args:
        pairs: Confidence, 0 to 1, and whether the result was right.
        bins: Number of equal steps of confidence.
    """
    groups: list[list[tuple[float, bool]]] = [[] for _ in range(bins)]
    for confidence, right in pairs:
        groups[min(bins - 1, int(confidence * bins + 1e-9))].append((confidence, right))
    made = []
    for number, group in enumerate(groups):
        mean = sum(c for c, _ in group) / len(group) if group else math.nan
        share = sum(r for _, r in group) / len(group) if group else math.nan
        made.append(Bin(number / bins, (number + 1) / bins, len(group), mean, share))
    count = len(pairs)
    if not count:
        return Reliability(tuple(made), math.nan, math.nan, 0)
    error = sum(b.count / count * abs(b.right - b.confidence) for b in made if b.count)
    brier = sum((c - r) ** 2 for c, r in pairs) / count
    return Reliability(tuple(made), error, brier, count)


def confidences(hearings: Iterable[Hearing]) -> list[tuple[float, bool]]:
    """The confidence of every hearing whose best words are a phrase, accepted or not, and whether it was right."""
    return [
        (one.confidence, one.truth is not None and one.result == one.truth)
        for one in hearings
        if one.result is not None
    ]


@dataclass
class Delays:
    """Times from the end of speech to the decision that it has ended, processing included; s.

    Attributes:
        right: Times of the turns that were understood right.
        complete: The times among them of complete phrases, which nothing in the grammar could follow. After
            others ("twelve", which "point four" may follow) the ear has to wait longer.
        all: Times of all turns that were decided after the end of speech.
        early: Number of turns that were decided before the speech had ended.
        unheard: Number of turns in which no speech was found.
    """

    right: list[float] = field(default_factory=list)
    complete: list[float] = field(default_factory=list)
    all: list[float] = field(default_factory=list)
    early: int = 0
    unheard: int = 0


@dataclass
class FalseAccepts:
    """Results that were accepted in hours of sound in which nobody spoke to the assistant.

    Attributes:
        hours: Length of the sound.
        utterances: Pieces of it that were taken for speech.
        accepted: Results that count as heard.
        sure: Results at a confidence of `ask_below` or more.
        examples: The accepted words, with their confidence.
    """

    hours: float = 0.0
    utterances: int = 0
    accepted: int = 0
    sure: int = 0
    examples: list[tuple[str, float]] = field(default_factory=list)

    def count(self, words: str, confidence: float, ask_below: float, *, accepted: bool) -> None:
        """Count one more piece of sound that was taken for speech."""
        self.utterances += 1
        if accepted:
            self.accepted += 1
            self.sure += confidence >= ask_below
            if len(self.examples) < EXAMPLES:
                self.examples.append((words, confidence))

    def with_more(self, other: FalseAccepts) -> FalseAccepts:
        """Both together."""
        return FalseAccepts(
            self.hours + other.hours,
            self.utterances + other.utterances,
            self.accepted + other.accepted,
            self.sure + other.sure,
            [*self.examples, *other.examples][:EXAMPLES],
        )

    def an_hour(self, count: int) -> float:
        """A count as a rate per hour."""
        return count / self.hours if self.hours else math.nan
