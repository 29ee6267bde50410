"""The parts that the phrases of a step are made of."""

from __future__ import annotations

from dataclasses import dataclass

from assistant.grammar.forms import Forms
from assistant.grammar.numbers import NumberGrammar
from assistant.grammar.spelling import SpellingGrammar

NOTHING = Forms({})
"""No forms at all."""


@dataclass(frozen=True)
class Parts:
    """The forms that a step takes, by kind; without any, nothing can be said.

    Attributes:
        number: Spoken numbers; None if the step does not take a reading.
        signs: Spelled signs; None if nothing is to be spelled.
    """

    places: Forms = NOTHING
    outcomes: Forms = NOTHING
    units: Forms = NOTHING
    controls: Forms = NOTHING
    number: NumberGrammar | None = None
    signs: SpellingGrammar | None = None
