"""Grammars for measuring, and the JSGF that another recogniser gets."""

from __future__ import annotations

import random
import sys
import tempfile
from pathlib import Path

import pytest

from assistant import resources
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.errors import FileProblem, GearProblem, ModelProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.step_grammar import StepGrammar
from assistant.hearing_bench.pocketsphinx import Phrases, PocketSphinx, jsgf_of, name
from assistant.hearing_bench.wordset import WordSet, dictionary, of_words

GRAMMARS = GrammarSet.load(resources.directory("grammars"))
CARDS = """#JSGF V1.0;
grammar cards;
public <card> = (ace | ten | queen) [of] (clubs | hearts);
"""
REQUESTS = {
    "lamp": GrammarRequest(outcomes=("lit", "dim", "steady"), controls=(Control.SAY_AGAIN, Control.STOP)),
    "volts": GrammarRequest(units=("V", "mV"), controls=(Control.NEGATIVE,)),
    "ohms": GrammarRequest(outcomes=("over-range",), units=("ohm", "kilohm", "megohm")),
    "controls": GrammarRequest(controls=(Control.AFFIRM, Control.CLOSE)),
}


def word_set(text: str = CARDS) -> WordSet:
    return WordSet(text, GRAMMARS.lexicon, {"of": ""}, Path("cards.json"), 7)


def test_a_word_set_accepts_its_phrases_and_knows_what_means_the_same() -> None:
    """The word that makes no difference is not part of the meaning; half a phrase means nothing."""
    cards = word_set()
    assert cards.parse("ten of clubs") == cards.parse("ten clubs") == Result(outcome="ten-clubs")
    assert cards.parse("ten of") is None
    assert cards.is_complete("queen hearts")
    assert set(cards.words()) == {"ace", "ten", "queen", "of", "clubs", "hearts"}
    assert cards.words()["ace"] == ("cards.json", 7)


def test_a_word_set_is_whole_or_not_measured() -> None:
    """Leaving a word out would be another measurement; other words do not matter."""
    assert word_set().without({"spade"}) is not None
    with pytest.raises(ModelProblem, match="does not know clubs, of"):
        word_set().without({"of", "clubs"})


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("#JSGF V1.0;\ngrammar a;\n<a> = b;\n", "no public rule"),
        ("#JSGF V1.0;\ngrammar a;\npublic <a> = b*;\n", "phrases without end"),
        ("#JSGF V1.0;\ngrammar a;\npublic <a> = (b;\n", "its grammar: "),
    ],
)
def test_a_wrong_grammar_is_placed_in_the_manifest(text: str, problem: str) -> None:
    """The sentence names the manifest and the line where the part begins."""
    with pytest.raises(FileProblem, match=problem) as caught:
        word_set(text)
    assert str(caught.value).startswith("cards.json:7: ")


def accepted_by_pocketsphinx(grammar: StepGrammar, phrases: list[str]) -> list[bool]:
    pocketsphinx = pytest.importorskip("pocketsphinx")
    with tempfile.NamedTemporaryFile("w", suffix=".gram") as file:
        file.write(jsgf_of(grammar))
        file.flush()
        other = pocketsphinx.FsgModel.jsgf_read_file(file.name, pocketsphinx.LogMath(1.0001), 1.0)
    return [bool(other.accept(phrase)) for phrase in phrases]


@pytest.mark.parametrize("step", [*REQUESTS, "cards"])
def test_pocketsphinx_gets_exactly_the_language(step: str) -> None:
    """Outside check: phrases of the acceptor, and the same with a word lost, doubled or exchanged.

    PocketSphinx's own JSGF compiler takes those, and only those, that our acceptor takes.
    """
    grammar = word_set() if step == "cards" else GRAMMARS.request(REQUESTS[step])
    automaton = grammar.automaton()
    draw = random.Random(5)  # noqa: S311
    words = sorted(grammar.words())
    phrases = []
    for _ in range(150):
        state, said = automaton.start, []
        while automaton.states[state] and not (state in automaton.finals and draw.random() < 0.4):
            word = draw.choice(sorted(automaton.states[state]))
            said.append(word)
            state = automaton.states[state][word]
        phrases.append(" ".join(said))
        at = draw.randrange(len(said))
        change = draw.choice(([], [said[at], said[at]], [draw.choice(words)]))
        if other := [*said[:at], *change, *said[at + 1 :]]:
            phrases.append(" ".join(other))
    expected = [grammar.is_complete(phrase) for phrase in phrases]
    assert expected == accepted_by_pocketsphinx(grammar, phrases)
    assert set(expected) == {True, False}


def test_pocketsphinx_hears_an_answer_of_the_fixtures() -> None:
    """Words that its dictionary lacks come from our lexicon; several grammars can be used in turn."""
    pytest.importorskip("pocketsphinx")
    from assistant.hearing.sound import read_sound  # noqa: PLC0415

    other = PocketSphinx()
    sound = read_sound(resources.directory("audio_fixtures") / "feed-lit.flac").samples
    volts, lamp = (Phrases.of(GRAMMARS.request(REQUESTS[step])) for step in ("volts", "lamp"))
    other.hear(sound, volts)
    words, sure, took = other.hear(sound, lamp)
    assert words == "feed lit"
    assert 0 <= sure <= 1
    assert took > 0


def test_without_pocketsphinx_there_is_a_sentence(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is a comparison: the sentence says what to install."""
    monkeypatch.setitem(sys.modules, "pocketsphinx", None)
    with pytest.raises(GearProblem, match=r"PocketSphinx is left out: .*pip install pocketsphinx"):
        name()
    with pytest.raises(GearProblem, match=r"pronouncing dictionary .*pip install pocketsphinx"):
        dictionary(["qwertz"], GRAMMARS.lexicon)
    assert "lit" in dictionary(["lit"], GRAMMARS.lexicon)  # ours needs no other
    assert "marmalade" in dictionary(["marmalade"], GRAMMARS.lexicon)


def test_pronunciations_come_from_our_lexicon_first_and_a_word_of_none_is_named() -> None:
    """All pronunciations of the large dictionary are taken; an invented word is refused."""
    pytest.importorskip("pocketsphinx")
    found = dictionary(["amps", "tango", "tomorrow"], GRAMMARS.lexicon)
    assert found.pronunciations("amps") == GRAMMARS.lexicon.pronunciations("amps")
    assert found.pronunciations("tango") == (("T", "AE", "NG", "G", "OW"),)
    assert len(found.pronunciations("tomorrow")) > 1
    with pytest.raises(GearProblem, match="how to pronounce brzk"):
        dictionary(["brzk", "tango"], GRAMMARS.lexicon)


def test_single_words_make_a_grammar() -> None:
    """Each word is a phrase, and nothing else is."""
    words = word_set(of_words(["alpha", "bravo"]))
    assert words.parse("bravo") == Result(outcome="bravo")
    assert words.parse("alpha bravo") is None
