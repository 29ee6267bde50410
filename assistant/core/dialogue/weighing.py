"""The evidence of all results: doubtful ones, the use of an earlier one, and the reasons for a fault."""

from __future__ import annotations

from dataclasses import replace
from itertools import chain
from typing import TYPE_CHECKING

from assistant.core.dialogue.doubting import Doubted, drops_of, thin
from assistant.core.dialogue.policy import Acceptance
from assistant.core.dialogue.trail import Pending, Trail
from assistant.core.dialogue.understanding import judge
from assistant.core.library.procedure import Leads
from assistant.core.library.repeat import Repeated
from assistant.core.library.vocabulary import AFTER_REPAIR, NO_CIRCUIT, UNJUDGED
from assistant.core.reasoning import evidence
from assistant.core.reasoning.adding_up import LOADED, unequal
from assistant.core.reasoning.knowledge import measurement_key
from assistant.core.reasoning.posterior import WeighedResult, sureness
from assistant.core.values.entries import Why
from assistant.core.values.thresholds import OLD_RULES
from assistant.core.values.units import convert, number_words
from assistant.core.words import placing, remarking, reporting

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from assistant.core.dialogue.talk import Talk
    from assistant.core.library.procedure import Step, Verdict


def assess(talk: Talk, pending: Pending | None = None) -> evidence.Assessment | None:
    """The assessment of all results that count, perhaps with one that is not recorded yet."""
    circuit = talk.procedure.circuit
    if not evidence.known(talk.past.knowledge, circuit) or too_many(talk, pending):
        return None
    facts = []
    for past in talk.past.trail.measured():
        assert past.pending is not None  # noqa: S101
        facts.append(_fact(talk, past.procedure, past.step, past.pending, past.confirmed, kept=past.kept))
    if pending is not None:
        procedure, step = talk.position
        facts.append(
            _fact(talk, procedure, step, pending, Acceptance.AFFIRM.value, kept=talk.awaited.offered)
        )
    return evidence.assess(talk.library, talk.past.knowledge, circuit, facts, talk.limits, talk.past.memo)


def too_many(talk: Talk, pending: Pending | None = None) -> bool:
    """Whether more results count than are weighed together."""
    return talk.past.trail.results + (pending is not None) > talk.limits.weighed_results


def _fact(
    talk: Talk, procedure: str, step: str, pending: Pending, confirmed: str, *, kept: bool
) -> WeighedResult:
    """A result as it is weighed."""
    outcome = pending.answer.outcome
    return WeighedResult(
        procedure,
        step,
        outcome,
        sureness(pending.how, pending.confidence, confirmed, talk.limits),
        kept=kept,
        times=2 if talk.past.before.get((procedure, step)) == outcome else 1,
    )


def doubted(talk: Talk, pending: Pending | None = None) -> Doubted | None:
    """The result to ask again, and why; None if all fits.

    With a result that is not recorded yet, only the existence of a doubt counts: that result may be either one.
    """
    assessment = assess(talk, pending)
    if assessment is None:
        return None
    asked = frozenset(talk.past.asked_again)
    doubt = assessment.doubt(asked)
    measured = talk.past.trail.measured()
    if pending is not None:
        measured.append(Trail(*talk.position, 0, talk.step.measure, pending))
    known = doubt is not None and doubt.explained and talk.limits.rules > OLD_RULES
    if doubt is not None and not known:
        return Doubted(measured[doubt.doubtful], measured[doubt.against], doubt.explained)
    if doubt is not None and pending is None:
        _known_pattern(talk, measured[doubt.doubtful], measured[doubt.against])
    target = measured[-1].pending.answer.target if measured and measured[-1].pending else None
    if target is None or target.leads is not Leads.VERDICT:
        return None
    verdict = talk.library.procedures[measured[-1].procedure].verdicts[target.name]
    again = thin(assessment, verdict, asked, talk.limits.part_from)
    return None if again is None else Doubted(measured[again], None, why=Why.PART)


