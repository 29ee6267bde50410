"""Files of OpenFst, in which a recogniser keeps its graphs, and the binary items that Kaldi's files hold as well."""

from __future__ import annotations

import struct
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from assistant import files
from assistant.errors import ModelProblem

if TYPE_CHECKING:
    from pathlib import Path

_MAGIC = 2125659606  # of every OpenFst file
_SYMBOLS_MAGIC = 2125658996  # of an OpenFst symbol table
_EXPANDED = 0x1  # property bit: the number of states is known
_MUTABLE = 0x2
_ACCEPTOR = 0x10000
_INPUT_SORTED = 0x10000000
_OUTPUT_SORTED = 0x40000000
INFINITY = float("inf")


@dataclass
class Fst:
    """A weighted transducer.

    Attributes:
        arcs: For each state, arcs as (input label, output label, cost, next state); label 0 is empty.
        final: For each state the cost of ending there; infinite if no path may end there.
        symbols: Words and their labels; empty if the file has none.
    """

    start: int = 0
    arcs: list[list[tuple[int, int, float, int]]] = field(default_factory=list)
    final: list[float] = field(default_factory=list)
    symbols: dict[str, int] = field(default_factory=dict)

    def add_state(self, final: float = INFINITY) -> int:
        """Add a state; returns its number."""
        self.arcs.append([])
        self.final.append(final)
        return len(self.arcs) - 1

    def add_arc(self, source: int, label_in: int, label_out: int, cost: float, target: int) -> None:
        """Add an arc."""
        self.arcs[source].append((label_in, label_out, cost, target))

    def written(self, *, acceptor: bool, sorted_by: str) -> bytes:
        """The bytes of an OpenFst file of type vector/standard; arcs sorted by ``input`` or ``output`` label."""
        column = 0 if sorted_by == "input" else 1
        properties = _EXPANDED | _MUTABLE | (_INPUT_SORTED if column == 0 else _OUTPUT_SORTED)
        if acceptor:
            properties |= _ACCEPTOR | _INPUT_SORTED | _OUTPUT_SORTED
        count = sum(map(len, self.arcs))
        parts = [struct.pack("<i", _MAGIC), _text("vector"), _text("standard")]
        flags = 1 if self.symbols else 0
        parts.append(struct.pack("<iiQqqq", 2, flags << 1, properties, self.start, len(self.arcs), count))
        if self.symbols:
            parts.append(struct.pack("<i", _SYMBOLS_MAGIC) + _text("words"))
            parts.append(struct.pack("<qq", max(self.symbols.values()) + 1, len(self.symbols)))
            parts += [_text(word) + struct.pack("<q", label) for word, label in self.symbols.items()]
        one = struct.Struct("<iifi")
        for arcs, final in zip(self.arcs, self.final, strict=True):
            parts.append(struct.pack("<fq", final, len(arcs)))
            parts += [one.pack(*arc) for arc in sorted(arcs, key=lambda arc: arc[column])]
        return b"".join(parts)


class BinaryReader:
    """Reads the binary items of OpenFst and Kaldi files in order."""

    def __init__(self, data: bytes, name: str) -> None:
        self.data = data
        self.name = name
        self.at = 0

    def take(self, layout: str) -> tuple[int, ...]:
        """The next values, little-endian, in a layout of the module struct."""
        size = struct.calcsize("<" + layout)
        if self.at + size > len(self.data):
            raise ModelProblem(f"The model file {self.name} is cut short. Copy the model again.")
        values: tuple[int, ...] = struct.unpack_from("<" + layout, self.data, self.at)
        self.at += size
        return values

    def text(self) -> str:
        """The next text: its length, then its bytes."""
        (size,) = self.take("i")
        if not 0 <= size <= len(self.data) - self.at:
            raise ModelProblem(f"The model file {self.name} is cut short. Copy the model again.")
        raw = self.data[self.at : self.at + size]
        self.at += size
        return raw.decode("utf-8", "replace")

    def marked(self) -> int:
        """An integer of a Kaldi file: its size in bytes, then itself."""
        size, value = self.take("bi")
        if size != 4:
            raise ModelProblem(f"The model file {self.name} is not in the layout of a Kaldi acoustic model.")
        return value

    def token(self, expected: str) -> None:
        """Pass a token of a Kaldi file.

        Raises:
            ModelProblem: Another one stands there.
        """
        raw = expected.encode() + b" "
        if self.data[self.at : self.at + len(raw)] != raw:
            raise ModelProblem(f"The model file {self.name} is not in the layout of a Kaldi acoustic model.")
        self.at += len(raw)


def _text(text: str) -> bytes:
    raw = text.encode()
    return struct.pack("<i", len(raw)) + raw


def _header(reader: BinaryReader) -> tuple[str, int, int, int, dict[str, int]]:
    """Type, version, start state, number of states, and the words of the symbol table if the file has one."""
    if reader.take("i")[0] != _MAGIC:
        raise ModelProblem(f"The model file {reader.name} is not an OpenFst graph. Copy the model again.")
    kind = reader.text()
    reader.text()  # kind of arcs
    version, flags, _, start, states, _ = reader.take("iiQqqq")
    words: dict[str, int] = {}
    for bit in (1, 2):  # tables of input and output words, which are the same in a recogniser's graphs
        if flags & bit:
            if reader.take("i")[0] != _SYMBOLS_MAGIC:
                raise ModelProblem(f"The model file {reader.name} is cut short. Copy the model again.")
            reader.text()
            _, count = reader.take("qq")
            for _ in range(count):
                word = reader.text()
                words[word] = reader.take("q")[0]
    return kind, version, start, states, words


def read_symbols(path: Path) -> dict[str, int]:
    """Every word and its label, from the symbol table in an OpenFst file of any type; empty if it has none.

    Raises:
        ModelProblem: The file cannot be read or is not an OpenFst file.
    """
    return _header(BinaryReader(read_bytes(path), str(path)))[4]


def read_fst(path: Path) -> Fst:
    """A graph of type vector/standard.

    Raises:
        ModelProblem: The file cannot be read or is of another type.
    """
    reader = BinaryReader(read_bytes(path), str(path))
    kind, _, start, states, words = _header(reader)
    if kind != "vector":
        raise ModelProblem(f"The model file {path} is a graph of type '{kind}'; only 'vector' can be read.")
    graph = Fst(start=start, symbols=words)
    for _ in range(states):
        final, count = reader.take("fq")
        state = graph.add_state(final)
        for _ in range(count):
            label_in, label_out, cost, target = reader.take("iifi")
            graph.add_arc(state, label_in, label_out, cost, target)
    return graph


def read_bytes(path: Path, most: int = -1) -> bytes:
    """The file's bytes, up to a limit."""
    try:
        with files.open_regular(path) as file:
            return file.read(most)
    except OSError as error:
        raise ModelProblem(f"The model file {path} cannot be read ({error.strerror}).") from error


def read_table(path: Path) -> str:
    """The file's text; bytes that are not UTF-8 are replaced."""
    try:
        return files.read_text(path, files.TABLE, "replace")
    except OSError as error:
        raise ModelProblem(f"The model file {path} cannot be read ({error.strerror}).") from error
