"""A whole procedure in words, for a person who reads or edits it: steps, cautions, answers, and where each leads.

The words are those that are spoken, so what is read is what a technician will hear.
The outline is made of plain values that JSON can hold.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.core.library.procedure import Band, Leads
from assistant.core.library.vocabulary import UNJUDGED
from assistant.core.words import instructing, remarking, reporting
from assistant.core.words.placing import engine_words

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Answer, Procedure, Step, Target, Verdict

Outline = dict[str, Any]
"""Maps, lists and texts, as JSON holds them."""


def outline(library: Library, name: str) -> Outline:
    """A procedure in words.

    Args:
        library: The procedures with their terms.
        name: Name of the procedure.

    Returns:
        ``name``, ``title``, ``about``, ``circuit``, ``needs``, ``cautions``, ``asks``, ``start``, ``steps`` and
        ``verdicts``, each step and verdict a map of its own.

    Raises:
        UsageProblem: There is no such procedure.
    """
    procedure = library.procedure(name)
    return {
        "name": procedure.name,
        "title": procedure.title,
        "about": procedure.about,
        "circuit": procedure.circuit,
        "needs": list(procedure.needs),
        "cautions": _cautions(library, procedure.cautions),
        "asks": _questions(library, procedure.asks),
        "start": procedure.start,
        "steps": [_step(library, procedure, step) for step in procedure.steps.values()],
        "verdicts": [_verdict(library, verdict) for verdict in procedure.verdicts.values()],
    }


def _cautions(library: Library, names: Iterable[str]) -> list[Outline]:
    found = [library.cautions[name] for name in names]
    return [
        {
            "name": one.name,
            "words": remarking.caution_text(one, "full"),
            "acknowledge": one.acknowledge,
            "covers": [hazard.value for hazard in one.covers],
        }
        for one in found
    ]


def _questions(library: Library, names: Iterable[str]) -> list[Outline]:
    return [{"name": name, "words": library.terms.facts[name].question} for name in names]


def _step(library: Library, procedure: Procedure, step: Step) -> Outline:
    answers = [
        {**_answer(library, procedure, step, answer), "key": None if step.reading or step.watch else key}
        for key, answer in enumerate(step.ways(), start=1)
    ]
    return {
        "name": step.name,
        "cautions": _cautions(library, step.cautions),
        "asks": _questions(library, step.asks),
        "engine": engine_words(step.measure.engine),
        "instructions": [*instructing.setup(library, step), *instructing.act(library, step)],
        "question": instructing.question(library, step),
        "hint": step.look_for,
        "repeats": step.repeat,
        "watched": step.watch,
        "answers": answers,
        "skipped": _leads(library, procedure, step.if_skipped) if step.if_skipped else None,
    }


def _answer(library: Library, procedure: Procedure, step: Step, answer: Answer) -> Outline:
    band = isinstance(answer, Band) and step.reading is not None
    unit = step.reading.unit if step.reading else ""
    if answer.outcome == UNJUDGED:
        words = "the maker's limit was not given"
    elif isinstance(answer, Band):
        words = reporting.limits(answer, unit)
    else:
        words = library.terms.outcomes[answer.outcome].seen
    return {
        "name": answer.outcome,
        "words": words,
        "seen": answer.seen if isinstance(answer, Band) else "",
        "source": answer.source if isinstance(answer, Band) and band else "",
        "good": answer.outcome == step.good,
        "leads": _leads(library, procedure, answer.target),
        "rules_out": [library.terms.faults[fault].plain for fault in answer.rules_out],
        "known_after": answer.known_after,
    }


def _leads(library: Library, procedure: Procedure, target: Target) -> Outline:
    words = ""
    if target.leads is Leads.PROCEDURE and target.name in library.procedures:
        words = library.procedures[target.name].title
    elif target.leads is Leads.VERDICT:
        words = procedure.verdicts[target.name].says
    return {"to": target.leads.value, "name": target.name, "words": words}


def _verdict(library: Library, verdict: Verdict) -> Outline:
    check = verdict.next_check
    return {
        "name": verdict.name,
        "says": verdict.says,
        "part": verdict.part,
        "faults": [library.terms.faults[fault].plain for fault in verdict.faults],
        "repair": verdict.repair,
        "verify": list(verdict.verify),
        "still_possible": verdict.still_possible,
        "next_check": remarking.check_written(library, check) if check else "",
        "goes_on_with": verdict.continue_with or "",
    }
