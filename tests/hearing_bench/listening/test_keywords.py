"""The keywords: derived from terms and grammars."""

from __future__ import annotations

import pytest

from assistant import resources
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing_bench.listening.keywords import JOINING, keywords
from assistant.loading.folder import load_folder


@pytest.fixture(scope="module")
def found() -> frozenset[str]:
    library, _ = load_folder(resources.directory("procedures"))
    return keywords(library, GrammarSet.load(resources.directory("grammars")))


def test_what_decides_is_a_keyword(found: frozenset[str]) -> None:
    """One of each kind: number, unit, place, instrument, answer, key position, refusal, signal word, own word."""
    wanted = "seventeen point volts kilohms switched battery clamp lit steady on off not no danger warning stop ready"
    assert set(wanted.split()) <= found


def test_what_only_joins_is_none(found: frozenset[str]) -> None:
    """Articles, prepositions and auxiliary verbs are none, though many a place is named with them."""
    assert not found & JOINING
    assert not {"the", "of", "a", "at", "is"} & found
