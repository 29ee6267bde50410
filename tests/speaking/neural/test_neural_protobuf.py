"""Reading protobuf's wire format."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st
from onnx_files import data, number, varint as written

from assistant.speaking.neural.protobuf import (
    WireError,
    bytes_of,
    fields,
    float_of,
    number_of,
    numbers_of,
    signed,
    text_of,
    varint,
)


@pytest.mark.parametrize(("encoded", "value"), [("9601", 150), ("00", 0), ("7f", 127), ("8001", 128)])
def test_numbers_of_the_documentation(encoded: str, value: int) -> None:
    """150 is 96 01: the example of "Encoding" in the Protocol Buffers documentation; the others by its rule."""
    assert (value, len(encoded) // 2) == varint(memoryview(bytes.fromhex(encoded)), 0)


def test_messages_of_the_documentation() -> None:
    """The same page's messages: field 1 is 150, field 2 is "testing", field 6 is packed 3, 270 and 86942."""
    assert list(fields(memoryview(bytes.fromhex("089601")))) == [(1, 150)]
    ((key, value),) = fields(memoryview(bytes.fromhex("120774657374696e67")))
    assert (key, text_of(value)) == (2, "testing")
    ((key, value),) = fields(memoryview(bytes.fromhex("3206038e029ea705")))
    assert (key, numbers_of(value)) == (6, [3, 270, 86942])


def test_minus_two_has_ten_bytes() -> None:
    """Negative numbers are stored as 64-bit two's complement, which the documentation shows with -2."""
    value, end = varint(memoryview(bytes.fromhex("feffffffffffffffff01")), 0)
    assert (-2, 10) == (signed(value), end)


@given(st.integers(-(1 << 63), (1 << 63) - 1))
def test_what_is_written_is_read(value: int) -> None:
    """Every 64-bit number comes back, alone and as a field."""
    assert value == signed(varint(memoryview(written(value)), 0)[0])
    assert [value] == [number_of(found) for _, found in fields(memoryview(number(7, value)))]


@given(st.binary(max_size=60))
def test_any_bytes_are_read_or_refused(raw: bytes) -> None:
    """Bytes are a row of fields that lie within them, or one documented error."""
    try:
        found = list(fields(memoryview(raw)))
    except WireError:
        return
    assert sum(len(value) for _, value in found if not isinstance(value, int)) <= len(raw)


@given(st.lists(st.tuples(st.integers(1, 99), st.binary(max_size=20)), min_size=1, max_size=5), st.data())
def test_a_message_cut_short_is_refused_or_shorter(
    parts: list[tuple[int, bytes]], draw: st.DataObject
) -> None:
    """A cut is noticed unless it falls between two fields; nothing is made up."""
    whole = b"".join(data(key, value) for key, value in parts)
    cut = whole[: draw.draw(st.integers(0, len(whole) - 1))]
    try:
        found = [(key, bytes(bytes_of(value))) for key, value in fields(memoryview(cut))]
    except WireError:
        return
    assert parts[: len(found)] == found
    assert len(found) < len(parts)


@pytest.mark.parametrize(
    "encoded",
    [
        "ff" * 11,  # a number that does not end
        "ffffffffffffffffff7f",  # more than 64 bits
        "0a05aa",  # five bytes promised, one there
        "0b",  # a group
        "00",  # field 0
        "0d00",  # two of four bytes
    ],
)
def test_what_no_message_holds_is_refused(encoded: str) -> None:
    """Each way of being broken has its sentence."""
    with pytest.raises(WireError):
        list(fields(memoryview(bytes.fromhex(encoded))))


def test_a_value_of_another_kind_is_refused() -> None:
    """A name that is a number, or a number that is bytes, is not guessed at."""
    for read, value in ((text_of, 3), (number_of, memoryview(b"a")), (text_of, memoryview(b"\xff"))):
        with pytest.raises(WireError):
            read(value)  # type: ignore[operator]
    with pytest.raises(WireError):
        float_of(memoryview(b"12"))
