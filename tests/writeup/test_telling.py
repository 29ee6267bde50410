"""Which tests the cause is told with, and in which words."""

from __future__ import annotations

from recorded import OPEN_CONTROL_WIRE, SHORTED_PRIMARY, library, scripted, session
from small_shop import small_library, whole_story

from assistant.writeup import draft, text


def told(*answers: str, procedure: str = "coil-control") -> list[str]:
    """The sentences before the verdict."""
    return [one.text for one in draft(session(scripted(*answers, procedure=procedure)), library()).findings]


def test_an_open_control_wire_is_told_by_the_lamp_at_three_places() -> None:
    """Fed, not switched, and nothing at the other end of the wire: one sentence that a customer can follow."""
    (sentence,) = told(*OPEN_CONTROL_WIRE)
    assert (
        "With the engine cranking, the test lamp on the feed side of the coil was lit; on the switched side of the "
        "coil it was lit and steady, without a blink (good: lamp blinking); on the driver end of the control wire it "
        "stayed dark (good: lamp blinking)." == sentence
    )


def test_a_shorted_primary_is_told_by_lamp_clamp_and_ohmmeter() -> None:
    """Three instruments say three things; a second place of the lamp would add nothing."""
    lamp, clamp, meter = told(*SHORTED_PRIMARY)
    assert "switched side of the coil was lit and steady" in lamp
    assert "the clamp around the feed cable of the coil read 9.1 A: full current is switched" in clamp
    assert meter.startswith(
        "With the key off and the coil unplugged, the ohmmeter from the coil's own feed terminal"
    )
    assert "read 0.1 ohm: below the usual range (good: 0.3 to below 2 ohm)." in meter


def test_the_tests_that_are_told_are_marked_in_the_table() -> None:
    """Who reads the cause finds its tests in the evidence."""
    made = draft(session(scripted(*SHORTED_PRIMARY)), library())
    assert [2, 4, 5] == [test.number for test in made.tests if test.decisive]
    assert " * 2  " in text(made)
    assert "   1  " in text(made)


def test_a_verdict_is_told_by_the_tests_that_count() -> None:
    """What was taken back is not told, and an outcome without words for the past is shown as in the table."""
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
    proof = ("done", "good", "done", "dies")
    for answers in (proof[:2], proof):
        made = draft(session(scripted(*OPEN_CONTROL_WIRE, *answers)), library())
        assert "The control wire is open between coil and driver." == made.cause.text
    assert ["After the repair"] == [found.procedure for found in made.found_after]
    assert "It starts and dies." in text(made)
