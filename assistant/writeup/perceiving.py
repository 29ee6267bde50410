"""By what a value came that nobody said or keyed: its source, the figures that came with it, and who took it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.values.entries import Cranked, CrankHeard, CrankKind
from assistant.core.values.witness import Witness
from assistant.core.words.perceiving import SPEED
from assistant.writeup.naming import HOW, how_often
from assistant.writeup.statement import Statement, capital, line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.core.values.entries import ResultPerceived, ResultTaken

SPEED_UNIT = "rpm"


def captured(result: ResultTaken, perceived: ResultPerceived) -> str:
    """The source of a value with its figures.

    "By meter, range 20 V, samples 8, spread 0.01 V, taken by voice", or "By ear, about 100 rpm ± 12, confidence 0.90".
    """
    how = capital(HOW.get(perceived.source, perceived.source))
    by_ear = perceived.source is Witness.EAR or (result.value is None and perceived.source is Witness.CLAMP)
    parts = [how, *_figures(perceived)]
    if perceived.spread is not None and not by_ear:
        parts.append(f"spread {perceived.spread:.3g} {result.unit or ''}".rstrip())
    if by_ear:
        parts.append(f"confidence {perceived.confidence:.2f}")
    if perceived.taken in ("voice", "keypad", "tablet") and not by_ear:
        parts.append(f"taken {HOW[perceived.taken]}")
    elif perceived.taken == "held":
        parts.append(HOW["held"])
    return ", ".join(parts)


def _figures(perceived: ResultPerceived) -> list[str]:
    """The figures that came with it, the cranking speed first and with its error."""
    found: list[str] = []
    for figure in perceived.figures:
        if figure.name == SPEED:
            error = "" if perceived.spread is None else f" ± {perceived.spread:.3g}"
            found.insert(0, f"about {figure.text} {SPEED_UNIT}{error}")
        else:
            found.append(f"{figure.name} {figure.text}")
    return found


_HEARD = {
    CrankKind.STEP: "Cranked {often} by ear, {total} s in all.",
    CrankKind.UNASKED: "Cranked {often} beside the tests, by ear, {total} s in all.",
    CrankKind.LONGER: "Cranked on {often} after the answer, by ear, {total} s in all.",
}


def cranks_heard(cranked: Sequence[tuple[int, Cranked]]) -> tuple[Statement, ...]:
    """The cranks that only the ear heard, a sentence for each kind.

    Args:
        cranked: All cranks, each with its line of the log.
    """
    found: list[Statement] = []
    for what, sentence in _HEARD.items():
        same = [(number, one) for number, one in cranked if isinstance(one, CrankHeard) and one.what is what]
        if same:
            total = sum(one.seconds for _, one in same)
            words = sentence.format(often=how_often(len(same)), total=f"{total:.1f}")
            found.append(Statement(words, line(*(number for number, _ in same))))
    return tuple(found)
