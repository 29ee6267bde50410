"""Writes the phrases that may be said now as the two graphs that the recogniser follows.

Vosk decodes along the composition of two files in the format of OpenFst: ``Gr.fst`` says which words may
follow each other, ``HCLr.fst`` says which sounds make each word.
Vosk's own run-time grammar is a statistical model of word pairs, which can mix the words of two phrases. So this
module writes both files: ``Gr.fst`` accepts the phrases of the step, the filler word ``[unk]`` for all other
speech, and nothing else; ``HCLr.fst`` holds only the words of these phrases.

**States of the written HCLr.** 0: between words, where silence may follow; 1: before a word (final); 2: in
silence; then a chain of states for each pronunciation, and the loop over all phones for the filler.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from assistant.core.values import events
from assistant.errors import ModelProblem
from assistant.grammar.lexicon import PHONES
from assistant.hearing.openfst import INFINITY, Fst

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence
    from pathlib import Path

    from assistant.grammar.lexicon import Pronunciation
    from assistant.hearing.phones import PhoneLayout

UNKNOWN = events.UNKNOWN
"""The filler word: in a result it stands for speech outside the grammar."""


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


@dataclass(frozen=True)
class Costs:
    """Costs (negative natural logarithms) in the written graphs.

    Attributes:
        filler_phone: Cost of each phone of the filler. If it is low, speech outside the grammar is rejected, and
            some inside it, too; if it is high, the other way round.
            High here, because the recogniser only proposes: `assistant.hearing.verification` rejects.
        blank: Cost of each blank frame inside a phone; keeps short words from being stretched.
    """

    filler_phone: float = 2.5
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
        graph.add_state(0.0 if number in finals else INFINITY)
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
