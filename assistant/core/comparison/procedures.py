"""What differs between two libraries: procedures, their steps and verdicts, cautions and terms."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.comparison.change import About, Alteration, names, quoted, told
from assistant.core.comparison.of_steps import Sides, listed_changes, step_changes
from assistant.core.comparison.of_terms import caution_changes, term_changes
from assistant.core.words.placing import connection, engine_words

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import NextCheck, Procedure, Step, Verdict


def compare(before: Library, after: Library) -> list[Alteration]:
    """Everything that differs from one library to another: procedures by name, then cautions, then terms.

    Comments, layout and the order of steps and verdicts mean nothing to the dialogue, so they are no change.
    """
    found: list[Alteration] = []
    for name in sorted({*before.procedures, *after.procedures}):
        one, other = before.procedures.get(name), after.procedures.get(name)
        if one is not None and other is not None:
            found += procedure_changes(before, after, one, other)
        else:
            found.append(_whole(one, other))
    return [*found, *caution_changes(before, after), *term_changes(before.terms, after.terms)]


def _whole(one: Procedure | None, other: Procedure | None) -> Alteration:
    said = other or one
    assert said is not None  # noqa: S101  one of the two is there
    title = quoted(said.title)
    sentence = f"the procedure {title} was {'added' if other else 'removed'}"
    return Alteration(
        f"{said.name}.yaml",
        ("procedure",),
        About.PROCEDURE,
        sentence,
        one.title if one else "",
        other.title if other else "",
    )


def procedure_changes(
    before: Library, after: Library, one: Procedure, other: Procedure
) -> Iterator[Alteration]:
    """Everything that differs between two versions of a procedure, its cautions' own words aside."""
    file = f"{other.name}.yaml"
    yield from _head(file, one, other)
    for name, step in other.steps.items():
        if name in one.steps:
            yield from step_changes(Sides(file, one.steps[name], step, before.terms, after.terms))
        else:
            what = _measured(after, step)
            yield Alteration(file, ("steps", name), About.STEP, f"the step was added: {what}", "", what)
    for name, step in one.steps.items():
        if name not in other.steps:
            what = _measured(before, step)
            yield Alteration(file, ("steps", name), About.STEP, f"the step was removed: {what}", what, "")
    for name, verdict in other.verdicts.items():
        if name in one.verdicts:
            yield from _verdict(file, one.verdicts[name], verdict)
        else:
            said = f"the verdict was added: {quoted(verdict.says)}"
            yield Alteration(file, ("verdicts", name), About.VERDICT, said, "", verdict.says)
    for name, verdict in one.verdicts.items():
        if name not in other.verdicts:
            said = f"the verdict was removed: {quoted(verdict.says)}"
            yield Alteration(file, ("verdicts", name), About.VERDICT, said, verdict.says, "")


def _measured(library: Library, step: Step) -> str:
    return f"{connection(library.terms, step.measure)}, {engine_words(step.measure.engine)}"


def _head(file: str, one: Procedure, other: Procedure) -> Iterator[Alteration]:
    rows = (
        ("title", About.WORDS, "title", quoted(one.title), quoted(other.title)),
        ("about", About.WORDS, "about", quoted(one.about), quoted(other.about)),
        ("circuit", About.PROCEDURE, "circuit", one.circuit, other.circuit),
        ("needs", About.PROCEDURE, "needs", names(one.needs), names(other.needs)),
        ("start", About.PROCEDURE, "first step", one.start, other.start),
        ("asks", About.PROCEDURE, "asked first", names(one.asks), names(other.asks)),
        (
            "presumes_no",
            About.PROCEDURE,
            "presumed excluded",
            names(one.presumes_no),
            names(other.presumes_no),
        ),
    )
    for key, about, what, before, after in rows:
        if before != after:
            yield Alteration(file, (key,), about, told(what, before, after), before, after)
    yield from listed_changes(file, (), one.cautions, other.cautions)


def _verdict(file: str, one: Verdict, other: Verdict) -> Iterator[Alteration]:
    rows = (
        ("says", "said", quoted(one.says), quoted(other.says)),
        ("faults", "faults", names(one.faults), names(other.faults)),
        ("part", "part", one.part or "no part", other.part or "no part"),
        ("repair", "repair", quoted(one.repair), quoted(other.repair)),
        ("verify", "checks after the repair", names(one.verify), names(other.verify)),
        ("still_possible", "still possible", quoted(one.still_possible), quoted(other.still_possible)),
        ("continue_with", "goes on with", one.continue_with or "", other.continue_with or ""),
        ("next_check", "next check", _check(one.next_check), _check(other.next_check)),
    )
    for key, what, before, after in rows:
        if before != after:
            sentence = told(what, before, after)
            yield Alteration(file, ("verdicts", other.name, key), About.VERDICT, sentence, before, after)


def _check(check: NextCheck | None) -> str:
    if check is None:
        return ""
    back = f"; come back to {check.come_back}" if check.come_back else ""
    return f"'{check.do}' Good: {check.value} ({check.source}){back}"
