"""The write-up as text to paste."""

from __future__ import annotations

from hypothesis import given, strategies as st
from small_shop import Story, skipped_story, small_library, whole_story
from test_draft import stories

from assistant.record import Facts
from assistant.writeup import draft, html, text
from assistant.writeup.plain import WIDTH

LIBRARY = small_library()


@given(stories())
def test_lines_fit_and_hold_no_control_signs(story: Story) -> None:
    """No line is wider than a repair order's field, except for one long word; nothing but printable text."""
    for line in text(draft(story.session(), LIBRARY)).split("\n"):
        assert line.isprintable()
        assert WIDTH >= len(line) or 1 == len(line.split())
        assert line == line.rstrip()


def test_a_reader_finds_the_three_cs_first() -> None:
    """Complaint, cause, correction, readings, what to verify, parts, signature; then the appendix."""
    made = text(draft(whole_story().session(), LIBRARY))
    titles = ["COMPLAINT", "CAUSE", "CORRECTION", "READINGS THAT DECIDED", "VERIFY AFTER", "PARTS AND LABOR",
              "REVIEWED AND SIGNED", "PLEASE NOTE", "APPENDIX", "HOW THE CAUSE", "TESTS, IN", "RULED OUT", "CAUTIONS",
              "CRANKING", "VOICE NOTES", "ON THE WAY", "RECORD"]  # fmt: skip
    places = [made.index(f"\n{title}") for title in titles]
    assert sorted(places) == places


def test_a_result_that_was_taken_back_is_marked_in_words() -> None:
    """Plain text cannot strike out: it says that the result does not count, before the result."""
    made = text(draft(whole_story().session(), LIBRARY))
    assert made.index("[TAKEN BACK 14:38 BY VOICE: DOES NOT COUNT]") < made.index("Seen: lamp blinking")


def test_lines_to_fill_in_by_hand() -> None:
    """A fact that was not given is a line to write on, and the work done is always one."""
    made = text(draft(skipped_story().session(Facts()), LIBRARY))
    for label in (
        "Repair order:",
        "Vehicle:      ",
        "VIN:          ",
        "Technician:   ",
        "Work done:",
        "Reviewed by:",
    ):
        assert f"{label}{'' if label.endswith(' ') else ' '}" in made
        assert "____" in made[made.index(label) :].split("\n")[0]
    assert "None yet, because the cause was not found." in made


@given(st.text(st.characters(exclude_categories=())))
def test_anything_typed_can_be_printed_and_stored(typed: str) -> None:
    """Control signs and undecodable bytes in what was typed neither stop the write-up nor reach a terminal."""
    made = draft(Story().session(Facts(order=typed, complaint=typed)), LIBRARY)
    for shape in (text(made), html(made)):
        assert shape.replace("\n", "").isprintable()
        assert shape == shape.encode().decode()


def test_line_breaks_in_the_complaint_do_not_forge_a_section() -> None:
    """A typed line break cannot make a line that looks like one of ours."""
    made = text(
        draft(whole_story().session(Facts(complaint="odd\n\nCAUSE\n---\nIt is the battery")), LIBRARY)
    )
    assert "\n  odd CAUSE --- It is the battery\n" in made
