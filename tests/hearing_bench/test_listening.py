"""The listening check: sentences into words, errors, pauses, and a small one with the real voice."""

from __future__ import annotations

import importlib.util
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from assistant import resources
from assistant.core.words.sentences import count_words
from assistant.errors import GearProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.numbers import in_words
from assistant.hearing_bench import listening
from assistant.speaking.voice import Voice


def test_a_sentence_is_compared_as_it_is_read_aloud() -> None:
    """Numbers as their words, hyphens as two words, apostrophes kept, signs of punctuation dropped."""
    assert ["twelve", "point", "four", "volts"] == listening.as_read("12.4 volts.")
    assert ["back", "probe", "the", "coil's", "plug"] == listening.as_read("Back-probe: the coil's plug!")


@pytest.mark.parametrize("number", ["0", "7", "12.4", "0.25", "45", "60", "99", "9.615"])
def test_the_lint_counts_numbers_as_they_are_read(number: str) -> None:
    """Two ways to the same count: the lint's, and the number grammar's words ("0.25" may drop its zero)."""
    words = len(in_words(Decimal(number)).split()) + (number.startswith("0."))
    assert words == count_words(number)


def test_errors_are_the_least_number_of_changes() -> None:
    """Levenshtein on words: one wrong, one missing, one too many (worked out by hand)."""
    said = ["feed", "side", "of", "the", "coil"]
    assert 0 == listening.errors(said, said)
    assert 1 == listening.errors(said, ["feed", "site", "of", "the", "coil"])
    assert 1 == listening.errors(said, ["feed", "side", "of", "coil"])
    assert 1 == listening.errors(said, ["the", "feed", "side", "of", "the", "coil"])
    assert 5 == listening.errors(said, [])


def test_the_longest_pause_is_the_one_inside() -> None:
    """Half a second between two tones counts, a second before and after them does not."""
    tone = (10000 * np.sin(np.arange(16000) * 0.3)).astype(np.int16)
    silence = np.zeros(16000, np.int16)
    sound = np.concatenate([silence, tone, silence[:8000], tone, silence])
    assert listening.longest_pause(sound, 16000) == pytest.approx(0.5, abs=0.05)
    assert 0.0 == listening.longest_pause(np.zeros(0, np.int16), 16000)


def test_nothing_to_listen_to_is_said(tmp_path: Path) -> None:
    """An empty list is refused with a sentence, not divided by."""
    lexicon = GrammarSet.load(resources.directory("grammars")).lexicon
    with pytest.raises(GearProblem, match="nothing to listen to"):
        listening.measure([], lexicon, Voice(cache_folder=tmp_path))


@pytest.mark.skipif(importlib.util.find_spec("pocketsphinx") is None, reason="PocketSphinx is optional")
def test_a_few_sentences_are_heard(tmp_path: Path) -> None:
    """The real voice through PocketSphinx: a report with each sentence, its length, and a rate of errors."""
    lexicon = GrammarSet.load(resources.directory("grammars")).lexicon
    said = ["Battery and cranking voltage.", "Coil current: 2 amps.", "Lamp off the battery."]
    report = listening.measure(said, lexicon, Voice(cache_folder=tmp_path))
    assert said == [one.sentence for one in report.listened]
    assert 0 <= report.word_errors < 1
    assert all(one.seconds > 0.3 for one in report.listened)
    assert "amps" not in report.unknown
    assert all(sentence in report.text() for sentence in said[1:])
    assert 3 == len(report.to_json()["sentences"])
