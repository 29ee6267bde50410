"""Walks through ``am/final.mdl``, Kaldi's binary format of a transition model and an nnet3 network.

Everyone who reads the file walks with `ModelWalk`: the check before a model is opened, the network in numpy, the
fitting to a voice, and the training that goes on from the bundled weights. A walk goes from value to value, because a
search for a token could find its bytes inside a matrix.
"""

from __future__ import annotations

import contextlib
import mmap
import re
import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NoReturn, TypeAlias

import numpy as np
from numpy.typing import NDArray

from assistant import files
from assistant.errors import ModelProblem
from assistant.hearing.cepstra import Floats

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path


Data: TypeAlias = "bytes | mmap.mmap"

_WORD = re.compile(rb"[!-~]{1,200} ")
_LISTS = {b"<TimeOffsets>": 4, b"<Context>": 4, b"<DimMap>": 4, b"<ColumnMap>": 4, b"<Offsets>": 8}
_PLAIN = {b"FM ": "<f4", b"DM ": "<f8", b"FV ": "<f4", b"DV ": "<f8"}


@dataclass(frozen=True)
class Stored:
    """A matrix, a vector, or a list of whole numbers, and where it lies in the file.

    Attributes:
        component: Name of the component that it belongs to; "" before the first.
        token: The token before it: ``<LinearParams>``.
        form: How it is stored, as Kaldi writes it: ``FM`` or ``DM`` (a matrix), ``FV`` or ``DV`` (a vector), ``CM``,
            ``CM2`` or ``CM3`` (a compressed matrix); ``list`` for whole numbers.
        at: Its first value. Compressed: its header, which is the smallest value, the span, rows and columns.
        rows: Rows; the length of a vector or a list.
        columns: Columns; 1 for a vector or a list.
    """

    component: str
    token: bytes
    form: str
    at: int
    rows: int
    columns: int = 1


@dataclass(frozen=True)
class Matrix16:
    """A matrix in 16 bits (``CM2``): the smallest value, the step, and integers (rows, columns)."""

    low: float
    step: float
    steps: NDArray[np.uint16]

    def floats(self) -> Floats:
        """The values, rounded to 32 bits after each operation, which is quick."""
        made = self.steps.astype(np.float32)
        made *= np.float32(self.step)
        made += np.float32(self.low)
        return made

    def exact(self) -> Floats:
        """The values, rounded to 32 bits only once; stored again they give the same 16 bits."""
        return (self.low + self.steps * self.step).astype(np.float32)


@dataclass(frozen=True)
class Component:
    """One component of the network: what was stored with it, by token."""

    matrix: Matrix16 | None = None
    vectors: Mapping[str, Floats] = field(default_factory=dict)
    offsets: tuple[int, ...] = ()


@contextlib.contextmanager
def opened(path: Path) -> Iterator[mmap.mmap]:
    """Map the file, so that its bytes do not all go into a session's small memory.

    Raises:
        OSError: It cannot be read.
        ValueError: It is empty.
    """
    with files.open_regular(path) as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        yield data


