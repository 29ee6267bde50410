"""An ONNX file as values: the nodes of its graph and the arrays that they start from.

Only what the voice's file uses is read (operator set 17, no subgraphs, no sparse or external arrays); everything else
is refused by name, so nothing is passed over in silence. Field numbers are those of ``onnx.proto3``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant.speaking.neural.protobuf import (
    bytes_of,
    fields,
    float_of,
    number_of,
    numbers_of,
    text_of,
)

Array = NDArray[Any]
"""An array of the graph: 32-bit floats, 8-bit, 32-bit or 64-bit integers, or truth values."""

Attribute = int | float | tuple[int, ...] | Array
"""What a node fixes once for all: its axis, its padding, its constant."""

OPERATOR_SET = 17
"""The version of ONNX's operators that `operators` implements; the same name can mean another thing in others."""

_KINDS: dict[int, np.dtype[Any]] = {
    1: np.dtype("<f4"),
    2: np.dtype("u1"),
    3: np.dtype("i1"),
    6: np.dtype("<i4"),
    7: np.dtype("<i8"),
    9: np.dtype("?"),
}
"""Kinds of numbers by their code, ``TensorProto.DataType``."""

_MOST_ELEMENTS = 1 << 26
"""Size of the largest array; the voice's own has 769,280 elements."""


class GraphError(ValueError):
    """The file is no graph that we can run; the text says why, as part of a sentence."""


@dataclass(frozen=True)
class Node:
    """One step of the computation: the operator's name, and the names of the values that it takes and gives.

    An input that is left out has the name "".
    """

    kind: str
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    attributes: Mapping[str, Attribute]


@dataclass(frozen=True)
class Graph:
    """A computation: nodes in an order in which they can run, from `constants` and `inputs` to `outputs`."""

    nodes: tuple[Node, ...]
    constants: Mapping[str, Array]
    inputs: tuple[str, ...]
    outputs: tuple[str, ...]


def kind_of_numbers(code: int) -> np.dtype[Any]:
    """The numpy kind for a code of ``TensorProto.DataType``.

    Raises:
        GraphError: We do not compute with such numbers.
    """
    if code not in _KINDS:
        raise GraphError(f"it holds numbers of a kind that is not known here (code {code})")
    return _KINDS[code]


def read_graph(data: bytes) -> Graph:
    """Read the bytes of an ONNX file; the arrays are copies, so `data` can go.

    Raises:
        GraphError: It is an ONNX file of another version, or holds something that only other networks have.
        WireError: The bytes are no protobuf message.
    """
    graph: memoryview | None = None
    version = 0
    for number, value in fields(memoryview(data)):
        if number == 7:
            graph = bytes_of(value)
        elif number == 8:
            domain, found = _operator_set(bytes_of(value))
            if domain not in {"", "ai.onnx"}:
                raise GraphError(f"it needs operators of '{domain}', which are not known here")
            version = found
        elif number == 25:
            raise GraphError("it defines functions of its own, which are not known here")
    if graph is None:
        raise GraphError("it holds no graph")
    if version != OPERATOR_SET:
        raise GraphError(f"it needs operator set {version}, and {OPERATOR_SET} is known here")
    return _graph(graph)


def _operator_set(data: memoryview) -> tuple[str, int]:
    domain, version = "", 0
    for number, value in fields(data):
        if number == 1:
            domain = text_of(value)
        elif number == 2:
            version = number_of(value)
    return domain, version


def _graph(data: memoryview) -> Graph:
    nodes: list[Node] = []
    constants: dict[str, Array] = {}
    inputs: list[str] = []
    outputs: list[str] = []
    for number, value in fields(data):
        if number == 1:
            nodes.append(_node(bytes_of(value)))
        elif number == 5:
            name, array = _tensor(bytes_of(value))
            constants[name] = array
        elif number == 11:
            inputs.append(_named(bytes_of(value)))
        elif number == 12:
            outputs.append(_named(bytes_of(value)))
        elif number == 15:
            raise GraphError("it holds sparse arrays, which are not known here")
    graph = Graph(tuple(nodes), constants, tuple(i for i in inputs if i not in constants), tuple(outputs))
    _check_order(graph)
    return graph


