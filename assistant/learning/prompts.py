"""What a technician is asked to repeat in a lesson, and in which order."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.dialogue.sayable import request_for
from assistant.core.dialogue.states import State
from assistant.core.values.own_word import OwnWord
from assistant.core.values.result import Control, GrammarRequest, Result

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator, Sequence

    from assistant.core.library.library import Library
    from assistant.grammar.grammar_set import GrammarSet

ANSWERS = ("lit", "dim", "dark", "steady", "blinking", "went-out")
"""Outcomes to repeat: those that are said most."""

CONTROLS = (
    Control.AFFIRM,
    Control.NEGATIVE,
    Control.CORRECTION,
    Control.SAY_AGAIN,
    Control.READY,
    Control.SKIP,
    Control.NOT_SURE,
    Control.STAND_BY,
    Control.GO_AHEAD,
    Control.CHOICES,
    Control.CRANKING,
)
"""Words of the dialogue to repeat; "stop" comes last, because it ends the lesson like everything else."""

READINGS = (
    ("twelve point four volts", "V"),
    ("zero point six ohms", "ohm"),
    ("seven point nine amps", "A"),
)
"""Readings to repeat, with their units: between them all digits but the rarest sounds of numbers."""

ASKED = "Say: {}."
"""What the assistant says before each of the words."""

_STATES = (State.ASKING, State.READING_BACK, State.ACKNOWLEDGING, State.STANDING_BY, State.CRANKING)
"""States in which a prompted word may be heard, the most usual first."""


@dataclass(frozen=True)
class ToSay:
    """Something to repeat.

    Attributes:
        words: The words.
        result: Their meaning where they are heard.
        request: What may be heard then: that of a real step, with its other answers.
        teaches: Whether the take teaches; otherwise it checks.
    """

    words: str
    result: Result
    request: GrammarRequest
    teaches: bool = True


def prompts(
    library: Library, grammars: GrammarSet, own: Sequence[OwnWord], rng: random.Random, times: int = 2
) -> list[ToSay]:
    """Everything to repeat, in random order, and "stop" at the end.

    Half of the words teach, and the other half checks, each as often as it is said: a word that was taught says
    nothing about words that were not.

    Args:
        library: The procedures, whose steps are asked.
        grammars: Grammars with the technician's own words.
        own: Own words, which are repeated as well.
        rng: Chance.
        times: How often each is said.
    """
    wanted = [OwnWord("", "outcome", name) for name in ANSWERS]
    wanted += [OwnWord("", "control", str(name)) for name in CONTROLS]
    asked = [OwnWord(str(grammars.forms(one.kind, one.means)[0]), one.kind, one.means) for one in wanted]
    single = [found for one in (*asked, *own) if (found := _prompt(library, grammars, one)) is not None]
    for words, unit in READINGS:
        requests = (request for request in _requests(library) if unit in request.units)
        heard = (_heard(grammars, one, words) for one in requests)
        single += [next(made for made in heard if made is not None)]
    rng.shuffle(single)
    halves = [ToSay(one.words, one.result, one.request, teaches=not at % 2) for at, one in enumerate(single)]
    said: list[ToSay] = []
    for _ in range(times):
        again = halves.copy()
        rng.shuffle(again)
        said += again
    words = str(grammars.forms("control", Control.STOP)[0])
    stop = _prompt(library, grammars, OwnWord(words, "control", Control.STOP))
    if stop is not None:
        said.append(ToSay(stop.words, stop.result, stop.request, teaches=False))
    return said


def prompt_for(library: Library, grammars: GrammarSet, words: str) -> ToSay | None:
    """A prompt for any words that stand for an answer, where they are heard first; it checks, and teaches nothing."""
    kind, name = grammars.meaning_of(words)
    made = _prompt(library, grammars, OwnWord(words, kind, name))
    return None if made is None else ToSay(made.words, made.result, made.request, teaches=False)


def asked_for(grammars: GrammarSet) -> list[str]:
    """Every sentence with which a lesson may ask for words, own words aside: any form of an answer may be tried."""
    wanted = [("outcome", name) for name in ANSWERS]
    wanted += [("control", str(name)) for name in (*CONTROLS, Control.STOP)]
    forms = [str(form) for kind, name in wanted for form in grammars.forms(kind, name)]
    return [ASKED.format(words) for words in (*forms, *(words for words, _ in READINGS))]


def _requests(library: Library) -> Iterator[GrammarRequest]:
    """What may be heard in the steps' states, the questions first."""
    for state in _STATES:
        for procedure in library.procedures.values():
            for step in procedure.steps.values():
                yield request_for(state, step)


def _prompt(library: Library, grammars: GrammarSet, wanted: OwnWord) -> ToSay | None:
    """These words where they are heard first; None if no step hears them."""
    for request in _requests(library):
        if wanted.means not in (*request.outcomes, *request.controls):
            continue
        made = _heard(grammars, request, wanted.words)
        if made is not None:
            return made
    return None


def _heard(grammars: GrammarSet, request: GrammarRequest, words: str) -> ToSay | None:
    result = grammars.request(request).parse(words)
    return None if result is None else ToSay(words, result, request)
