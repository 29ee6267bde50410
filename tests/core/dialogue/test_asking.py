"""Facts in words, and the letters on a number pad."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, strategies as st
from shipped import shipped_library

from assistant.core.dialogue import asking
from assistant.core.dialogue.inquiring import AskedFact, Origin
from assistant.core.library.terms import FactKind, Inquiry

FACTS = shipped_library().terms.facts
SIGNS = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ"
SPELLED = Inquiry("code", FactKind.SPELLED, "Code", "Which code?", longest=40)


def press(asked: AskedFact, keys: str) -> list[str]:
    """Press keys as they are written, a point for ``.``; the sentences that refuse one."""
    found = [asked.press("point" if key == "." else key) for key in keys]
    return [problem for problem in found if problem]


@given(st.text(SIGNS, max_size=40))
def test_every_sign_can_be_keyed(signs: str) -> None:
    """The keys of each sign, one after the other, give the signs again."""
    asked = AskedFact(SPELLED)
    assert [] == press(asked, "".join(map(asking.keys_of, signs)))
    assert signs == asked.signs


@pytest.mark.parametrize(
    ("letter", "keys"),
    # ITU-T E.161: 2 ABC, 3 DEF, 4 GHI, 5 JKL, 6 MNO, 7 PQRS, 8 TUV, 9 WXYZ.
    [
        ("A", ".21"),
        ("C", ".23"),
        ("D", ".31"),
        ("I", ".43"),
        ("O", ".63"),
        ("S", ".74"),
        ("V", ".83"),
        ("Z", ".94"),
    ],
)
def test_letters_are_on_the_keys_of_the_standard(letter: str, keys: str) -> None:
    """A letter is a point, the key that carries it, and its place there."""
    assert keys == asking.keys_of(letter)
    assert letter == asking.letter_of(keys)


@given(st.text("0123456789.", max_size=30))
def test_any_keys_give_signs_or_a_sentence(keys: str) -> None:
    """Any keyed text gives signs that can be spelled, an unfinished code, or a sentence."""
    asked = AskedFact(SPELLED)
    problems = press(asked, keys)
    assert set(asked.signs) <= set(SIGNS)
    assert asking.letter_of(asked.code) == "" if asked.code else True
    assert all(problem.endswith(".") for problem in problems)


@given(st.lists(st.text(SIGNS, min_size=1, max_size=6), max_size=6))
def test_taking_back_undoes_group_by_group(groups: list[str]) -> None:
    """Signs spelled in one breath are taken back in one go, the last first."""
    asked = AskedFact(SPELLED)
    for group in groups:
        assert "" == asked.add(group, Origin("voice", group))
    for group in reversed(groups):
        assert group == asked.take_back()
    assert "" == asked.take_back()


def test_keyed_signs_are_one_group_and_are_erased_one_by_one() -> None:
    """Take back undoes what was keyed in one go; erase takes back the last key or sign."""
    asked = AskedFact(SPELLED)
    press(asked, "12.2")
    asked.erase()
    assert "12 ." == asked.shown
    asked.erase()
    asked.erase()
    assert "1" == asked.signs
    press(asked, "3")
    assert "13" == asked.take_back()


def test_a_letter_that_no_vin_has_is_refused() -> None:
    """I, O and Q are named with the digit that each may be."""
    asked = AskedFact(FACTS["vin"])
    assert ["A VIN never has the letter I. It may be 1."] == press(asked, ".43")
    assert "" == asked.signs


def test_more_signs_than_fit_are_refused_whole() -> None:
    """A group that would be too long is not taken by halves."""
    asked = AskedFact(FACTS["technician"])
    asked.add("ABC", Origin("voice", "x"))
    assert "At most 4." in asked.add("DE", Origin("voice", "x"))
    assert "ABC" == asked.signs


@pytest.mark.parametrize(
    ("fact", "value", "unit", "problem"),
    [
        ("lamp-current", "0.27", "A", ""),
        ("lamp-current", "7", "A", "7 is outside 0.005 to 6 amps."),
        ("cylinder", "2.5", "", "Cylinder under test: whole numbers only."),
        ("air-temperature", "68", "fahrenheit", ""),
        ("air-temperature", "200", "fahrenheit", "200 is outside -50 to 60 degrees celsius."),
        ("odometer", "1300000", "miles", "Odometer: that can't be right."),
        ("odometer", "1300000", "km", ""),
    ],
)
def test_a_number_that_cannot_be_believed_is_named(fact: str, value: str, unit: str, problem: str) -> None:
    """The limits are those of the fact's own unit, whatever unit the number was given in."""
    assert problem == asking.problem_with(FACTS[fact], Decimal(value), unit)


def test_numbers_come_in_the_unit_of_the_fact() -> None:
    """Fahrenheit becomes Celsius, blanks and texts are left out.  212 degrees Fahrenheit is 100 Celsius."""
    given_facts = {
        "coil-temperature": ("212", "fahrenheit"),
        "lamp-current": ("", ""),
        "vin": ("11111111111111111", ""),
    }
    assert {"coil-temperature": Decimal("100.00")} == asking.numbers(FACTS, given_facts)


def test_many_signs_are_spoken_in_fours() -> None:
    """A long number is read back with a stop after each four signs."""
    assert "one, hotel, golf" == asking.spelled("1HG")
    assert "one, one, one, one. two, two, two, x-ray. niner" == asking.spelled("1111222X9")
