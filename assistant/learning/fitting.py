"""Fits the acoustic model to a voice: each unit of its last wide layer gets a scale.

**Why these.** Tried on voices that the model was not trained on, with 22 takes that teach, judged on other words
(`README.md` has the figures): an offset and a scale for each cepstrum made the words that were taught likelier and all
others less likely; a bias for each phone did nothing; scales of the last wide layer helped on other words as well.
(Swietojanski and Renals, "Learning hidden unit contributions for unsupervised speaker adaptation of neural network
acoustic models", SLT 2014.)

Everything before that layer is the same for any scales, so it is computed once for each take, and learning takes some
seconds of one core. The scales become part of the matrix that follows, so Vosk hears with them as well
(`assistant.learning.hearer`).
The loss is that of connectionist temporal classification (Graves et al., ICML 2006), which training had as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.grammar.lexicon import Pronunciation
from assistant.hearing.acoustics import EPSILON, PHONE_NUMBERS, Floats

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray


STEPS = 30
"""Steps of Adam (Kingma and Ba, ICLR 2015)."""

RATE = 0.01
"""Its step: the most by which the logarithm of a scale changes in each of them."""

PULL = 3.0
"""Weight of the mean square of the logarithms of the scales, against the loss of a phone: it pulls towards 1."""

WORTH = 0.01
"""Smallest share by which the loss of the takes that check must fall; otherwise the scales are not used."""

LEAST = 6
"""Fewest takes of either half for which a fit is tried."""


@dataclass(frozen=True)
class Spoken:
    """A take for learning.

    Attributes:
        wide: Outputs of the last wide layer, shape (steps, units).
        said: Possible pronunciations of all its words together.
    """

    wide: Floats
    said: tuple[Pronunciation, ...]


class LastLayers:
    """What follows the last wide layer, forwards and backwards.

    Args:
        weights: As `Acoustics.ending` gives them.
    """

    def __init__(self, weights: dict[str, Floats]) -> None:
        # The two affine layers without anything between them are one; so is what follows the rectifier.
        first, second = weights["prefinal_in"], weights["prefinal"]
        self._in, self._second = first, second
        self._bias = second @ weights["prefinal_in <BiasParams>"] + weights["prefinal <BiasParams>"]
        scale, shift = _normal(weights, "prefinal.batchnorm")
        out, out_bias = weights["prefinal_out"], weights["prefinal_out <BiasParams>"]
        scale_out, shift_out = _normal(weights, "prefinal_out.batchnorm")
        last, last_bias = weights["output.affine"], weights["output.affine <BiasParams>"]
        joined = last @ (scale_out[:, None] * out)
        self._last = np.asarray(joined * scale[None], np.float32)
        self._last_bias = np.asarray(
            joined @ shift + last @ (scale_out * out_bias + shift_out) + last_bias, np.float32
        )

    def forwards(self, wide: Floats) -> tuple[Floats, Floats]:
        """Logarithms of the probabilities, shape (steps, outputs), and what is needed to go back."""
        hidden = np.maximum((wide @ self._in.T) @ self._second.T + self._bias, np.float32(0))
        out = hidden @ self._last.T + self._last_bias
        out -= out.max(axis=1, keepdims=True)
        out -= np.log(np.exp(out).sum(axis=1, keepdims=True))
        return out, hidden

    def backwards(self, gradient: Floats, hidden: Floats) -> Floats:
        """The gradient by `wide` of a loss, from that by the outputs before the softmax."""
        back = (gradient @ self._last) * (hidden > 0)
        return np.asarray((back @ self._second) @ self._in, np.float32)


def _normal(weights: dict[str, Floats], name: str) -> tuple[Floats, Floats]:
    scale = 1 / np.sqrt(weights[f"{name} <StatsVar>"] + np.float32(EPSILON))
    return scale, -weights[f"{name} <StatsMean>"] * scale


def loss_of(log_probabilities: Floats, said: Pronunciation) -> tuple[float, Callable[[], Floats]]:
    """How unlikely these phones are in this sound, and the gradient of that.

    Args:
        log_probabilities: Shape (steps, outputs); output 0 is the blank.
        said: The phones.

    Returns:
        The negative logarithm of their probability (infinite if there are too few steps for them), and a function for
        its gradient by the outputs before the softmax, same shape.
    """
    labels = np.zeros(2 * len(said) + 1, np.intp)
    labels[1::2] = [PHONE_NUMBERS[phone] for phone in said]
    emitted = log_probabilities[:, labels].astype(np.float64)
    skips = np.zeros(labels.size, bool)
    skips[2:] = (labels[2:] != 0) & (labels[2:] != labels[:-2])
    forward = _alphas(emitted, skips)
    total = float(np.logaddexp(forward[-1, -1], forward[-1, -2]))

    def gradient() -> Floats:
        # From the other end the labels stand in reverse, and one may be skipped where its mirror image may.
        mirrored = np.zeros(labels.size, bool)
        turned = labels[::-1]
        mirrored[2:] = (turned[2:] != 0) & (turned[2:] != turned[:-2])
        backward = _alphas(emitted[::-1, ::-1], mirrored)[::-1, ::-1]
        share = np.exp(forward + backward - emitted - total)
        expected = np.zeros(log_probabilities.shape)
        np.add.at(expected.T, labels, share.T)
        return np.asarray(np.exp(log_probabilities) - expected, np.float32)

    return -total, gradient


def _alphas(emitted: NDArray[np.float64], skips: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Logarithms of the probabilities of all beginnings, shape (steps, labels)."""
    found = np.full(emitted.shape, -np.inf)
    found[0, :2] = emitted[0, :2]
    for step in range(1, len(emitted)):
        before = found[step - 1]
        best = before.copy()
        best[1:] = np.logaddexp(best[1:], before[:-1])
        best[2:] = np.where(skips[2:], np.logaddexp(best[2:], before[:-2]), best[2:])
        found[step] = best + emitted[step]
    return found


