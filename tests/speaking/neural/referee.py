"""The voice's network in 64-bit arithmetic, written for plainness: who is right where two quick programs differ?

    python tests/speaking/neural/referee.py

prints how far this program and onnxruntime, with and without its optimisations, are from it, over every fortieth
sentence that the program says; the README of the voice has the table.
"""

from __future__ import annotations

import math
from typing import Any
from unittest import mock

import numpy as np
from numpy.typing import NDArray

from assistant.speaking.neural import computation
from assistant.speaking.neural.computation import Computation
from assistant.speaking.neural.graph import Graph, Node, read_graph
from assistant.speaking.neural.network import HEART, HeartNetwork
from assistant.speaking.neural.operators import OPERATORS, Compute
from assistant.speaking.neural.symbols import SYMBOLS

Array = NDArray[Any]

NAMES = ("lh", "theta", "ln", "lr", "phi", "f0")
"""The network's results: logarithms of magnitudes (harmonics, noise, free phase), turns, phases, pitch."""


def inputs_for(phonemes: str) -> dict[str, Array]:
    """What the network is given for a row of phonemes."""
    numbers = [[0, *(SYMBOLS[sign] for sign in phonemes), 0]]
    return {"ids": np.array(numbers, np.int64), "speed": np.ones(1, np.float32)}


def wide(array: Array) -> Array:
    """The same numbers, floating ones with 64 bits."""
    return array.astype(np.float64) if array.dtype == np.float32 else array


def _normalised(x: Array, scale: Array, bias: Array) -> Array:
    mean, variance = x.mean(-1, keepdims=True), x.var(-1, keepdims=True)
    return np.asarray((x - mean) / np.sqrt(variance + 1e-5) * scale + bias)


def _quantised(x: Array) -> tuple[Array, Array, Array]:
    least, most = min(float(x.min()), 0.0), max(float(x.max()), 0.0)
    scale = (most - least) / 255
    zero = np.rint(-least / scale)
    return np.clip(np.rint(x / scale) + zero, 0, 255).astype(np.int64), np.array(scale), np.array(int(zero))


def _conv(node: Node) -> Compute:
    pads, dilation = node.attributes["pads"], node.attributes["dilations"]
    assert isinstance(pads, tuple)
    assert isinstance(dilation, tuple)

    def conv(x: Array, weight: Array, bias: Array) -> Array:
        padded = np.pad(x, ((0, 0), (0, 0), pads))
        count = padded.shape[2] - dilation[0] * (weight.shape[2] - 1)
        parts = [padded[:, :, tap * dilation[0] :][:, :, :count] for tap in range(weight.shape[2])]
        if weight.shape[1] == 1 < x.shape[1]:
            return np.asarray(
                sum(part * weight[:, 0, tap, None] for tap, part in enumerate(parts)) + bias[:, None]
            )
        return np.asarray(sum(weight[:, :, tap] @ part for tap, part in enumerate(parts)) + bias[:, None])

    return conv


def _softmax(x: Array) -> Array:
    y = np.exp(x - x.max(-1, keepdims=True))
    return np.asarray(y / y.sum(-1, keepdims=True))


EXACT: dict[str, Compute] = {
    "DynamicQuantizeLinear": _quantised,
    "Erf": lambda x: np.frompyfunc(math.erf, 1, 1)(x).astype(np.float64),
    "LayerNormalization": _normalised,
    "MatMulInteger": lambda a, b, a_zero, b_zero: (
        (a - a_zero).astype(np.float64) @ (b - b_zero.astype(np.int64))
    ),
    "Softmax": _softmax,
}
"""The operators whose quick functions work in 32 bits; that they have the settings seen here, the file's test says."""


class Referee:
    """The voice's graph, node by node, with every floating-point number in 64 bits."""

    def __init__(self) -> None:
        graph = read_graph(HEART.read_bytes())
        constants = {name: wide(array) for name, array in graph.constants.items()}
        known = {kind: self._widened(make) for kind, make in OPERATORS.items()}
        known |= {kind: (lambda _node, compute=compute: compute) for kind, compute in EXACT.items()}
        known["Conv"] = _conv
        known["Pow"] = lambda _node: np.power
        with mock.patch.object(computation, "OPERATORS", known):
            self._computation = Computation(
                Graph(graph.nodes, constants, graph.inputs, graph.outputs), fuse=False
            )

    @staticmethod
    def _widened(make: Any) -> Any:
        def widened(node: Node) -> Compute:
            compute = make(node)

            def call(*given: Array | None) -> Any:
                found = compute(*given)
                return found if isinstance(found, tuple) else wide(np.asarray(found))

            return call

        return widened

    def run(self, phonemes: str) -> dict[str, Array]:
        """The network's results, by name."""
        found = self._computation.run(inputs_for(phonemes))
        return {name: np.asarray(array) for name, array in found.items()}


def ours(network: HeartNetwork, phonemes: str) -> dict[str, Array]:
    """This program's results in the same form."""
    frames = network.predict(phonemes)
    assert frames is not None
    rows = (frames.harmonic, frames.turn, frames.noise, frames.free, frames.phase)
    every = slice(0, len(frames.pitch))
    return {
        **{name: part(every).T[None] for name, part in zip(NAMES, rows, strict=False)},
        "f0": frames.pitch[None],
    }


def difference(one: dict[str, Array], other: dict[str, Array]) -> dict[str, float] | None:
    """Root mean square of the difference of each result; None if they are of different length."""
    if one["f0"].shape != other["f0"].shape:
        return None
    return {
        name: float(np.sqrt(np.mean((one[name] - other[name].astype(np.float64)) ** 2))) for name in NAMES
    }


def main() -> None:
    """Print the table."""
    import onnxruntime  # noqa: PLC0415  (the tests run without it)

    from assistant import resources  # noqa: PLC0415
    from assistant.linting import all_spoken  # noqa: PLC0415
    from assistant.loading.folder import load_folder  # noqa: PLC0415
    from assistant.speaking.neural.pronouncing import phonemes  # noqa: PLC0415

    spoken = all_spoken(*load_folder(resources.directory("procedures")))
    said = [phonemes(sentence) for sentence in dict.fromkeys(one.sentence for one in spoken)][7::40]
    plain = onnxruntime.SessionOptions()
    plain.graph_optimization_level = onnxruntime.GraphOptimizationLevel.ORT_DISABLE_ALL
    sessions = {
        "onnxruntime": onnxruntime.InferenceSession(HEART),
        "onnxruntime, not optimised": onnxruntime.InferenceSession(HEART, plain),
    }
    referee, network = Referee(), HeartNetwork()
    found: dict[str, list[dict[str, float] | None]] = {}
    for one in said:
        right = referee.run(one)
        found.setdefault("this program", []).append(difference(ours(network, one), right))
        for name, session in sessions.items():
            results = dict(zip(NAMES, session.run(list(NAMES), inputs_for(one)), strict=True))
            found.setdefault(name, []).append(difference(results, right))
    for name, all_of_them in found.items():
        same = [one for one in all_of_them if one is not None]
        medians = {part: round(float(np.median([one[part] for one in same])), 4) for part in NAMES}
        print(f"{name}: {len(said)} sentences, {len(said) - len(same)} of another length; medians {medians}")


if __name__ == "__main__":
    main()
