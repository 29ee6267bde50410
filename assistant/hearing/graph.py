"""Writes the phrases of the moment as the two graphs that the recogniser follows.

Vosk decodes along the composition of two files in the format of OpenFst: ``Gr.fst`` says which words may
follow each other, ``HCLr.fst`` says which sounds make each word.
Vosk's own run-time grammar is a statistical model of word pairs, which can mix the words of two phrases. So this
module writes both files: ``Gr.fst`` accepts the phrases of the step, the filler word ``[unk]`` for all other
speech, and nothing else; ``HCLr.fst`` holds only the words of these phrases.

**Layout of the models for which graphs can be written.**
Its acoustic model has one state with a loop for silence, and for each phone (in the four positions in a word:
begin, end, internal, singleton) a first state that emits the phone, followed by an optional second one that
emits the blank that all phones share: the topology of connectionist temporal classification.
The transitions are numbered through the phones in order:
5 for each phone (first state: loop, to the second, leave; second state: loop, leave).
A path enters a state by the transition that leaves the phone's first frame (*forward first*), then loops.
Two equal phones in a row need the blank between them.
`PhoneLayout.read` reads topology and numbering from the acoustic model itself, and refuses any other.

**States of the written HCLr.** 0: between words, where silence may follow; 1: before a word (final); 2: in
silence; then a chain of states for each pronunciation, and the loop over all phones for the filler.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Protocol, Self

from assistant import files
from assistant.errors import ModelProblem
from assistant.grammar.lexicon import PHONES

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from assistant.grammar.lexicon import Pronunciation

UNKNOWN = "[unk]"
"""The filler word: in a result it stands for speech outside the grammar."""

_MAGIC = 2125659606  # of every OpenFst file
_SYMBOLS_MAGIC = 2125658996  # of an OpenFst symbol table
_EXPANDED = 0x1  # property bit: the number of states is known
_MUTABLE = 0x2
_ACCEPTOR = 0x10000
_INPUT_SORTED = 0x10000000
_OUTPUT_SORTED = 0x40000000
_INFINITY = float("inf")


class Acceptor(Protocol):
    """A deterministic acceptor of word sequences: `states[s][word]` is the state after that word in state s."""

    @property
    def states(self) -> Sequence[Mapping[str, int]]:
        """Arcs of each state."""

    @property
    def start(self) -> int:
        """State before the first word."""

    @property
    def finals(self) -> Iterable[int]:
        """States in which a phrase may end."""


# --- OpenFst files --------------------------------------------------------------------------------


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

    def add_state(self, final: float = _INFINITY) -> int:
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


class _Bytes:
    """Reads the binary items of OpenFst and Kaldi files in order."""

    def __init__(self, data: bytes, name: str) -> None:
        self.data = data
        self.name = name
        self.at = 0

    def take(self, layout: str) -> tuple[int, ...]:
        size = struct.calcsize("<" + layout)
        if self.at + size > len(self.data):
            raise ModelProblem(f"The model file {self.name} is cut short. Copy the model again.")
        values: tuple[int, ...] = struct.unpack_from("<" + layout, self.data, self.at)
        self.at += size
        return values

    def text(self) -> str:
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
        raw = expected.encode() + b" "
        if self.data[self.at : self.at + len(raw)] != raw:
            raise ModelProblem(f"The model file {self.name} is not in the layout of a Kaldi acoustic model.")
        self.at += len(raw)


def _text(text: str) -> bytes:
    raw = text.encode()
    return struct.pack("<i", len(raw)) + raw


def _header(reader: _Bytes) -> tuple[str, int, int, int, dict[str, int]]:
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
    return _header(_Bytes(_read(path), str(path)))[4]


def read_fst(path: Path) -> Fst:
    """A graph of type vector/standard.

    Raises:
        ModelProblem: The file cannot be read or is of another type.
    """
    reader = _Bytes(_read(path), str(path))
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


def _read(path: Path, most: int = -1) -> bytes:
    """The file's bytes, up to a limit."""
    try:
        with files.open_regular(path) as file:
            return file.read(most)
    except OSError as error:
        raise ModelProblem(f"The model file {path} cannot be read ({error.strerror}).") from error


