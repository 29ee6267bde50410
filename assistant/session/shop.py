"""What a session says of the shop's own findings before it begins."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence


def counted_sentence(cars: int) -> str:
    """What a session says of the shop's findings before it begins."""
    one = cars == 1
    return (
        f"{cars} finding{'' if one else 's'} of this shop {'is' if one else 'are'} counted in the odds "
        "('sessions --odds' shows them, 'run --no-history' leaves them out)."
    )


def left_out_sentence(left_out: Sequence[str]) -> str:
    """The same of what does not count although it was reviewed."""
    names = ", ".join(sentence.partition(" ")[0] for sentence in left_out)
    return f"Reviewed but not counted: {names}. 'bay-assistant sessions --odds' says why."
