"""The bundled acoustic model in numpy: how likely each phone is in each 30 ms of a piece of sound.

Vosk keeps its network's outputs to itself. The judgement of an answer needs them, so this module runs the same
weights from the same file, ``am/final.mdl``, which `assistant.acoustic.export` wrote (a factored time-delay network,
Povey et al., Interspeech 2018).

**Memory.** Matrices stay in the file's 16 bits and become floats one at a time while they are used.
"""

from __future__ import annotations

import functools
import re
from typing import TYPE_CHECKING, Self, TypeAlias

import numpy as np
from numpy.typing import NDArray

from assistant.errors import ModelProblem
from assistant.grammar.lexicon import PHONES
from assistant.hearing.cepstra import cepstra
from assistant.hearing.network_file import Component, components, network_at, opened
from assistant.hearing.recognition import dithered

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from assistant.hearing.sound import Samples

Floats: TypeAlias = NDArray[np.float32]

STEP_S = 0.03
"""Length of a step, s."""

OUTPUTS = 1 + len(PHONES)
"""Outputs of a step: the blank, then the phones in alphabetical order."""

PHONE_NUMBERS = {phone: number for number, phone in enumerate(sorted(PHONES), 1)}
"""Output of each phone."""

ENDING = (
    "prefinal_in",
    "prefinal",
    "prefinal.batchnorm",
    "prefinal_out",
    "prefinal_out.batchnorm",
    "output.affine",
)
"""Components after the last wide layer, in order."""

SUBSAMPLING = 3
"""Frames of 10 ms for each step."""

EPSILON = 1e-3
"""Added to the variance in batch normalisation."""

_SKIP = re.compile(rb"input=Sum\(Scale\(([0-9.]+), ")
_AT_ONCE = 1000
"""Steps that go through the network at once (30 s of sound), so that long talk takes no more memory."""


class Acoustics:
    """The network of a model directory; `log_probabilities` may be called from several threads."""

    def __init__(self, components: Mapping[str, Component], skip: float) -> None:
        self._components = components
        self._skip = np.float32(skip)

    @classmethod
    def read(cls, path: Path) -> Self | None:
        """The network of a model directory; None if it is not of the layout that `acoustic.export` writes."""
        try:
            with opened(path / "am" / "final.mdl") as data:
                begins, listed = network_at(data)
                skip = _SKIP.search(data, max(0, begins), max(0, listed))
                if skip is None or b"input-node name=ivector" in data[begins:listed]:
                    return None
                found, scale = components(data, path), float(skip.group(1))
        except (OSError, ValueError, ModelProblem):
            return None
        made = cls(found, scale)
        try:
            fits = made.log_probabilities(np.zeros(1600, np.int16)).shape == (3, OUTPUTS)
        except (KeyError, ValueError, AttributeError, IndexError):
            return None
        return made if fits else None

    def log_probabilities(self, samples: Samples) -> Floats:
        """Natural logarithms of the probabilities of blank and phones, shape (steps of 30 ms, OUTPUTS).

        Args:
            samples: Sound of 16 bits at 16 kHz. The recogniser's constant dither is added, so that both see the same.
        """
        wide = self.wide(samples)
        return self._ending(wide) if len(wide) else np.zeros((0, OUTPUTS), np.float32)

    def wide(self, samples: Samples) -> Floats:
        """The outputs of the last wide layer, shape (steps of 30 ms, units); `log_probabilities` goes on from there.

        Args:
            samples: As for `log_probabilities`.
        """
        frames = cepstra(dithered(samples))
        steps = -(-len(frames) // SUBSAMPLING)
        if steps == 0:
            return np.zeros((0, 0), np.float32)
        around = self._context
        pieces = []
        for begin in range(0, steps, _AT_ONCE):
            end = min(steps, begin + _AT_ONCE)
            # The edges are replicated, as in Kaldi at the ends of an utterance.
            wanted = np.arange(begin * SUBSAMPLING - around, (end - 1) * SUBSAMPLING + around + 1)
            pieces.append(self._through(frames[np.clip(wanted, 0, len(frames) - 1)]))
        return np.concatenate(pieces)

    @functools.cached_property
    def _context(self) -> int:
        """Frames that the network sees on either side of an output."""
        reach = 1
        for name, one in self._components.items():
            if name.endswith("linear"):
                reach += max(0, -min(one.offsets, default=0))
        return reach

    def _through(self, frames: Floats) -> Floats:
        """The network over frames with the context on either side."""
        taps = len(frames) - 2
        out = np.concatenate([frames[tap : tap + taps] for tap in range(3)], axis=1)
        out = self._normal("first", self._rectified(self._affine("first.affine", out)))
        for group, step in (("early", 1), ("late", SUBSAMPLING)):
            if group == "late":
                out = out[::SUBSAMPLING]
            number = 0
            while f"{group}{number}.linear" in self._components:
                out = self._layer(f"{group}{number}", out, step)
                number += 1
        return out

    def ending(self) -> dict[str, Floats]:
        """The weights of what follows `wide`: matrices by name, and vectors by name and token, for learning a voice."""
        found: dict[str, Floats] = {}
        for name in ENDING:
            one = self._components[name]
            if one.matrix is not None:
                found[name] = one.matrix.floats()
            found |= {f"{name} {token}": vector for token, vector in one.vectors.items()}
        return found

    def _ending(self, out: Floats) -> Floats:
        """From the last wide layer to the logarithms of probabilities."""
        for name in ("prefinal_in", "prefinal"):
            out = self._affine(name, out)
        out = self._normal("prefinal", self._rectified(out))
        out = self._normal("prefinal_out", self._affine("prefinal_out", out))
        out = self._affine("output.affine", out)
        out -= out.max(axis=1, keepdims=True)
        out -= np.log(np.exp(out).sum(axis=1, keepdims=True))
        return out

    def _layer(self, name: str, sound: Floats, step: int) -> Floats:
        """One factored layer, which loses its reach at either end; `step` frames lie between two rows."""
        reach = -min(self._components[f"{name}.linear"].offsets) // step
        inner = self._taps(f"{name}.linear", sound, reach)
        out = self._normal(name, self._rectified(self._taps(f"{name}.affine", inner, reach)))
        kept = sound[reach : len(sound) - reach]
        out += self._skip * kept
        return out

    def _taps(self, name: str, sound: Floats, reach: int) -> Floats:
        """A layer that sees a row and the one `reach` rows later; as two products, so no copy is made."""
        one = self._components[name]
        assert one.matrix is not None  # noqa: S101  checked by `read`, which runs the network once
        weights = one.matrix.floats()
        wide = sound.shape[1]
        rows = len(sound) - reach
        out = sound[:rows] @ weights[:, :wide].T
        if reach:
            out += sound[reach:] @ weights[:, wide:].T
        bias = one.vectors["<BiasParams>"]
        if bias.size:
            out += bias
        return np.asarray(out, np.float32)

    def _affine(self, name: str, sound: Floats) -> Floats:
        one = self._components[name]
        assert one.matrix is not None  # noqa: S101  as above
        return np.asarray(sound @ one.matrix.floats().T + one.vectors["<BiasParams>"], np.float32)

    @staticmethod
    def _rectified(sound: Floats) -> Floats:
        return np.maximum(sound, np.float32(0), out=sound)

    def _normal(self, name: str, sound: Floats) -> Floats:
        vectors = self._components[f"{name}.batchnorm"].vectors
        scale = 1 / np.sqrt(vectors["<StatsVar>"] + np.float32(EPSILON))
        sound *= scale
        sound -= vectors["<StatsMean>"] * scale
        return sound