def _check_order(graph: Graph) -> None:
    known = {"", *graph.constants, *graph.inputs}
    for node in graph.nodes:
        for name in node.inputs:
            if name not in known:
                raise GraphError(f"a {node.kind} needs '{name}' before anything gives it")
        for name in node.outputs:
            if name and name in known:
                raise GraphError(f"'{name}' is given twice")
            known.add(name)
    for name in graph.outputs:
        if not name or name not in known:
            raise GraphError(f"nothing gives its result '{name}'")


def _named(data: memoryview) -> str:
    """The name in a ``ValueInfoProto``."""
    return next((text_of(value) for number, value in fields(data) if number == 1), "")


def _node(data: memoryview) -> Node:
    inputs: list[str] = []
    outputs: list[str] = []
    attributes: dict[str, Attribute] = {}
    kind = ""
    for number, value in fields(data):
        if number == 1:
            inputs.append(text_of(value))
        elif number == 2:
            outputs.append(text_of(value))
        elif number == 4:
            kind = text_of(value)
        elif number == 5:
            name, attribute = _attribute(bytes_of(value))
            attributes[name] = attribute
        elif number == 7 and text_of(value) not in {"", "ai.onnx"}:
            raise GraphError(f"it needs operators of '{text_of(value)}', which are not known here")
    return Node(kind, tuple(inputs), tuple(outputs), attributes)


def _attribute(data: memoryview) -> tuple[str, Attribute]:
    name = ""
    found: Attribute | None = None
    many: list[int] = []
    kind = 0
    for number, value in fields(data):
        if number == 1:
            name = text_of(value)
        elif number == 2:
            found = float_of(value)
        elif number == 3:
            found = number_of(value)
        elif number == 5:
            found = _tensor(bytes_of(value))[1]
        elif number == 8:
            many += numbers_of(value)
        elif number == 20:
            kind = number_of(value)
        elif number != 13:  # its description
            raise GraphError(f"the setting '{name}' of a node is of a kind that is not known here")
    if many or kind == 7:
        return name, tuple(many)
    if found is None:  # protobuf leaves out a value that is zero
        found = 0.0 if kind == 1 else 0
    return name, found


def _tensor(data: memoryview) -> tuple[str, Array]:
    """A ``TensorProto``: its name, and its array with memory of its own."""
    name, code = "", 0
    shape: list[int] = []
    numbers: list[int] = []
    raw: memoryview | None = None
    floats: list[memoryview] = []
    for number, value in fields(data):
        if number == 1:
            shape += numbers_of(value)
        elif number == 2:
            code = number_of(value)
        elif number == 4:
            floats.append(bytes_of(value))
        elif number in {5, 7}:
            numbers += numbers_of(value)
        elif number == 8:
            name = text_of(value)
        elif number == 9:
            raw = bytes_of(value)
        elif number == 14 and number_of(value) == 0:
            continue  # in this file, where else
        elif number != 12:  # its description
            raise GraphError(f"the numbers of '{name}' are stored in a way that is not known here")
    kind = kind_of_numbers(code)
    count = math.prod(shape)
    if any(side < 0 for side in shape) or count > _MOST_ELEMENTS:
        raise GraphError(f"'{name}' has an impossible shape {shape}")
    if raw is None and floats:
        raw = memoryview(b"".join(floats))
        kind = _KINDS[1] if code == 1 else kind
    if raw is not None:
        if len(raw) != count * kind.itemsize:
            raise GraphError(
                f"'{name}' has {len(raw)} bytes, and its shape {shape} needs {count * kind.itemsize}"
            )
        return name, np.frombuffer(raw, kind).reshape(shape).copy()
    if len(numbers) != count:
        raise GraphError(f"'{name}' has {len(numbers)} numbers, and its shape {shape} needs {count}")
    limits = np.iinfo(kind) if kind.kind in "iu" else None
    if limits is None or any(not limits.min <= one <= limits.max for one in numbers):
        raise GraphError(f"'{name}' holds a number that does not fit its kind")
    return name, np.array(numbers, kind).reshape(shape)
