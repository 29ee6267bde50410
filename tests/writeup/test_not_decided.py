"""What the write-up says where the dialogue stopped undecided, and where drops do not add up."""

from __future__ import annotations

from recorded import session
from sample_library import sample_library
from sample_talks import going_round, weak_feed

from assistant.core.words import remarking
from assistant.writeup import draft


def test_a_circle_is_not_decided_and_names_what_to_do_next() -> None:
    """No cause and no part: the words of the dialogue, with the line of the log where they stand."""
    recorded = session(going_round())
    made = draft(recorded, sample_library())
    assert made.no_verdict.text.startswith(f"Not decided. {remarking.LED_BACK} ")
    assert made.no_verdict.sources
    assert (made.cause.text, made.part.text) == ("", "")


def test_pieces_that_do_not_add_up_are_written_down_with_their_tests() -> None:
    """Also after they were measured again; where they add up in the end, nothing is said."""
    made = draft(session(weak_feed(again="1.0")), sample_library())
    (said,) = [one.text for one in made.not_judged if "do not add up" in one.text]
    assert said.endswith("0.2 V and 1.9 V against 1.0 V.")
    made = draft(session(weak_feed(again="2.1")), sample_library())
    assert not any("do not add up" in one.text for one in made.not_judged)
