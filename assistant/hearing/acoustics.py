"""The bundled acoustic model in numpy: how likely each phone is in each 30 ms of a piece of sound.

Vosk keeps its network's outputs to itself. The judgement of an answer needs them, so this module runs the same
weights from the same file, ``am/final.mdl``, which `assistant.acoustic.export` wrote (a factored time-delay network,
Povey et al., Interspeech 2018).

**Memory.** Matrices stay in the file's 16 bits and become floats one at a time while they are used.
"""

from __future__ import annotations

import functools
import mmap
import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Self, TypeAlias

import numpy as np
from numpy.typing import NDArray

from assistant import files
from assistant.grammar.lexicon import PHONES
from assistant.hearing.cepstra import cepstra
from assistant.hearing.recognition import dithered

if TYPE_CHECKING:
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

_SUBSAMPLING = 3
EPSILON = 1e-3
"""Added to the variance in batch normalisation."""

_SKIP = re.compile(rb"input=Sum\(Scale\(([0-9.]+), ")
_AT_ONCE = 1000
"""Steps that go through the network at once (30 s of sound), so that long talk takes no more memory."""


@dataclass(frozen=True)
class _Matrix:
    """A matrix in 16 bits (Kaldi's "CM2"): the smallest value, the step, and integers (rows, columns)."""

    low: float
    step: float
    steps: NDArray[np.uint16]

    def floats(self) -> Floats:
        made = self.steps.astype(np.float32)
        made *= np.float32(self.step)
        made += np.float32(self.low)
        return made


@dataclass(frozen=True)
class _Component:
    """One component: its kind and what was stored with it, by token."""

    kind: str
    matrix: _Matrix | None
    vectors: Mapping[str, Floats]
    offsets: tuple[int, ...]


class Acoustics:
    """The network of a model directory; `log_probabilities` may be called from several threads."""

    def __init__(self, components: Mapping[str, _Component], skip: float) -> None:
        self._components = components
        self._skip = np.float32(skip)

    @classmethod
    def read(cls, path: Path) -> Self | None:
        """The network of a model directory; None if it is not of the layout that `acoustic.export` writes."""
        try:
            with files.open_regular(path / "am" / "final.mdl") as file:
                data = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
        except (OSError, ValueError):
            return None
        begin, listed = data.find(b"<Nnet3> "), data.find(b"<NumComponents> ")
        skip = _SKIP.search(data, max(0, begin), max(0, listed))
        if begin < 0 or listed < 0 or skip is None or b"input-node name=ivector" in data[begin:listed]:
            return None
        try:
            components = _components(data, listed)
        except (ValueError, struct.error, UnicodeDecodeError):
            return None
        made = cls(components, float(skip.group(1)))
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
        steps = -(-len(frames) // _SUBSAMPLING)
        if steps == 0:
            return np.zeros((0, 0), np.float32)
        around = self._context
        pieces = []
        for begin in range(0, steps, _AT_ONCE):
            end = min(steps, begin + _AT_ONCE)
            # The edges are replicated, as in Kaldi at the ends of an utterance.
            wanted = np.arange(begin * _SUBSAMPLING - around, (end - 1) * _SUBSAMPLING + around + 1)
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
        for group, step in (("early", 1), ("late", _SUBSAMPLING)):
            if group == "late":
                out = out[::_SUBSAMPLING]
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


def _components(data: mmap.mmap, at: int) -> dict[str, _Component]:
    """All components of the file by name.

    Raises:
        ValueError: Something is stored in another way than `assistant.acoustic.export` stores it.
    """
    found: dict[str, _Component] = {}
    mark = b"<ComponentName> "
    end = data.find(b"</Nnet3>", at)
    begin = data.find(mark, at)
    while 0 <= begin < end:
        following = data.find(mark, begin + len(mark))
        stop = following if 0 <= following < end else end
        # A matrix may hold the mark's bytes by chance; then the component is cut short, and refused below.
        name_end = data.find(b" ", begin + len(mark))
        kind_end = data.find(b" ", name_end + 1)
        name = data[begin + len(mark) : name_end].decode("ascii")
        kind = data[name_end + 1 : kind_end].decode("ascii")
        found[name] = _component(data, kind, kind_end + 1, stop)
        begin = following
    return found


def _component(data: mmap.mmap, kind: str, begin: int, stop: int) -> _Component:
    offsets: tuple[int, ...] = ()
    matrix = None
    vectors: dict[str, Floats] = {}
    at = begin
    place = data.find(b"<TimeOffsets> ", at, stop)
    if place >= 0:
        place += len(b"<TimeOffsets> ")
        (count,) = struct.unpack_from("<i", data, place + 1)
        offsets = struct.unpack_from(f"<{count}i", data, place + 5)
        at = place
    place = data.find(b"<LinearParams> ", at, stop)
    if place >= 0:
        matrix, at = _matrix(data, place + len(b"<LinearParams> "), stop)
    for token in ("<BiasParams>", "<StatsMean>", "<StatsVar>"):
        place = data.find(token.encode() + b" ", at, stop)
        if place >= 0:
            vectors[token], at = _vector(data, place + len(token) + 1, stop)
    return _Component(kind, matrix, vectors, offsets)


def _matrix(data: mmap.mmap, at: int, stop: int) -> tuple[_Matrix, int]:
    """A matrix in 16 bits, and where it ends."""
    if data[at : at + 4] != b"CM2 ":
        raise ValueError("not a matrix in 16 bits")
    low, span, rows, columns = struct.unpack_from("<ffii", data, at + 4)
    begin = at + 20
    end = begin + 2 * rows * columns
    if not (0 < rows < 1 << 20 and 0 < columns < 1 << 20) or end > stop:
        raise ValueError("a matrix is cut short")
    # A copy, because numbers that lie at odd places in the file are ten times slower.
    steps = np.frombuffer(data[begin:end], "<u2").reshape(rows, columns)
    return _Matrix(low, span / 65535, steps), end


def _vector(data: mmap.mmap, at: int, stop: int) -> tuple[Floats, int]:
    if data[at : at + 3] != b"FV ":
        raise ValueError("not a vector of floats")
    (count,) = struct.unpack_from("<i", data, at + 4)
    end = at + 8 + 4 * count
    if count < 0 or end > stop:
        raise ValueError("a vector is cut short")
    return np.frombuffer(data, "<f4", count, at + 8).astype(np.float32), end
