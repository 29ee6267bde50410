"""Reads protobuf's wire format, as far as an ONNX file needs it.

A message is a row of fields, each a key (the field's number and how its value is stored) and a value; see "Encoding"
in the Protocol Buffers documentation. What a number means is told by the message's own description, which for ONNX is
``onnx.proto3``; `assistant.speaking.neural.graph` knows the few fields that we use.
"""

from __future__ import annotations

import struct
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

VARINT, FIXED64, BYTES, FIXED32 = 0, 1, 2, 5
"""How a value is stored. Groups (3 and 4) are no longer written by anything."""

_LONGEST_VARINT = 10
"""Bytes of a 64-bit number, seven bits each."""

_FIXED = {FIXED64: 8, FIXED32: 4}


class WireError(ValueError):
    """The bytes are not a protobuf message; the text says where, as part of a sentence."""


def varint(data: memoryview, at: int) -> tuple[int, int]:
    """Read an unsigned number of seven bits a byte, low bits first, and the place after it.

    Raises:
        WireError: The data end within it, or it has more than 64 bits.
    """
    value = 0
    for count in range(_LONGEST_VARINT):
        if at + count >= len(data):
            raise WireError(f"the data end at byte {len(data)}, within a number")
        byte = data[at + count]
        value |= (byte & 0x7F) << (7 * count)
        if byte < 0x80:
            if value >> 64:
                break
            return value, at + count + 1
    raise WireError(f"the number at byte {at} has more than 64 bits")


def signed(value: int) -> int:
    """The number as a signed 64-bit one: negative numbers are stored as two's complement."""
    return value - (1 << 64) if value >> 63 else value


def fields(data: memoryview) -> Iterator[tuple[int, int | memoryview]]:
    """Each field of a message: its number, and its value as an unsigned number or as bytes.

    Fixed-width values are given as their 4 or 8 bytes.

    Raises:
        WireError: The data are no message.
    """
    at = 0
    while at < len(data):
        key, at = varint(data, at)
        number, stored = key >> 3, key & 7
        if number == 0:
            raise WireError(f"byte {at} begins a field without a number")
        if stored == VARINT:
            value, at = varint(data, at)
            yield number, value
            continue
        if stored == BYTES:
            size, at = varint(data, at)
        elif stored in _FIXED:
            size = _FIXED[stored]
        else:
            raise WireError(f"byte {at} begins a field that is stored in an unknown way ({stored})")
        if size > len(data) - at:
            raise WireError(f"a field at byte {at} says it has {size} bytes, and {len(data) - at} are left")
        yield number, data[at : at + size]
        at += size


def number_of(value: int | memoryview) -> int:
    """A field's value as a signed number.

    Raises:
        WireError: The field holds bytes.
    """
    if not isinstance(value, int):
        raise WireError("a field holds bytes where a number belongs")
    return signed(value)


def bytes_of(value: int | memoryview) -> memoryview:
    """A field's value as bytes.

    Raises:
        WireError: The field holds a number.
    """
    if isinstance(value, int):
        raise WireError("a field holds a number where bytes belong")
    return value


def text_of(value: int | memoryview) -> str:
    """A field's value as text.

    Raises:
        WireError: It is no UTF-8.
    """
    try:
        return str(bytes_of(value), "utf-8")
    except UnicodeDecodeError:
        raise WireError("a name is not written in UTF-8") from None


def numbers_of(value: int | memoryview) -> list[int]:
    """Numbers of a repeated field: one, or many that are packed into one value.

    Raises:
        WireError: The packed bytes are no numbers.
    """
    if isinstance(value, int):
        return [signed(value)]
    found, at = [], 0
    while at < len(value):
        number, at = varint(value, at)
        found.append(signed(number))
    return found


def float_of(value: int | memoryview) -> float:
    """A 32-bit floating-point field.

    Raises:
        WireError: It has another width.
    """
    data = bytes_of(value)
    if len(data) != 4:
        raise WireError(f"a floating-point number has {len(data)} bytes")
    return float(struct.unpack("<f", data)[0])
