"""Sentences become the phonemes that the voice reads."""

from __future__ import annotations

import pytest

from assistant.speaking.neural.pronouncing import Unpronounceable, phonemes


@pytest.mark.parametrize(
    ("sentence", "expected"),
    [
        # What hibari 0.2.1, the package that the voice comes from, writes for these sentences.
        ("Key on, feed side lit?", "kˈi ˌɔn, fˈid sˈId lˈɪt?"),
        ("Caution: live circuit, don't short it.", "kˈɔʃən: lˈIv sˈɜɹkət, dˈOnt ʃˈɔɹt ɪt."),
        ("Drop, battery to coil: 0.12 volts.", "dɹˈɑp, bˈæTəɹi tə kˈYl: zˈɪɹO pYnt wˈʌn tˈu vˈOlts."),
        ("Sensor A C volts: 0.15 volts.", "sˈɛnsəɹ ˈA sˈi vˈOlts: zˈɪɹO pYnt wˈʌn fˈIv vˈOlts."),
        ("Back-probe the coil's trigger pin.", "bˌækpɹˈOb ðə kˈYlz tɹˈɪɡəɹ pˈɪn."),
        (
            "Wiggle the neighbors of that connector, one at a time.",
            "wˈɪɡᵊl ðə nˈAbəɹz ʌv ðˈæt kənˈɛktəɹ, wˈʌn æt ɐ tˈIm.",
        ),
    ],
)
def test_the_reference_writes_the_same(sentence: str, expected: str) -> None:
    """The sentence is read as the package that the voice was trained with reads it."""
    assert phonemes(sentence) == expected


def test_words_that_no_lexicon_has_are_named() -> None:
    """Each unknown word is named once, in the order of the sentence and as it is written."""
    with pytest.raises(Unpronounceable) as caught:
        phonemes("Check the Gribblefax and the zorbnik, then the Gribblefax.")
    assert caught.value.words == ("Gribblefax", "zorbnik")
