"""One utterance on its way through Vosk, and its result.

**Alternatives.** Vosk gives its best alternatives with their log-likelihoods, including those with the filler;
the probability of an alternative is its share of the sum of all likelihoods.
They contain the filler only if it is nearly as likely. Hearing the sound a second time with the filler alone, so
that its likelihood is always known, was tried and did not improve the confidence
(`assistant.acoustic.calibrate`).
`assistant.hearing.judge` uses these.
"""

from __future__ import annotations

import json
import math
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.errors import ModelProblem
from assistant.hearing.sound import RATE, Samples

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

ALTERNATIVES = 20
"""Largest number of alternatives to request; most utterances have fewer than ten within the beam."""

DITHER = 3.0
"""Standard deviation, in steps of 16-bit samples, of the noise that is added to sound before recognition.

The bundled model was trained with it, and digital silence breaks recognisers. The noise is always the same, and
Kaldi's own is off, so the same sound gives the same words.
"""

_NOISE = np.random.default_rng(1).normal(0.0, DITHER, RATE).astype(np.float32)


def dithered(samples: Samples, position: int = 0) -> Samples:
    """Sound with the constant noise; `position` is the number of samples before it in the utterance."""
    noise = _NOISE[(position + np.arange(len(samples))) % len(_NOISE)]
    return np.asarray(np.clip(np.rint(samples + noise), -32768, 32767), "<i2")


PIECE = RATE // 10
"""Samples handed to Vosk at once: 0.1 s."""


@dataclass(frozen=True)
class Alternative:
    """One way to understand an utterance; `score` is its log-likelihood, comparable only within the utterance."""

    words: str
    score: float


@dataclass(frozen=True)
class Recognition:
    """The recogniser's result for a piece of sound.

    Attributes:
        words: The best words, "" for none; ``[unk]`` stands for speech outside the grammar.
        confidence: Probability of exactly these words, 0 to 1; 0 without words.
        elapsed_s: Time spent on it, s.
        word_confidences: For each word, the probability of the alternatives with the same word in the same place,
            counted from the beginning or from the end.
        alternatives: All, the best first.
        calibrated: Whether the measured calibration of confidence applies, because we wrote the graph.
    """

    words: str
    confidence: float
    elapsed_s: float
    word_confidences: tuple[float, ...] = ()
    alternatives: tuple[Alternative, ...] = ()
    calibrated: bool = False

    @classmethod
    def of(
        cls, alternatives: Iterable[Alternative], elapsed_s: float, *, calibrated: bool = False
    ) -> Recognition:
        """Rank alternatives by score and state their probabilities."""
        ranked = tuple(sorted(alternatives, key=lambda one: -one.score))
        if not ranked or not ranked[0].words:
            return cls("", 0.0, elapsed_s, (), ranked, calibrated)
        shares = probabilities(ranked)
        best = ranked[0].words.split()
        confidences = []
        for number, word in enumerate(best):
            total = 0.0
            for one, share in zip(ranked, shares, strict=True):
                words = one.words.split()
                from_end = len(words) - (len(best) - number)
                if words[number : number + 1] == [word] or (from_end >= 0 and words[from_end] == word):
                    total += share
            confidences.append(min(1.0, total))
        return cls(ranked[0].words, shares[0], elapsed_s, tuple(confidences), ranked, calibrated)


def probabilities(alternatives: Sequence[Alternative]) -> tuple[float, ...]:
    """Share of each alternative in the sum of all likelihoods."""
    best = max((one.score for one in alternatives), default=0.0)
    likelihoods = [math.exp(one.score - best) for one in alternatives]
    total = sum(likelihoods)
    return tuple(likelihood / total for likelihood in likelihoods)


class UtteranceStream:
    """One utterance on its way into words.

    Args:
        recogniser: Vosk's, with the graph of the step.
        calibrated: As in `Recognition`.
    """

    def __init__(self, recogniser: Any, *, calibrated: bool = False) -> None:
        recogniser.SetMaxAlternatives(ALTERNATIVES)
        self._recogniser = recogniser
        self._calibrated = calibrated
        self._position = 0
        self.elapsed_s = 0.0

    def accept(self, samples: Samples) -> None:
        """Take in the next sound, 16 kHz. The recogniser's own end-point rules do not apply: an utterance ends
        when `finish` is called.

        Raises:
            ModelProblem: The model's settings or network do not work.
        """
        begun = time.perf_counter()
        for start in range(0, len(samples), PIECE):
            piece = samples[start : start + PIECE]
            noisy = dithered(piece, self._position)
            self._position += len(piece)
            try:
                self._recogniser.AcceptWaveform(noisy.tobytes())
            except Exception as error:
                raise ModelProblem(
                    f"The recogniser cannot work with this model ({error}). Copy the model again, whole."
                ) from error
        self.elapsed_s += time.perf_counter() - begun

    def partial(self) -> str:
        """The words so far."""
        begun = time.perf_counter()
        words = str(json.loads(self._recogniser.PartialResult()).get("partial", ""))
        self.elapsed_s += time.perf_counter() - begun
        return " ".join(words.split())

    def finish(self) -> Recognition:
        """The words at the end; the stream is used up."""
        begun = time.perf_counter()
        answer = json.loads(self._recogniser.FinalResult())
        scores: dict[str, float] = {}
        for one in answer.get("alternatives", ()):
            words = " ".join(str(one["text"]).split())
            scores[words] = max(float(one["confidence"]), scores.get(words, -math.inf))
        self.elapsed_s += time.perf_counter() - begun
        alternatives = (Alternative(words, score) for words, score in scores.items())
        return Recognition.of(alternatives, self.elapsed_s, calibrated=self._calibrated)