def sum_doubt(talk: Talk) -> Doubted | None:
    """The drop that is measured again because pieces and whole do not add up; None if they do."""
    last = talk.past.trail.last
    if talk.limits.rules == OLD_RULES or last is None or last.measure is None:
        return None
    if last.measure.instrument not in LOADED or too_many(talk):
        return None
    measured = talk.past.trail.measured()
    for found in unequal(drops_of(measured)):
        suspect = found.suspect
        if measurement_key(suspect.measure) not in talk.past.asked_again:
            named = placing.named_drop(talk.library, suspect.measure)
            text = remarking.not_adding_up(found.total, found.whole.volts, named)
            return Doubted(measured[suspect.place], None, why=Why.SUM, text=text)
    return None


def _known_pattern(talk: Talk, one: Trail, other: Trail) -> None:
    """Say, once for each two results, that they seldom come together and that a fault is known that gives them."""
    pair = (min(one.number, other.number), max(one.number, other.number))
    if pair not in talk.past.patterns:
        talk.past.patterns.add(pair)
        in_order = (one, other) if one.number < other.number else (other, one)
        words = " ".join(result_of(talk, past, in_order) for past in in_order)
        talk.remark("known pattern", words)
        talk.said.add_prefix(remarking.KNOWN_PATTERN)


def result_of(talk: Talk, past: Trail, beside: tuple[Trail, ...] = ()) -> str:
    """A result in words; with what makes its test another one where a result beside it has the same place."""
    assert past.pending is not None  # noqa: S101
    step = talk.library.step(past.procedure, past.step)
    words = reporting.read_back(
        talk.library, step, past.pending.answer, past.pending.value, past.pending.unit
    )
    place = placing.place_words(talk.library, step)
    others = [talk.library.step(one.procedure, one.step) for one in beside if one is not past]
    same = [other for other in others if placing.place_words(talk.library, other) == place]
    if not same:
        return words
    told = placing.differing(talk.library, step, same[0])
    if place in told:  # the same test in another procedure: its name would only say the place twice
        return words
    return f"{words[: len(place)]}, {told}{words[len(place) :]}"


def judged_words(talk: Talk) -> str:
    """The judged value of the pending reading if it is not the reading itself, and the reason if it cannot be
    judged.
    """
    pending, reading = talk.awaited.pending, talk.step.reading
    if pending is None or reading is None or pending.value is None:
        return ""
    parts = []
    if pending.judged is not None:
        facts = talk.numbers()
        less = "Minus the leads" if reading.subtract in facts else ""
        warm = "at 20 degrees" if reading.at_20_celsius in facts else ""
        how = ", ".join(filter(None, (less, warm)))
        parts.append(f"{how[:1].upper()}{how[1:]}: {number_words(pending.judged, reading.unit)}.")
    if pending.answer.outcome == UNJUDGED:
        missing = [name for name in reading.specified() if name not in talk.numbers()]
        parts.append(
            "No spec was given. I can't judge this."
            if missing
            else "The specs contradict each other. I can't judge this."
        )
    return " ".join(parts)


def same_measurement(talk: Talk, step: Step) -> Pending | None:
    """An earlier result of exactly this measurement in another step of the session, if one counts.

    None for a step that repeats a measurement on purpose.
    """
    if isinstance(step, Repeated):
        return None
    # What was set aside comes before what counts; it is of the same step when the way is the same again.
    aside = [past for past in reversed(talk.past.aside) if past.measure == step.measure]
    found = _first_fitting(talk, step, chain(aside, _counting(talk, step)))
    return found[1] if found else None


def counted(talk: Talk, step: Step, *, after: int) -> tuple[Trail, Pending] | None:
    """An earlier result of exactly this measurement that counts and has a number above `after`, and what it is here;
    None if there is none, or if one was set aside and has to be offered.
    """
    if any(past.measure == step.measure for past in talk.past.aside):
        return None
    return _first_fitting(talk, step, (past for past in _counting(talk, step) if past.number > after))


def _counting(talk: Talk, step: Step) -> Iterator[Trail]:
    # What counts of this very step does not: it is repeated on purpose; nor does anything from before a repair.
    earlier = talk.past.trail.same_measurement(step.measure, besides=talk.position)
    since = repaired(talk) if talk.limits.paced else 0
    return (past for past in earlier if past.number > since)


