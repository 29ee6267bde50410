"""Joins rows of nodes that one function does in one go, with the same result and less memory.

Two rows make up nine tenths of the work: a quantised matrix product (DynamicQuantizeLinear, MatMulInteger, Cast, Mul,
Add), and a GELU (Div, Erf, Add, Mul, Mul; Hendrycks and Gimpel 2016). A third, the product at the end that is split
into the results, is put off: whoever takes the results asks for a few rows at a time, so the largest array of all never
exists. A row is joined only if nothing else needs what lies between, so an unusual graph runs node by node.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.speaking.neural.arithmetic import LateRows, QuantisedRows, gelu_in_place, linear
from assistant.speaking.neural.graph import Array, Graph, Node

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

_FLOAT = 1
"""The code of 32-bit floating-point numbers."""


def _linear(node: Node) -> Callable[..., Array]:
    gelu, overwrite = bool(node.attributes.get("gelu")), bool(node.attributes.get("overwrite"))

    def joined(x: Array, weight: Array, scale: Array, bias: Array) -> Array:
        y = linear(QuantisedRows(x, overwrite=overwrite), weight, scale, bias)
        if gelu:
            gelu_in_place(y)
        return y

    return joined


def _gelu(_node: Node) -> Callable[..., Array]:
    def gelu(x: Array) -> Array:
        y = np.array(x, order="C")
        gelu_in_place(y)
        return y

    return gelu


def _late(_node: Node) -> Callable[..., tuple[LateRows, ...]]:
    def late(x: Array, weight: Array, scale: Array, bias: Array, sizes: Array) -> tuple[LateRows, ...]:
        rows = QuantisedRows(x)
        ends = [int(end) for end in np.cumsum(sizes)]
        parts = [slice(end - int(size), end) for end, size in zip(ends, sizes, strict=True)]
        return tuple(LateRows(rows, weight[:, part], scale, bias[part]) for part in parts)

    return late


FUSED: dict[str, Callable[[Node], Callable[..., Any]]] = {
    "joined linear": _linear,
    "joined GELU": _gelu,
    "joined late rows": _late,
}
"""What the joined nodes compute."""


class _Uses:
    """Who gives a value and who takes it."""

    def __init__(self, graph: Graph) -> None:
        self.constants = graph.constants
        self.results = set(graph.outputs)
        self.giver = {name: node for node in graph.nodes for name in node.outputs}
        self.takers: dict[str, list[Node]] = {}
        for node in graph.nodes:
            for name in node.inputs:
                self.takers.setdefault(name, []).append(node)

    def only_taker(self, name: str, kind: str) -> Node | None:
        """The node that alone takes a value, if it is of this kind."""
        takers = self.takers.get(name, [])
        fits = len(takers) == 1 and takers[0].kind == kind and name not in self.results
        return takers[0] if fits else None

    def other(self, node: Node, name: str) -> str:
        """The second of two inputs."""
        first, second = node.inputs
        return second if first == name else first

    def number(self, name: str) -> float | None:
        """A constant that is one number."""
        array = self.constants.get(name)
        return float(array.reshape(())) if array is not None and array.size == 1 else None


def fused(graph: Graph) -> Graph:
    """The graph with its rows joined."""
    for joined in (_join_gelu, _join_linear, _join_linear_and_gelu, _join_late, _join_in_place):
        graph = _rebuilt(graph, joined(graph, _Uses(graph)))
    return graph


_Join = tuple[Node, list[Node]]
"""The new node, and those that it stands for; it goes where the last of them stood."""


def _rebuilt(graph: Graph, joins: Iterable[_Join]) -> Graph:
    at_end: dict[int, Node] = {}
    gone: set[int] = set()
    for new, old in joins:
        gone.update(id(node) for node in old)
        at_end[id(old[-1])] = new
    nodes = [at_end.get(id(node), node) for node in graph.nodes if id(node) in at_end or id(node) not in gone]
    return Graph(tuple(nodes), graph.constants, graph.inputs, graph.outputs)


def _join_gelu(graph: Graph, uses: _Uses) -> list[_Join]:
    """x/√2, erf of it, plus 1, times x, times 1/2."""
    found = []
    for erf in (node for node in graph.nodes if node.kind == "Erf"):
        half = uses.giver.get(erf.inputs[0])
        plus = uses.only_taker(erf.outputs[0], "Add")
        if (
            half is None
            or half.kind != "Div"
            or plus is None
            or uses.only_taker(erf.inputs[0], "Erf") is not erf
        ):
            continue
        x, root = half.inputs
        times = uses.only_taker(plus.outputs[0], "Mul")
        last = None if times is None else uses.only_taker(times.outputs[0], "Mul")
        if times is None or last is None or uses.other(times, plus.outputs[0]) != x:
            continue
        one = uses.number(uses.other(plus, erf.outputs[0]))
        divisor, factor = uses.number(root), uses.number(uses.other(last, times.outputs[0]))
        if (
            divisor is not None
            and one == 1
            and factor == 0.5
            and math.isclose(divisor, math.sqrt(2), rel_tol=1e-6)
        ):
            new = Node("joined GELU", (x,), last.outputs, {})
            found.append((new, [half, erf, plus, times, last]))
    return found


def _join_linear(graph: Graph, uses: _Uses) -> list[_Join]:
    """Quantise, multiply by constant weights without zero point, make floating, scale, add a constant."""
    found = []
    for product in (node for node in graph.nodes if node.kind == "MatMulInteger" and len(node.inputs) == 4):
        numbers, weight, zero, weight_zero = product.inputs
        quantise = uses.giver.get(numbers)
        cast = uses.only_taker(product.outputs[0], "Cast")
        if quantise is None or quantise.kind != "DynamicQuantizeLinear" or cast is None:
            continue
        scaled = uses.only_taker(cast.outputs[0], "Mul")
        added = None if scaled is None else uses.only_taker(scaled.outputs[0], "Add")
        scales = None if scaled is None else uses.giver.get(uses.other(scaled, cast.outputs[0]))
        if scaled is None or added is None or scales is None or scales.kind != "Mul":
            continue
        row = [quantise, product, cast, scales, scaled, added]
        inside = {name for node in row[:-1] for name in node.outputs}
        taken_outside = any(
            name in uses.results
            or any(not any(taker is node for node in row) for taker in uses.takers.get(name, []))
            for name in inside
        )
        bias, weight_scale = uses.other(added, scaled.outputs[0]), uses.other(scales, quantise.outputs[1])
        fits = (
            quantise.outputs == (numbers, quantise.outputs[1], zero)
            and quantise.outputs[1] in scales.inputs
            and cast.attributes.get("to") == _FLOAT
            and uses.number(weight_zero) == 0
            and uses.number(weight_scale) is not None
            and all(name in uses.constants for name in (weight, bias))
            and uses.constants[bias].shape == uses.constants[weight].shape[1:]
        )
        if fits and not taken_outside:
            new = Node("joined linear", (quantise.inputs[0], weight, weight_scale, bias), added.outputs, {})
            found.append((new, row))
    return found


def _join_linear_and_gelu(graph: Graph, uses: _Uses) -> list[_Join]:
    """A product whose only use is a GELU, which can then overwrite it."""
    found = []
    for product in (node for node in graph.nodes if node.kind == "joined linear"):
        gelu = uses.only_taker(product.outputs[0], "joined GELU")
        if gelu is not None:
            found.append((Node(product.kind, product.inputs, gelu.outputs, {"gelu": 1}), [product, gelu]))
    return found


def _join_late(graph: Graph, uses: _Uses) -> list[_Join]:
    """A product of one batch that is turned and split into results and nothing else."""
    found = []
    for split in (node for node in graph.nodes if node.kind == "Split" and len(node.inputs) == 2):
        turn = uses.giver.get(split.inputs[0])
        product = None if turn is None else uses.giver.get(turn.inputs[0])
        if turn is None or product is None or turn.kind != "Transpose" or product.kind != "joined linear":
            continue
        sizes = uses.constants.get(split.inputs[1])
        fits = (
            split.attributes.get("axis") == 1
            and turn.attributes.get("perm") == (0, 2, 1)
            and not product.attributes
            and sizes is not None
            and int(sizes.sum()) == uses.constants[product.inputs[1]].shape[1]
            and uses.only_taker(product.outputs[0], "Transpose") is turn
            and uses.only_taker(turn.outputs[0], "Split") is split
            and all(name in uses.results and name not in uses.takers for name in split.outputs)
        )
        if fits:
            new = Node("joined late rows", (*product.inputs, split.inputs[1]), split.outputs, {})
            found.append((new, [product, turn, split]))
    return found


_FRESH = {"joined linear", "LayerNormalization"}
"""What gives an array with memory of its own, which is no view of anything."""


def _join_in_place(graph: Graph, uses: _Uses) -> list[_Join]:
    """A product that alone takes a fresh array may work in that array's memory."""
    found = []
    for product in (node for node in graph.nodes if node.kind == "joined linear"):
        giver = uses.giver.get(product.inputs[0])
        if giver is not None and giver.kind in _FRESH and uses.only_taker(product.inputs[0], product.kind):
            settings = {**product.attributes, "overwrite": 1}
            found.append((Node(product.kind, product.inputs, product.outputs, settings), [product]))
    return found