def _read_text(path: Path) -> str:
    """The file's text; bytes that are not UTF-8 are replaced."""
    try:
        return files.read_text(path, files.TABLE, "replace")
    except OSError as error:
        raise ModelProblem(f"The model file {path} cannot be read ({error.strerror}).") from error


# --- the layout of the acoustic model -------------------------------------------------------------


@dataclass(frozen=True)
class PhoneLayout:
    """Transition numbers of an acoustic model with the layout described above.

    Attributes:
        silence: The transition that leaves silence, and the loop in it.
        first: For each phone and position ("AA", "B") the number of its first transition.
        outputs: Number of network outputs that the transitions need: the highest number plus 1.
    """

    silence: tuple[int, int]
    first: Mapping[tuple[str, str], int]
    outputs: int = 0

    @classmethod
    def read(cls, model: Path) -> Self | None:
        """The layout of a model folder, or None if graphs cannot be written for it.

        Such a model has a file ``phones.txt`` (a phone and its number on each line) beside ``am``.

        Raises:
            ModelProblem: A file is damaged.
        """
        table = model / "phones.txt"
        if not table.is_file():
            return None
        names: dict[str, int] = {}
        for line in _read_text(table).splitlines():
            parts = line.split()
            if len(parts) == 2 and parts[1].isdigit():
                names[parts[0]] = int(parts[1])
        wanted = [f"{phone}_{position}" for phone in sorted(PHONES) for position in "BEIS"]
        if any(name not in names for name in ["SIL", *wanted]):
            return None
        shapes, triples = _transition_model(model / "am" / "final.mdl")
        numbers: dict[int, list[int]] = {}
        following = 1
        try:
            for phone, state, _, _ in triples:
                numbers.setdefault(phone, []).append(following)
                following += len(shapes[phone][state])
        except LookupError as error:
            raise ModelProblem(
                f"In the model {model} the phones of am/final.mdl do not fit each other. Copy the model again."
            ) from error
        phone_shape = [[0, 1, 2], [1, 2]]
        if shapes.get(names["SIL"]) != [[0, 1]] or any(
            shapes.get(names[name]) != phone_shape for name in wanted
        ):
            return None
        loop = numbers[names["SIL"]][0]
        first = {
            (phone, position): numbers[names[f"{phone}_{position}"]][0]
            for phone in sorted(PHONES)
            for position in "BEIS"
        }
        outputs = 1 + max(max(pdf, loop_pdf) for _, _, pdf, loop_pdf in triples)
        return cls(silence=(loop + 1, loop), first=first, outputs=outputs)


def _transition_model(path: Path) -> tuple[dict[int, list[list[int]]], list[tuple[int, int, int, int]]]:
    """The transition targets for each state of each phone, and the list of (phone, state, pdf, loop pdf).

    The format is that of Kaldi's binary TransitionModel: transitions are numbered from 1 through that list.
    """
    reader = _Bytes(_read(path, 4_000_000), str(path))
    if reader.data[:2] != b"\0B":
        raise ModelProblem(f"The model file {path} is not in the layout of a Kaldi acoustic model.")
    reader.at = 2
    reader.token("<TransitionModel>")
    reader.token("<Topology>")

    def integers() -> tuple[int, ...]:
        size, count = reader.take("bi")
        if size != 4 or not 0 <= count < 1_000_000:
            raise ModelProblem(f"The model file {path} is not in the layout of a Kaldi acoustic model.")
        return reader.take(f"{count}i")

    phones, entry_of = integers(), integers()
    count = reader.marked()
    two_pdfs = count == -1  # a state's loop may have its own pdf
    if two_pdfs:
        count = reader.marked()
    entries: list[list[list[int]]] = []
    for _ in range(count):
        states: list[list[int]] = []
        for _ in range(reader.marked()):
            reader.marked()
            if two_pdfs:
                reader.marked()
            targets = []
            for _ in range(reader.marked()):
                targets.append(reader.marked())
                reader.take("bf")
            states.append(targets)
        entries.append(states[:-1])  # the last state only ends the phone
    at = reader.data.find(b"<Triples> ", reader.at)
    pairs_at = reader.data.find(b"<Tuples> ", reader.at)
    if at < 0 and pairs_at < 0:
        raise ModelProblem(f"The model file {path} is not in the layout of a Kaldi acoustic model.")
    reader.at = at + len("<Triples> ") if at >= 0 else pairs_at + len("<Tuples> ")
    triples = []
    for _ in range(reader.marked()):
        phone, state, pdf = reader.marked(), reader.marked(), reader.marked()
        triples.append((phone, state, pdf, pdf if at >= 0 else reader.marked()))
    try:
        return {phone: entries[entry_of[phone]] for phone in phones}, triples
    except IndexError as error:
        raise ModelProblem(
            f"In the model file {path} the phones do not fit each other. Copy the model again."
        ) from error


