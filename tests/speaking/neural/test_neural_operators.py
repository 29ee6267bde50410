"""Every operator, against onnxruntime on a graph of one node, and against examples of ONNX's own pages."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from onnx_files import Step, model

from assistant.speaking.neural.computation import Computation
from assistant.speaking.neural.graph import read_graph
from assistant.speaking.neural.operators import OPERATORS

Array = NDArray[Any]

random = np.random.default_rng(20)


def floats(*shape: int) -> Array:
    """Made-up numbers of a fixed seed, about 1 in size."""
    return random.standard_normal(shape).astype(np.float32)


def whole(*values: int) -> Array:
    """A row of 64-bit numbers."""
    return np.array(values, np.int64)


def one(value: float, kind: str = "float32") -> Array:
    """A single number, without sides."""
    return np.array(value, kind)


@dataclass(frozen=True)
class Trial:
    """A node with values for its inputs a, b, c and so on ("-" for one left out)."""

    kind: str
    given: tuple[Array | None, ...]
    settings: Mapping[str, Any] = field(default_factory=dict)
    results: int = 1

    def file(self) -> tuple[bytes, dict[str, Array]]:
        """The ONNX file, and its inputs."""
        names = ["-" if array is None else "abcdef"[i] for i, array in enumerate(self.given)]
        inputs = {
            name: array
            for name, array in zip(names, self.given, strict=True)
            if array is not None and name != "-"
        }
        outputs = [f"out{i}" for i in range(self.results)]
        step = Step(self.kind, " ".join(names), " ".join(outputs), self.settings)
        return model([step], inputs, outputs), inputs


SIGNED, UNSIGNED = (
    random.integers(-60, 60, (5, 4)).astype(np.int8),
    random.integers(0, 256, (3, 5)).astype(np.uint8),
)
"""Weights below 64, because onnxruntime's product on processors without VNNI cuts sums of two products to 16 bits."""

TRIALS = [
    Trial("Add", (floats(2, 3), floats(3))),
    Trial("Add", (whole(1, 2), whole(3))),
    Trial("Cast", (floats(5) * 9,), {"to": 7}),
    Trial("Cast", (floats(5) > 0,), {"to": 7}),
    Trial("Cast", (whole(3, -1),), {"to": 1}),
    Trial("Clip", (floats(9), one(-0.5), one(0.5))),
    Trial("Clip", (floats(9), one(0), None)),
    Trial("Concat", (floats(2, 3), floats(2, 1), floats(2, 2)), {"axis": 1}),
    Trial("Concat", (whole(1), whole(2, 3)), {"axis": 0}),
    Trial("Conv", (floats(1, 6, 9), floats(6, 1, 5), floats(6)), {"group": 6, "pads": [2, 2], "kernel_shape": [5]}),
    Trial("Conv", (floats(2, 6, 30), floats(6, 1, 7), floats(6)), {"group": 6, "pads": [24, 24], "dilations": [8]}),
    Trial("Conv", (floats(1, 6, 9), floats(4, 6, 3), floats(4)), {"pads": [1, 1], "strides": [1], "group": 1}),
    Trial("Conv", (floats(2, 6, 9), floats(4, 6, 1)), {}),
    Trial("Conv", (floats(1, 2, 9), floats(4, 2, 3)), {"pads": [0, 3], "dilations": [2]}),
    Trial("CumSum", (whole(1, 2, 3, -4), one(0, "int64"))),
    Trial("Div", (floats(2, 3), floats(2, 1) + 3)),
    Trial("Div", (whole(7, -7, 7, -7, 6), whole(2, 2, -2, -2, 3))),
    Trial("DynamicQuantizeLinear", (floats(4, 8),), results=3),
    Trial("DynamicQuantizeLinear", (np.abs(floats(4, 8)) + 1,), results=3),
    Trial("DynamicQuantizeLinear", (-np.abs(floats(4, 8)) - 1,), results=3),
    Trial("Erf", (floats(50) * 2,)),
    Trial("Exp", (floats(9),)),
    Trial("Gather", (floats(4, 5), whole(2, -1, 0)), {"axis": 1}),
    Trial("Gather", (floats(4, 5), one(1, "int64")), {"axis": 0}),
    Trial("Gather", (floats(7, 2), np.array([[0, 3, 6]], np.int64))),
    Trial("GreaterOrEqual", (whole(1, 2, 3), np.array([[2], [3]], np.int64))),
    Trial("LayerNormalization", (floats(2, 3, 8), floats(8), floats(8)), {"axis": -1, "epsilon": 1e-5}),
    Trial("LayerNormalization", (floats(3, 8) * 1e-3, floats(8)), {"axis": -1}),
    Trial("Log", (np.abs(floats(9)),)),
    Trial("MatMul", (floats(1, 2, 3, 4), floats(1, 2, 4, 5))),
    Trial("MatMulInteger", (UNSIGNED, SIGNED, one(117, "uint8"), one(0, "int8"))),
    Trial("MatMulInteger", (UNSIGNED, SIGNED)),
    Trial("Mul", (floats(2, 3), one(2.5))),
    Trial("Pow", (np.abs(floats(4)), one(0.5))),
    Trial("Range", (one(0, "int64"), one(7, "int64"), one(2, "int64"))),
    Trial("ReduceSum", (whole(1, 2, 3),), {"keepdims": 0}),
    Trial("ReduceSum", (floats(2, 3, 4), whole(1)), {"keepdims": 0}),
    Trial("ReduceSum", (floats(2, 3, 4), whole(-1, 0))),
    Trial("Relu", (floats(9),)),
    Trial("Reshape", (floats(2, 3, 4), whole(0, -1)), {"allowzero": 0}),
    Trial("Reshape", (floats(2, 3, 4), whole(1, 2, 2, 6))),
    Trial("Round", (np.array([0.5, 1.5, 2.5, -0.5, -1.5, 2.4, 2.6], np.float32),)),
    Trial("Shape", (floats(2, 3, 4),)),
    Trial("Slice", (floats(4, 9), whole(0), whole(3), whole(-1))),
    Trial("Slice", (floats(4, 9), whole(1, -3), whole(99, -1), whole(0, 1), whole(2, 1))),
    Trial("Slice", (floats(4, 9), whole(1, 2), whole(3, 4))),
    Trial("Softmax", (floats(2, 3, 4) * 30,), {"axis": -1}),
    Trial("Softmax", (floats(2, 3, 4),), {"axis": 1}),
    Trial("Split", (floats(1, 6, 2), whole(1, 2, 3)), {"axis": 1}, results=3),
    Trial("Sub", (floats(2, 3), one(1.0))),
    Trial("Tile", (floats(1, 2, 3, 1), whole(1, 1, 2, 2))),
    Trial("Transpose", (floats(2, 3, 4),), {"perm": [0, 2, 1]}),
    Trial("Transpose", (floats(2, 3, 4),)),
    Trial("Unsqueeze", (floats(2, 3), whole(0, 3))),
    Trial("Unsqueeze", (one(4, "int64"), whole(0))),
]  # fmt: skip


