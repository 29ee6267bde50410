"""What the ear can say of a starter: plain values, each with a confidence between 0 and 1.

They are proposals. No value here says that nothing cranks or that no pump runs: silence is no evidence, because the
microphone may be muted, far away or drowned by noise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

Phase: TypeAlias = Literal["begins", "ends", "runs"]
"""``begins`` and ``ends``: the starter turns the engine, and no longer does. ``runs``: the engine fired and runs."""

Evenness: TypeAlias = Literal["even", "uneven", "no-rhythm", "unknown"]
"""Of the compressions: all alike, one weak cylinder, none to be heard in a turning engine, or it cannot be told."""

Manner: TypeAlias = Literal["normal", "slow", "too-fast"]
"""Answers to "how does it crank?", named as in `procedures/terms.yaml`. ``silent`` is missing on purpose."""


@dataclass(frozen=True)
class CrankPhase:
    """Cranking began or ended, or the engine runs.

    A crank gives ``begins`` and, after it, exactly one ``ends``. A beginning that was unsure when it was said is said
    once more, with the same time, if it gets sure (`certainty.SURE_FROM`). If the engine fires, ``runs`` comes just
    before ``ends`` and with the same time, or up to two seconds after it. A starter that is still held then cannot be
    heard.

    Attributes:
        phase: What happened.
        at_s: When, in seconds of sound since the first sample that was fed; before now, by the detector's delay.
        confidence: Probability that it is true, 0 to 1.
    """

    phase: Phase
    at_s: float
    confidence: float


@dataclass(frozen=True)
class CrankSpeed:
    """How fast the engine was cranked, heard from the rhythm of its compressions; comes with ``ends`` of a crank.

    Attributes:
        rpm: Mean crankshaft speed once up to speed; None without the number of cylinders or without a rhythm.
        sigma_rpm: Its standard error (1 sigma); None with `rpm`.
        evenness: Of the compressions.
        confidence: Probability that the speed is right within a tenth, 0 to 1; without a speed, of the evenness.
        at_s: End of the sound that was judged, in seconds since the first sample that was fed.
        per_s: Compressions a second; None without a rhythm.
        sigma_per_s: Its standard error; None with `per_s`.
        manner: The likeliest answer to "how does it crank?"; None if it cannot be told.
        probability: Of that answer, 0 to 1; 0 without one.
        evenness_confidence: Probability that the evenness is right, 0 to 1.
    """

    rpm: float | None
    sigma_rpm: float | None
    evenness: Evenness
    confidence: float
    at_s: float = 0.0
    per_s: float | None = None
    sigma_per_s: float | None = None
    manner: Manner | None = None
    probability: float = 0.0
    evenness_confidence: float = 0.0


@dataclass(frozen=True)
class PumpHum:
    """A fuel pump's hum at key-on, about two seconds long. A weak proposal: many cars' pumps cannot be heard.

    Attributes:
        at_s: When it began, in seconds since the first sample that was fed.
        confidence: Probability that it was one, 0 to 1.
    """

    at_s: float
    confidence: float


Perceived: TypeAlias = CrankPhase | CrankSpeed | PumpHum
"""What `StarterEar.feed` gives."""
