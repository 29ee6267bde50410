"""Sentences about the shop's own findings, before a session begins."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


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
