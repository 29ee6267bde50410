"""ONNX's operators with numpy alone: those that the voice's network consists of, as operator set 17 defines them.

Each entry of `OPERATORS` takes a node and gives the function that computes it, so that settings are judged once, when
the file is read. A function takes the node's inputs, None for one that is left out, and gives one array, or a tuple
of them where a node has several results. No function changes what it is given; several give a view of it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from assistant.speaking.neural.arithmetic import (
    convolved,
    erf,
    integer_product,
    normalised,
    quantised,
    softmax,
)
from assistant.speaking.neural.graph import Array, GraphError, Node, kind_of_numbers

Compute = Callable[..., Any]
"""Inputs to one array, or to a tuple of arrays."""


def whole(node: Node, name: str, otherwise: int) -> int:
    """A whole number that a node fixes.

    Raises:
        GraphError: It is something else.
    """
    value = node.attributes.get(name, otherwise)
    if not isinstance(value, int):
        raise GraphError(f"the setting '{name}' of a {node.kind} is no whole number")
    return value


def wholes(node: Node, name: str, otherwise: tuple[int, ...]) -> tuple[int, ...]:
    """A row of whole numbers that a node fixes.

    Raises:
        GraphError: It is something else.
    """
    value = node.attributes.get(name, otherwise)
    if not isinstance(value, tuple):
        raise GraphError(f"the setting '{name}' of a {node.kind} is no row of whole numbers")
    return value


def _only(node: Node, **allowed: Any) -> None:
    """Refuse settings that mean something that the functions here do not do."""
    for name, value in allowed.items():
        if node.attributes.get(name, value) != value:
            raise GraphError(
                f"a {node.kind} with the setting '{name}' of {node.attributes[name]} is not known here"
            )


def _always(compute: Compute) -> Callable[[Node], Compute]:
    """An operator without settings."""
    return lambda _node: compute


def _constant(node: Node) -> Compute:
    value = node.attributes.get("value")
    if not isinstance(value, np.ndarray):
        raise GraphError("a Constant holds no array")
    return lambda: value


def _cast(node: Node) -> Compute:
    kind = kind_of_numbers(whole(node, "to", 0))
    return lambda x: x.astype(kind)


def _transpose(node: Node) -> Compute:
    order = wholes(node, "perm", ())
    return lambda x: x.transpose(order or None)


def _concat(node: Node) -> Compute:
    axis = whole(node, "axis", 0)
    return lambda *parts: np.concatenate(parts, axis)


def _gather(node: Node) -> Compute:
    axis = whole(node, "axis", 0)
    return lambda x, places: np.take(x, places, axis)


def _unsqueeze(x: Array, axes: Array) -> Array:
    return np.expand_dims(x, tuple(int(axis) for axis in axes))


def _reshape(node: Node) -> Compute:
    _only(node, allowzero=0)

    def reshape(x: Array, shape: Array) -> Array:
        # A zero keeps the side that stands there.
        return x.reshape([int(n) or x.shape[i] for i, n in enumerate(shape)])

    return reshape


def _shape(node: Node) -> Compute:
    _only(node, start=0)
    return lambda x: np.array(x.shape, np.int64)


def _slice(
    x: Array, starts: Array, ends: Array, axes: Array | None = None, steps: Array | None = None
) -> Array:
    cut = [slice(None)] * x.ndim
    for i in range(len(starts)):
        axis = i if axes is None else int(axes[i])
        cut[axis] = slice(int(starts[i]), int(ends[i]), 1 if steps is None else int(steps[i]))
    return x[tuple(cut)]


def _split(node: Node) -> Compute:
    axis = whole(node, "axis", 0)
    return lambda x, sizes: tuple(np.split(x, np.cumsum(sizes)[:-1], axis))


def _divide(x: Array, y: Array) -> Array:
    if np.asarray(x).dtype.kind == "f":
        return np.asarray(np.divide(x, y))
    return np.asarray(np.sign(x) * np.sign(y) * (np.abs(x) // np.abs(y)))  # towards zero, as ONNX has it


def _clip(x: Array, least: Array | None = None, most: Array | None = None) -> Array:
    if least is not None:
        x = np.maximum(x, least)
    return x if most is None else np.minimum(x, most)


def _cumulative(node: Node) -> Compute:
    _only(node, exclusive=0, reverse=0)
    return lambda x, axis: np.cumsum(x, int(axis), dtype=x.dtype)


def _sum(node: Node) -> Compute:
    keep = bool(whole(node, "keepdims", 1))
    _only(node, noop_with_empty_axes=0)

    def total(x: Array, axes: Array | None = None) -> Array:
        over = None if axes is None or not len(axes) else tuple(int(axis) for axis in axes)
        return np.asarray(x.sum(over, dtype=x.dtype, keepdims=keep))

    return total


def _range(start: Array, end: Array, step: Array) -> Array:
    kind = np.asarray(start).dtype
    return np.asarray(np.arange(start.item(), end.item(), step.item(), dtype=kind))


def _softmax(node: Node) -> Compute:
    axis = whole(node, "axis", -1)
    return lambda x: softmax(x, axis)


def _layer_normalization(node: Node) -> Compute:
    _only(node, axis=-1, stash_type=1)
    epsilon = node.attributes.get("epsilon", 1e-5)
    if not isinstance(epsilon, float) or len(node.outputs) != 1:
        raise GraphError("a LayerNormalization gives more than the normalised values")
    return lambda x, scale, bias=None: normalised(x, scale, bias, epsilon)


def _conv(node: Node) -> Compute:
    _only(node, strides=(1,))
    if "kernel_shape" in node.attributes and len(wholes(node, "kernel_shape", ())) != 1:
        raise GraphError("a Conv over more than one axis is not known here")
    pads = wholes(node, "pads", (0, 0))
    group, dilation = whole(node, "group", 1), wholes(node, "dilations", (1,))[0]
    before, after = pads if len(pads) == 2 else (-1, -1)
    if before < 0 or after < 0 or dilation < 1:
        raise GraphError("a Conv pads or steps in a way that is not known here")
    return lambda x, weight, bias=None: convolved(x, weight, bias, (before, after), dilation, group)


OPERATORS: dict[str, Callable[[Node], Compute]] = {
    "Add": _always(np.add),
    "Cast": _cast,
    "Clip": _always(_clip),
    "Concat": _concat,
    "Constant": _constant,
    "Conv": _conv,
    "CumSum": _cumulative,
    "Div": _always(_divide),
    "DynamicQuantizeLinear": _always(quantised),
    "Erf": _always(erf),
    "Exp": _always(np.exp),
    "Gather": _gather,
    "GreaterOrEqual": _always(np.greater_equal),
    "LayerNormalization": _layer_normalization,
    "Log": _always(np.log),
    "MatMul": _always(np.matmul),
    "MatMulInteger": _always(integer_product),
    "Mul": _always(np.multiply),
    "Pow": _always(lambda x, power: np.power(x, power, dtype=x.dtype)),
    "Range": _always(_range),
    "ReduceSum": _sum,
    "Relu": _always(lambda x: np.maximum(x, x.dtype.type(0))),
    "Reshape": _reshape,
    "Round": _always(np.rint),
    "Shape": _shape,
    "Slice": _always(_slice),
    "Softmax": _softmax,
    "Split": _split,
    "Sub": _always(np.subtract),
    "Tile": _always(lambda x, repeats: np.tile(x, tuple(int(n) for n in repeats))),
    "Transpose": _transpose,
    "Unsqueeze": _always(_unsqueeze),
}
"""The 32 kinds of nodes in the file."""
