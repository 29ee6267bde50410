"""The texts that the voices are made to say, and whether their phones are right."""

from __future__ import annotations

import gzip
import itertools
import json
import random
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from assistant import resources
from assistant.acoustic.phones import from_arpabet, read_dictionary, to_arpabet
from assistant.acoustic.texts import LETTERS, NearMisses, Texts
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.lexicon import PHONES
from assistant.loading.folder import load_library


@pytest.fixture(scope="module")
def texts() -> Texts:
    grammars = GrammarSet.load(resources.directory("grammars"))
    library = load_library(resources.directory("procedures"))
    return Texts(grammars, library, {"hand": "hˈænd", "me": "mˌi", "that": "ðˈæt"}, ["Hand me that, hand me"])


@given(st.lists(st.sampled_from(sorted(PHONES)), min_size=1, max_size=12))
def test_a_word_of_the_lexicon_comes_back_unchanged_from_the_voices_notation(phones: list[str]) -> None:
    """No sound is lost or changed on the way to a voice."""
    # "AH R" is written as "ER" is; no English word has it within one syllable.
    if any(pair in {("AH", "R"), ("ER", "R")} for pair in itertools.pairwise(phones)):
        return
    assert to_arpabet(from_arpabet(phones)) == tuple(phones)


def test_the_dictionarys_notation_is_read_as_the_cmu_dictionary_has_the_same_words() -> None:
    """Two dictionaries agree on plain words."""
    # Right-hand sides: CMU Pronouncing Dictionary (PocketSphinx 5.1.1), stress left out.
    assert to_arpabet("vˈOlts") == tuple("V OW L T S".split())
    assert to_arpabet("ʤˈʌmpəɹ") == tuple("JH AH M P ER".split())
    assert to_arpabet("kˈYl") == tuple("K OY L".split())
    assert to_arpabet("swˈɪʧ") == tuple("S W IH CH".split())
    assert to_arpabet("fˈɜɹst") == tuple("F ER S T".split())


def test_a_sound_of_another_language_has_no_phones() -> None:
    """A word that the model has no phones for is left out, not mangled."""
    assert to_arpabet("bˈœʁ") is None


def test_every_word_of_the_grammars_can_be_said(texts: Texts) -> None:
    """Every word that may be answered is trained with a pronunciation of the lexicon."""
    rng = random.Random(1)
    grammars = GrammarSet.load(resources.directory("grammars"))
    for word in grammars.words():
        said = texts.utterance([word], rng)
        assert said.phones[0] in grammars.lexicon.pronunciations(word)


def test_drawn_utterances_have_a_sound_and_phones_for_each_word(texts: Texts) -> None:
    """Every sentence that is drawn can be spoken and learnt."""
    rng = random.Random(2)
    for _ in range(300):
        said = texts.draw(rng)
        assert len(said.words) == len(said.sounds) == len(said.phones)
        assert all(said.sounds)
        assert all(phone in PHONES for word in said.phones for phone in word)


def test_an_answer_is_one_in_its_own_grammar(texts: Texts) -> None:
    """Every text that is labelled an answer is one."""
    rng = random.Random(3)
    for _ in range(100):
        grammar, said = texts.answer(rng)
        assert grammar.parse(" ".join(said.words)) is not None


def test_letters_sound_as_the_cmu_dictionary_has_their_names() -> None:
    """Letters by name are spoken as English has them."""
    # CMU Pronouncing Dictionary, entries of the letters.
    assert to_arpabet(LETTERS["w"]) == tuple("D AH B AH L Y UW".split())
    assert to_arpabet(LETTERS["h"]) == tuple("EY CH".split())
    assert to_arpabet(LETTERS["r"]) == tuple("AA R".split())


def test_the_dictionary_keeps_plain_english_words(tmp_path: Path) -> None:
    """Names, foreign sounds and second readings stay out."""
    file = tmp_path / "words.json.gz"
    entries = {"coil": "kˈYl", "read": {"DEFAULT": "ɹˈid", "VBD": "ɹˈɛd"}, "NASA": "nˈæsə", "über": "ˈybəɹ"}
    file.write_bytes(gzip.compress(json.dumps(entries).encode()))
    assert read_dictionary(file) == {"coil": "kˈYl", "read": "ɹˈid"}


def test_readings_are_numbers(texts: Texts) -> None:
    """A bank of readings teaches numbers and their units, nothing else."""
    rng = random.Random(4)
    grammars = GrammarSet.load(resources.directory("grammars"))
    assert grammars.number is not None
    numbers = set(grammars.number.words()) | {"zero", "oh"}
    for _ in range(100):
        assert numbers & set(texts.reading(rng).words)


def test_near_misses_sound_almost_the_same_and_are_other_words() -> None:
    """One phone changed, lost or added, or the word in two; never the word itself, nor one that is farther off."""
    known = {
        "ship": ("SH", "IH", "P"),
        "skin": ("S", "K", "IH", "N"),
        "skirt": ("S", "K", "ER", "T"),
        "kip": ("K", "IH", "P"),
        "skip": ("S", "K", "IH", "P"),
        "ski": ("S", "K", "IH"),
        "p": ("P",),
    }
    near = NearMisses(known).of(known["skip"])
    assert ["skin"] in near
    assert ["kip"] in near
    assert ["ski"] in near
    assert ["ski", "p"] in near
    assert ["skip"] not in near
    assert ["skirt"] not in near
