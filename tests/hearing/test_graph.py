"""The written graphs: what they accept, and what damaged or foreign files do."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from assistant import resources
from assistant.errors import ModelProblem
from assistant.hearing import graph, openfst
from assistant.hearing.graph import UNKNOWN
from assistant.hearing.phones import PhoneLayout

MODEL = resources.bundled_model()
LAYOUT = PhoneLayout.read(MODEL)
LEXICON = {
    "feed": (("F", "IY", "D"),),
    "lit": (("L", "IH", "T"),),
    "dark": (("D", "AA", "R", "K"),),
    "a": (("AH",), ("EY",)),
    "odd": (("D", "D"),),
}


@dataclass
class Acceptor:
    """A hand-made automaton."""

    states: list[dict[str, int]] = field(default_factory=lambda: [{}])
    start: int = 0
    finals: set[int] = field(default_factory=set)

    def add(self, phrase: tuple[str, ...]) -> None:
        state = 0
        for word in phrase:
            if word not in self.states[state]:
                self.states.append({})
                self.states[state][word] = len(self.states) - 1
            state = self.states[state][word]
        self.finals.add(state)


def acceptor(*phrases: tuple[str, ...]) -> Acceptor:
    made = Acceptor()
    for phrase in phrases:
        made.add(phrase)
    return made


def accepts(fst: openfst.Fst, labels: list[int], column: int) -> bool:
    """Whether some path has exactly these labels on its input (0) or output (1) side."""
    reached = {(fst.start, 0)}
    waiting = list(reached)
    while waiting:
        state, position = waiting.pop()
        if position == len(labels) and fst.final[state] != float("inf"):
            return True
        for arc in fst.arcs[state]:
            following = None
            if arc[column] == 0:
                following = (arc[3], position)
            elif position < len(labels) and arc[column] == labels[position]:
                following = (arc[3], position + 1)
            if following is not None and following not in reached:
                reached.add(following)
                waiting.append(following)
    return False


words = st.sampled_from(sorted(LEXICON))
phrases = st.lists(words, min_size=1, max_size=4).map(tuple)


@given(st.lists(phrases, min_size=1, max_size=8), phrases)
def test_word_graph_is_the_automaton_and_filler(
    tmp_path_factory: pytest.TempPathFactory, said: list[tuple[str, ...]], other: tuple[str, ...]
) -> None:
    """Exactly the phrases of the automaton and the filler alone are accepted, whatever the phrases."""
    file = tmp_path_factory.mktemp("graph") / "Gr.fst"
    automaton = acceptor(*said)
    table = graph.table_for(graph.words_of(automaton))
    graph.write_words(file, automaton, table)
    written = openfst.read_fst(file)
    assert all(accepts(written, [table[word] for word in phrase], 0) for phrase in said)
    assert (other in said) == accepts(written, [table.get(word, 10**6) for word in other], 0)
    assert accepts(written, [table[UNKNOWN]], 0)
    assert not accepts(written, [table[UNKNOWN], *(table[word] for word in said[0])], 0)
    assert table == written.symbols


def test_arc_costs_are_written(tmp_path: Path) -> None:
    """A prior on a word of a state stands on its arc, and only there."""
    automaton = acceptor(("feed", "lit"), ("dark",))
    table = graph.table_for(graph.words_of(automaton))
    graph.write_words(tmp_path / "Gr.fst", automaton, table, arc_costs={(0, "dark"): 1.5})
    costs = {arc[0]: arc[2] for arc in openfst.read_fst(tmp_path / "Gr.fst").arcs[0]}
    assert {table["dark"]: 1.5, table["feed"]: 0.0, table[UNKNOWN]: 0.0} == costs


def spelled(pronunciation: tuple[str, ...], *, blank: bool) -> list[int]:
    """Transitions of one way through a word: one frame in each phone, one in each blank if asked for."""
    assert LAYOUT is not None
    labels = []
    for number, phone in enumerate(pronunciation):
        last = number == len(pronunciation) - 1
        position = "S" if len(pronunciation) == 1 else "B" if number == 0 else "E" if last else "I"
        base = LAYOUT.first[phone, position]
        labels += [base + 1, base + 4] if blank else [base + 2]
    return labels


@pytest.mark.parametrize("word", sorted(LEXICON))
def test_every_pronunciation_is_a_path(tmp_path: Path, word: str) -> None:
    """Each pronunciation of each word, with and without blanks, alone or after silence, is accepted."""
    assert LAYOUT is not None
    table = graph.table_for(LEXICON)
    graph.write_sounds(tmp_path / "HCLr.fst", table, LEXICON, LAYOUT)
    written = openfst.read_fst(tmp_path / "HCLr.fst")
    for pronunciation in LEXICON[word]:
        assert accepts(written, spelled(pronunciation, blank=True), 0)
        assert accepts(written, [LAYOUT.silence[0], *spelled(pronunciation, blank=True)], 0)
    assert accepts(written, [table[word]], 1)


def test_equal_phones_need_the_blank_between_them(tmp_path: Path) -> None:
    """Without the blank two equal phones are one longer phone (connectionist temporal classification)."""
    assert LAYOUT is not None
    only = {"odd": LEXICON["odd"]}
    graph.write_sounds(tmp_path / "HCLr.fst", {"<eps>": 0, "odd": 2}, only, LAYOUT)
    written = openfst.read_fst(tmp_path / "HCLr.fst")
    assert accepts(written, spelled(("D", "D"), blank=True), 0)
    assert not accepts(written, spelled(("D", "D"), blank=False), 0)


def test_the_models_own_graph_spells_its_words() -> None:
    """A model directory opened as it is hears the words of the grammars, numbered as in its symbol table."""
    shipped = openfst.read_fst(MODEL / "graph" / "HCLr.fst")
    assert openfst.read_symbols(MODEL / "graph" / "Gr.fst")["feed"] > 1
    for blank in (True, False):
        assert accepts(shipped, spelled(("F", "IY", "D"), blank=blank), 0)


def test_layout_of_another_model_is_none(tmp_path: Path) -> None:
    """A model without a phone table, or with other phones, is not written graphs for."""
    (tmp_path / "am").mkdir()
    (tmp_path / "am" / "final.mdl").symlink_to(MODEL / "am" / "final.mdl")
    assert PhoneLayout.read(tmp_path) is None
    (tmp_path / "phones.txt").write_text("<eps> 0\nSIL 1\nkk_B 2\n", encoding="utf-8")
    assert PhoneLayout.read(tmp_path) is None


@given(st.integers(min_value=0, max_value=400))
def test_a_cut_graph_is_named(tmp_path_factory: pytest.TempPathFactory, length: int) -> None:
    """A graph cut short anywhere raises ModelProblem with the file's name, never anything else."""
    folder = tmp_path_factory.mktemp("cut")
    automaton = acceptor(("feed", "lit"), ("dark",))
    graph.write_words(folder / "Gr.fst", automaton, graph.table_for(graph.words_of(automaton)))
    data = (folder / "Gr.fst").read_bytes()
    (folder / "Gr.fst").write_bytes(data[: min(length, len(data) - 1)])
    with pytest.raises(ModelProblem, match=r"Gr\.fst"):
        openfst.read_fst(folder / "Gr.fst")


def test_a_word_without_label_or_sound_is_named(tmp_path: Path) -> None:
    """A word that the model or the lexicon lacks is refused by its name."""
    assert LAYOUT is not None
    with pytest.raises(ModelProblem, match="'feed'"):
        graph.write_words(tmp_path / "Gr.fst", acceptor(("feed",)), {UNKNOWN: 1, "lit": 2})
    with pytest.raises(ModelProblem, match="'sprocket'"):
        graph.write_sounds(tmp_path / "HCLr.fst", graph.table_for(["sprocket"]), LEXICON, LAYOUT)
