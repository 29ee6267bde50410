"""The heavy lamp that loads the circuit while a meter measures a drop: its two leads, and the lamp between them."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.vocabulary import HEAVY_LAMP_BETWEEN
from assistant.picture import symbols
from assistant.picture.marks import CONTROL, EARTH, POST, RAIL
from assistant.picture.svg import LEAD, Canvas, Point

if TYPE_CHECKING:
    from assistant.core.library.procedure import Measurement

NAME = "heavy lamp"
_RADIUS = 14


def heavy_lamp(canvas: Canvas, measure: Measurement) -> None:
    """The lamp on its two points, as `HEAVY_LAMP_BETWEEN` has them."""
    positive, _ = HEAVY_LAMP_BETWEEN[measure.instrument]
    if positive == "feed":
        _lamp(canvas, (290, 375), (268, 380), "end", ((290, 335), (362, 335), (362, RAIL)), ((290, EARTH),))
    elif positive == "driver-end":
        wire = ((465, 380), (529, 380), (529, CONTROL))
        _lamp(canvas, (465, 402), (465, 470), "middle", wire, ((465, EARTH),))
    elif measure.probe == "coil-ground":
        _lamp(
            canvas,
            (165, 185),
            (165, 217),
            "middle",
            ((POST, 185),),
            ((322, 185), (322, 250), (528, 250), (528, 190)),
        )
    else:
        _lamp(
            canvas,
            (165, 185),
            (165, 217),
            "middle",
            ((POST, 185),),
            ((322, 185), (322, 300), (404, 300), (404, 374), (520, 374)),
        )


def _lamp(
    canvas: Canvas, at: Point, name: Point, anchor: str, first: tuple[Point, ...], second: tuple[Point, ...]
) -> None:
    """A lamp with its name, and its two leads from the lamp to their clips."""
    for lead in (first, second):
        side = _edge(at, lead[0])
        canvas.leads.append((side, *lead))
        canvas.line(side, *lead, colour=LEAD, width=3, corner=10, halo=True)
        symbols.clip(canvas, lead[-1])
    symbols.lamp(canvas, *at, _RADIUS)
    canvas.text(*name, NAME, anchor=anchor, size=14, bold=True, colour=LEAD)


def _edge(at: Point, to: Point) -> Point:
    """The point of the lamp's ring that looks there."""
    if at[0] == to[0]:
        return (at[0], at[1] + (_RADIUS if to[1] > at[1] else -_RADIUS))
    return (at[0] + (_RADIUS if to[0] > at[0] else -_RADIUS), at[1])
