"""Words without a pronunciation as their letters."""

from __future__ import annotations

import pytest

from assistant.speaking.spelled import spelled


@pytest.mark.parametrize(
    ("sentence", "words", "expected"),
    [
        ("Xylq is dark.", ["Xylq"], "X Y L Q is dark."),
        ("Ab abab ab.", ["ab"], "Ab abab A B."),
        ("Crème-zz, then.", ["Crème-zz"], "C R E M E Z Z, then."),
        ("Щит is dark.", ["Щит"], "Щит is dark."),
        ("A x+y.", ["x+y"], "A X Y."),
    ],
)
def test_only_the_named_words_are_spelled(sentence: str, words: list[str], expected: str) -> None:
    """Whole words and nothing else, accents left out; a word of foreign letters is left for an error to name."""
    assert expected == spelled(sentence, words)
