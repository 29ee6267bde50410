"""A check of the grammars: what a lost word or a slurred phone could turn into something else.

`lint_grammars` looks at requests (a step's outcomes or units with the control words of a state of the dialogue)
and reports:

- a phrase that becomes another valid result when one or several of its short words are lost;
- phrases of different meaning that sound alike;
- words without a pronunciation;
- outcomes, places, control words and units that nobody can say.

A **short word** is one that has, or can have, a single syllable: such a word fits into one stroke of an impact
wrench.
Losing only the place ("feed lit" becomes "lit") is not a finding, because the place is only an extra check.

**Numbers are exempt** from both comparisons among themselves: losing a word of "twelve point four" can give
another number, which is why every number is read back before it counts.
A lost word of a number must not touch the place or the unit. `GrammarSet` keeps the words of numbers, units and
places apart, so only a place or unit that itself loses a word could change; this module checks that.
(If the whole unit is lost, the number counts in the step's own unit, and the read-back speaks the unit.)
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.dialogue.sayable import SAYABLE
from assistant.core.dialogue.states import State
from assistant.core.values.finding import Finding
from assistant.core.values.result import Control, GrammarRequest, Result, Spelling
from assistant.core.values.units import units_like
from assistant.errors import FileProblem
from assistant.grammar import numbers
from assistant.grammar.losses import HARMLESS, LOOK_ALIKE, NUMBER, asks_again, told_apart, turns_into
from assistant.grammar.nearness import close_phrases
from assistant.grammar.network import Position
from assistant.grammar.tags import UNITS

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Iterable, Iterator, Sequence

    from assistant.grammar.grammar_set import GrammarSet
    from assistant.grammar.lexicon import Lexicon
    from assistant.grammar.nearness import Near
    from assistant.grammar.step_grammar import StepGrammar


_SHARES = (0.49, 0.11, 0.25, 0.15)
"""Shares of the time of making grammars, collecting phrases, comparing them, looking at the steps, as shipped."""


def typical_requests(grammars: GrammarSet) -> list[GrammarRequest]:
    """Requests that a step could make: each grammar's outcomes and each unit, in every state that takes
    results.
    """
    found = []
    for state, controls in SAYABLE.items():
        found.append(GrammarRequest(controls=controls))
        if state is State.INQUIRING and grammars.signs is not None:
            spelling = (Control.THAT_IS_ALL, *controls)
            found.append(GrammarRequest(controls=spelling, spelling=Spelling.SIGNS))
        if state not in (State.ASKING, State.CRANKING, State.READING_BACK, State.SKIPPING):
            continue
        if state is State.ASKING:
            controls = (*controls, Control.CRANKING)  # noqa: PLW2901  added while the engine is to be cranked
        for name in grammars.names():
            own = grammars.named(name).request
            if own.outcomes:
                found.append(GrammarRequest(own.outcomes, (), controls, places=own.places))
        families = dict.fromkeys(tuple(sorted(units_like(unit))) for unit in grammars.units())
        if state in (State.ASKING, State.CRANKING):
            controls = (*controls, Control.TAKE_IT)  # noqa: PLW2901  added while a meter reports
        found.extend(GrammarRequest((), family, controls) for family in families)
    return list(dict.fromkeys(found))


def lint_grammars(
    grammars: GrammarSet,
    requests: Iterable[GrammarRequest] | None = None,
    *,
    outcomes: Iterable[str] = (),
    places: Iterable[str] = (),
    progress: Callable[[float, float], None] = lambda _done, _all: None,
) -> list[Finding]:
    """Everything that could be misheard or cannot be said.

    Args:
        grammars: The grammars with their lexicon.
        requests: The requests of the steps; None means `typical_requests`.
        outcomes: Names of outcomes that must be sayable, from the procedures.
        places: Names of places that must be sayable.
        progress: Called with (done, total) of the work.
    """
    findings = lint_words(grammars, outcomes=outcomes, places=places)
    steps: list[StepGrammar] = []
    wanted = list(typical_requests(grammars) if requests is None else requests)
    for number, request in enumerate(wanted, start=1):
        try:
            step = grammars.request(request)
        except FileProblem as problem:
            findings.append(Finding(str(problem.path), problem.line, problem.problem, problem.remedy))
            continue
        steps.append(step)
        progress(_SHARES[0] * number / len(wanted), 1)
    # Steps share most of their phrases, so all are compared once, and each step picks the pairs that it
    # contains.
    entries = [_entries(step) for step in steps]
    texts = dict.fromkeys(entry.text for of_step in entries for entry in of_step)
    near = close_phrases(
        texts,
        grammars.lexicon,
        LOOK_ALIKE,
        lambda done, of: progress(sum(_SHARES[:2]) + _SHARES[2] * done / of, 1),
    )
    begun = sum(_SHARES[:3])
    for number, (step, of_step) in enumerate(zip(steps, entries, strict=True)):
        progress(begun + _SHARES[3] * number / len(steps), 1)
        findings += _lossy(step)
        findings += _look_alikes(of_step, near)
        units = [(unit, form) for unit in step.units() for form in step.unit_forms(unit)]
        findings += _unlike((_Entry(f.text, unit, f.words[0].place) for unit, f in units), step.lexicon)
    return list(dict.fromkeys(findings))


def lint_words(
    grammars: GrammarSet, *, outcomes: Iterable[str] = (), places: Iterable[str] = ()
) -> list[Finding]:
    """The part of it that compares no phrases: words without a pronunciation, and names that nobody can say."""
    return [*_unpronounceable(grammars), *_unsayable(grammars, outcomes, places), *_places(grammars)]


def _unpronounceable(grammars: GrammarSet) -> Iterator[Finding]:
    seen = {}
    for word, place in grammars.words().items():
        seen[word] = place
        if word not in grammars.lexicon:
            yield Finding(
                place.file,
                place.line,
                f"the word '{word}' has no pronunciation",
                f"Add it to {grammars.lexicon.path}",
            )
    for word in grammars.lexicon.entries:
        if word not in seen:
            yield Finding(
                str(grammars.lexicon.path), 0, f"the word '{word}' is in no grammar", "Remove its lines"
            )


def _unsayable(grammars: GrammarSet, outcomes: Iterable[str], places: Iterable[str]) -> Iterator[Finding]:
    for kind, needed, there in (
        ("outcome", outcomes, grammars.outcomes()),
        ("place", places, grammars.places()),
        ("unit", UNITS, grammars.units()),
        ("control", Control, grammars.controls()),
    ):
        for name in needed:
            if name not in there:
                yield Finding(
                    str(grammars.lexicon.path.parent),
                    0,
                    f"no phrase stands for the {kind} '{name}'",
                    f"Tag its phrases with {{{kind}={name}}} in one of the grammars",
                )


def _places(grammars: GrammarSet) -> Iterator[Finding]:
    """Places that turn into another place by losing short words, or that sound like another place."""
    lexicon = grammars.lexicon
    forms = [(name, form) for name in grammars.places() for form in grammars.forms("place", name)]
    for name, form in forms:
        short = {word for word in form.text if lexicon.is_short(word)}
        for other, shorter in forms:
            if name != other and turns_into(form.text, shorter.text, short):
                yield _lost(form.words[0].place, str(form), str(shorter), f"the place {other}")
    yield from _unlike((_Entry(form.text, name, form.words[0].place) for name, form in forms), lexicon)


def _unlike(entries: Iterable[_Entry], lexicon: Lexicon) -> Iterator[Finding]:
    listed = list(entries)
    yield from _look_alikes(listed, close_phrases([entry.text for entry in listed], lexicon, LOOK_ALIKE))


def _lost(place: Position, whole: str, left: str, meaning: str) -> Finding:
    return Finding(
        place.file,
        place.line,
        f"'{whole}' becomes '{left}' ({meaning}) when a short word is lost",
        "Choose words that mean nothing else when one of them is lost",
    )


def _lossy(step: StepGrammar) -> Iterator[Finding]:
    lexicon = step.lexicon
    known = {phrase.text: result for phrase, result in step.meanings()}
    short = {word for word in step.words() if lexicon.is_short(word)}
    for phrase, result in step.meanings():
        for left in _shortened(phrase.text, short):
            other = known.get(left)
            if (
                other is not None
                and other != result
                and other.control not in HARMLESS
                and not _only_place_lost(result, other)
            ):
                yield _lost(phrase.words[-1].place, str(phrase), " ".join(left), _plain(other))
    forms = [(name, form) for name in step.units() for form in step.unit_forms(name)]
    for name, form in forms:
        for other_name, shorter in forms:
            if name != other_name and turns_into(form.text, shorter.text):
                yield _lost(form.words[0].place, str(form), str(shorter), f"the unit {other_name}")
    if forms:
        # If a reading loses its number, nothing may remain of it.
        endings: list[tuple[str, ...]] = [(), *(form.text for _, form in forms)]
        for where, ending in itertools.product(step.place_forms(), endings):
            for left in ((*where.text, *ending), *_shortened((*where.text, *ending), short)):
                other = known.get(left)
                if other is not None:
                    whole = " ".join((*where.text, "[number]", *ending))
                    yield _lost(where.words[0].place, whole, " ".join(left), _plain(other))


def _shortened(words: Sequence[str], short: Collection[str]) -> set[tuple[str, ...]]:
    """The words without one or more short words, in every combination."""
    left: set[tuple[str, ...]] = {()}
    for word in words:
        longer = {(*start, word) for start in left}
        left = left | longer if word in short else longer
    return left - {tuple(words)}


def _only_place_lost(result: Result, other: Result) -> bool:
    return other.place is None and (result.outcome, result.control) == (other.outcome, other.control)


def _plain(result: Result) -> str:
    what = result.outcome or result.control or f"{result.value} {result.unit or ''}".strip()
    return f"{what} at {result.place}" if result.place else str(what)


# --- look-alikes ----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Entry:
    """A phrase with its meaning, for comparison."""

    text: tuple[str, ...]
    meaning: str
    place: Position


def _entries(step: StepGrammar) -> list[_Entry]:
    """The phrases to compare within a step; one outcome at two places is compared once for all, in `_places`."""
    entries = [
        _Entry(phrase.text, result.outcome or str(result.control), phrase.words[-1].place)
        for phrase, result in step.meanings()
    ]
    if step.request.units and not step.request.spelling:
        place = step.unit_forms(step.units()[0])[0].words[0].place
        values = [Decimal(value) for value in range(100)] + [Decimal(value) / 10 for value in range(1, 10)]
        entries += [_Entry(tuple(numbers.in_words(value).split()), NUMBER, place) for value in values]
    # Where a number is asked for, single digits are a number: exempt like all numbers, and read back.
    entries += [
        _Entry((word,), NUMBER if step.request.units and sign.isdigit() else sign, place)
        for word, sign, place in step.signs()
    ]
    # A unit is never spoken alone, so units are compared only among themselves.
    return entries


def _look_alikes(entries: list[_Entry], near: Near) -> Iterator[Finding]:
    """Pairs with different meanings that are closer than `LOOK_ALIKE`; the closest pair for any two meanings."""
    by_text = {entry.text: entry for entry in entries}
    closest: dict[tuple[str, str], tuple[float, int, _Entry, _Entry]] = {}
    for one in by_text.values():
        for text, distance in near.get(one.text, ()):
            other = by_text.get(text)
            if other is None or other.meaning == one.meaning or told_apart(one.text, other.text):
                continue
            if asks_again(one.meaning, other.meaning):
                continue
            first, second = sorted((one, other), key=lambda entry: (entry.meaning, entry.text))
            rank = (distance, len(first.text) + len(second.text))
            key = (first.meaning, second.meaning)
            if key not in closest or rank < closest[key][:2]:
                closest[key] = (*rank, first, second)
    for distance, _, first, second in closest.values():
        yield Finding(
            first.place.file,
            first.place.line,
            f"'{' '.join(first.text)}' ({first.meaning}) and '{' '.join(second.text)}' ({second.meaning}) "
            f"sound alike: distance {distance:.1f}, at least {LOOK_ALIKE}",
            f"Choose other words here or in {second.place.file}:{second.place.line}",
        )
