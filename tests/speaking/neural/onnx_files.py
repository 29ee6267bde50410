"""Writes small ONNX files, so that the reader and the operators can be tried on graphs of one or two nodes.

Field numbers are those of ``onnx.proto3``; that onnxruntime reads what is written here checks them.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.generic]

CODES = {"float32": 1, "uint8": 2, "int8": 3, "int32": 6, "int64": 7, "bool": 9, "float64": 11}
"""``TensorProto.DataType``."""


def varint(value: int) -> bytes:
    """A number of seven bits a byte; negative ones as 64-bit two's complement."""
    value &= (1 << 64) - 1
    out = bytearray()
    while value >= 0x80:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    return bytes([*out, value])


def number(key: int, value: int) -> bytes:
    """A field that holds a number."""
    return varint(key << 3) + varint(value)


def data(key: int, value: bytes | str) -> bytes:
    """A field that holds bytes, text or a message."""
    value = value.encode() if isinstance(value, str) else value
    return varint(key << 3 | 2) + varint(len(value)) + value


def tensor(name: str, array: Array) -> bytes:
    """A ``TensorProto``."""
    sides = b"".join(number(1, side) for side in array.shape)
    return sides + number(2, CODES[array.dtype.name]) + data(8, name) + data(9, array.tobytes())


def attribute(name: str, value: float | Sequence[int] | Array) -> bytes:
    """An ``AttributeProto``."""
    if isinstance(value, np.ndarray):
        stored = data(5, tensor("", value)) + number(20, 4)
    elif isinstance(value, int):
        stored = number(3, value) + number(20, 2)
    elif isinstance(value, float):
        stored = varint(2 << 3 | 5) + struct.pack("<f", value) + number(20, 1)
    else:
        stored = b"".join(number(8, one) for one in value) + number(20, 7)
    return data(1, name) + stored


@dataclass(frozen=True)
class Step:
    """A node: the operator, its inputs and outputs separated by blanks ("-" for one that is left out)."""

    kind: str
    inputs: str
    outputs: str
    settings: Mapping[str, float | Sequence[int] | Array] = field(default_factory=dict)
    domain: str = ""

    def bytes(self) -> bytes:
        """The ``NodeProto``."""
        parts = [data(1, "" if name == "-" else name) for name in self.inputs.split()]
        parts += [data(2, name) for name in self.outputs.split()]
        parts.append(data(4, self.kind))
        parts += [data(5, attribute(name, value)) for name, value in self.settings.items()]
        return b"".join(parts) + (data(7, self.domain) if self.domain else b"")


def _value(name: str, code: int | None = None, sides: int | None = None) -> bytes:
    """A ``ValueInfoProto``; the shape stays open."""
    if code is None:
        return data(1, name)
    shape = b"" if sides is None else data(2, b"".join(data(1, data(2, f"{name}{i}")) for i in range(sides)))
    return data(1, name) + data(2, data(1, number(1, code) + shape))


def model(
    steps: Sequence[Step],
    inputs: Mapping[str, Array],
    outputs: Sequence[str],
    constants: Mapping[str, Array] | None = None,
    version: int = 17,
) -> bytes:
    """An ONNX file; `inputs` gives an example of each input, for its kind and the number of its sides."""
    graph = b"".join(data(1, step.bytes()) for step in steps) + data(2, "small")
    graph += b"".join(data(5, tensor(name, array)) for name, array in (constants or {}).items())
    graph += b"".join(
        data(11, _value(name, CODES[array.dtype.name], array.ndim)) for name, array in inputs.items()
    )
    graph += b"".join(data(12, _value(name)) for name in outputs)
    return number(1, 8) + data(7, graph) + data(8, number(2, version))
