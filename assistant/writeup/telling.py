"""The tests that decided a verdict, in sentences that a customer can follow."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.core.library.procedure import Band, Engine, Step
from assistant.core.library.vocabulary import OVER_RANGE, SENSES, UNJUDGED
from assistant.core.values.entries import KEPT
from assistant.core.values.units import number_written
from assistant.core.words import placing
from assistant.writeup import changing, given
from assistant.writeup.carrying import is_blink
from assistant.writeup.statement import Source, Statement, capital, line, once, procedure, term, terms_of

if TYPE_CHECKING:
    from decimal import Decimal

    from assistant.core.library.library import Library
    from assistant.core.values.entries import ResultTaken
    from assistant.record.course import Course, Ended, Taken

_TOLD = 3
"""Largest number of tests to tell: as many as a reader can keep in mind; the table has all."""

_WITH = {
    Engine.KEY_OFF: "with the key off",
    Engine.KEY_ON: "with the key on and the engine not turning",
    Engine.CRANKING: "with the engine cranking",
    Engine.RUNNING: "with the engine running",
}


_SHOWED = "showed: "
"""Prefix to the table's words for an outcome without words in the past tense."""


def way(course: Course, ended: Ended) -> list[Taken]:
    """The standing results that led to a verdict, in order, over every hand-over of a procedure."""
    found: list[Taken] = []
    seen: set[tuple[str, str]] = set()
    owner = ended.procedure
    for taken in reversed([one for one in course.standing() if one.line <= ended.line]):
        result = taken.result
        handed_over = result.next == f"procedure:{owner}"
        if (result.procedure != owner and not handed_over) or (result.procedure, result.step) in seen:
            continue
        seen.add((result.procedure, result.step))
        found.append(taken)
        owner = result.procedure
    return found[::-1]


def decisive(library: Library, course: Course, ended: Ended) -> list[Taken]:
    """Two or three results that support a verdict: the last one, and the most telling ones before it.

    A result is telling if it is not that of a good system, or if it rules out a fault. A different instrument
    from those already told adds something, and so does the same one with a different outcome.
    The eye's judgement of a blink tells least.
    The weights were chosen so that, for the verdicts of the shipped procedures, the result is what a technician
    would tell.
    """
    results = [taken for taken in way(course, ended) if not taken.result.words.endswith(KEPT)] or way(
        course, ended
    )
    if not results:
        return []
    chosen = [results[-1]]
    rest = results[:-1]

    def says(taken: Taken) -> int:
        step = _step(library, taken.result)
        if is_blink(library, step, taken.result.outcome):
            return 1
        answer = step.answer(taken.result.outcome)
        used = [_step(library, one.result).measure for one in chosen]
        if step.measure in used:
            return -1
        odd = 2 * (step.good is not None and taken.result.outcome != step.good)
        rules_out = bool(answer and answer.rules_out)
        new = step.measure.instrument not in {measure.instrument for measure in used}
        other = 3 * (new and (odd > 0 or rules_out))
        # The same lamp at the same place in a different state of key and engine makes a contrast.
        contrast = 2 * any(replace(measure, engine=step.measure.engine) == step.measure for measure in used)
        against = any(
            _frame(_step(library, one.result)) == _frame(step) and one.result.outcome != taken.result.outcome
            for one in chosen
        )
        return odd + rules_out + other + max(contrast, 2 * against)

    while rest and len(chosen) < _TOLD:
        best = max(rest, key=says)  # of two equally telling ones, the earlier
        if says(best) <= 0:
            break
        rest.remove(best)
        chosen.append(best)
    return sorted(chosen, key=lambda taken: taken.line)


def told(library: Library, course: Course, results: list[Taken]) -> tuple[Statement, ...]:
    """Sentences about these results; tests with the same connection and engine share one sentence."""
    groups: list[list[Taken]] = []
    for taken in results:
        same = groups and _frame(_step(library, groups[-1][0].result)) == _frame(_step(library, taken.result))
        if same:
            groups[-1].append(taken)
        else:
            groups.append([taken])
    return tuple(_sentence(library, course, group) for group in groups)


