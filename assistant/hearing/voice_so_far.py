"""How well one voice has matched the acoustic model in its accepted answers of this session: running means.

A measure that is low for everything that a person says tells of the voice, the microphone or the room, and not of
this answer. So the judgement also looks at how far a measure is from what this voice had before.
A new voice begins at the mean of the population with a weight of `PRIOR` answers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

PRIOR = 3.0
"""Answers that the population's mean counts for."""

LONGEST = 40.0
"""Answers that the past counts for at most, so that a changed microphone or a second person is soon followed."""


@dataclass(frozen=True)
class VoiceSoFar:
    """What is known of a voice.

    Attributes:
        answers: Accepted answers so far, at most `LONGEST`.
        sums: For each measure by name the sum over them, of the differences from the population's mean.
    """

    answers: float = 0.0
    sums: Mapping[str, float] = field(default_factory=dict)

    def offset(self, name: str) -> float:
        """How far this voice's mean of a measure is from the population's, shrunk towards none."""
        return self.sums.get(name, 0.0) / (self.answers + PRIOR)

    def after(self, differences: Mapping[str, float]) -> VoiceSoFar:
        """With one more accepted answer.

        Args:
            differences: Measures of the answer, less the population's means.
        """
        if not differences:
            return self
        kept = min(1.0, (LONGEST - 1) / self.answers) if self.answers else 0.0
        names = self.sums.keys() | differences.keys()
        sums = {name: kept * self.sums.get(name, 0.0) + differences.get(name, 0.0) for name in sorted(names)}
        return VoiceSoFar(kept * self.answers + 1, sums)


NEW_VOICE = VoiceSoFar()
"""A voice of which nothing is known."""
