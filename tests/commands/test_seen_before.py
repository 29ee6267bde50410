"""What an earlier session of the same order or car knows is proposed, and counts only after a yes."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant import resources
from assistant.commands.seen_before import known_before, proposed
from assistant.record import Facts, SessionLog

VIN, OTHER = "1J9RP1A36A1644345", "1G4AH59H45G118341"
"""Examples of the check digit from public tables (49 CFR 565.15(c))."""


def kept(parent: Path, **facts: str) -> None:
    """A session of these facts."""
    with SessionLog.create(parent, Facts(**facts), resources.directory("procedures")):
        pass


def asked(facts: Facts, parent: Path, answer: str | None) -> tuple[Facts, list[str]]:
    """The facts after the proposal, and the questions that were asked."""
    questions: list[str] = []

    def typed(question: str) -> str | None:
        questions.append(question)
        return answer

    return proposed(facts, parent, typed), questions


def test_what_stays_with_the_car_is_proposed_in_one_line(tmp_path: Path) -> None:
    """VIN, vehicle and cylinders of the earlier session; neither its complaint, its odometer nor its technician."""
    kept(tmp_path, order="4711", vin=VIN, vehicle="blue pickup", odometer="98200 miles", cylinders="6")
    kept(tmp_path, order="4712", vin=OTHER)
    found, questions = asked(Facts(order="4711", complaint="no start"), tmp_path, "y")
    assert Facts(order="4711", complaint="no start", vin=VIN, vehicle="blue pickup", cylinders="6") == found
    assert 1 == len(questions)
    assert f"VIN {VIN}, blue pickup, 6 cylinders. The same car?" in questions[0]


@pytest.mark.parametrize("answer", ["", "n", "maybe", None])
def test_nothing_is_taken_without_a_yes(tmp_path: Path, answer: str | None) -> None:
    """Enter, a no, anything else and the end of the input leave the facts as they are."""
    kept(tmp_path, order="4711", vin=VIN)
    assert Facts(order="4711") == asked(Facts(order="4711"), tmp_path, answer)[0]


def test_what_was_typed_now_stands(tmp_path: Path) -> None:
    """An earlier session never replaces a fact of this one; with nothing to add nobody is asked."""
    kept(tmp_path, order="4711", vin=VIN, cylinders="6")
    now = Facts(order="4711", vin=VIN, cylinders="8")
    assert (now, []) == asked(now, tmp_path, "y")


def test_a_car_is_found_by_its_vin_under_another_order(tmp_path: Path) -> None:
    """The VIN tells more than the order."""
    kept(tmp_path, order="4711", vin=VIN, cylinders="6")
    assert "6" == asked(Facts(order="5000", vin=VIN), tmp_path, "yes")[0].cylinders
    assert "" == asked(Facts(order="4711", vin=OTHER), tmp_path, "yes")[0].cylinders


def test_an_order_of_two_cars_proposes_nothing(tmp_path: Path) -> None:
    """Nobody could tell which of them is meant; so it is without an order, a VIN or a folder."""
    kept(tmp_path, order="4711", vin=VIN)
    kept(tmp_path, order="4711", vin=OTHER)
    assert ("", "", "") == (
        known_before(Facts(order="4711"), tmp_path)[1],
        known_before(Facts(), tmp_path)[1],
        known_before(Facts(order="4711"), tmp_path / "none")[1],
    )
