"""The vehicle identification number."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from assistant.core.library.identity import ALIKE, check_digit, check_odometer, check_vin, repairs
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


@st.composite
def vins(draw: st.DrawFn) -> str:
    """A number with all that is known of its places: check digit, a model year, four digits at the end."""
    signs = st.sampled_from(SIGNS)
    head = "".join(draw(signs) for _ in range(8))
    year = draw(st.sampled_from("123456789ABCDEFGHJKLMNPRSTVWXY"))
    tail = year + "".join(draw(signs) for _ in range(3)) + draw(st.text("0123456789", min_size=4, max_size=4))
    return head + check_digit(f"{head}0{tail}") + tail


@given(vins(), st.integers(0, 16), st.sampled_from(ALIKE), st.booleans())
def test_the_slip_that_was_made_is_among_those_that_are_named(
    vin: str, place: int, pair: str, exchanged: bool
) -> None:
    """A sign taken for one like it, or two neighbours exchanged: the true number is one of the repairs."""
    if exchanged:
        read = vin[:place] + vin[place + 1 : place + 2] + vin[place] + vin[place + 2 :]
    else:
        read = (
            vin[:place]
            + (pair.replace(vin[place], "") if vin[place] in pair else vin[place])
            + vin[place + 1 :]
        )
    if len(read) != 17 or check_digit(read) == read[8]:
        return
    found = repairs(read)
    assert vin in {repair.vin for repair in found}
    assert all(str(check_vin(repair.vin)) == repair.vin for repair in found)
    with pytest.raises(UsageProblem, match="check digit"):
        check_vin(read)


@pytest.mark.parametrize(
    ("vin", "says"),
    [
        ("1G4AH59H45G1183A1", "Position 16 may be 4, not A. Look at the plate there."),
        (
            "1G44H59H45G118341",
            "One of these may be: position 4 may be A, not 4; positions 13 and 14 may be exchanged",
        ),
        ("1G4AH59HA5G118341", "Position 9 may be 4, not A."),
        ("1G4AH59H35G118341", "unless the check digit itself, 3, is 4"),
        ("14GAH59H45G118341", "Look at the plate again, first at the positions"),
    ],
)
def test_the_odd_character_is_named_where_it_can_be(vin: str, says: str) -> None:
    """One slip that explains it, a few, many, the check digit itself, or none."""
    with pytest.raises(UsageProblem) as caught:
        check_vin(vin)
    assert says in str(caught.value)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("98200", "98200 km"),
        ("98,200 miles", "98200 miles"),
        ("158 000 km", "158000 km"),
        ("158 000 KM.", "158000 km"),
        ("61017mi", "61017 miles"),
        ("0", "0 km"),
    ],
)
def test_an_odometer_is_taken_as_people_type_it(text: str, shown: str) -> None:
    """Commas and spaces between thousands, with or without a unit."""
    assert shown == str(check_odometer(text))
    assert shown == str(check_odometer(shown))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("98200.5", "not a whole number"),
        ("98,20", "not a whole number"),
        ("-5", "not a whole number"),
        ("", "not a whole number"),
        ("12 furlongs", "unit 'furlongs'"),
        ("2000001", "more than 2000000 km"),
        ("1300000 miles", "more than 2000000 km"),
    ],
)
def test_an_impossible_odometer_is_refused_with_a_sentence(text: str, says: str) -> None:
    """Tenths, a sign, another unit, or more than a vehicle goes."""
    with pytest.raises(UsageProblem, match=says):
        check_odometer(text)


@given(st.text(max_size=25))
def test_any_odometer_is_a_number_or_the_documented_error(text: str) -> None:
    """Whatever is typed: a whole number that can be, or a sentence for a person."""
    try:
        odometer = check_odometer(text)
    except UsageProblem:
        return
    assert 0 <= odometer.number <= 2_000_000


@given(st.text(max_size=25))
def test_any_text_gives_a_number_or_the_documented_error(text: str) -> None:
    """Whatever is typed: a valid number, or a sentence for a person."""
    try:
        vin = check_vin(text)
    except UsageProblem:
        return
    assert len(vin.text) == 17
    assert vin == check_vin(vin.text)