class ModelWalk:
    """Goes from value to value; their meaning matters only if their size depends on it.

    Args:
        data: The file.
        at: Where its list of components begins.
        path: Its name, for messages.

    Attributes:
        whole: Whether the walk reached the end; False until then, and for an unknown kind of content.
    """

    def __init__(self, data: Data, at: int, path: Path) -> None:
        self.whole = False
        self._data = data
        self._at = at
        self._path = path
        self._token = b""
        self._component = ""

    def stored(self) -> Iterator[Stored]:
        """Each matrix, vector and list of whole numbers, up to the end or to content of an unknown kind.

        Raises:
            ModelProblem: The file is cut short, or a size in it is damaged.
        """
        size = len(self._data)
        closed = False
        while self._at < size:
            found = self._sized()
            if found is not None:
                yield found
            elif not self._passed():
                return
            closed = closed or self._token == b"</Nnet3>"
        if not closed:
            self._fail()
        self.whole = True

    def _fail(self) -> NoReturn:
        raise ModelProblem(
            f"The model file {self._path} is cut short or damaged: it is {len(self._data)} bytes long and should go "
            f"on after {self._token.decode('ascii', 'replace')}. Copy the model again, whole."
        )

    def _integer(self) -> int:
        if self._at + 5 > len(self._data) or self._data[self._at] != 4:
            self._fail()
        (value,) = struct.unpack_from("<i", self._data, self._at + 1)
        self._at += 5
        return int(value)

    def _skip(self, size: int) -> None:
        if size < 0 or self._at + size > len(self._data):
            self._fail()
        self._at += size

    def _sized(self) -> Stored | None:
        """Go past a matrix, a vector or a list; None if something else comes here."""
        three = self._data[self._at : self._at + 3]
        if three in _PLAIN:
            self._at += 3
            rows = self._integer()
            columns = self._integer() if three[1:2] == b"M" else 1
            if rows < 0 or columns < 0:
                self._fail()
            return self._found(
                three, self._at, rows, columns, rows * columns * np.dtype(_PLAIN[three]).itemsize
            )
        if three[:2] == b"CM":
            word = self._data[self._at : self._at + 4].split(b" ")[0]
            at = self._at + len(word) + 1
            if at + 16 > len(self._data):
                self._fail()
            rows, columns = struct.unpack_from("<ii", self._data, at + 8)
            if rows < 0 or columns < 0:
                self._fail()
            each = {b"CM": rows * columns + 8 * columns, b"CM2": 2 * rows * columns, b"CM3": rows * columns}
            if word not in each:
                return None
            self._at = at
            return self._found(word, at, rows, columns, 16 + each[word])
        if self._data[self._at] == 4 and self._token in _LISTS:
            count = self._integer()
            token, self._token = self._token, b""
            at = self._at
            self._skip(count * _LISTS[token])
            return Stored(self._component, token, "list", at, count)
        return None

    def _found(self, form: bytes, at: int, rows: int, columns: int, size: int) -> Stored:
        self._skip(size)
        return Stored(self._component, self._token, form.decode().strip(), at, rows, columns)

    def _passed(self) -> bool:
        """Go past a number, a truth value or a word; False for content of an unknown kind."""
        data, at = self._data, self._at
        if data[at : at + 2] == b"CM":  # a matrix that is compressed in an unknown way
            return False
        if data[at] == 4:
            self._integer()
        elif data[at] == 8:
            self._skip(9)
        elif data[at : at + 1] in (b"T", b"F") and data[at + 1 : at + 2] in (b"<", b"\4", b"\x08", b""):
            self._at += 1
        elif (word := _WORD.match(data, at)) is not None:
            if self._token == b"<ComponentName>":
                self._component = word.group()[:-1].decode("ascii")
                self._token = b""
            if data[at] == ord("<"):
                self._token = word.group()[:-1]
            self._at = word.end()
        elif data[at : at + 1] in (b"\n", b" "):
            self._at += 1
        elif len(data) - at < 200 and all(32 < byte < 127 for byte in data[at:]):
            self._fail()  # the file ends inside a word
        else:
            return False
        return True


def network_at(data: Data) -> tuple[int, int]:
    """Where the network and its list of components begin; negative if there is none."""
    begins = data.find(b"<Nnet3> ")
    return begins, data.find(b"<NumComponents> ", begins) if begins >= 0 else -1


def components(data: Data, path: Path) -> dict[str, Component]:
    """The components of a network as `assistant.acoustic.export` writes it, by name.

    Args:
        data: The file.
        path: Its name, for messages.

    Raises:
        ValueError: Something is stored in another way.
        ModelProblem: The file is cut short or damaged.
    """
    _, listed = network_at(data)
    if listed < 0:
        raise ValueError("it holds no network")
    walk = ModelWalk(data, listed, path)
    found: dict[str, tuple[list[Matrix16], dict[str, Floats], list[int]]] = {}
    for one in walk.stored():
        matrices, vectors, offsets = found.setdefault(one.component, ([], {}, []))
        match one.token:
            case b"<TimeOffsets>":
                offsets += struct.unpack_from(f"<{one.rows}i", data, one.at)
            case b"<LinearParams>":
                matrices.append(matrix_16(data, one))
            case b"<BiasParams>" | b"<StatsMean>" | b"<StatsVar>":
                vectors[one.token.decode()] = _vector(data, one)
    if not walk.whole:
        raise ValueError("it holds something of an unknown kind")
    return {
        name: Component(matrices[0] if matrices else None, vectors, tuple(offsets))
        for name, (matrices, vectors, offsets) in found.items()
    }


def matrix_16(data: Data, one: Stored) -> Matrix16:
    """A matrix that is stored in 16 bits.

    Raises:
        ValueError: It is stored in another way.
    """
    if one.form != "CM2":
        raise ValueError("a matrix is not in 16 bits")
    low, span = struct.unpack_from("<ff", data, one.at)
    begin = one.at + 16
    # A copy, because numbers that lie at odd places in the file are ten times slower.
    whole = np.frombuffer(data[begin : begin + 2 * one.rows * one.columns], "<u2")
    return Matrix16(low, span / 65535, whole.reshape(one.rows, one.columns))


def _vector(data: Data, one: Stored) -> Floats:
    if one.form != "FV":
        raise ValueError("a vector is not of floats in 32 bits")
    return np.frombuffer(data, "<f4", one.rows, one.at).astype(np.float32)
