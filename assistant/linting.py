"""Everything that a person who writes procedures or grammars wants to be told before a technician is.

The loaders refuse what is wrong; this adds what is only doubtful: phrases that sound alike, an outcome that
nobody can say, a word of the screen that the grammar does not know, a sentence that is too long to remember or that
the voice reads wrongly (`assistant.rehearsal.judging`).
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import assistant.core
from assistant.circuit import adding
from assistant.core.dialogue.sayable import REASONS, requests_of
from assistant.core.library.procedure import Leads
from assistant.core.library.vocabulary import CHANGED, SAME_POINT, UNCHANGED, WATCHED
from assistant.core.rules import trade_rules
from assistant.core.values.finding import Finding
from assistant.core.values.witness import Witness
from assistant.core.words import remarking
from assistant.grammar.lint import lint_grammars, lint_words
from assistant.learning import prompts
from assistant.rehearsal import judging, ordering, saying
from assistant.speaking.neural.own_words import OwnWords
from assistant.speaking.neural.pronouncing import Pronouncer, Unpronounceable

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Answer, Procedure, Step, Target
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.grammar.grammar_set import GrammarSet

    Progress = Callable[[float, float], None]

WORDED = ("dialogue", "words")
"""Rooms of the core whose modules hold words that are spoken."""

LESSON = "assistant/learning/prompts.py"
"""Source of the sentences with which a lesson asks for words."""

SAID = ("node", "item")
"""Kinds of places whose name can be said with an answer, so that a grammar must hear it."""


PARTS = {"grammars": 6.0, "speech": 1.8, "pronouncing": 0.9}
"""The long parts of `lint` with their times, s, measured on one processor core in 2026, with the shipped procedures."""


SPEECH_PARTS = {"speech": 2.2, "pronouncing": 0.9}
"""The same for what `lint --speech` looks at."""


def _unseen(_part: str) -> Progress:
    """Nobody looks at the progress."""
    return lambda _done, _all: None


def lint(
    library: Library,
    knowledge: Knowledge | None,
    grammars: GrammarSet,
    part: Callable[[str], Progress] = _unseen,
) -> list[Finding]:
    """All findings, the grammars' first, and last what the circuit model lacks.

    Args:
        library: The procedures.
        knowledge: Weighs the results; None if they are not weighed.
        grammars: The grammars.
        part: Called with the name of each part of `PARTS` when it begins; gives what is then called with (done, total).
    """
    return [
        *lint_grammars_for(library, grammars, part("grammars")),
        *lint_procedures(library, knowledge, grammars, part),
        *adding.findings(library),
    ]


def lint_grammars_for(
    library: Library, grammars: GrammarSet, progress: Progress = lambda _done, _all: None
) -> list[Finding]:
    """Doubtful points of the grammars for the answers of these procedures; takes seconds."""
    return lint_grammars(
        grammars,
        requests_of(library, digits=True, witnesses=tuple(Witness)),
        outcomes=list(listened_for(library)),
        places=list(_said(library)),
        progress=progress,
    )


def lint_procedures(
    library: Library,
    knowledge: Knowledge | None,
    grammars: GrammarSet,
    part: Callable[[str], Progress] = _unseen,
) -> list[Finding]:
    """Doubtful points of the procedures themselves; `part` as for `lint`."""
    said = [
        *all_spoken(library, knowledge, turns=500, progress=part("speech")),
        *lesson_spoken(grammars),
    ]
    pronounced = part("pronouncing")
    return [
        *_unspeakable_names(library, grammars),
        *_contradictions(library),
        *trade_rules.findings(library),
        *ordering.findings(library, lambda name: _beside(library, name)),
        *judging.findings(library, said),
        *unpronounceable(said, grammars.lexicon.path, pronounced),
    ]


def lint_at_start(library: Library, grammars: GrammarSet) -> list[Finding]:
    """What can be looked at while somebody waits for a session to begin.

    Left out are the phrases that sound alike, the sentences of the dialogue itself, and the voice's pronunciations:
    they take seconds (`lint`).
    """
    return [
        *lint_words(grammars, outcomes=list(listened_for(library)), places=list(_said(library))),
        *_unspeakable_names(library, grammars),
        *_contradictions(library),
        *trade_rules.findings(library),
        *ordering.findings(library, lambda name: _beside(library, name)),
        *judging.findings(library, saying.texts(library, lambda name: _beside(library, name))),
        *adding.findings(library),
    ]


def unsafe(library: Library) -> list[Finding]:
    """The findings that could hurt somebody: a caution that is missing, or hands that move before the key is off."""
    return [*trade_rules.uncautioned(library), *ordering.hands(library)]


def unpronounceable(
    said: Iterable[saying.SpokenSentence], lexicon: Path, progress: Progress = lambda _done, _all: None
) -> Iterator[Finding]:
    """Sentences that the second voice has to speak, because a word of them is in no lexicon of the first.

    Args:
        said: What can be said.
        lexicon: The file where an author can add such words (`grammars/lexicon.txt`).
        progress: Called with (done, total) sentences.
    """
    pronouncer = Pronouncer(OwnWords(lexicon).phones)
    each = {(one.sentence, one.file, one.line): one for one in said}
    for number, one in enumerate(each.values()):
        progress(number, len(each))
        try:
            pronouncer.phonemes(one.sentence)
        except Unpronounceable as problem:
            words = ", ".join(f"'{word}'" for word in problem.words)
            yield Finding(
                one.file,
                one.line,
                f"{one.where}: only eSpeak can say '{one.sentence}', because no lexicon has {words}",
                f"Use another word, or add its phones to {lexicon}",
            )


def listened_for(library: Library) -> tuple[str, ...]:
    """Every outcome that is heard somewhere: answers, procedures, choices of facts, reasons; sorted."""
    used = {
        answer.outcome
        for procedure in library.procedures.values()
        for step in procedure.steps.values()
        for answer in step.answers
    }
    steps = (step for procedure in library.procedures.values() for step in procedure.steps.values())
    used = (used | set(WATCHED)) - {CHANGED, UNCHANGED} if any(step.watch for step in steps) else used
    return tuple(sorted(used | set(library.procedures) | set(_choices(library)) | set(REASONS)))


def _choices(library: Library) -> dict[str, str]:
    """Every choice of the facts, with the words that are spoken for it; a grammar has small letters only."""
    facts = library.terms.facts.values()
    return {name: words.lower() for fact in facts for name, words in fact.choices.items()}


def _unspeakable_names(library: Library, grammars: GrammarSet) -> Iterator[Finding]:
    """Words of the screen that the grammar lacks: the words of a question must be those of its answer."""
    for kind, names in (
        ("outcome", {o.name: o.spoken for o in library.terms.outcomes.values()} | REASONS),
        ("outcome", _choices(library)),
        ("outcome", {name: remarking.procedure_short(name) for name in library.procedures}),
        ("place", _said(library)),
    ):
        for name, called in names.items():
            if name not in (grammars.outcomes() if kind == "outcome" else grammars.places()):
                continue  # told already
            forms = [str(form) for form in grammars.forms(kind, name)]
            if forms and called not in forms:
                yield Finding(
                    _beside(library, "terms.yaml"),
                    0,
                    f"the {kind} '{name}' is called '{called}', which the grammar does not accept",
                    f"Call it one of: {', '.join(forms)}",
                )
            elif forms and called != forms[0]:
                yield Finding(
                    _beside(library, "terms.yaml"),
                    0,
                    f"the {kind} '{name}' is called '{called}', and the grammar's first form is '{forms[0]}'",
                    "Make the first form the one that the assistant asks with",
                )


def _said(library: Library) -> dict[str, str]:
    """Places that are named with an answer, with their words; a point of two names is heard by its usual one."""
    return {
        place.name: place.short
        for place in library.terms.places.values()
        if place.kind in SAID and (SAME_POINT.get(place.name, place.name) == place.name or place.logic)
    }


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


def all_spoken(
    library: Library,
    knowledge: Knowledge | None,
    turns: int = 1500,
    progress: Progress = lambda _done, _all: None,
) -> list[saying.SpokenSentence]:
    """Every sentence that can be said, with the file and line that its words come from.

    Args:
        library: The procedures.
        knowledge: The knowledge that weighs results; None if they are not weighed.
        turns: How much is let happen in the dialogue of each procedure.
        progress: Called with (done, total) procedures.
    """
    found = saying.everything(library, knowledge, lambda name: _beside(library, name), turns, progress)
    sources = _sources()
    return [
        replace(one, file=where[0], line=where[1])
        if one.file == saying.DIALOGUE and (where := _written(one.sentence, sources))
        else one
        for one in found
    ]


def lesson_spoken(grammars: GrammarSet) -> list[saying.SpokenSentence]:
    """Every sentence with which a lesson asks for words, own words aside."""
    return [saying.SpokenSentence(one, LESSON, 0, "the lesson") for one in prompts.asked_for(grammars)]


def _sources() -> dict[str, str]:
    """The source of every module that has words of the dialogue, by its path in the checkout."""
    core = Path(assistant.core.__file__).parent
    paths = [path for room in WORDED for path in sorted((core / room).glob("*.py"))]
    return {path.relative_to(core.parents[1]).as_posix(): path.read_text(encoding="utf-8") for path in paths}


def _written(sentence: str, sources: dict[str, str]) -> tuple[str, int] | None:
    """File and line that hold the longest beginning, or else the longest end, of a sentence; None if none does."""
    words = sentence.split()
    for count in range(len(words), 0, -1):
        for part in (" ".join(words[:count]), " ".join(words[-count:])):
            sought = part if count > 1 else f'"{part}'
            for name, source in sources.items():
                if sought in source:
                    return name, source[: source.index(sought)].count("\n") + 1
    return None


def _beside(library: Library, name: str) -> str:
    """The path of a file that lies in the folder of the procedures."""
    return next((str(Path(p.file).with_name(name)) for p in library.procedures.values()), name)
