"""Changes that were told while a step was watched, in the write-up."""

from __future__ import annotations

import re

from recorded import library, session

from assistant.core.values.result import Control
from assistant.rehearsal.dialogue import Dialogue
from assistant.writeup import draft, text


def watched() -> Dialogue:
    """A lamp that went out and came back while a connector was wiggled; a third change was misheard."""
    talk = Dialogue(library())
    talk.begin("intermittent")
    talk.ready()
    talk.hear("done")
    talk.ready()
    for outcome in ("went-out", "came-back", "dim"):
        talk.hear(outcome)
    talk.hear(control=Control.CORRECTION)
    talk.hear(control=Control.THAT_IS_ALL)
    talk.hear(control=Control.AFFIRM)
    return talk


def test_each_change_stands_under_its_step_with_its_time() -> None:
    """To the second, in order; what was taken back is not among them, but among the happenings."""
    made = draft(session(watched()), library())
    seen = made.tests[-1].seen
    told = re.fullmatch(r"changed twice: went out at \d\d:\d\d:(\d\d), came back at \d\d:\d\d:(\d\d)", seen)
    assert told
    assert 0 < (int(told[2]) - int(told[1])) % 60 < 10
    assert "Change taken back: lamp dim" in " ".join(one.says for one in made.moments)
    assert "out at" in text(made)


def test_page_one_says_how_often_it_changed() -> None:
    """A customer reads what was moved and how often it changed, without the times."""
    (told,) = (one.text for one in draft(session(watched()), library()).findings if "wiggled" in one.text)
    assert "while connectors and wires were wiggled, changed twice (good: no change)" in told


def test_changes_before_a_new_entry_belong_to_no_later_result() -> None:
    """Nothing changed the second time, so the second result shows no change."""
    talk = watched()
    talk.hear(control=Control.CORRECTION)
    talk.ready()
    talk.hear(control=Control.THAT_IS_ALL)
    made = draft(session(talk), library())
    assert ["changed twice", "no change"] == [one.seen.partition(":")[0] for one in made.tests[-2:]]
