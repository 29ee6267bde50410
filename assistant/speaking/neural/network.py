"""The voice "heart": a string of phonemes becomes sound, with numpy alone."""

from __future__ import annotations

import hashlib
from pathlib import Path

import numpy as np

from assistant.errors import GearProblem
from assistant.files import read_bytes
from assistant.speaking.neural.arithmetic import Floats, LateRows
from assistant.speaking.neural.computation import Computation, Result
from assistant.speaking.neural.graph import Graph, GraphError, read_graph
from assistant.speaking.neural.protobuf import WireError
from assistant.speaking.neural.rising import is_question, risen
from assistant.speaking.neural.signal import BINS, RATE, VoiceFrames, synthesised
from assistant.speaking.neural.symbols import EDGE, SYMBOLS

__all__ = ["HEART", "SYMBOLS", "HeartNetwork"]

HEART = Path(__file__).with_name("heart.onnx")
"""The network, byte for byte as hibari-tts 0.2.1 has it (``hibari/assets/hibari.onnx``)."""

SHA256 = "5f70741d4e900f4e85d0037498736cc1b3e1b9a63a13546a5da1e63abf4fccd8"
"""The file's SHA-256, as that package's ``voices.json`` gives it."""

LONGEST = 400
"""Most phonemes of one sentence: the package that the network comes from splits longer ones."""

SLOWEST, FASTEST = 0.5, 2.0
"""Bounds of the speed, which the same package gives."""

_LARGEST_FILE = 64 << 20

_INPUTS = ("ids", "speed")
_OUTPUTS = ("lh", "theta", "ln", "lr", "phi", "f0")


class HeartNetwork:
    """The network with its weights in memory; it keeps nothing from one sentence to the next.

    Args:
        path: Another file than the one that comes with the package.
        sha256: What the file's SHA-256 must be; None for a file of one's own.

    Raises:
        GearProblem: The file is missing, damaged or not a network of this kind.
    """

    rate = RATE
    longest = LONGEST

    def __init__(self, path: Path = HEART, sha256: str | None = SHA256) -> None:
        self._path = path
        try:
            data = read_bytes(path, _LARGEST_FILE)
        except OSError as error:
            raise self._problem(f"cannot be read: {error.strerror}") from error
        if sha256 is not None and hashlib.sha256(data).hexdigest() != sha256:
            raise self._problem("is not the one that belongs to this version: it is damaged or was replaced")
        try:
            graph = read_graph(data)
            _check_interface(graph)
            self._computation = Computation(graph)
        except (WireError, GraphError) as error:
            raise self._problem(f"is no network that this program can run: {error}") from error

    def say(self, phonemes: str, speed: float = 1.0, seed: int = 0) -> Floats:
        """Speak a row of phonemes; a question rises at its end (`rising`).

        Args:
            phonemes: Signs of `SYMBOLS`, at most `LONGEST`; nothing gives no sound.
            speed: 1 is the voice's own pace; 2 is twice as fast.
            seed: Fixes the noise in the sound, so that the same words give the same samples.

        Returns:
            Samples between -1 and 1, `rate` a second.

        Raises:
            ValueError: A sign is unknown, there are too many, or the speed is out of bounds.
            GearProblem: The file holds a network that fails on these phonemes.
        """
        prediction = self.predict(phonemes, speed)
        if prediction is None:
            return np.zeros(0, np.float32)
        if is_question(phonemes):
            prediction = risen(prediction)
        return np.clip(synthesised(prediction, seed), np.float32(-1), np.float32(1))

    def predict(self, phonemes: str, speed: float = 1.0) -> VoiceFrames | None:
        """What the network says about each frame of 12.5 ms; None for nothing.

        Raises:
            ValueError: As `say`.
            GearProblem: As `say`.
        """
        unknown = "".join(sorted(set(phonemes) - set(SYMBOLS)))
        if unknown:
            raise ValueError(f"The voice has no sound for '{unknown}'.")
        if len(phonemes) > LONGEST:
            raise ValueError(
                f"{len(phonemes)} phonemes are too many for one sentence; {LONGEST} are the most."
            )
        if not SLOWEST <= speed <= FASTEST:
            raise ValueError(f"A speed of {speed} is out of bounds ({SLOWEST} to {FASTEST}).")
        if not phonemes:
            return None
        numbers = np.array([[EDGE, *(SYMBOLS[sign] for sign in phonemes), EDGE]], np.int64)
        try:
            results = self._computation.run({"ids": numbers, "speed": np.array([speed], np.float32)})
            return _prediction(*(results[name] for name in _OUTPUTS))
        except GraphError as error:
            raise self._problem(f"fails on '{phonemes}': {error}") from error

    def _problem(self, what: str) -> GearProblem:
        return GearProblem(
            f"The voice's file {self._path} {what}. Install bay-assistant again, or choose the other voice "
            "with --voice espeak."
        )


def _check_interface(graph: Graph) -> None:
    if graph.inputs != _INPUTS or graph.outputs != _OUTPUTS:
        raise GraphError(f"it takes {graph.inputs} and gives {graph.outputs}")


def _prediction(*results: Result) -> VoiceFrames:
    """The network's results with one frame behind the other.

    Raises:
        GraphError: They have other shapes.
    """
    *spectra, pitch = results
    frames = pitch.shape[-1] if pitch.shape else 0
    if [part.shape for part in results] != [*[(1, BINS, frames)] * 5, (1, frames)] or isinstance(
        pitch, LateRows
    ):
        raise GraphError(f"it gives results of the shapes {[part.shape for part in results]}")
    harmonic, turn, noise, free, phase = (
        part.rows if isinstance(part, LateRows) else part[0].T.__getitem__ for part in spectra
    )
    return VoiceFrames(harmonic, turn, noise, free, phase, pitch[0])
