"""Stress and endings."""

from __future__ import annotations

import pytest

from assistant.grammar import english
from assistant.speaking.neural.inflecting import (
    CAPITALS,
    ENDINGS,
    NONE,
    WEAKER,
    WORD,
    compound,
    stems,
    stressed,
)
from assistant.speaking.neural.pronouncing import phonemes

WITH_ENDINGS = {
    "s": "coils fuses lights switches relays batteries volts boxes pins plugs coughs months edges brushes",
    "ed": "plugged heated tested cranked turned added measured missed pushed stopped verified clipped moved",
    "ing": "cranking heating using clipping measuring plugging turning shaking testing running",
}


@pytest.mark.parametrize(
    ("ending", "word"), [(e, w) for e, every in WITH_ENDINGS.items() for w in every.split()]
)
def test_endings_sound_as_in_a_dictionary_from_elsewhere(ending: str, word: str) -> None:
    """The last sounds of an inflected word are those of the PocketSphinx dictionary: "coils" z, "volts" s."""
    last = {"s": "s", "z": "z", "t": "t", "d": "d", "ŋ": "ng"}
    stem = next(stem for stem, kind in stems(word) if kind == ending and english.look_up([stem]))
    said = ENDINGS[ending](phonemes(stem))
    (phones, *_) = english.look_up([word])[word]
    assert last[said[-1]] == phones[-1].lower()
    assert (said[-2] in "ᵻɪ") == (phones[-2] in ("AH", "IH"))


def test_stress_is_taken_given_and_lowered() -> None:
    """None leaves a word alone; less takes or lowers its stress; capitals give it one where it has none."""
    assert stressed("kˈYl", None) == "kˈYl"
    assert stressed("pˈYnt", NONE) == "pYnt"
    assert stressed("hˈændbˌʊk", WEAKER) == "hˌændbʊk"
    assert stressed("wɪð", WORD) == "wˌɪð"
    assert stressed("wɪð", CAPITALS) == "wˈɪð"
    assert stressed("ˌɔn", CAPITALS) == "ˈɔn"
    assert stressed("hm", CAPITALS) == "hm"


def test_a_compound_has_one_main_stress() -> None:
    """Of two stressed parts the lighter gives way, and of letters the first keeps its stress."""
    assert compound(["bˈæk", "pɹˈOb"], letters_first=False) == "bˌækpɹˈOb"
    assert compound(["ˈO", "ˈɛl"], letters_first=True) == "ˈOˌɛl"
    assert compound(["fˈɔɹɾi", "ˈAt", "vˈOlt"], letters_first=False).count("ˈ") == 2
    assert compound(["kˈYl"], letters_first=False) == "kˈYl"
