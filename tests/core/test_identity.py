"""The vehicle identification number."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from assistant.core.identity import check_digit, check_vin
from assistant.errors import UsageProblem

# Outside check: numbers whose check digit is right, from 49 CFR 565 and public tables.
VALID = ["1G4AH59H45G118341", "1J9RP1A36A1644345"]
SIGNS = "0123456789ABCDEFGHJKLMNPRSTUVWXYZ"


@pytest.mark.parametrize("vin", VALID)
def test_published_numbers_are_taken(vin: str) -> None:
    """Numbers published as valid are taken, also as a person types them."""
    assert vin == check_vin(vin).text
    assert vin == check_vin(f" {vin[:3]}-{vin[3:9]} {vin[9:].lower()}\n").text


def test_ones_are_valid() -> None:
    """Seventeen ones give the check digit 1: the sum of the weights is 89, and 89 is 1 above 8 times 11."""
    assert str(check_vin("1" * 17)) == "1" * 17


@given(st.text(SIGNS, min_size=17, max_size=17))
def test_the_offered_check_digit_is_accepted(text: str) -> None:
    """The check digit that an error offers is the one that is taken."""
    right = check_digit(text)
    assert right in "0123456789X"
    vin = text[:8] + right + text[9:]
    assert vin == check_vin(vin).text
    wrong = text[:8] + ("1" if right != "1" else "2") + text[9:]
    with pytest.raises(UsageProblem, match=f"give {right}"):
        check_vin(wrong)


@given(st.sampled_from(VALID), st.integers(0, 16), st.sampled_from("0123456789"))
def test_a_misread_digit_is_found(vin: str, position: int, digit: str) -> None:
    """One digit read as another is always found: the weights have no common factor with 11."""
    if not vin[position].isdigit() or digit == vin[position]:
        return
    with pytest.raises(UsageProblem, match="check digit"):
        check_vin(vin[:position] + digit + vin[position + 1 :])


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "has 0"),
        ("1G4AH59H45G11834", "17 characters, but 1G4AH59H45G11834 has 16"),
        ("1G4AH59H45G1183411", "has 18"),
        ("IG4AH59H45G118341", "letter I in position 1.*digit 1"),
        ("1G4AO59H45G118341", "letter O in position 5.*digit 0"),
        ("1G4AH59H45Q118341", "letter Q in position 11.*digit 0"),
        ("1G4AH59H45G11834é", "'é' in position 17"),
        ("1G4AH59H95G118341", "check digit 9 .*give 4"),
    ],
)
def test_errors_say_what_would_be_right(text: str, says: str) -> None:
    """Each kind of mistake is named with its place."""
    with pytest.raises(UsageProblem, match=says):
        check_vin(text)


@given(st.text(max_size=25))
def test_any_text_gives_a_number_or_the_documented_error(text: str) -> None:
    """Whatever is typed: a valid number, or a sentence for a person."""
    try:
        vin = check_vin(text)
    except UsageProblem:
        return
    assert len(vin.text) == 17
    assert vin == check_vin(vin.text)
