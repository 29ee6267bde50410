"""What the assistant says while it listens, with what it listens for meanwhile: the turns of every step."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.dialogue.sayable import request_for
from assistant.core.dialogue.states import State
from assistant.core.values.result import GrammarRequest
from assistant.core.words import instructing, remarking, reporting
from assistant.rehearsal.exploring import example

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Step


@dataclass(frozen=True)
class SpokenTurn:
    """Something that the assistant says with a headset on, and what it listens for while it says it.

    Attributes:
        text: One sentence or several.
        request: What can be said meanwhile, as the dialogue asks for it.
        where: "procedure/step, state".
    """

    text: str
    request: GrammarRequest
    where: str


def spoken_turns(library: Library) -> list[SpokenTurn]:
    """Every step's instruction and question, cautions and read-backs, every fact's question, each once."""
    found: dict[tuple[str, GrammarRequest], SpokenTurn] = {}
    for turn in (*_steps(library), *_facts(library)):
        found.setdefault((turn.text, turn.request), turn)
    return list(found.values())


def _steps(library: Library) -> Iterator[SpokenTurn]:
    for procedure in library.procedures.values():
        for step in procedure.steps.values():
            where = f"{procedure.name}/{step.name}"
            cautions = [library.cautions[name] for name in step.cautions]
            if cautions:
                text = " ".join(remarking.caution_text(caution, "full") for caution in cautions)
                yield _turn(text, State.CAUTIONING, step, where)
                yield _turn(f"{text} Ready?", State.ACKNOWLEDGING, step, where)
            asked = " ".join(instructing.instruction(library, step, None, whole=True))
            yield _turn(asked, State.ASKING, step, where)
            for text in _read_backs(library, step):
                yield _turn(text, State.READING_BACK, step, where)


def _read_backs(library: Library, step: Step) -> Iterator[str]:
    for answer in step.choices():
        if step.reading is None:
            yield f"{reporting.read_back(library, step, answer, None, None)} Yes or no?"
        else:
            value, unit = example(step, answer), step.reading.unit
            yield f"{reporting.read_back(library, step, answer, value, unit)} Right?"


def _facts(library: Library) -> Iterator[SpokenTurn]:
    for name, inquiry in library.terms.facts.items():
        request = request_for(State.INQUIRING, None, inquiry)
        yield SpokenTurn(inquiry.question, request, f"fact {name}, {State.INQUIRING}")


def _turn(text: str, state: State, step: Step, where: str) -> SpokenTurn:
    return SpokenTurn(text, request_for(state, step), f"{where}, {state}")
