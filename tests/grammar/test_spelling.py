"""Spelled signs: words to signs and back."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from assistant import resources
from assistant.core.dialogue.asking import WORDS
from assistant.core.values.result import Control, GrammarRequest, Result, Spelling
from assistant.errors import FileProblem
from assistant.grammar.grammar_set import GrammarSet

GRAMMARS = GrammarSet.load(resources.directory("grammars"))
SIGNS = GRAMMARS.request(
    GrammarRequest(controls=(Control.STOP, Control.THAT_IS_ALL), spelling=Spelling.SIGNS)
)
VIN = GRAMMARS.request(GrammarRequest(spelling=Spelling.VIN))
DIGITS = GRAMMARS.request(GrammarRequest(units=("km", "miles"), spelling=Spelling.DIGITS))
ALL = "".join(WORDS)


def said(signs: str) -> str:
    assert GRAMMARS.signs is not None
    return GRAMMARS.signs.in_words(signs)


@given(st.text(ALL, min_size=1, max_size=6))
def test_up_to_six_signs_in_one_breath_come_back_as_spelled(signs: str) -> None:
    """Words of signs are parsed to these signs, as a whole, and the acceptor takes them."""
    assert Result(signs=signs) == SIGNS.parse(said(signs))
    assert SIGNS.is_complete(said(signs))


@given(st.text(ALL, min_size=7, max_size=9))
def test_more_than_six_signs_are_not_understood(signs: str) -> None:
    """A longer group has no reading, rather than a part of it."""
    assert SIGNS.parse(said(signs)) is None
    assert not SIGNS.is_complete(said(signs))


def test_the_words_are_those_that_are_spoken_back() -> None:
    """Every sign has the word of the spelling alphabet first; ICAO Annex 10 Volume II, with "niner"."""
    assert GRAMMARS.signs is not None
    assert {sign: word.replace("-", "") for sign, word in WORDS.items()} == {
        sign: words[0] for sign, words in GRAMMARS.signs.forms.items()
    }
    assert Result(signs="9") == SIGNS.parse("nine") == SIGNS.parse("niner")


@pytest.mark.parametrize("sign", "IOQ")
def test_a_vin_has_no_letters_that_look_like_digits(sign: str) -> None:
    """I, O and Q cannot be said for a VIN."""
    assert VIN.parse(said(sign)) is None
    assert SIGNS.parse(said(sign)) is not None


@given(st.text("0123456789", min_size=1, max_size=6), st.sampled_from(["", "miles", "kilometers"]))
def test_digits_may_have_a_unit_behind_them(digits: str, unit: str) -> None:
    """An odometer is said digit by digit, with miles or kilometers or neither; letters are not taken."""
    unit_name = {"": None, "miles": "miles", "kilometers": "km"}[unit]
    assert Result(signs=digits, unit=unit_name) == DIGITS.parse(f"{said(digits)} {unit}".strip())
    assert DIGITS.parse(f"alfa {said(digits)}") is None


def test_control_words_stay_what_they_are() -> None:
    """Stop and "that is all" are no signs."""
    assert Result(control=Control.STOP) == SIGNS.parse("stop")
    assert Result(control=Control.THAT_IS_ALL) == SIGNS.parse("that is all")


@pytest.mark.parametrize(
    ("rule", "words"),
    [
        ("alfa {sign=a}", "means nothing"),
        ("alfa {sign=AB}", "means nothing"),
        ("x ray {sign=X}", "not the word of one sign"),
        ("(alfa {sign=A})+", "could go on for ever"),
        ("[alfa {sign=A}]", "without a word"),
    ],
)
def test_a_mistake_in_the_grammar_is_named(
    tmp_path_factory: pytest.TempPathFactory, rule: str, words: str
) -> None:
    """A tag that is no sign, a sign of two words, and a group without end are refused with their line."""
    path = tmp_path_factory.mktemp("grammars") / "spelling.jsgf"
    text = f"#JSGF V1.0 UTF-8 en;\ngrammar spelling;\npublic <spelling> = {rule};\n"
    with pytest.raises(FileProblem, match=r"spelling\.jsgf:3:") as caught:
        GrammarSet.from_files({path: text.encode()})
    assert words in str(caught.value)
