"""The sentence that says whether readings or an eye carry the verdict."""

from __future__ import annotations

import re
from dataclasses import replace

from recorded import BAD_COIL, OPEN_CONTROL_WIRE, library, scripted, session
from small_shop import small_library, whole_story

from assistant.core.library.library import Library
from assistant.record.course import course_of
from assistant.writeup import draft, text
from assistant.writeup.carrying import carried
from assistant.writeup.telling import way


def sentence(*answers: str, procedure: str = "coil-control", known: Library | None = None) -> str:
    """Return what the write-up says of a session with these answers."""
    talk = scripted(*answers, procedure=procedure)
    course = course_of(session(talk))
    (ended,) = course.verdicts
    found = carried(known or library(), way(course, ended))
    return found[0].text if found else ""


def named(words: str) -> set[int]:
    """Numbers of tests in a sentence."""
    return {int(number) for number in re.findall(r"\d+", words)}


def test_the_readings_that_decided_are_named_with_their_tests_and_the_blink_is_set_below_them() -> None:
    """Volts, ohms, drops and the LED light by their numbers; what the eye made of the lamp carries less."""
    assert (
        "This verdict rests on readings more than on the eye's judgment of a blink (test 2): voltmeter (tests 1, 5, "
        "and 11), LED light (test 3), ohmmeter (tests 4, 6, and 12), and voltmeter and heavy lamp (tests 9, 10, and "
        "13)." == sentence(*BAD_COIL)
    )


def test_it_follows_the_tests_and_not_the_verdict() -> None:
    """The same verdict after other tests names those: one reading more in the session, one more in the sentence."""
    # The wires are mixed up: the light is dark at the module, too, and one reading more tells it.
    again = [*OPEN_CONTROL_WIRE[:-1], "dark", "5 ohm"]
    assert named(sentence(*OPEN_CONTROL_WIRE)) == {1, 2, 3, 4, 5, 6}
    assert named(sentence(*again)) == {1, 2, 3, 4, 5, 6, 7}


def test_it_stands_below_the_cause_in_every_form() -> None:
    """Return the places where the cause is read, with the lines of the log that it is derived from."""
    made = draft(session(scripted(*OPEN_CONTROL_WIRE)), library())
    last = made.findings[-1]
    assert last.text.startswith("This verdict rests on readings")
    assert {source.file for source in last.sources} >= {"log", "procedures/terms.yaml"}
    assert "This verdict rests on readings" in " ".join(text(made).split())


def test_a_lamp_that_is_lit_or_dark_is_neither() -> None:
    """Without a blink and with a meter, the sentence says that no blink had to be judged."""
    words = sentence("over-range", "over-range", procedure="primary-check")
    assert (
        "This verdict rests on readings: ohmmeter (tests 1 and 2). No blink had to be judged by eye." == words
    )


def test_a_look_alone_carries_nothing_that_is_said() -> None:
    """The immobilizer's lamp after the battery: the look is not named, the reading is."""
    words = sentence("10.5 V", "lamp-on", procedure="built-in-driver-coil")
    assert "This verdict rests on readings: voltmeter (test 1). No blink had to be judged by eye." == words


def test_a_verdict_that_only_an_eye_carries_says_so() -> None:
    """When a blink alone decided, or decided last, nothing is claimed for readings."""
    shop = small_library()
    recorded = whole_story().session()
    course = course_of(recorded)
    ended = course.verdicts[-1]
    results = way(course, ended)
    blinks = [one for one in results if one.result.outcome in ("steady", "blinking", "flickering")]
    rest = [one for one in results if one not in blinks]
    assert blinks
    assert rest
    (alone,) = carried(shop, blinks)
    assert alone.text.endswith("no reading carries it.")
    (last,) = carried(shop, [*rest, replace(blinks[-1], line=rest[-1].line + 1)])
    assert last.text.startswith("The last test is the eye's judgment of a blink")
    assert "a reading should confirm it" in last.text
    assert carried(shop, []) == ()
