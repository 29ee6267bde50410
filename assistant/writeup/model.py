"""The circuit model's view of all results together."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.reasoning import evidence
from assistant.core.reasoning.posterior import WeighedResult, sureness
from assistant.core.values.entries import ASKED_AGAIN, KEPT
from assistant.core.words import placing
from assistant.loading.folder import FINDINGS_FILE
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.writeup.naming import owner, procedure_of
from assistant.writeup.statement import Source, Statement, header, line, term, terms_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Verdict
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.record.course import Course
    from assistant.record.recorded import RecordedSession

_WORTH_A_LINE = 0.01
"""Probability from which a fault is written down as still possible."""


def _facts_of(session: RecordedSession, course: Course) -> tuple[WeighedResult, ...]:
    """The results that count, as evidence; a result that was asked again and confirmed counts twice."""
    doubted = {
        (taken.result.procedure, taken.result.step, taken.result.outcome)
        for taken in course.results
        if taken.undone is not None and getattr(taken.undone.entry, "how", "") in ASKED_AGAIN
    }
    return tuple(
        WeighedResult(
            result.procedure,
            result.step,
            result.outcome,
            sureness(result.how, result.confidence, result.confirmed, session.header.thresholds),
            kept=result.words.endswith(KEPT),
            times=2 if (result.procedure, result.step, result.outcome) in doubted else 1,
        )
        for result in (taken.result for taken in course.standing())
    )


def remaining(
    session: RecordedSession, library: Library, knowledge: Knowledge | None, course: Course, circuit: str
) -> tuple[str, ...]:
    """The faults that remain possible in a circuit, the likeliest first; none where nothing is weighed."""
    facts = _facts_of(session, course)
    assessment = evidence.assess(library, knowledge, circuit, facts, session.header.thresholds)
    return () if assessment is None or not assessment.used else tuple(assessment.remaining(_WORTH_A_LINE))


def sentences(
    session: RecordedSession,
    library: Library,
    knowledge: Knowledge | None,
    course: Course,
    verdict: Verdict | None,
) -> tuple[Statement, ...]:
    """The faults that remain possible, the reasons, and the best test, a sentence each; nothing without a circuit
    model.
    """
    if not course.procedure or knowledge is None:
        return ()
    circuit = procedure_of(library, course.procedure).circuit
    facts = _facts_of(session, course)
    limits = session.header.thresholds
    # A session from before this limit is weighed no longer than a present one.
    most = min(limits.weighed_results, DEFAULT_THRESHOLDS.weighed_results)
    standing = line(*(taken.line for taken in course.standing()))
    if evidence.known(knowledge, circuit) and len(facts) > most:
        return (
            Statement(
                f"Not weighed: more than {most} results count, too many for one car with one fault.",
                (*standing, *header("thresholds")),
            ),
        )
    assessment = evidence.assess(library, knowledge, circuit, facts, limits)
    if assessment is None or not assessment.used:
        return ()
    weighed = (
        *standing,
        Source("procedures/likelihoods.json"),
        Source("procedures/odds.yaml"),
        *header("thresholds"),
    )
    found = [*_remaining(library, course, assessment, weighed)]
    if assessment.slip >= limits.doubt_from:
        found.append(
            Statement(
                "That one of the results is a slip of eye, ear or finger has a probability of "
                f"{assessment.slip:.0%}.",
                weighed,
            )
        )
    found += _best_test(library, assessment, verdict, weighed)
    found += _where_from(knowledge, assessment)
    return tuple(found)


def _remaining(
    library: Library, course: Course, assessment: evidence.Assessment, weighed: tuple[Source, ...]
) -> Iterator[Statement]:
    """The faults that remain possible, and the results that support the likeliest one."""
    standing = course.standing()
    plain = {name: fault.plain for name, fault in library.terms.faults.items()}
    remaining = assessment.remaining(_WORTH_A_LINE)
    listed = "; ".join(f"{plain[fault]} {odds:.0%}" for fault, odds in remaining.items())
    named = tuple(source for fault in remaining for source in term("faults", fault))
    yield Statement(f"Among the faults of the catalogue, one at a time: {listed}.", (*weighed, *named))
    for reason in assessment.reasons():
        yield Statement(
            f"Test {standing[reason.fact].result.number} speaks for the first of these, most of all against: "
            f"{plain[reason.against]}.",
            (*line(standing[reason.fact].line), *term("faults", reason.against), *weighed),
        )


def _best_test(
    library: Library,
    assessment: evidence.Assessment,
    verdict: Verdict | None,
    weighed: tuple[Source, ...],
) -> Iterator[Statement]:
    """The most informative test, if the verdict leaves a fault open."""
    unnamed = verdict and any(fault not in verdict.faults for fault in assessment.remaining(_WORTH_A_LINE))
    best = assessment.best_test() if unnamed or not verdict or len(verdict.faults) > 1 else None
    if best:
        step = best[0]
        connection = placing.connection(library.terms, step.measure)
        yield Statement(
            f"What would tell most for its time: {connection}, {placing.engine_words(step.measure.engine)}.",
            (*owner(library, step), *terms_of(step.measure), *weighed),
        )


def _where_from(knowledge: Knowledge, assessment: evidence.Assessment) -> Iterator[Statement]:
    """The likelihoods and odds in use, and the number of this shop's findings in them."""
    yield Statement(
        f"Likelihoods {knowledge.version}. Odds before any test: {knowledge.odds.source}",
        (*header("likelihoods"), Source("procedures/odds.yaml")),
    )
    if assessment.counted:
        yield Statement(
            f"Counted beside these odds, which are taken for {knowledge.odds.weight_cars:g} cars: "
            f"{assessment.counted} finding{'' if assessment.counted == 1 else 's'} of this shop, from signed "
            "reviews.",
            (Source(f"procedures/{FINDINGS_FILE}"), Source("procedures/odds.yaml", "weight_cars")),
        )
