"""Everything that the assistant can say, sentence by sentence.

`texts` gathers the sentences of procedures, cautions and terms; `everything` adds those of the dialogue itself:
notices, read-backs, prompts, in the order in which it says them (`assistant.rehearsal.exploring`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.library.procedure import Leads
from assistant.core.library.vocabulary import BY_SPEED, FIRED, HUMS, OVER_RANGE
from assistant.core.values.perceived import Perceived
from assistant.core.values.result import Result
from assistant.core.values.witness import Figure, Witness
from assistant.core.words import instructing, perceiving, remarking, reporting
from assistant.core.words.sentences import sentences
from assistant.rehearsal.exploring import example, said_in_play

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Answer, Measurement, Procedure, Step
    from assistant.core.reasoning.knowledge import Knowledge

DIALOGUE = "assistant/core/dialogue"
"""Source of a sentence that no procedure, caution or term holds."""


@dataclass(frozen=True)
class SpokenSentence:
    """A sentence that can be said.

    Attributes:
        sentence: The sentence, with its own punctuation.
        file: File with its words.
        line: Line in it; 0 for the whole file.
        where: Its place in words: "step feed-key-on", "caution cranking".
    """

    sentence: str
    file: str
    line: int
    where: str


def texts(library: Library, beside: Callable[[str], str]) -> list[SpokenSentence]:
    """Every sentence that procedures, cautions and terms make the assistant say, each once for each of its places.

    Args:
        library: The procedures with their terms.
        beside: The path of a file of the procedures' folder, such as ``terms.yaml``.
    """
    found: dict[SpokenSentence, None] = {}

    def add(text: str, file: str, line: int, where: str) -> None:
        found.update(dict.fromkeys(SpokenSentence(part, file, line, where) for part in sentences(text)))

    for notice in perceiving.NOTICES:
        add(notice, DIALOGUE, 0, "notice")
    for name, caution in library.cautions.items():
        for form in ("full", "short"):
            add(remarking.caution_text(caution, form), beside("cautions.yaml"), 0, f"caution {name}, {form}")
    for name, inquiry in library.terms.facts.items():
        for text in (inquiry.question, inquiry.look_for):
            add(text, beside("terms.yaml"), 0, f"fact {name}")
    for procedure in library.procedures.values():
        for presumed in (procedure.presumes_no, ()):
            intro = remarking.procedure_intro(library.terms, procedure, presumed)
            add(intro, procedure.file, 0, "title")
        for step in procedure.steps.values():
            where = f"step {step.name}"
            for before in (None, *measured_before(library, procedure, step)):
                for whole in (False, True):
                    for text in instructing.instruction(library, step, before, whole=whole):
                        add(text, procedure.file, step.line, where)
            add(instructing.keyed_choices(library, step), procedure.file, step.line, where)
            add(step.look_for, procedure.file, step.line, f"{where}, look_for")
            for text in _proposals(library, step):
                add(text, procedure.file, step.line, f"{where}, by ear")
            for answer in step.choices():
                add(_read_back(library, step, answer), procedure.file, step.line, f"{where}, read back")
            if step.reading and OVER_RANGE in step.heard:
                over = reporting.read_back(library, step, step.reading.bands[-1], None, None)
                add(over, procedure.file, step.line, f"{where}, read back")
        for name, verdict in procedure.verdicts.items():
            title = library.procedures[verdict.continue_with].title if verdict.continue_with else ""
            for text in (remarking.verdict_text(verdict, title), remarking.would_mean(verdict)):
                add(text, procedure.file, 0, f"verdict {name}")
    return list(found)


def _proposals(library: Library, step: Step) -> Iterator[str]:
    """What the ear can propose at this step."""
    for outcome in (*BY_SPEED, "normal", HUMS, FIRED[0]):
        if step.answer(outcome) is not None:
            speed = (Figure(perceiving.SPEED, "100"),)
            seen = Perceived(0.0, Witness.EAR, Result(outcome=outcome), figures=speed)
            yield perceiving.sounds_like(library, step, seen)


def _read_back(library: Library, step: Step, answer: Answer) -> str:
    if step.reading is None:
        return reporting.read_back(library, step, answer, None, None)
    return reporting.read_back(library, step, answer, example(step, answer), step.reading.unit)


def measured_before(library: Library, procedure: Procedure, step: Step) -> Iterator[Measurement]:
    """Connections that can be there when a step begins: those of steps before it, here or in a procedure before."""
    seen: dict[Measurement, None] = {}
    for other in library.procedures.values():
        for earlier in other.steps.values():
            targets = [answer.target for answer in earlier.choices()]
            if earlier.if_skipped is not None:
                targets.append(earlier.if_skipped)
            for target in targets:
                here = other is procedure and target.leads is Leads.STEP and target.name == step.name
                handed = (
                    target.leads is Leads.PROCEDURE
                    and target.name == procedure.name
                    and procedure.start == step.name
                )
                concluded = (
                    target.leads is Leads.VERDICT
                    and procedure.start == step.name
                    and other.verdicts[target.name].continue_with == procedure.name
                )
                if here or handed or concluded:
                    seen[earlier.measure] = None
    yield from seen


def everything(
    library: Library,
    knowledge: Knowledge | None,
    beside: Callable[[str], str],
    turns: int = 1500,
    progress: Callable[[float, float], None] = lambda _done, _all: None,
) -> list[SpokenSentence]:
    """All sentences: first those in files, then those of the dialogue itself.

    Sentences that differ only in their numbers are taken once. `progress` is called with (done, total) procedures.
    """
    found = texts(library, beside)
    known = {shape(spoken.sentence) for spoken in found}
    for number, name in enumerate(library.procedures):
        progress(number, len(library.procedures))
        for sentence in said_in_play(library, knowledge, name, turns):
            if shape(sentence) not in known:
                known.add(shape(sentence))
                found.append(SpokenSentence(sentence, DIALOGUE, 0, f"the dialogue, in {name}"))
    return found


def shape(sentence: str) -> str:
    """The sentence without its numbers: two of one shape are said alike."""
    return re.sub(r"\d+(\.\d+)?", "#", sentence)
