"""A step that an earlier procedure of the session has seen to is not asked."""

from __future__ import annotations

from dataclasses import replace

from sample_states import LIBRARY

from assistant.core.library.procedure import Leads
from assistant.core.values.entries import AnswerKnown
from assistant.core.values.result import Control
from assistant.rehearsal.dialogue import Dialogue


def test_what_the_procedure_before_has_seen_to_is_taken_as_known() -> None:
    """The step is passed by with an entry that names the procedure; started alone, it is asked."""
    look = LIBRARY.procedures["first-look"]
    step = look.steps[look.start]
    first = next(answer for answer in step.answers if answer.target.leads is Leads.STEP)
    answers = tuple(
        replace(answer, known_after="no-start") if answer is first else answer for answer in step.answers
    )
    steps = look.steps | {step.name: replace(step, answers=answers)}
    library = replace(LIBRARY, procedures=LIBRARY.procedures | {"first-look": replace(look, steps=steps)})
    talk = Dialogue(library)
    talk.begin("no-start")
    talk.hear("safe")
    if talk.runner.position[0] == "no-start":
        talk.hear(control=Control.AFFIRM)
    (known,) = [entry for entry in talk.entries if isinstance(entry, AnswerKnown)]
    assert (known.step, known.outcome, known.after) == (step.name, first.outcome, "no-start")
    assert talk.runner.position == ("first-look", first.target.name)
    alone = Dialogue(library)
    alone.begin("first-look")
    assert alone.runner.position == ("first-look", step.name)
