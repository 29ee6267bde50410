"""The parts of a step for a recogniser whose model lacks some of its words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.values.result import KEYED_AS_WELL
from assistant.errors import ModelProblem
from assistant.grammar.forms import Forms, LeftOut
from assistant.grammar.parts import Parts

if TYPE_CHECKING:
    from collections.abc import Sequence, Set as AbstractSet

    from assistant.grammar.network import Position


def sayable_parts(
    parts: Parts, gone: AbstractSet[str], units: Sequence[str], remedy: str
) -> tuple[Parts, list[LeftOut]]:
    """The parts without the forms that need one of these words, and those forms.

    Args:
        parts: The parts of a step.
        gone: Words that the model lacks.
        units: Units of the request, the step's own first.
        remedy: Advice for the error message, a sentence without its full stop.

    Raises:
        ModelProblem: An outcome, the step's own unit, a control word or a number could not be said at all;
            the message names the words and their places.
    """
    left_out: list[LeftOut] = []
    lost: list[tuple[str, dict[str, Position]]] = []
    kept = []
    given = {"place": parts.places, "outcome": parts.outcomes, "unit": parts.units, "control": parts.controls}
    for kind, forms in given.items():
        sayable = {}
        for name, all_forms in forms.of.items():
            good = tuple(form for form in all_forms if gone.isdisjoint(form.text))
            for form in all_forms:
                if form not in good:
                    words = ", ".join(f"'{word}'" for word in form.text if word in gone)
                    why = f"the model does not know {words}"
                    left_out.append(LeftOut(str(form), form.words[0].place, why))
            if good:
                sayable[name] = good
            elif kind == "unit" and name != units[0]:
                continue  # the step's own unit can be said; millivolts are a convenience beside volts
            elif kind == "control" and name in KEYED_AS_WELL:
                continue
            elif kind != "place":
                absent = {w.text: w.place for w in all_forms[0].words if w.text in gone}
                lost.append((f"the {kind} '{name}'", absent))
        kept.append(Forms(sayable))
    if parts.number and (numbers_lost := parts.number.lost(gone)):
        lost.append(("some numbers", numbers_lost))
    if parts.signs and (signs_lost := parts.signs.lost(gone)):
        lost.append(("some signs", signs_lost))
    if lost:
        raise ModelProblem(_unheard(lost, remedy))
    places, outcomes, units_left, controls = kept
    number = parts.number.without(gone) if parts.number else None
    signs = parts.signs.without(gone) if parts.signs else None
    return Parts(places, outcomes, units_left, controls, number, signs), left_out


def _unheard(lost: list[tuple[str, dict[str, Position]]], remedy: str) -> str:
    """The message about meanings that nobody could say, with the words that the model lacks."""
    whats = [what for what, _ in lost]
    absent = {word: place for _, words in lost for word, place in words.items()}
    named = ", ".join(f"'{word}' ({place.file}:{place.line})" for word, place in absent.items())
    return (
        f"The recogniser does not know how to hear {named}; so nobody can say {', '.join(whats)}. {remedy}."
    )
