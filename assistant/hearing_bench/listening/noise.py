"""The conditions in which voices are listened to, and the noises.

Everything is mixed at `RATE`, full scale being 1. Every sentence of every voice is brought to the same peak first: a
loudspeaker is limited by its peak. Two ways of comparing voices follow:

- at the same ratio, the noise is so and so many dB below the mean power of this very speech (frames with speech only);
- at the same peak, the noise has one level for all voices, as in a bay; a voice that carries more power under its peak
  gains from it.

Three noises, so that no figure rests on one: "bay" takes the kinds of `assistant.hearing.baynoise` in turn; "pink" is
the one of these that has equal power in every octave; "babble" is other voices of flite, eight at once, that speak the
Harvard sentences (IEEE Recommended Practice for Speech Quality Measurements, 1969, list 1; from memory).
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import soxr

from assistant.hearing.baynoise import KINDS, bay_noise
from assistant.hearing.sound import FULL_SCALE, Samples
from assistant.hearing_bench.listening.flite import by_flite
from assistant.hearing_bench.mixing import CEILING, Signal, from_samples, speech_power, to_samples, trimmed

if TYPE_CHECKING:
    from assistant.speaking.speech import SpokenSound

RATE = 24_000
"""Rate of all mixtures, Hz: the highest that a voice of ours has."""

FRAME = RATE // 50

PEAK = CEILING
"""Peak of every sentence, -1 dBFS, as the assistant plays it."""

SAME_PEAK_NOISE_DB = -16.0
"""Level of the noise at "same peak", dB relative to full scale.

At this level the default voice has a ratio of 0 dB in the median (-15.8 dBFS, 60 sentences of the tuning half), so
"same peak" is 0 dB to it as well; eSpeak then has -2 dB.
"""

NOISE_SPL_DB = 80.0
"""Level of the noise at the ear that the SII supposes, dB SPL, unweighted: a loud bay; common practice, no source.

