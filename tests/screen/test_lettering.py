"""Large letters and the measuring of text."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given, strategies as st

from assistant.screen import lettering
from assistant.screen.lettering import clean, clip, columns, wrap


@given(text=st.text(max_size=40))
def test_clean_text_cannot_move_the_cursor(text: str) -> None:
    """After cleaning, no control, format or combining character is left."""
    kinds = {unicodedata.category(letter) for letter in clean(text)}
    assert set() == kinds & {"Cc", "Cf", "Cs", "Cn", "Co", "Mn", "Me", "Zl", "Zp"}


@given(text=st.text(max_size=60), width=st.integers(1, 30))
def test_wrapped_lines_fit_and_lose_no_word(text: str, width: int) -> None:
    """No line is wider than asked; with room for the widest letter, every letter survives."""
    text = clean(text)
    lines = wrap(text, width)
    assert all(columns(line) <= width for line in lines)
    if width >= 2:
        assert "".join(text.split()) == "".join("".join(lines).split())


@given(text=st.text(max_size=30), width=st.integers(0, 30))
def test_clipped_text_fits(text: str, width: int) -> None:
    """Clipping keeps a beginning that fits."""
    clipped = clip(clean(text), width)
    assert columns(clipped) <= width
    assert clean(text).startswith(clipped)


@given(text=st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126), min_size=1, max_size=12))
def test_every_size_has_straight_edges(text: str) -> None:
    """All rows of large letters are equally wide, so that they can stand side by side."""
    for letters, height in ((lettering.tall, 7), (lettering.broad, 7), (lettering.low, 4)):
        rows = letters(text, blocks=True)
        assert rows is not None
        assert (height, 1) == (len(rows), len({len(row) for row in rows}))


def test_all_capitals_and_digits_differ() -> None:
    """No two capitals or digits look alike, so that a glance cannot mistake a 1 for an L."""
    drawn = {tuple(lettering.dots(letter) or ()) for letter in "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"}
    assert len(drawn) == 36


@pytest.mark.parametrize("text", ["", "Ω", "a\u4e2d"])
def test_missing_letters_fall_back(text: str) -> None:
    """A letter that the font lacks means no large letters, not a gap in the word."""
    assert [letters(text, blocks=True) for letters in (lettering.low, lettering.tall, lettering.broad)] == [
        None,
        None,
        None,
    ]


def test_without_blocks_only_plain_characters() -> None:
    """A terminal without block characters gets number signs, and no half-height letters."""
    rows = lettering.tall("LIT", blocks=False)
    assert rows is not None
    assert {"#", " "} == set("".join(rows))
    assert lettering.low("LIT", blocks=False) is None
