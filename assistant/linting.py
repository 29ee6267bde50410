"""Everything that a person who writes procedures or grammars wants to be told before a technician is.

The loaders refuse what is wrong; this adds what is only doubtful: phrases that sound alike, an outcome that
nobody can say, a word of the screen that the grammar does not know, an instruction too long to hold in the head.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from assistant.core import wording
from assistant.core.finding import Finding
from assistant.core.procedure import Leads
from assistant.core.states import REASONS, requests_of
from assistant.grammar.lint import lint_grammars

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.procedure import Answer, Library, Procedure, Step, Target
    from assistant.grammar.grammar import GrammarSet

LONGEST_SENTENCE = 12
"""Words of a spoken sentence that are held in the head; our aim, from the trade's habit of short calls."""


def lint(library: Library, grammars: GrammarSet) -> list[Finding]:
    """All findings, the grammars' first."""
    used = {
        answer.outcome
        for procedure in library.procedures.values()
        for step in procedure.steps.values()
        for answer in step.answers
    }
    used |= set(library.procedures) | set(_choices(library))
    places = [place.name for place in library.terms.places.values() if place.kind != "part"]
    return [
        *lint_grammars(grammars, requests_of(library), outcomes=sorted(used | set(REASONS)), places=places),
        *_unspeakable_names(library, grammars),
        *_contradictions(library),
        *_long_sentences(library),
    ]


def _choices(library: Library) -> dict[str, str]:
    """Every choice of the facts, with the words that are spoken for it; a grammar has small letters only."""
    facts = library.terms.facts.values()
    return {name: words.lower() for fact in facts for name, words in fact.choices.items()}


def _unspeakable_names(library: Library, grammars: GrammarSet) -> Iterator[Finding]:
    """What is asked with must be what is answered with: the screen's words are the grammar's."""
    for kind, names in (
        ("outcome", {o.name: o.spoken for o in library.terms.outcomes.values()} | REASONS),
        ("outcome", _choices(library)),
        ("outcome", {name: wording.procedure_short(name) for name in library.procedures}),
        ("place", {p.name: p.short for p in library.terms.places.values() if p.kind != "part"}),
    ):
        for name, spoken in names.items():
            if kind == "outcome" and name not in grammars.outcomes():
                continue  # told already
            forms = [str(form) for form in grammars.forms(kind, name)]
            if forms and spoken not in forms:
                yield Finding(
                    _beside(library, "terms.yaml"),
                    0,
                    f"the {kind} '{name}' is called '{spoken}', which the grammar does not hear",
                    f"Call it one of: {', '.join(forms)}",
                )


def paths(procedure: Procedure) -> Iterator[tuple[tuple[tuple[Step, Answer | None], ...], Target]]:
    """Every way through a procedure: its steps with the answer of each (None: skipped), and where it ends.

    A step is not entered twice on one way.
    """
    waiting: list[tuple[str, tuple[tuple[Step, Answer | None], ...]]] = [(procedure.start, ())]
    while waiting:
        name, before = waiting.pop()
        step = procedure.steps[name]
        choices: list[tuple[Answer | None, Target]] = [(answer, answer.target) for answer in step.choices()]
        if step.if_skipped is not None:
            choices.append((None, step.if_skipped))
        if step.reading and step.reading.unjudged:
            choices.append((step.reading.unjudged, step.reading.unjudged.target))
        for answer, target in choices:
            way = (*before, (step, answer))
            if target.leads is not Leads.STEP:
                yield way, target
            elif target.name not in {passed.name for passed, _ in way}:
                waiting.append((target.name, way))


def _contradictions(library: Library) -> Iterator[Finding]:
    """No verdict may name a fault that a test on the way to it has ruled out."""
    for procedure in library.procedures.values():
        for way, target in paths(procedure):
            if target.leads is not Leads.VERDICT:
                continue
            ruled_out = {fault for _, answer in way if answer for fault in answer.rules_out}
            for fault in ruled_out & set(procedure.verdicts[target.name].faults):
                yield Finding(
                    procedure.file,
                    way[-1][0].line,
                    f"the verdict '{target.name}' names '{fault}', which was ruled out on the way: "
                    + ", ".join(
                        f"{step.name} {answer.outcome if answer else 'skipped'}" for step, answer in way
                    ),
                    "Let that answer rule out less, or lead to another verdict",
                )


def _long_sentences(library: Library) -> Iterator[Finding]:
    for procedure in library.procedures.values():
        for step in procedure.steps.values():
            texts = [*wording.instruction(library, step), *_sentences(step.look_for)]
            yield from _too_long(texts, procedure.file, step.line)
        for verdict in procedure.verdicts.values():
            yield from _too_long(_sentences(verdict.says), procedure.file, 0)
    for caution in library.cautions.values():
        yield from _too_long(
            _sentences(caution.full) + _sentences(caution.short), _beside(library, "cautions.yaml"), 0
        )


def _beside(library: Library, name: str) -> str:
    """The path of a file that lies in the folder of the procedures."""
    return next((str(Path(p.file).with_name(name)) for p in library.procedures.values()), name)


def _too_long(texts: list[str], file: str, line: int) -> Iterator[Finding]:
    for text in texts:
        words = len(text.split())
        if words > LONGEST_SENTENCE:
            yield Finding(
                file,
                line,
                f"a spoken sentence has {words} words: '{text}'",
                f"At most {LONGEST_SENTENCE} are held in the head",
            )


def _sentences(text: str) -> list[str]:
    return [part.strip() for part in text.replace("?", ".").split(".") if part.strip()]