# --- writing --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Costs:
    """Costs (negative natural logarithms) in the written graphs.

    Attributes:
        filler_phone: Cost of each phone of the filler. If it is low, speech outside the grammar is rejected, and
            some inside it, too; if it is high, the other way round.
            On development sound (eight synthetic voices, mean of 20, 10, 5 and 0 dB, best words alone, before the
            limit on confidence) at 1.0, 1.5, 2.0, 2.5 lamp answers are right in 86, 91, 91, 91 % of cases, and
            other speech passes for an answer in 1, 11, 30, 65 %.
        blank: Cost of each blank frame inside a phone; keeps short words from being stretched.
    """

    filler_phone: float = 1.5
    blank: float = 0.02


def write_words(
    path: Path,
    automaton: Acceptor,
    symbols: Mapping[str, int],
    *,
    filler: bool = True,
    filler_repeats: bool = True,
    arc_costs: Mapping[tuple[int, str], float] | None = None,
) -> None:
    """Write ``Gr.fst``: the automaton, and beside it the filler word.

    Args:
        path: File to write.
        automaton: The phrases.
        symbols: All words of the other graph or the model, with their labels.
        filler: Whether `UNKNOWN` is accepted.
        filler_repeats: Whether it is accepted any number of times; needed if it stands for one word only.
        arc_costs: Costs of the automaton's arcs by (state, word); all other arcs cost nothing.

    Raises:
        ModelProblem: A word of the automaton has no label.
    """
    graph = Fst(start=automaton.start, symbols=dict(symbols))
    finals = set(automaton.finals)
    for number, arcs in enumerate(automaton.states):
        graph.add_state(0.0 if number in finals else _INFINITY)
        for word, target in arcs.items():
            if word not in symbols:
                raise ModelProblem(f"The recogniser's model does not know the word '{word}'.")
            cost = (arc_costs or {}).get((number, word), 0.0)
            graph.add_arc(number, symbols[word], symbols[word], cost, target)
    if filler:
        other = graph.add_state(0.0)
        label = symbols[UNKNOWN]
        graph.add_arc(automaton.start, label, label, 0.0, other)
        if filler_repeats:
            graph.add_arc(other, label, label, 0.0, other)
    path.write_bytes(graph.written(acceptor=True, sorted_by="input"))


