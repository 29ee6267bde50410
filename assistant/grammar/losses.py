"""Guards against a word that is lost in noise: forms that would become something else are left out.

- A form of a unit that loses words and becomes another unit of the step ("kilo ohms", "ohms") is left out while
  its unit has another form.
- A form of a control word that another phrase of the step becomes by losing short words ("no" beside "no
  spark") is left out, too.

`assistant.grammar.lint` checks what remains.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.grammar.forms import Forms, LeftOut

if TYPE_CHECKING:
    from collections.abc import Callable, Collection, Sequence

    from assistant.grammar.phrases import Phrase


def turns_into(
    longer: Sequence[str], shorter: Sequence[str], can_be_lost: Collection[str] | None = None
) -> bool:
    """Whether losing some words of `longer` leaves `shorter`.

    Args:
        longer: The spoken words.
        shorter: The words that are heard.
        can_be_lost: Words that may be lost; None means any word.
    """
    if len(longer) <= len(shorter):
        return False
    reached = {0}
    for word in longer:
        following = {at + 1 for at in reached if at < len(shorter) and shorter[at] == word}
        if can_be_lost is None or word in can_be_lost:
            following |= reached
        reached = following
    return len(shorter) in reached


def _without(forms: Forms, lossy: Callable[[str, Phrase], bool], why: str) -> tuple[Forms, list[LeftOut]]:
    """The forms without the lossy ones, unless a name has no other, and those that were left out with the reason."""
    kept = {}
    left_out = []
    for name, of_name in forms.of.items():
        kept[name] = tuple(form for form in of_name if not lossy(name, form)) or of_name
        left_out += [
            LeftOut(str(form), form.words[0].place, why) for form in of_name if form not in kept[name]
        ]
    return Forms(kept), left_out


def without_lossy_units(units: Forms) -> tuple[Forms, list[LeftOut]]:
    """The units without the forms that could become another unit, and those forms."""

    def lossy(name: str, form: Phrase) -> bool:
        return any(turns_into(form.text, other.text) for unit, other in units.each() if unit != name)

    return _without(units, lossy, "it would be another unit without its first word")


def without_lossy_controls(
    controls: Forms, outcomes: Forms, short: Collection[str]
) -> tuple[Forms, list[LeftOut]]:
    """The control words without the forms that another phrase could become, and those forms.

    Args:
        controls: The control words of a step.
        outcomes: Its outcomes.
        short: Words that are short enough to be lost.
    """

    def lossy(name: str, form: Phrase) -> bool:
        risky = [other for _, other in outcomes.each()]
        risky += [other for control, other in controls.each() if control != name]
        return any(turns_into(other.text, form.text, short) for other in risky)

    return _without(controls, lossy, "another phrase of this step turns into it by losing a short word")
