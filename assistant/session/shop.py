"""Sentences about the shop's own findings and settings, before a session begins."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.library.terms import Terms
    from assistant.session.settings import Settings


def counted_sentence(cars: int) -> str:
    """The sentence about the findings that count."""
    one = cars == 1
    return (
        f"{cars} finding{'' if one else 's'} of this shop {'is' if one else 'are'} counted in the odds "
        "('sessions --odds' shows them, 'run --no-history' leaves them out)."
    )


def left_out_sentence(left_out: Sequence[str]) -> str:
    """The sentence about reviewed sessions that do not count."""
    names = ", ".join(sentence.partition(" ")[0] for sentence in left_out)
    return f"Reviewed but not counted: {names}. 'bay-assistant sessions --odds' says why."


def lamp_remarks(settings: Settings, terms: Terms) -> tuple[str, ...]:
    """The test lamp that a new session takes from settings or options, so that none is used unnoticed."""
    facts = settings.facts
    inquiry = terms.facts.get("lamp-kind")
    if settings.resume is not None or inquiry is None or not (facts.lamp_kind or facts.lamp_current):
        return ()
    kind = inquiry.choices.get(facts.lamp_kind, "")
    current = f"{facts.lamp_current} A" if facts.lamp_current else ""
    told = ", ".join(filter(None, (kind, current)))
    return (f"Test lamp, as set: {told}. If it is another one, say: other lamp.",)
