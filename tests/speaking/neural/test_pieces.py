"""Numbers as they are read aloud."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, strategies as st
from num2words import num2words

from assistant.speaking.neural.pieces import number_in_words, pieces


def words_of(text: str) -> list[str]:
    """The words of another library's reading, without what only writing has."""
    return [word for word in text.replace("-", " ").replace(",", "").split() if word != "and"]


@given(number=st.integers(0, 999_999))
def test_whole_numbers_are_read_as_num2words_reads_them(number: int) -> None:
    """The library num2words says the same words, but for its "and"."""
    assert number_in_words(str(number)).split() == words_of(num2words(number))
    assert number_in_words(f"{number:,}") == number_in_words(str(number))


@given(whole=st.integers(0, 9999), decimals=st.text("0123456789", min_size=1, max_size=3))
def test_decimals_are_read_digit_by_digit(whole: int, decimals: str) -> None:
    """Every digit behind the point is read, zeros at the end too; otherwise as num2words reads them."""
    read = number_in_words(str(whole), decimals).split()
    assert len(decimals) == len(read) - read.index("point") - 1
    exact = decimals.rstrip("0")
    if exact:
        theirs = words_of(num2words(Decimal(f"{whole}.{exact}")))
        assert read[: len(theirs)] == theirs


@pytest.mark.parametrize(
    ("number", "expected"), [(n, num2words(n, to="ordinal")) for n in (1, 2, 3, 5, 8, 12, 20, 21, 113)]
)
def test_ordinals_are_read_as_num2words_reads_them(number: int, expected: str) -> None:
    """The ending decides: "2nd" is read "second"."""
    assert [word for piece in pieces(f"{number}th") for word in piece.parts] == words_of(expected)


def test_long_numbers_and_zeros_in_front_are_read_digit_by_digit() -> None:
    """Nobody compares "twelve million and ..." with a screen, and "007" is not seven."""
    assert number_in_words("1234567") == "one two three four five six seven"
    assert number_in_words("007") == "zero zero seven"
    assert number_in_words("50", sign="-") == "minus fifty"


def test_marks_stay_where_they_are() -> None:
    """A decimal point ends nothing, a full stop does; quotes and brackets become those of the voice."""
    (twelve, *_, volts) = pieces('"12.4 volts."')
    assert (twelve.before, twelve.after) == ("“", "")
    assert volts.after == ".”"
    assert [piece.after for piece in pieces("lit - dim... or dark?")] == ["", "—", "…", "", "?"]


@pytest.mark.parametrize(
    ("written", "plain"),
    [
        ("\U0001f527 Check the coil \U0001f44d\U0001f3fd.", "Check the coil."),
        ("Check\u200bthe\u202ecoil\ufe0f.", "Check the coil."),
        ("*Check* the ...coil...", "Check the coil…"),
        ("P0301/P0302-P0303", "P0301 P0302 P0303"),
        ("Order #4711-AB", "Order number 4711 AB"),
        ("5\u00a0°C", "5 °C"),
    ],
)
def test_what_only_writing_has_is_not_said(written: str, plain: str) -> None:
    """Pictures, invisible signs and marks of markup cost no word, and codes in a row are spelled each by itself."""
    assert [piece.parts for piece in pieces(written) if piece.parts] == [
        piece.parts for piece in pieces(plain)
    ]


def test_a_number_of_any_length_is_read() -> None:
    """A page of digits is no error (Python refuses to make a number of more than 4,300)."""
    assert number_in_words("7" * 5000) == " ".join(["seven"] * 5000)
    assert number_in_words("9" * 6).split() == words_of(num2words(999_999))