def likeliest(log_probabilities: Floats, said: Sequence[Pronunciation]) -> tuple[Pronunciation, float]:
    """Which of these pronunciations fits best, and its loss for each phone."""
    losses = [loss_of(log_probabilities, one)[0] / len(one) for one in said]
    best = int(np.argmin(losses))
    return said[best], losses[best]


def mean_loss(ending: LastLayers, takes: Sequence[Spoken], scales: Floats) -> float:
    """Mean loss of a phone over takes, with these logarithms of scales; takes that are too short are left out."""
    factors = np.exp(scales)
    losses = [likeliest(ending.forwards(one.wide * factors)[0], one.said)[1] for one in takes]
    kept = [one for one in losses if np.isfinite(one)]
    return float(np.mean(kept)) if kept else float("inf")


def fit(ending: LastLayers, teaching: Sequence[Spoken], *, steps: int = STEPS, pull: float = PULL) -> Floats:
    """Logarithms of scales under which the takes are likelier, shape (units,)."""
    plain = [ending.forwards(one.wide)[0] for one in teaching]
    known = [
        (one.wide, said)
        for one, outputs in zip(teaching, plain, strict=True)
        for said, loss in [likeliest(outputs, one.said)]
        if np.isfinite(loss)
    ]
    units = teaching[0].wide.shape[1]
    scales, speed, power = np.zeros(units), np.zeros(units), np.zeros(units)
    for number in range(1, steps + 1):
        slope = 2 * pull * scales / units
        factors = np.exp(scales).astype(np.float32)
        for wide, said in known:
            outputs, hidden = ending.forwards(wide * factors)
            back = ending.backwards(loss_of(outputs, said)[1](), hidden)
            slope = slope + (back * wide * factors).sum(axis=0) / len(said) / len(known)
        speed = 0.9 * speed + 0.1 * slope
        power = 0.999 * power + 0.001 * slope**2
        scales = scales - RATE * (speed / (1 - 0.9**number)) / (np.sqrt(power / (1 - 0.999**number)) + 1e-8)
    return scales.astype(np.float32)


def fitted(ending: LastLayers, teaching: Sequence[Spoken], checking: Sequence[Spoken]) -> Floats:
    """The scales for a voice, or none if there is too little to learn from or the other half does not gain by them."""
    if len(teaching) < LEAST or len(checking) < LEAST:
        return np.zeros(0, np.float32)
    scales = fit(ending, teaching)
    before = mean_loss(ending, checking, np.zeros_like(scales))
    after = mean_loss(ending, checking, scales)
    return scales if after < (1 - WORTH) * before else np.zeros(0, np.float32)
