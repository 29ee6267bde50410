"""Rehearsed sessions of persons who err: what they answer, how a session is counted, the command."""

from __future__ import annotations

import json
from dataclasses import replace
from decimal import Decimal

import pytest
from shipped import shipped_folder

from assistant.circuit.catalogue import mechanisms
from assistant.circuit.parameters import Systems
from assistant.cli import main
from assistant.core.library.vocabulary import OVER_RANGE
from assistant.rehearsal import erring
from assistant.rehearsal.erring import RehearsalRequest, good_parts, habits, judge, play, rehearse
from assistant.rehearsal.persons import Bay, Given, Habit, Person, spoken_value

LIBRARY, KNOWLEDGE = shipped_folder()
CIRCUIT = "coil-with-external-driver"
WAYS = {way.fault: way for way in mechanisms(CIRCUIT)}
BAY = Bay(LIBRARY, CIRCUIT, Systems.random(3, 7))


def person(fault: str, habit: Habit, seed: str = "1", car: int = 0) -> Person:
    return Person(BAY, WAYS[fault], car, habit, seed)


def answers(fault: str, habit: Habit, procedure: str, step: str, count: int = 2000) -> list[Given]:
    one = person(fault, habit)
    return [one.answer(procedure, LIBRARY.step(procedure, step)) for _ in range(count)]


def test_an_honest_person_says_what_is_to_be_seen() -> None:
    """A dead driver: no light in the coil's place; the primary's ohms are the car's own."""
    one = person("driver-dead", Habit("honest"))
    step = LIBRARY.step("coil-and-driver", "led-in-coils-place")
    assert one.answer("coil-and-driver", step).answer.outcome == "dark"
    ohms = LIBRARY.step("coil-and-driver", "primary-ohms")
    given = person("coil-secondary", Habit("honest")).answer("coil-and-driver", ohms)
    assert given.value is not None
    assert Decimal("0.2") < given.value < Decimal(2)


def test_misreading_comes_at_its_rate_and_takes_every_other_answer_alike() -> None:
    """Of 2,000 answers at 5 % about 100 are wrong (four sigma: 39), and each wrong one is about as frequent."""
    given = answers("driver-dead", Habit("x", misreading=0.05), "feed-dead", "feed-key-on")
    wrong = [one.answer.outcome for one in given if one.answer.outcome != "lit"]
    assert 61 <= len(wrong) <= 139
    assert abs(wrong.count("dim") - wrong.count("dark")) < 40


def test_what_is_told_looked_up_or_done_is_not_misread() -> None:
    """A diagram shows what it shows, however badly the person sees a lamp."""
    given = answers("driver-dead", Habit("x", misreading=1.0), "spark-check", "coil-driver", 50)
    assert len({one.answer.outcome for one in given}) == 1


@pytest.mark.parametrize(
    ("procedure", "step", "outcome", "value"),
    [
        ("feed-dead", "feed-key-on", "dark", None),
        ("feed-weak", "supply-drop", "within", Decimal(0)),
        ("coil-and-driver", "primary-ohms", "open", None),
        ("feed-dead", "crank-signal", "missing", None),
    ],
)
def test_a_probe_without_contact(procedure: str, step: str, outcome: str, value: Decimal | None) -> None:
    """The lamp is dark, the voltmeter shows nothing, the ohmmeter is over its range, the signal is missing."""
    (given,) = answers("coil-secondary", Habit("x", missing=1.0), procedure, step, 1)
    assert (outcome, value) == (given.answer.outcome, given.value)


def test_contact_is_missed_anew_each_time_and_never_by_a_clamp() -> None:
    """Of 2,000 probings at 3 % about 60 miss (four sigma: 31); a clamp closes around a cable."""
    habit = Habit("x", missing=0.03)
    dark = [
        one.answer.outcome
        for one in answers("driver-dead", habit, "feed-dead", "feed-key-on")
        if one.answer.outcome == "dark"
    ]
    assert 29 <= len(dark) <= 91
    one = person("driver-dead", Habit("x", missing=1.0))
    one.answer("driver-supply-and-inputs", LIBRARY.step("driver-supply-and-inputs", "primary-current"))
    assert one.missed == 0


def test_a_part_that_is_good_is_counted_wherever_it_is_named() -> None:
    """The coil of a car with an open control wire is good, its wire is not; the mechanism's own list decides."""
    way = WAYS["control-wire-open"]
    assert good_parts(LIBRARY, way, "coil-and-driver", "coil-bad") == ("ignition coil",)
    assert good_parts(LIBRARY, way, "coil-and-driver", "control-wire-open") == ()
    assert good_parts(LIBRARY, way, "coil-and-driver", "held-down") == ()


def test_a_session_that_ends_at_a_wrong_part_is_counted_as_one() -> None:
    """A person who never makes contact gets a good part; one who does is right."""
    wanted = RehearsalRequest()
    sure = person("control-wire-open", Habit("honest"))
    counts = judge(LIBRARY, play(LIBRARY, KNOWLEDGE, wanted, sure), WAYS["control-wire-open"], sure)
    assert (1, 0, 0) == (counts.right, counts.good_part, counts.erred)
    # Both lamps at the switched side are dark for want of contact: the coil's primary is called open.
    missing = person("driver-dead", Habit("x", missing=1.0))
    counts = judge(LIBRARY, play(LIBRARY, KNOWLEDGE, wanted, missing), WAYS["driver-dead"], missing)
    assert counts.erred == 1
    assert counts.right == 0


def test_the_same_seed_gives_the_same_counts_in_one_process_or_two() -> None:
    """A figure can be measured again."""
    wanted = RehearsalRequest(cars=2, habits=(Habit("misreads", misreading=0.05),), procedure="feed-dead")
    alone = rehearse(replace(wanted, processes=1))
    assert alone == rehearse(replace(wanted, processes=2))
    assert sum(counts.sessions for counts in alone.values()) > 30


def test_the_command_prints_a_line_for_each_fault(capsys: pytest.CaptureFixture[str]) -> None:
    """A table for each person with its mean, and the same as JSON; an unknown procedure is refused."""
    few = ["rehearsal", "--cars", "1", "--processes", "1", "--procedure"]
    assert main(["bench", *few, "feed-weak"]) == 0
    shown = capsys.readouterr().out
    assert erring.CAUTION in shown
    assert shown.count("| mean of the faults |") == len(habits(0.05))
    assert "| weak-battery (presumed excluded, not in the means) |" in shown
    assert main(["bench", "--json", *few, "battery-and-cranking"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert {one["person"] for one in found["sessions"]} == {habit.name for habit in habits(0.05)}
    assert main(["bench", "rehearsal", "--procedure", "no-such-thing"]) == 2


def test_over_range_is_said_as_such() -> None:
    """A meter over its range is no number."""
    given = Given(LIBRARY.step("coil-and-driver", "primary-ohms").reading.bands[-1])  # type: ignore[union-attr]
    assert spoken_value(given) == (OVER_RANGE, None)
