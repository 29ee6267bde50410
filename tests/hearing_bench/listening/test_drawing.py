"""The draw of sentences: fresh, from the half that nothing is tuned on, the same for the same seed."""

from __future__ import annotations

import hashlib

from hypothesis import given, strategies as st

from assistant.hearing_bench.listening.drawing import Half, draw, half_of

SENTENCES = [f"Sentence {number}." for number in range(400)]


def test_the_halves_are_by_the_hash_of_the_text() -> None:
    """The first hexadecimal digit of the SHA-256 decides, so both halves are agreed without a list."""
    for sentence in SENTENCES[:40]:
        digit = int(hashlib.sha256(sentence.encode("utf-8")).hexdigest()[0], 16)
        assert half_of(sentence) is (Half.TUNING if digit < 8 else Half.MEASURING)


def test_nothing_is_measured_that_was_tuned_on() -> None:
    """Unless asked, only the measuring half is drawn from; the two halves share nothing and lack nothing."""
    measuring, tuning = draw(SENTENCES, 0, 1), draw(SENTENCES, 0, 1, Half.TUNING)
    assert not set(measuring) & set(tuning)
    assert set(measuring) | set(tuning) == set(SENTENCES)
    assert abs(len(measuring) - 200) < 40
    assert set(SENTENCES) == set(draw(SENTENCES, 0, 1, Half.BOTH))


@given(st.integers(0, 50), st.integers(0, 1000))
def test_a_seed_draws_the_same_again(count: int, seed: int) -> None:
    """The order of the sentences and their repetition make no difference; another seed draws others."""
    drawn = draw(SENTENCES, count, seed)
    assert drawn == draw([*reversed(SENTENCES), *SENTENCES], count, seed)
    assert len(set(drawn)) == len(drawn) == (count or len(drawn))
    assert not count or drawn != draw(SENTENCES, count, seed + 1) or count < 3
