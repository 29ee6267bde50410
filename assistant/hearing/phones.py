"""The numbers that an acoustic model gives to the sounds of speech.

**Layout of the models for which graphs can be written.**
Its acoustic model has one state with a loop for silence, and for each phone (in the four positions in a word:
begin, end, internal, singleton) a first state that emits the phone, followed by an optional second one that
emits the blank that all phones share: the topology of connectionist temporal classification.
The transitions are numbered through the phones in order:
5 for each phone (first state: loop, to the second, leave; second state: loop, leave).
A path enters a state by the transition that leaves the phone's first frame (*forward first*), then loops.
Two equal phones in a row need the blank between them.
`PhoneLayout.read` reads topology and numbering from the acoustic model itself, and refuses any other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Self

from assistant.errors import ModelProblem
from assistant.grammar.lexicon import PHONES
from assistant.hearing.openfst import BinaryReader, read_bytes, read_table

if TYPE_CHECKING:
    from pathlib import Path


@dataclass(frozen=True)
class PhoneLayout:
    """Numbers of the transitions of an acoustic model of the layout that is described above.

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
        for line in read_table(table).splitlines():
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
    reader = BinaryReader(read_bytes(path, 4_000_000), str(path))
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