def repaired(talk: Talk) -> int:
    """Number of the last result of the proof of a repair; 0 if nothing was repaired."""
    results = (past.number for past in talk.past.trail.measured() if past.procedure == AFTER_REPAIR)
    return max(results, default=0)


def _first_fitting(talk: Talk, step: Step, results: Iterable[Trail]) -> tuple[Trail, Pending] | None:
    """The first of these results that is an answer to this step, and that answer."""
    for past in results:
        if past.pending is not None and not _outdated(talk, past):
            fitting = _answering(talk, step, past.pending)
            if fitting is not None:
                return past, fitting
    return None


def _answering(talk: Talk, step: Step, pending: Pending) -> Pending | None:
    """A result of the same measurement as an answer to this step; None if it is none."""
    if pending.value is not None and step.reading is not None and pending.unit is not None:
        base = convert(pending.value, pending.unit, step.reading.unit)
        if base is None or not step.reading.plausible[0] <= base <= step.reading.plausible[1]:
            return None
        judged_as, judged = judge(talk, step.reading, base)
        return None if judged_as is None else replace(pending, answer=judged_as, judged=judged)
    if pending.value is None and step.reading is not None:  # the meter showed that it was over its range
        return replace(pending, answer=step.reading.bands[-1])
    answer = step.answer(pending.answer.outcome)
    return None if answer is None or pending.value is not None else replace(pending, answer=answer)


def _outdated(talk: Talk, past: Trail) -> bool:
    """Whether a procedure that is done again measures this anew: it is older, and newer results contradict it."""
    visit = talk.work.visits.of(talk.procedure.name)
    if visit is None or talk.work.again_in != talk.procedure.name or past.number > visit[0]:
        return False
    assessment = assess(talk)
    measured = talk.past.trail.measured()
    return assessment is not None and past in measured and assessment.contradicted(measured.index(past))


def why(talk: Talk, *, telling_apart: bool = False) -> str:
    """The likeliest fault, the two strongest reasons for it, and perhaps what the present test tells apart."""
    assessment = assess(talk)
    if assessment is None and too_many(talk):
        return f"More than {talk.limits.weighed_results} results. That's too many to weigh together."
    if assessment is None:
        return "I have no model of this circuit. No reasons."
    fault = next(iter(assessment.posterior))
    name = remarking.fault_spoken(talk.library, fault)
    measured = talk.past.trail.measured()
    if not assessment.used:
        parts = ["Nothing measured yet.", f"Most likely now: {name}."]
    else:
        parts = [f"Most likely now: {name}."]
    if assessment.counted:
        parts.append(remarking.findings_counted(assessment.counted))
    reasons = assessment.reasons(fault)
    named = tuple(measured[reason.fact] for reason in reasons)
    for reason, past in zip(reasons, named, strict=True):
        against = remarking.fault_spoken(talk.library, reason.against)
        parts.append(f"{result_of(talk, past, named)} That points away from: {against}.")
    if telling_apart:
        pair = assessment.told_apart(talk.step)
        if pair:
            one, other = (remarking.fault_spoken(talk.library, fault) for fault in pair)
            parts.append(f"This test shows which: {one}. Or: {other}.")
    return " ".join(parts)


def left_open(talk: Talk, verdict: Verdict) -> str:
    """The faults that a verdict leaves possible by the model, and the test that would tell; "" if there are none
    or nothing is known.
    """
    assessment = assess(talk)
    if assessment is None or not assessment.used or not verdict.faults:
        return ""
    parts = []
    if assessment.slip >= talk.limits.doubt_from:
        parts.append("One reading may be off.")
    left = [
        remarking.fault_spoken(talk.library, fault)
        for fault in assessment.remaining(talk.limits.mention_from)
        if fault not in verdict.faults
    ]
    if left:
        parts.append(f"Still open: {'. Or: '.join(left[:2])}.")
    best = assessment.best_test() if parts and not _tells_more(talk, verdict) else None
    if best:
        parts.append(f"To make sure: {placing.named_test(talk.library, best[0])}.")
    return " ".join(parts)


def _tells_more(talk: Talk, verdict: Verdict) -> bool:
    """Whether a verdict goes on with another test of the circuit, and not with the repair."""
    following = verdict.continue_with
    return following is not None and talk.library.procedures[following].circuit != NO_CIRCUIT
