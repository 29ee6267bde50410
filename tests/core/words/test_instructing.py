"""Instructions come in the order of the hands, and a measurement is called by its part."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from sample_library import sample_library
from shipped import shipped_library

from assistant.core.library.procedure import Engine, Measurement, Step
from assistant.core.words import instructing, placing, reporting

LIBRARY = shipped_library()
LAMP = Step("feed", Measurement("test-lamp", "battery-negative", "feed", Engine.CRANKING), ())
LEAK_LAMP = Step(
    "leak", Measurement("test-lamp", "battery-positive", "switched", Engine.KEY_OFF, ("coil",)), ()
)
ALIKE = sample_library().step("coil-control", "switched-while-cranking")
DROP = LIBRARY.step("feed-weak", "whole-drop")


def said_at(step: Step, before: Measurement | None = None) -> tuple[str, ...]:
    """The instructions for connecting."""
    return instructing.setup(LIBRARY, step, before)


def test_a_lamp_is_proved_after_its_clip_is_on_and_on_the_pole_that_lights_it() -> None:
    """Clip on negative: battery positive lights it; clip on positive: only a ground does."""
    assert said_at(LAMP) == (
        "Clip the lamp to battery negative.",
        "Touch battery positive: lamp must light.",
        "Probe the feed side of the coil.",
    )
    on_positive = said_at(LEAK_LAMP)
    assert on_positive[:2] == ("Key off.", "Unplug the coil.")
    assert on_positive[2:4] == (
        "Clip the lamp to battery positive.",
        "Touch a clean ground: lamp must light.",
    )


def test_the_key_is_off_before_anything_is_touched() -> None:
    """Key off is the first word where the test is made with the key off; it is not said twice in a row."""
    ohms = LIBRARY.step("coil-and-driver", "leak-ohms")
    assert said_at(ohms, LAMP.measure)[0] == "Key off."
    assert "Key off." not in said_at(ohms, LEAK_LAMP.measure)
    assert said_at(ohms, LEAK_LAMP.measure)[0] == "Lamp off."


def test_a_heavy_lamp_that_is_on_the_feed_already_stays_there() -> None:
    """Nobody is told to take it off and put it back for the drop that it loads."""
    heavy = Measurement("heavy-lamp", "battery-negative", "feed", Engine.CRANKING)
    said = said_at(DROP, heavy)
    assert instructing.LAMP_STAYS in said
    assert "Heavy lamp off." not in said
    assert instructing.LAMP_STAYS not in said_at(DROP)


def test_leads_that_only_change_places_are_swapped() -> None:
    """The same two pins the other way round need three words."""
    first, again = (LIBRARY.step("coil-and-driver", name) for name in ("primary-ohms", "primary-ohms-again"))
    assert said_at(again, first.measure) == ("Swap the leads.",)


def test_a_look_leaves_the_instrument_where_it_was() -> None:
    """After a look in between a lamp need not be clipped again; a key that the look turned on is remembered."""
    look = Measurement("eyes", None, "security-lamp", Engine.KEY_ON)
    after = instructing.connected_after(LEAK_LAMP.measure, look)
    assert after == replace(LEAK_LAMP.measure, engine=Engine.KEY_ON)
    assert said_at(LEAK_LAMP, after)[0] == "Key off."
    assert instructing.connected_after(None, look) is None
    cranked = Measurement("eyes", None, "engine-speed", Engine.CRANKING)
    assert instructing.connected_after(LEAK_LAMP.measure, cranked) == replace(
        LEAK_LAMP.measure, engine=Engine.CRANKING, unplugged=()
    )


def test_a_question_names_no_two_words_for_one_thing() -> None:
    """An answer that is like another one and leads to the same place is left out, and keeps its digit."""
    step = ALIKE
    alike = next(answer for answer in step.answers if answer.outcome == "flickering")
    assert "Flickering" not in instructing.question(LIBRARY, step)
    assert "flickering" not in instructing.question(LIBRARY, step)
    assert "flickering" in step.heard
    elsewhere = replace(alike, target=step.answers[-1].target)
    other = replace(step, answers=tuple(elsewhere if one is alike else one for one in step.answers))
    assert "flickering" in instructing.question(LIBRARY, other)
    digits = [number for number, _ in instructing.spoken_answers(LIBRARY, step)]
    assert len(set(digits)) == len(digits) < len(step.answers)


@pytest.mark.parametrize(
    ("procedure", "step", "value", "unit", "words"),
    [
        ("feed-weak", "supply-drop", "0.12", "V", "Drop, battery to fuse: 0.12 volts."),
        ("feed-weak", "wire-drop", "3.5", "V", "Drop, fuse to coil: 3.5 volts."),
        ("battery-and-cranking", "ground-drop", "0.1", "V", "Engine ground drop: 0.1 volts."),
        ("battery-and-cranking", "starter-current", "180", "A", "Starter draw: 180 amps."),
        ("coil-and-driver", "primary-ohms", "0.5", "ohm", "Primary: 0.5 ohms."),
        ("primary-check", "peak-current", "8.9", "A", "Coil current: 8.9 amps."),
        ("coil-control", "battery-while-cranking", "10.2", "V", "Battery: 10.2 volts."),
    ],
)
def test_a_reading_is_read_back_by_the_part_that_it_is_about(
    procedure: str, step: str, value: str, unit: str, words: str
) -> None:
    """A drop is not the voltage of the battery, and the ohms of the primary are not two leads."""
    read = LIBRARY.step(procedure, step)
    assert words == reporting.read_back(LIBRARY, read, read.choices()[0], Decimal(value), unit)


def test_terms_that_were_copied_earlier_still_make_instructions() -> None:
    """A session from before holds verbs without a place, and no names of measurements."""
    assert placing.at_place("the feed side of the coil", "probe") == "Feed side of the coil: probe."
    old = replace(LIBRARY, terms=replace(LIBRARY.terms, called={}))
    read = LIBRARY.step("feed-weak", "supply-drop")
    assert placing.place_words(old, read) == "battery positive"
