"""Pauses that keep two words apart."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from assistant.speaking.neural.junctures import parted
from assistant.speaking.neural.pronouncing import phonemes


@given(
    read=st.lists(
        st.sampled_from(["fjˈuz", "səplˈI", "ˈɛnd", "tə", "ɡɹˈWnd.", "klˈæmp", "ˈɔf", "ˈɔf.", "kˈi"])
    )
)
def test_only_pauses_are_put_in(read: list[str]) -> None:
    """No sound is lost or put in, and parting twice is parting once."""
    sentence = " ".join(read)
    assert parted(sentence).replace(",", "") == sentence
    assert parted(parted(sentence)) == parted(sentence)


@pytest.mark.parametrize(
    ("sentence", "with_pause"),
    [
        ("Driver end to ground: over range.", "Driver end, to ground: over range."),
        ("Fuse supply: dark.", "Fuse, supply: dark."),
        ("Logic probe off.", "Logic probe, off."),
        ("Key off.", "Key off."),
        ("Probe off the pin.", "Probe off the pin."),
        ("Measure it end to end.", "Measure it end to end."),
        ("Pull the fuse.", "Pull the fuse."),
    ],
)
def test_the_pause_is_where_words_would_run_together(sentence: str, with_pause: str) -> None:
    """A pause stands where it was heard to help, and nowhere else."""
    assert [word.rstrip(",") for word in phonemes(sentence).split()] == [
        word.rstrip(",") for word in phonemes(with_pause).split()
    ]
    assert phonemes(sentence).count(",") == with_pause.count(",")