def write_sounds(
    path: Path,
    words: Mapping[str, int],
    lexicon: Mapping[str, tuple[Pronunciation, ...]],
    layout: PhoneLayout,
    costs: Costs | None = None,
) -> None:
    """Write ``HCLr.fst``: the sounds of each word.

    Args:
        path: File to write.
        words: Words with their labels; `UNKNOWN` becomes the loop over all phones.
        lexicon: Pronunciations.
        layout: Transitions of the acoustic model.
        costs: Costs of filler and blank.

    Raises:
        ModelProblem: A word has no pronunciation.
    """
    costs = costs or Costs()
    graph = Fst()
    between, before, silence = graph.add_state(), graph.add_state(0.0), graph.add_state()
    leave, loop = layout.silence
    graph.add_arc(between, 0, 0, 0.0, before)
    graph.add_arc(between, leave, 0, 0.0, silence)
    graph.add_arc(silence, loop, 0, 0.0, silence)
    graph.add_arc(silence, 0, 0, 0.0, before)
    for word, label in words.items():
        if word in (UNKNOWN, "<eps>"):
            continue
        if not lexicon.get(word):
            raise ModelProblem(
                f"The word '{word}' has no pronunciation in the lexicon. "
                "Add a line like 'amps  AE M P S' to lexicon.txt, with the word's own phones."
            )
        for said in lexicon[word]:
            _add_word(graph, said, label, layout, costs)
    if UNKNOWN in words:
        _add_filler(graph, words[UNKNOWN], layout, costs)
    path.write_bytes(graph.written(acceptor=False, sorted_by="output"))


def _add_word(graph: Fst, said: Sequence[str], label: int, layout: PhoneLayout, costs: Costs) -> None:
    sources = [1]  # states from which the next phone may begin
    for number, phone in enumerate(said):
        position = "S" if len(said) == 1 else "B" if number == 0 else "E" if number == len(said) - 1 else "I"
        base = layout.first[phone, position]
        plain, before_blank, blank = graph.add_state(), graph.add_state(), graph.add_state()
        out = label if number == 0 else 0
        for source in sources:
            graph.add_arc(source, base + 2, out, 0.0, plain)
            graph.add_arc(source, base + 1, out, 0.0, before_blank)
        _add_phone(graph, base, plain, before_blank, blank, costs)
        again = number + 1 < len(said) and said[number + 1] == phone
        sources = [blank] if again else [plain, blank]
    for source in sources:
        graph.add_arc(source, 0, 0, 0.0, 0)


def _add_phone(graph: Fst, base: int, plain: int, before_blank: int, blank: int, costs: Costs) -> None:
    graph.add_arc(plain, base, 0, 0.0, plain)
    graph.add_arc(before_blank, base, 0, 0.0, before_blank)
    graph.add_arc(before_blank, base + 4, 0, costs.blank, blank)
    graph.add_arc(blank, base + 3, 0, costs.blank, blank)


def _add_filler(graph: Fst, label: int, layout: PhoneLayout, costs: Costs) -> None:
    after = graph.add_state()  # after a phone of the filler
    for phone in sorted(PHONES):
        base = layout.first[phone, "S"]
        plain, before_blank, blank = graph.add_state(), graph.add_state(), graph.add_state()
        for source, out in ((1, label), (after, 0)):
            graph.add_arc(source, base + 2, out, costs.filler_phone, plain)
            graph.add_arc(source, base + 1, out, costs.filler_phone, before_blank)
        _add_phone(graph, base, plain, before_blank, blank, costs)
        graph.add_arc(plain, 0, 0, 0.0, after)
        graph.add_arc(blank, 0, 0, 0.0, after)
    # Pauses are part of the filler, so a remark is one filler instead of many alternatives with several.
    leave, loop = layout.silence
    pause = graph.add_state()
    graph.add_arc(after, leave, 0, 0.0, pause)
    graph.add_arc(pause, loop, 0, 0.0, pause)
    graph.add_arc(pause, 0, 0, 0.0, after)
    graph.add_arc(after, 0, 0, 0.0, 0)


def words_of(automaton: Acceptor) -> list[str]:
    """Every word on an arc of the automaton, sorted."""
    return sorted({word for arcs in automaton.states for word in arcs})


def table_for(words: Iterable[str]) -> dict[str, int]:
    """A symbol table: the empty word is 0, the filler 1, then the words in order."""
    return {"<eps>": 0, UNKNOWN: 1} | {word: number for number, word in enumerate(sorted(words), start=2)}
