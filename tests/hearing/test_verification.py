"""How well an answer's phones explain the sound."""

from __future__ import annotations

import numpy as np
import pytest

from assistant import resources
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing import verification
from assistant.hearing.acoustics import OUTPUTS, PHONE_NUMBERS
from assistant.hearing.phone_sums import floor
from assistant.hearing.rivals import RivalPhrases

LEXICON = GrammarSet.load(resources.directory("grammars")).lexicon


def spoken(*phones: str) -> np.ndarray:
    """Log-probabilities of sound in which these phones are plain, a blank between them."""
    found = np.full((2 * len(phones) + 1, OUTPUTS), 0.002)
    for at, phone in enumerate(phones):
        found[2 * at, 0] = found[2 * at + 1, PHONE_NUMBERS[phone]] = 0.922
    found[-1, 0] = 0.922
    return np.log(found).astype(np.float32)


def measured(sound: np.ndarray, words: str, *others: str) -> dict[str, float]:
    """The measures of the best of the words in this sound, in a grammar of all of them."""
    known = {text: text for text in (words, *others)}
    phrases = RivalPhrases.of([words, *others], known.get, LEXICON)
    found = verification.verified(sound, [words, *others], known.get, phrases, LEXICON)
    assert found is not None
    return found[1] | {"best": float(found[0] == words)}


def test_an_answer_that_was_said_is_ahead_of_what_sounds_like_it() -> None:
    """Of "dark", spoken: the answer is ahead of its rival, of the English background, and of everyday words near it."""
    found = measured(spoken("D", "AA", "R", "K"), "dark", "dim")
    assert 1.0 == found["best"]
    assert min(found["ahead"], found["english"], found["over-all"]) > 1.0
    assert (0.0, 0.0) == (found["edits"], found["extra"])
    assert found["explained"] > 0.8


def test_what_sounds_like_an_answer_and_is_none_falls_behind() -> None:
    """Of "bark", spoken: "dark" is the best of the grammar, but an everyday word is likelier, a phone is unsure."""
    right, found = (
        measured(spoken("D", "AA", "R", "K"), "dark"),
        measured(spoken("B", "AA", "R", "K"), "dark"),
    )
    assert found["over-all"] < -1.0
    assert found["edits"] == pytest.approx(0.25)
    for name in ("fit", "sure", "least-sure", "english-each", "explained"):
        assert found[name] < right[name], name
    for name in ("worst", "worst-two", "worst-three", "worst-word", "inside", "behind"):
        assert found[name] > right[name], name


def test_more_than_the_answer_is_left_over() -> None:
    """Of "is he seen dim", spoken: what stands before "dim" is counted as such."""
    sound = spoken("IH", "Z", "HH", "IY", "S", "IY", "N", "D", "IH", "M")
    found = measured(sound, "dim")
    assert found["before"] > 10
    assert found["after"] < 1
    assert 7.0 == found["extra"]


def test_the_best_pronunciation_of_each_word_is_found() -> None:
    """A word with two pronunciations is compared in the one that was spoken, also inside a phrase."""
    words = next(
        word for word in sorted(LEXICON.entries) if len(LEXICON.pronunciations(word)) > 1 and len(word) > 3
    )
    for said in LEXICON.pronunciations(words):
        phones = (*LEXICON.pronunciations("dark")[0], *said)
        found = verification.best_spoken(floor(spoken(*phones)), ["dark", words], LEXICON)
        assert found is not None
        assert tuple(PHONE_NUMBERS[phone] for phone in phones) == found[0].phones


def test_plain_speech_is_clear_whatever_was_said() -> None:
    """The clearness does not depend on the answer, and falls when the sound is blurred."""
    plain = spoken("B", "AA", "R", "K")
    blurred = np.log(0.5 * np.exp(plain) + 0.5 / OUTPUTS).astype(np.float32)
    said, other = measured(plain, "dark")["clear"], measured(plain, "lit")["clear"]
    assert said == other == pytest.approx(np.log(0.922 / 0.078), abs=0.01)
    assert measured(blurred, "dark")["clear"] < said - 1
