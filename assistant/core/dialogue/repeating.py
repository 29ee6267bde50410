"""The step that repeats the deciding measurement after a repair: which one it is, and how its result is recorded."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import TYPE_CHECKING

from assistant.core.library.repeat import Repeated, repeated
from assistant.core.library.vocabulary import NO_CIRCUIT, SENSES, UNJUDGED
from assistant.core.values.entries import ResultRepeated

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.trail import Pending, Trail
    from assistant.core.library.procedure import Step
    from assistant.core.values.entries import ResultTaken

AGAIN = "Repeat the test that failed."


def asked(talk: Talk, step: Step) -> Step:
    """The step as it is asked: itself, or the deciding measurement of the trail if it repeats that and there is one.

    What is connected cannot be known after a repair, so the whole test is said again.
    """
    if not step.repeat:
        return step
    past = _deciding(talk)
    if past is None:
        return step
    talk.said.add_prefix(AGAIN)
    talk.work.connected = None
    talk.work.interrupted = True
    earlier = talk.library.step(past.procedure, past.step)
    return repeated(step, earlier, past.number, talk.library.procedures[past.procedure].cautions)


def _deciding(talk: Talk) -> Trail | None:
    """The last result of an instrument outside its limits, on the circuit of the last test before this procedure.

    None if this procedure was done first or alone, or in the middle of another one.
    """
    if talk.work.paused:
        return None
    here, circuit = talk.position[0], ""
    for past in reversed(talk.past.trail.measured()):
        if past.procedure == here:
            if circuit:
                return None  # what lies before belongs to an earlier repair
            continue
        of = talk.library.procedures[past.procedure].circuit
        circuit = circuit or of
        if circuit == NO_CIRCUIT:
            return None
        step = talk.library.step(past.procedure, past.step)
        outcome = past.pending.answer.outcome if past.pending else UNJUDGED
        told = outcome != UNJUDGED and step.good is not None and outcome != step.good
        if told and of == circuit and step.measure.instrument not in SENSES:
            return past
    return None


def recorded(step: Step, pending: Pending) -> Pending:
    """A result as it counts: that of a repeated measurement becomes the answer of the file's step."""
    if not isinstance(step, Repeated):
        return pending
    return replace(pending, answer=step.answered(pending.answer.outcome))


def entry(step: Step, taken: ResultTaken, shown: str) -> ResultTaken:
    """The entry of a result; that of a repeated measurement says which result it repeats and what was shown."""
    if not isinstance(step, Repeated):
        return taken
    body = {one.name: getattr(taken, one.name) for one in fields(taken)}
    return ResultRepeated(**body, repeats=step.of, shown=shown)