def computed(trial: Trial) -> list[Array]:
    """The results of our own functions."""
    raw, inputs = trial.file()
    return [np.asarray(array) for array in Computation(read_graph(raw)).run(inputs).values()]


@pytest.mark.parametrize("trial", TRIALS, ids=lambda trial: trial.kind)
def test_an_operator_does_what_onnxruntime_does(trial: Trial) -> None:
    """Same kind of numbers, same shape, and the same values to a millionth of the largest."""
    runtime = pytest.importorskip("onnxruntime")
    raw, inputs = trial.file()
    session = runtime.InferenceSession(raw, providers=["CPUExecutionProvider"])
    for expected, actual in zip(session.run(None, inputs), computed(trial), strict=True):
        assert (expected.dtype, expected.shape) == (actual.dtype, actual.shape)
        assert np.allclose(expected, actual, rtol=0, atol=1e-6 * max(1.0, float(np.abs(expected).max())))


def test_every_operator_is_tried() -> None:
    """A kind of node without a trial would be believed unseen; Constant is tried by every graph that is folded."""
    assert {trial.kind for trial in TRIALS} == set(OPERATORS) - {"Constant"}


def test_quantising_as_in_onnxs_own_example() -> None:
    """The first example on the page of DynamicQuantizeLinear (from memory)."""
    x = np.array([0, 2, -3, -2.5, 1.34, 0.5], np.float32)
    numbers, scale, zero = computed(Trial("DynamicQuantizeLinear", (x,), results=3))
    assert numbers.tolist() == [153, 255, 0, 26, 221, 179]
    assert math.isclose(float(scale), 5 / 255, rel_tol=1e-6)
    assert int(zero) == 153


def test_a_product_as_in_onnxs_own_example() -> None:
    """The example on the page of MatMulInteger (from memory)."""
    a = np.array([[11, 7, 3], [10, 6, 2], [9, 5, 1], [8, 4, 0]], np.uint8)
    b = np.array([[1, 4], [2, 5], [3, 6]], np.uint8)
    zeros = np.array(12, np.uint8), np.array(0, np.uint8)
    (product,) = computed(Trial("MatMulInteger", (a, b, *zeros)))
    assert product.tolist() == [[-38, -83], [-44, -98], [-50, -113], [-56, -128]]


def test_the_largest_product_is_exact() -> None:
    """768 products of 255 by -128, the most that the voice adds up, are 25,067,520, which 32-bit floats do not hold."""
    a, b = np.full((1, 768), 255, np.uint8), np.full((768, 1), -128, np.int8)
    b[0] = -127
    (product,) = computed(Trial("MatMulInteger", (a, b)))
    assert product.tolist() == [[-255 * (128 * 767 + 127)]]


def test_all_zeros_are_quantised() -> None:
    """Silence has no scale of its own; nothing is divided by zero."""
    numbers, scale, zero = computed(
        Trial("DynamicQuantizeLinear", (np.zeros((2, 3), np.float32),), results=3)
    )
    assert (numbers.tolist(), int(zero)) == ([[0, 0, 0], [0, 0, 0]], 0)
    assert float(scale) > 0
