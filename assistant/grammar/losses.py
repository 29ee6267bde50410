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
    from collections.abc import Collection, Sequence


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


def without_lossy_units(units: Forms) -> tuple[Forms, list[LeftOut]]:
    """The units without the forms that could become another unit, and those forms."""
    kept = {}
    left_out = []
    for name, forms in units.of.items():
        others = [form.text for other, form in units.each() if other != name]
        safe = tuple(form for form in forms if not any(turns_into(form.text, other) for other in others))
        kept[name] = safe or forms
        for form in forms:
            if form not in kept[name]:
                why = "it would be another unit without its first word"
                left_out.append(LeftOut(str(form), form.words[0].place, why))
    return Forms(kept), left_out


def without_lossy_controls(
    controls: Forms, outcomes: Forms, short: Collection[str]
) -> tuple[Forms, list[LeftOut]]:
    """The control words without the forms that another phrase could become, and those forms.

    Args:
        controls: The control words of a step.
        outcomes: Its outcomes.
        short: Words that are short enough to be lost.
    """
    kept = {}
    left_out = []
    for name, forms in controls.of.items():
        risky = [form.text for _, form in outcomes.each()]
        risky += [form.text for other, form in controls.each() if other != name]
        safe = tuple(f for f in forms if not any(turns_into(text, f.text, short) for text in risky))
        kept[name] = safe or forms
        for form in forms:
            if form not in kept[name]:
                why = "another phrase of this step turns into it by losing a short word"
                left_out.append(LeftOut(str(form), form.words[0].place, why))
    return Forms(kept), left_out
