"""Telling the cause: with which tests, and in which words."""

from __future__ import annotations

from recorded import BAD_COIL, OPEN_CONTROL_WIRE, library, scripted, session
from small_shop import small_library, whole_story

from assistant.writeup import draft, text


def told(*answers: str, procedure: str = "coil-control") -> list[str]:
    """The sentences before the verdict."""
    return [one.text for one in draft(session(scripted(*answers, procedure=procedure)), library()).findings]


def test_an_open_control_wire_is_told_by_the_light_at_both_ends_and_the_ohms() -> None:
    """Switched at the driver, not at the coil, and the wire between them measured: a customer can follow it."""
    light, meter, there, carried = told(*OPEN_CONTROL_WIRE)
    assert (
        "With the engine cranking and the coil unplugged, the LED light on the control pin in the coil connector "
        "stayed dark (good: lamp blinking)." == light
    )
    assert there.endswith("the LED light on the driver end of the control wire blinked.")
    assert meter.startswith(
        "With the key off and the coil and the driver module unplugged, the ohmmeter from "
    )
    assert meter.endswith("read 40 ohm: above the limit (good: below 0.3 ohm).")
    assert "LED light (tests 3 and 6)" in carried


def test_a_bad_coil_is_told_by_the_sound_one_that_sparks_in_its_place() -> None:
    """No spark, a spark with the borrowed coil, none with the old one: what a blink looked like adds nothing."""
    sparks, carried = told(*BAD_COIL)
    assert "both towers of the dead coil showed no spark (good: strong, snapping spark)" in sparks
    assert "on a known-good coil in this spot it showed a strong spark; " in sparks
    assert sparks.endswith("on the old coil back in it showed no spark.")
    assert carried.startswith("This verdict rests on readings")


def test_the_tests_that_are_told_are_marked_in_the_table() -> None:
    """Every test in the cause is also in the evidence."""
    made = draft(session(scripted(*BAD_COIL)), library())
    assert [7, 14, 15] == [test.number for test in made.tests if test.decisive]
    assert "\n *14  " in text(made)
    assert "   1  " in text(made)


def test_a_verdict_is_told_by_the_tests_that_count() -> None:
    """A result that was taken back is not told, and an outcome without words for the past is shown as in the
    table.
    """
    made = draft(whole_story().session(), small_library())
    words = " ".join(one.text for one in made.findings)
    assert "showed: lamp lit and steady, no blink" in words
    assert "read 0.1 ohm: below the usual range" in words
    assert "lamp blinking (" not in words


def test_without_a_verdict_nothing_is_told() -> None:
    """No cause, no sentences that sound like one."""
    assert [] == told("lit")


def test_what_follows_a_repair_does_not_take_the_cause_away() -> None:
    """Proving the repair is no diagnosis: the cause stays, also while the proof lasts, and its verdict is told."""
    proof = ("0.2 ohm", "done", "done", "dies")
    for answers in (proof[:2], proof):
        made = draft(session(scripted(*OPEN_CONTROL_WIRE, *answers)), library())
        assert library().procedures["coil-and-driver"].verdicts["control-wire-open"].says == made.cause.text
    assert ["Verify the repair"] == [found.procedure for found in made.found_after]
    assert "It starts and dies." in text(made)