def _frame(step: Step) -> tuple[object, ...]:
    """The properties that two tests must share to fit into one sentence."""
    measure = step.measure
    return (measure.instrument, measure.clip, measure.engine, measure.unplugged, measure.compared_with)


def _step(library: Library, result: ResultTaken) -> Step:
    return library.step(result.procedure, result.step)


def _sentence(library: Library, course: Course, group: list[Taken]) -> Statement:
    terms = library.terms
    first = _step(library, group[0].result).measure
    opening = _WITH[first.engine]
    if first.unplugged:
        opening += f" and {placing.listed([terms.places[part].spoken for part in first.unplugged])} unplugged"
    clauses: list[str] = []
    sources: list[Source] = []
    for taken in group:
        result = taken.result
        step = _step(library, result)
        numbers, lines = given.numbers_at(library, course, taken.line)
        times, changed = changing.counted(course, taken)
        clauses.append(_clause(library, step, result, numbers, again=bool(clauses), times=times))
        sources += changed
        sources += [*line(taken.line), *procedure(library, result.procedure, "steps", result.step)]
        sources += terms_of(step.measure)
        if not (step.reading and result.value is not None):
            sources += term("outcomes", OVER_RANGE if step.reading else result.outcome)
        if step.good and not step.reading:
            sources += term("outcomes", step.good)
        for name in given.used(step):
            sources += [*(line(lines[name]) if name in lines else ()), *term("facts", name)]
    return Statement(f"{capital(opening)}, {'; '.join(clauses)}.", once(sources))


def _clause(
    library: Library, step: Step, result: ResultTaken, numbers: dict[str, Decimal], *, again: bool, times: str
) -> str:
    """One test: "the test lamp on the feed side of the coil was lit"; `again`: "on … it was lit"."""
    measure = step.measure
    instrument = library.terms.instruments[measure.instrument]
    place = placing.place_spoken(library.terms, measure, measure.probe)
    saw = _saw(library, step, result, numbers, times)
    if measure.instrument in SENSES:
        if not saw.startswith(_SHOWED):
            return f"{place} {saw}"
        return f"{placing.connection(library.terms, measure)}: {saw.removeprefix(_SHOWED)}"
    meter = f"the {instrument.short or instrument.spoken}"
    if measure.clip is None:
        return f"{meter} around {place} {saw}"
    if measure.compared_with:
        other = library.terms.places[measure.compared_with].spoken
        return f"{meter}, moved between {place} and {other}, {saw}"
    if instrument.units:
        start = placing.place_spoken(library.terms, measure, measure.clip)
        return f"{meter} from {start} to {place} {saw}"
    if again:
        return f"on {place} it {saw}"
    if measure.clip == "battery-positive":
        clipped = f"clipped to {library.terms.places[measure.clip].spoken} with its probe on {place}"
        return f"{meter}, {clipped}, {saw}"
    return f"{meter} on {place} {saw}"


def _saw(
    library: Library, step: Step, result: ResultTaken, numbers: dict[str, Decimal], times: str = ""
) -> str:
    """The outcome in the past tense, how many times, and, if it differs, that of a good system."""
    answer = step.answer(result.outcome)
    odd = step.good is not None and result.outcome not in (step.good, UNJUDGED)
    good = f" (good: {given.expected(library, step, numbers)})" if odd else ""
    if isinstance(answer, Band) and step.reading:
        if result.value is None or result.unit is None:
            outcome = library.terms.outcomes[OVER_RANGE]
            return f"{outcome.told or _SHOWED + outcome.seen}, {answer.seen}{good}"
        judged = given.judged(library, step, result, numbers)
        read = number_written(result.value, result.unit) + (f", that is {judged}" if judged else "")
        return f"read {read}: {answer.seen}{good}"
    if result.outcome == UNJUDGED and result.value is not None and result.unit is not None:
        read = number_written(result.value, result.unit)
        return f"read {read}, not judged: no limit from the maker was given"
    outcome = library.terms.outcomes[result.outcome]
    return f"{outcome.told or _SHOWED + outcome.seen}{times}{good}"
