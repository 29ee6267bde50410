"""How long each test took."""

from __future__ import annotations

from small_shop import Story, lamp, small_library, whole_story

from assistant.core.values.entries import ModeChanged, ProcedureEntered
from assistant.writeup import draft
from assistant.writeup.statement import duration


def test_a_test_runs_from_the_answer_before_it() -> None:
    """From the story by hand: test 2 from 2.0 to 3.5 min, test 3 to 6.0, test 4 from the correction at 6.2 to 8.1."""
    made = draft(whole_story().session(), small_library())
    assert ["1 min 30 s", "1 min 30 s", "2 min 30 s", "1 min 54 s"] == [test.took for test in made.tests[:4]]


def test_an_interruption_is_not_counted() -> None:
    """Test 5: 8.1 min to 27 min, less the stop at 8.5 until it was resumed at 25: 2 min 24 s; and so in all."""
    made = draft(whole_story().session(), small_library())
    assert "2 min 24 s" == made.tests[4].took
    assert (
        "10 min 42 s from the first question to the last answer; standing by and interruptions of "
        "16 min 30 s are left out." == made.time.text
    )


def test_standing_by_is_not_counted() -> None:
    """Ten minutes at the counter are not diagnosis."""
    story = (
        Story()
        .add(0, ProcedureEntered("coil"))
        .add(1, ModeChanged("stand by", "asked for"))
        .add(11, ModeChanged("go ahead", "asked for"))
        .add(13, lamp(1, "feed", "lit", "step:switched"))
    )
    made = draft(story.session(), small_library())
    assert "3 min" == made.tests[0].took
    assert "10 min are left out" in made.time.text


def test_spans_of_time_in_words() -> None:
    """Seconds, minutes with seconds, hours with minutes."""
    assert ["0 s", "59 s", "1 min", "1 min 1 s", "59 min 59 s", "1 h", "2 h 5 min"] == [
        duration(seconds) for seconds in (0.2, 59.4, 60, 61, 3599, 3600, 7511)
    ]
