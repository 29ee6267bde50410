"""The whole network against onnxruntime on the same file.

The network quantises to eight bits on the way, 77 times. A difference in the last bit before it, which any other order
of a sum makes, can move a value by a whole step behind it, and the pulse train adds up every pitch before it. So two
correct programs give different samples: onnxruntime with its own optimisations differs from onnxruntime without them by
up to a third of full scale. What can be held tightly is each node on the same values, and the signal part on the same
frames (test_neural_signal.py); the whole is held to what onnxruntime itself is off exact arithmetic (README.md).
"""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from onnx_files import Step, data, model

from assistant.speaking.neural.graph import read_graph
from assistant.speaking.neural.network import HEART, SYMBOLS, HeartNetwork
from assistant.speaking.neural.operators import OPERATORS

if TYPE_CHECKING:
    from numpy.typing import NDArray

runtime = pytest.importorskip("onnxruntime")

SENTENCES = {
    "Turn the key to off.": "tˈɜɹn ðə kˈi tʊ ˈɔf.",
    "Danger: keep your hands clear of the fan belt and pulleys.": (
        "dˈAnʤəɹ: kˈip jʊɹ hˈændz klˈɪɹ ʌv ðə fˈæn bˈɛlt ænd pˈʊliz."
    ),
    "Does the lamp light at the coil?": "dˈʌz ðə lˈæmp lˈIt æt ðə kˈYl?",
}

NAMES = ("lh", "theta", "ln", "lr", "phi", "f0")


def session(raw: bytes, *, optimised: bool = True) -> Any:
    """A session on one thread."""
    options = runtime.SessionOptions()
    options.intra_op_num_threads = 1
    options.log_severity_level = 3
    if not optimised:
        options.graph_optimization_level = runtime.GraphOptimizationLevel.ORT_DISABLE_ALL
    return runtime.InferenceSession(raw, options, providers=["CPUExecutionProvider"])


def given(phonemes: str) -> dict[str, NDArray[Any]]:
    """The network's inputs."""
    numbers = [[0, *(SYMBOLS[sign] for sign in phonemes), 0]]
    return {"ids": np.array(numbers, np.int64), "speed": np.ones(1, np.float32)}


@cache
def products_are_exact() -> bool:
    """False on processors without VNNI, where onnxruntime cuts the sum of two products to 16 bits."""
    a, b = np.full((1, 2), 255, np.uint8), np.full((2, 1), 127, np.int8)
    raw = model([Step("MatMulInteger", "a b", "y")], {"a": a, "b": b}, ["y"])
    return bool(session(raw).run(None, {"a": a, "b": b})[0].item() == 64_770)


def test_every_node_of_the_voice_on_the_same_values() -> None:
    """Each of the 1,731 nodes, given onnxruntime's values, gives onnxruntime's, to 2e-6 of the largest.

    Whole numbers are equal; of quantised ones a thousandth may be one step off, where a quotient lies on the edge.
    """
    raw = HEART.read_bytes()
    graph = read_graph(raw)
    names = [name for node in graph.nodes for name in node.outputs]
    more = b"".join(data(12, data(1, name)) for name in names if name not in graph.outputs)
    watched = session(
        raw + data(7, more), optimised=False
    )  # a second part of a message is added to the first
    inputs = given(SENTENCES["Turn the key to off."])
    known = dict(zip((one.name for one in watched.get_outputs()), watched.run(None, inputs), strict=True))
    values = {**graph.constants, **inputs, **known}
    for node in graph.nodes:
        found = OPERATORS[node.kind](node)(*(values[name] if name else None for name in node.inputs))
        for name, actual in zip(node.outputs, found if isinstance(found, tuple) else (found,), strict=True):
            expected = known[name]
            assert (expected.dtype, expected.shape) == (np.asarray(actual).dtype, np.asarray(actual).shape)
            off = np.abs(expected.astype(np.float64) - actual)
            if node.kind == "DynamicQuantizeLinear" and expected.dtype == np.uint8:
                assert off.max() <= 1
                assert off.mean() <= 1e-3
            elif node.kind != "MatMulInteger" or products_are_exact():
                most = (
                    2e-6 * np.abs(expected.astype(np.float64)).max(initial=0)
                    if expected.dtype == np.float32
                    else 0
                )
                assert off.max(initial=0) <= most, (node.kind, name)


@pytest.mark.parametrize("phonemes", SENTENCES.values(), ids=SENTENCES)
def test_a_whole_sentence(phonemes: str) -> None:
    """As long as onnxruntime has it, to two frames; every logarithm of a magnitude within 0.15 (1.3 dB) on average,

    the pitch within 2 Hz. Exact arithmetic is about half as far from either.
    """
    if not products_are_exact():
        pytest.skip("onnxruntime's own products are cut on this processor")
    expected = dict(zip(NAMES, session(HEART.read_bytes()).run(list(NAMES), given(phonemes)), strict=True))
    frames = HeartNetwork().predict(phonemes)
    assert frames is not None
    assert abs(expected["f0"].shape[1] - len(frames.pitch)) <= 2
    if expected["f0"].shape[1] != len(frames.pitch):
        return
    assert np.sqrt(np.mean((expected["f0"][0] - frames.pitch) ** 2)) < 2
    everything = slice(0, len(frames.pitch))
    for name, rows in (("lh", frames.harmonic), ("ln", frames.noise), ("lr", frames.free)):
        assert np.sqrt(np.mean((expected[name][0].T - rows(everything)) ** 2)) < 0.15
