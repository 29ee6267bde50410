"""The pronouncing lexicon and the distance between pronunciations."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from assistant import resources
from assistant.errors import FileProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.lexicon import (
    PHONES,
    VOWELS,
    Pronunciation,
    distance,
    omission,
    parse_lexicon,
    substitution,
)

GRAMMARS = GrammarSet.load(resources.directory("grammars"))
SPOKEN = st.lists(st.sampled_from(sorted(PHONES)), max_size=6).map(tuple)


def test_there_are_39_phones() -> None:
    """The phone set is that of the CMU pronouncing dictionary without stress: 39 phones (its documentation)."""
    assert len(PHONES) == 39


def test_every_word_has_a_pronunciation_and_none_too_many() -> None:
    """The shipped lexicon holds exactly the words of the shipped grammars."""
    assert set(GRAMMARS.words()) == set(GRAMMARS.lexicon.entries)


def test_variants_and_comments() -> None:
    """Several lines give several pronunciations, the usual one first; comments are no words."""
    lexicon = parse_lexicon(b"# head\nzero Z IH R OW\nzero  Z IY R OW # variant\n\n", "x.txt")
    assert lexicon.pronunciations("zero") == (("Z", "IH", "R", "OW"), ("Z", "IY", "R", "OW"))
    assert lexicon.phones(("zero", "zero")) == ("Z", "IH", "R", "OW") * 2
    assert (lexicon.pronunciations("one"), lexicon.phones(("zero", "one"))) == ((), None)


@pytest.mark.parametrize(
    ("data", "line", "says_what"),
    [
        (b"lit L IH T\ndim", 2, "'dim' has no phones"),
        (b"lit L IH1 T", 1, "'IH1' is not an ARPAbet phone"),
        (b"lit L IH T\nlit L IH T", 2, "has this pronunciation already"),
        (b"lit L IH T\n\xff", 2, "not UTF-8"),
    ],
)
def test_broken_lexicons(data: bytes, line: int, says_what: str) -> None:
    """A line that is no pronunciation is refused with its number."""
    with pytest.raises(FileProblem, match=says_what) as caught:
        parse_lexicon(data, "x.txt")
    assert line == caught.value.line


def test_short_words() -> None:
    """A short word has, or can have, one syllable; an unknown word counts as short."""
    short = {
        word: GRAMMARS.lexicon.is_short(word) for word in ("no", "lamp", "wire", "supply", "steady", "purple")
    }
    assert short == {"no": True, "lamp": True, "wire": True, "supply": False, "steady": False, "purple": True}


@given(SPOKEN, SPOKEN, SPOKEN)
def test_distance_is_a_metric(one: Pronunciation, two: Pronunciation, three: Pronunciation) -> None:
    """The distance is nought only for the same, the same both ways, and never shorter by a detour of whole words."""
    assert (distance(one, two) == 0) == (one == two)
    assert distance(one, two) == pytest.approx(distance(two, one))
    assert distance(one, ()) == pytest.approx(sum(map(omission, one)))
    assert distance(one + three, two + three) <= distance(one, two) + 1e-9


def test_substitutions_are_graded() -> None:
    """Voicing alone is the least difference; a vowel for a consonant the greatest."""
    graded = [substitution("B", "P"), substitution("B", "D"), substitution("B", "S"), substitution("B", "IY")]
    assert graded == sorted(graded)
    assert graded[0] < graded[1] < graded[2]


def test_workshop_words_are_ours_and_general_words_are_the_dictionarys() -> None:
    """Outside check: the general words are as in PocketSphinx's dictionary (BSD); skipped where it is absent."""
    pocketsphinx = pytest.importorskip("pocketsphinx")
    path = Path(pocketsphinx.get_model_path("en-us/cmudict-en-us.dict"))
    known: dict[str, set[Pronunciation]] = {}
    for line in path.read_text(encoding="utf-8").splitlines():
        word, *phones = line.split()
        known.setdefault(word.partition("(")[0], set()).add(tuple(phones))
    text = GRAMMARS.lexicon.path.read_text(encoding="utf-8")
    part = text.partition("# --- general words")[2].partition("\n")[2].partition("# --- British")[0]
    general = parse_lexicon(part.encode(), "general")
    assert {
        word for word, spoken in general.entries.items() if not set(spoken) <= known.get(word, set())
    } == set()


def test_british_pronunciations_come_after_the_usual_ones() -> None:
    """Outside check: no British variant has an r before a consonant or at the end (Received Pronunciation).

    The usual pronunciation, with which look-alikes are searched, stays the first.
    """
    text = GRAMMARS.lexicon.path.read_text(encoding="utf-8")
    before, _, after = text.partition("# --- British")
    british = parse_lexicon(after.partition("\n")[2].encode(), "british")
    usual = parse_lexicon(before.encode(), "usual")
    assert len(british.entries) > 50
    for word, spoken in british.entries.items():
        assert word in usual
        assert set(spoken).isdisjoint(usual.pronunciations(word))
        for phones in spoken:
            for phone, following in zip(phones, (*phones[1:], ""), strict=True):
                assert phone != "R" or following in VOWELS
