"""Sentences that are too long for the network are parted where they may be."""

from __future__ import annotations

from hypothesis import given, strategies as st

from assistant.speaking.neural.breaths import breaths
from assistant.speaking.neural.pieces import PAUSES
from assistant.speaking.neural.pronouncing import phonemes

SIGNS = st.text(st.sampled_from("kiɔfˈː ,.;?"), max_size=80)


@given(read=SIGNS, most=st.integers(2, 90))
def test_no_part_is_too_long_and_no_sound_is_lost(read: str, most: int) -> None:
    """Every part fits the network, and together they are the sentence but for spaces and the commas between them."""
    parts = breaths(read, most)
    assert all(len(part) <= most for part in parts)
    kept = "".join(sign for part in parts for sign in part if sign not in " ,")
    assert kept == "".join(sign for sign in read if sign not in " ,")


@given(read=SIGNS)
def test_a_short_sentence_stays_whole(read: str) -> None:
    """What the program says itself is never cut."""
    assert breaths(read, 90) == [read]


def test_it_is_cut_at_a_clause_before_a_word() -> None:
    """A listener hears a pause where the writer made one; else between words, and never as an end of the sentence."""
    clauses = phonemes("Turn the key to start, and look at the lamp, which may flicker.")
    first, *others = breaths(clauses, 40)
    assert first == phonemes("Turn the key to start,")
    assert all(part[-1] in PAUSES for part in [first, *others])
    words = phonemes("start " * 20).split()
    parts = breaths(" ".join(words), 40)
    assert len(parts) > 1
    assert [word.rstrip(",") for part in parts for word in part.split()] == words
    assert all(part.endswith(",") for part in parts[:-1])
