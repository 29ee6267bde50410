"""Runs a graph: what is fixed is computed once, and every value is let go as soon as no later node needs it."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.speaking.neural.arithmetic import LateRows
from assistant.speaking.neural.fusing import FUSED, fused
from assistant.speaking.neural.graph import Array, Graph, GraphError, Node
from assistant.speaking.neural.operators import OPERATORS, Compute

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

Result = Array | LateRows
"""A result of a computation: an array, or one whose rows are computed when they are wanted."""

_FAILURES = (ValueError, TypeError, LookupError, AttributeError, ArithmeticError, MemoryError)
"""What numpy raises on values that do not fit each other."""


def folded(graph: Graph) -> Graph:
    """The graph without the nodes that always give the same; their results are constants.

    Raises:
        GraphError: A node is of an unknown kind, or cannot be computed.
    """
    constants = dict(graph.constants)
    left: list[Node] = []
    for node in graph.nodes:
        compute = _compute(node, OPERATORS)
        if any(name and name not in constants for name in node.inputs):
            left.append(node)
            continue
        try:
            values = compute(*(constants[name] if name else None for name in node.inputs))
        except _FAILURES as error:
            raise GraphError(f"a {node.kind} cannot be computed ({error})") from error
        found = values if isinstance(values, tuple) else (values,)
        _store(node, tuple(np.asarray(value) for value in found), constants)
    return Graph(tuple(left), constants, graph.inputs, graph.outputs)


def _compute(node: Node, known: Mapping[str, Callable[[Node], Compute]]) -> Compute:
    make = known.get(node.kind)
    if make is None:
        raise GraphError(f"it needs the operator '{node.kind}', which is not known here")
    return make(node)


def _store(node: Node, found: tuple[Result, ...], into: dict[str, Any]) -> None:
    if len(found) < len(node.outputs):
        raise GraphError(f"a {node.kind} gives {len(found)} results, and {len(node.outputs)} are wanted")
    into.update({name: value for name, value in zip(node.outputs, found, strict=False) if name})


class Computation:
    """A graph that is ready to run.

    Args:
        graph: The graph as it was read.
        fuse: Join rows of nodes that one function does quicker; off, every node runs by itself.

    Raises:
        GraphError: The graph holds something that we cannot compute.
    """

    def __init__(self, graph: Graph, *, fuse: bool = True) -> None:
        ready = folded(graph)
        if fuse:
            ready = fused(ready)
        used = {name for node in ready.nodes for name in node.inputs} | set(ready.outputs)
        self._constants = {name: array for name, array in ready.constants.items() if name in used}
        self._outputs = ready.outputs
        self._inputs = ready.inputs
        last: dict[str, int] = {}
        for place, node in enumerate(ready.nodes):
            last.update(dict.fromkeys((*node.inputs, *node.outputs), place))
        gone: dict[int, list[str]] = {}
        for name, place in last.items():
            if name and name not in self._constants and name not in ready.outputs:
                gone.setdefault(place, []).append(name)
        self._steps = [
            (node, _compute(node, OPERATORS | FUSED), tuple(gone.get(place, ())))
            for place, node in enumerate(ready.nodes)
        ]

    def kinds(self) -> Counter[str]:
        """How many nodes of each kind are run each time."""
        return Counter(node.kind for node, _, _ in self._steps)

    def run(self, inputs: Mapping[str, Array]) -> dict[str, Result]:
        """The graph's results, by name.

        Raises:
            GraphError: An input is missing, or a node cannot be computed from its values.
        """
        missing = [name for name in self._inputs if name not in inputs]
        if missing:
            raise GraphError(f"nothing is given for {missing}")
        values: dict[str, Any] = dict(inputs)
        constants = self._constants
        for node, compute, gone in self._steps:
            given = [
                None if not name else constants[name] if name in constants else values[name]
                for name in node.inputs
            ]
            try:
                found = compute(*given)
            except _FAILURES as error:
                raise GraphError(f"a {node.kind} cannot be computed ({error})") from error
            del given
            _store(node, found if isinstance(found, tuple) else (found,), values)
            del found
            for name in gone:
                values.pop(name, None)
        return {name: constants[name] if name in constants else values[name] for name in self._outputs}