The speech is as much louder or softer as the mixture says.
"""

EDGE_S = 0.3
"""Noise before and after the speech."""

_FLOOR = 30.0 / FULL_SCALE
"""Digital silence breaks recognisers, so "clean" has white noise of this root mean square."""

_BABBLING = ("kal", "awb", "rms", "slt")
_HARVARD = (
    "The birch canoe slid on the smooth planks.",
    "Glue the sheet to the dark blue background.",
    "It's easy to tell the depth of a well.",
    "These days a chicken leg is a rare dish.",
    "Rice is often served in round bowls.",
    "The juice of lemons makes fine punch.",
    "The box was thrown beside the parked truck.",
    "The hogs were fed chopped corn and garbage.",
    "Four hours of steady work faced us.",
    "A large size in stockings is hard to sell.",
)


@dataclass(frozen=True)
class Condition:
    """One way of listening.

    Attributes:
        name: As in the report.
        noise: "bay", "pink" or "babble"; "" for clean.
        ratio_db: Ratio of speech to noise; None for noise of `SAME_PEAK_NOISE_DB`.
    """

    name: str
    noise: str = ""
    ratio_db: float | None = None


CLEAN = Condition("clean")
CONDITIONS = (
    CLEAN,
    Condition("bay, +5 dB", "bay", 5.0),
    Condition("bay, 0 dB", "bay", 0.0),
    Condition("bay, same peak", "bay"),
    Condition("pink, same peak", "pink"),
    Condition("babble, same peak", "babble"),
)
"""All conditions, in the order of the report."""


@dataclass(frozen=True, eq=False)
class Mixed:
    """Speech in noise, at `RATE`.

    Attributes:
        speech: The speech alone.
        noise: The noise under it, as long.
        whole: Both together, with noise before and after.
    """

    speech: Signal
    noise: Signal
    whole: Signal

    @property
    def ratio_db(self) -> float:
        """Ratio of speech to noise, dB."""
        noise = float(np.mean(self.noise**2))
        return float(10 * np.log10(speech_power(self.speech, FRAME) / noise))


class NoiseMaker:
    """Noise for each sentence: the same one for every voice.

    Args:
        seed: The same seed gives the same noises.
    """

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._talk: list[Signal] = []

    def kind(self, noise: str, number: int) -> str:
        """The kind of noise that the sentence of this number gets."""
        return KINDS[number % len(KINDS)] if noise == "bay" else noise

    def make(self, noise: str, number: int, count: int) -> Signal:
        """So many samples of a noise for the sentence of this number, of any level.

        Raises:
            GearProblem: flite is not installed; babble needs it.
        """
        if not noise:
            return np.random.default_rng([self._seed, number]).standard_normal(count)
        if noise == "bay":
            return bay_noise(self.kind(noise, number), count / RATE, RATE, self._seed + number)
        if noise == "pink":
            return pink(count, np.random.default_rng([self._seed, number, 1]))
        return self._babble(count, np.random.default_rng([self._seed, number, 2]))

    def _babble(self, count: int, generator: np.random.Generator) -> Signal:
        """Each voice twice, each from another place of the same talk."""
        if not self._talk:
            for voice in _BABBLING:
                parts = [_loud(by_flite(voice, sentence)) for sentence in _HARVARD]
                self._talk.append(np.concatenate(parts))
        total = np.zeros(count)
        for talk in [*self._talk, *self._talk]:
            at = int(generator.integers(len(talk)))
            total += np.resize(np.roll(talk, -at), count)
        return total


def _loud(sound: SpokenSound) -> Signal:
    speech = trimmed(at_rate(sound))
    return np.asarray(speech / np.sqrt(speech_power(speech, FRAME)))


def missing_noise() -> str:
    """The reason why there is no babble, as a sentence; "" if there is."""
    if shutil.which("flite"):
        return ""
    return "Babble is left out: flite is not installed (Debian package flite)."


def pink(count: int, generator: np.random.Generator) -> Signal:
    """Noise with equal power in every octave from 20 Hz up, as among the kinds of bay noise."""
    return bay_noise("pink", count / RATE, RATE, int(generator.integers(2**31)))


def at_rate(sound: SpokenSound) -> Signal:
    """Rendered speech at `RATE` with its peak at `PEAK`; silence stays silence."""
    speech = from_samples(sound.samples)
    if sound.rate != RATE:
        speech = np.asarray(soxr.resample(speech, sound.rate, RATE), dtype=np.float64)
    peak = float(np.max(np.abs(speech), initial=0.0))
    return speech * (PEAK / peak) if peak else speech


def mixed(speech: Signal, noise: Signal, condition: Condition) -> Mixed:
    """Speech in a condition.

    Args:
        speech: From `at_rate`.
        noise: At least `length` samples of the condition's noise, of any level.
        condition: The condition.

    Raises:
        ValueError: The noise is too short or silent.
    """
    edge = round(EDGE_S * RATE)
    whole = noise[: length(speech)].copy()
    under = whole[edge : edge + len(speech)]
    power = float(np.mean(under**2)) if len(under) == len(speech) and len(speech) else 0.0
    if power <= 0 or len(whole) < length(speech):
        raise ValueError("the noise is too short, or silent where the speech lies")
    if not condition.noise:
        wanted = _FLOOR**2
    elif condition.ratio_db is None:
        wanted = 10 ** (SAME_PEAK_NOISE_DB / 10)
    else:
        wanted = speech_power(speech, FRAME) / 10 ** (condition.ratio_db / 10)
    whole *= np.sqrt(wanted / power)
    under = whole[edge : edge + len(speech)].copy()
    whole[edge : edge + len(speech)] += speech
    return Mixed(speech, under, whole)


def length(speech: Signal) -> int:
    """Samples of noise that speech needs."""
    return len(speech) + 2 * round(EDGE_S * RATE)


def to_ear(whole: Signal, rate: int) -> Samples:
    """A mixture at the rate of a listener, 16 bits; turned down as a whole if its peak would not fit."""
    fitted = np.asarray(soxr.resample(whole, RATE, rate), dtype=np.float64) if rate != RATE else whole
    return to_samples(fitted)
