"""Results on record, and steps that need no question because the session already has their answer.

A measurement that the session has already made since its procedures began is taken over without a question if it only
leads to another step.  One that leads to a verdict or to another procedure is offered and waits for a yes
(`entering.cautions_due`).  "Correction" goes back behind what was taken over, to the last answer that a person gave.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.dialogue import repeating, weighing
from assistant.core.dialogue.trail import Trail
from assistant.core.library.procedure import Leads, Target
from assistant.core.library.vocabulary import SENSES
from assistant.core.values.entries import KEPT, AnswerKnown, ResultPerceived, ResultTaken

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk
    from assistant.core.dialogue.trail import Pending
    from assistant.core.library.procedure import Answer, Step


def record(
    talk: Talk,
    pending: Pending,
    confirmed: str,
    *,
    shown: str = "",
    kept: bool = False,
    unasked: bool = False,
) -> None:
    """Record a result of the present step, and leave the step.

    Args:
        talk: The session.
        pending: The result.
        confirmed: As in `Trail`; so are `kept` and `unasked`.
        shown: What the instrument showed, if the step repeats another one; "" if that is the result itself.
        kept: Whether it was taken over.
        unasked: Whether it was taken over without a question.
    """
    talk.past.results += 1
    seen = pending.seen
    if seen is not None and not kept:
        how = pending.by or "voice"
        talk.note(
            ResultPerceived(talk.past.results, seen.source, seen.confidence, seen.spread, seen.figures, how)
        )
    taken = ResultTaken(
        number=talk.past.results,
        procedure=talk.procedure.name,
        step=talk.step.name,
        outcome=pending.answer.outcome,
        value=pending.value,
        unit=pending.unit,
        how=pending.how,
        words=pending.words + (KEPT if kept else ""),
        confidence=pending.confidence,
        snr_db=pending.snr_db,
        confirmed=confirmed,
        clip=pending.clip,
        next=str(pending.answer.target),
        judged=pending.judged,
    )
    talk.note(repeating.entry(talk.step, taken, shown or pending.answer.outcome))
    leave_step(talk, talk.past.results, pending, confirmed, kept=kept, unasked=unasked)


def leave_step(
    talk: Talk,
    number: int,
    pending: Pending | None,
    confirmed: str = "",
    *,
    kept: bool = False,
    unasked: bool = False,
) -> None:
    """Leave the present step, with a result or skipped; the arguments are as in `Trail`."""
    talk.past.trail.append(
        Trail(
            *talk.position,
            number,
            talk.procedure.steps[talk.step.name].measure if pending else None,
            pending,
            confirmed,
            kept=kept,
            unasked=unasked,
            paused=talk.work.paused,
            visits=talk.work.visits,
        )
    )


def keeps_all(talk: Talk, pending: Pending | None) -> bool:
    """Whether a yes to the earlier result that is offered keeps all others, too, that only lead to another step.

    It is offered because the person asked for this test; not if it was set aside as doubtful.
    """
    if pending is None or not talk.limits.one_word:
        return False
    aside = any(past.measure == talk.step.measure for past in talk.past.aside)
    return pending.answer.target.leads is Leads.STEP and not aside


def first_unknown(talk: Talk, name: str) -> Step:
    """This step, or the first one behind it that the session has no answer to; answers that it has are recorded."""
    steps = talk.procedure.steps
    passed: set[str] = set()
    while name not in passed:
        passed.add(name)
        talk.work.step = steps[name]
        target = _seen_to(talk, steps[name]) or _taken_over(talk, steps[name])
        if target is None:
            break
        name = target.name
    return steps[name]


def _seen_to(talk: Talk, step: Step) -> Target | None:
    """Where a step leads that an earlier procedure has seen to, or that asks for the same look; None if neither."""
    known = _known(talk, step) or _seen(talk, step)
    if known is None:
        return None
    answer, after = known
    talk.note(AnswerKnown(*talk.position, answer.outcome, after, str(answer.target)))
    return answer.target


def _known(talk: Talk, step: Step) -> tuple[Answer, str] | None:
    """The answer that an earlier procedure has seen to by handing over to this one, and that procedure."""
    if not any(answer.known_after for answer in step.answers):
        return None
    handed = {
        past.procedure
        for past in talk.past.trail.measured()
        if past.pending and past.pending.answer.target == Target(Leads.PROCEDURE, talk.procedure.name)
    }
    return next(((one, one.known_after) for one in step.answers if one.known_after in handed), None)


def _seen(talk: Talk, step: Step) -> tuple[Answer, str] | None:
    """The answer of the same look in an earlier step of the session, and its procedure; None if there is none.

    A look costs the technician a question and tells the same the second time.
    After a repair everything is looked at anew, and what leads out of this procedure is asked.
    """
    if step.measure.instrument not in SENSES or not talk.limits.paced:
        return None
    earlier = talk.past.trail.measured()
    since = weighing.repaired(talk)
    for past in reversed(earlier):
        if past.number <= since:
            break
        if past.measure == step.measure and past.pending and (past.procedure, past.step) != talk.position:
            answer = step.answer(past.pending.answer.outcome)
            if answer is not None and answer.target.leads is Leads.STEP:
                return answer, past.procedure
    return None


def _taken_over(talk: Talk, step: Step) -> Target | None:
    """Where a step leads whose measurement the session has, if that is only another step; None otherwise."""
    if not talk.limits.paced:
        return None
    began = min((first for _, first, _ in talk.work.visits.entered), default=0)
    found = weighing.counted(talk, step, after=began)
    if found is None or found[1].answer.target.leads is not Leads.STEP:
        return None
    past, pending = found
    record(talk, pending, past.confirmed, kept=True, unasked=True)
    return pending.answer.target
