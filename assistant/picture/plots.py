"""Curves over time: each panel has its unit, and each curve its own line style with its name beside it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from assistant.picture.svg import INK, LEAD, SOFT, Box, text_width

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from assistant.picture.svg import Canvas

    Floats = NDArray[np.float64]

LEFT, RIGHT = 84.0, 636.0
"""The left and right end of time in the drawing; the names stand to the right."""
_COLUMNS = 552
_GRID = "#d5d5d0"


@dataclass(frozen=True)
class Curve:
    """A curve: its values, shape ``(t,)``, and the name beside it; dashed and thin if it is for comparison."""

    values: Floats
    name: str
    compared: bool = False


@dataclass(frozen=True)
class Panel:
    """A panel of curves over the same time.

    Attributes:
        title: The quantity with its unit.
        curves: The curves; those for comparison come first, so they lie underneath.
        low, high: The axis reaches at least that far.
        bottom: The axis begins no lower than this; lower values are cut off, marked and noted. None means no
            limit.
        top: The same upwards.
        unit: Unit for the note about the cut.
        limits: Heights of dotted lines across the panel; the title explains them.
        at: Time of a dotted line up the panel, in the unit of time; the title explains it.
        height: Of the panel.
    """

    title: str
    curves: tuple[Curve, ...]
    low: float
    high: float
    bottom: float | None = None
    top: float | None = None
    unit: str = ""
    limits: tuple[float, ...] = ()
    at: float | None = None
    height: float = 110


def ticks(low: float, high: float, about: int = 4) -> list[float]:
    """Round values from low to high: steps of 1, 2 or 5 times a power of ten."""
    raw = (high - low) / about
    power = 10.0 ** math.floor(math.log10(raw))
    step = next(power * one for one in (1, 2, 5, 10) if power * one >= raw * 0.999)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    return [number * step for number in range(first, last + 1)]


def draw(canvas: Canvas, y: float, time: Floats, panels: Sequence[Panel], unit: str = "s") -> float:
    """Draw panels below each other with one time axis; returns the height at which they end.

    Args:
        canvas: The canvas to draw on.
        y: Upper edge.
        time: Shape ``(t,)``, increasing.
        panels: The panels.
        unit: Of time.
    """
    start, end = float(time[0]), float(time[-1])
    for number, panel in enumerate(panels):
        y = _panel(canvas, y, time, panel)
        last = number == len(panels) - 1
        for tick in ticks(start, end, 6):
            x = LEFT + (RIGHT - LEFT) * (tick - start) / (end - start)
            canvas.line((x, y), (x, y + 5), width=1.2)
            if last:
                canvas.text(x, y + 20, _shown(tick), anchor="middle", size=14)
        if last:
            canvas.text(RIGHT + 26, y + 20, f"time ({unit})", size=14)
        y += 14
    return y + 16


def _shown(value: float) -> str:
    """A number on an axis, with a true minus sign."""
    return f"{value:g}".replace("-", "\N{MINUS SIGN}")


def _panel(canvas: Canvas, y: float, time: Floats, panel: Panel) -> float:
    values = np.concatenate([curve.values for curve in panel.curves])
    low, high = min(panel.low, float(values.min())), max(panel.high, float(values.max()) * 1.05)
    peak, dip = high, low
    if panel.top is not None:
        high = min(high, panel.top)
    if panel.bottom is not None:
        low = max(low, panel.bottom)
    canvas.text(8, y + 15, panel.title, bold=True)
    cut = []
    if panel.top is not None and peak > panel.top * 1.06:
        cut.append(f"to {_shown(float(f'{values.max():.2g}'))} {panel.unit}")
    if panel.bottom is not None and dip < panel.bottom:
        cut.append(f"to {_shown(float(f'{values.min():.2g}'))} {panel.unit}")
    if cut:
        words = f"arrows: on {' and '.join(cut)}"
        if text_width(panel.title, 15, bold=True) + text_width(words, 14) + 24 > RIGHT - 8:
            y += 18  # below a long title
        canvas.text(RIGHT, y + 15, words, anchor="end", size=14, colour=SOFT)
    top, bottom = y + 29, y + 29 + panel.height

    def level(value: float) -> float:
        return bottom - (value - low) / (high - low) * panel.height

    for tick in ticks(low, high):
        canvas.line((LEFT, level(tick)), (RIGHT, level(tick)), colour=_GRID, width=1)
        canvas.text(LEFT - 8, level(tick) + 5, _shown(tick), anchor="end", size=14)
    wanted: list[tuple[float, str, bool, str]] = []
    for value in panel.limits:
        canvas.line((LEFT, level(value)), (RIGHT, level(value)), colour=SOFT, width=1.5, dash="2 4")
    if panel.at is not None and time[0] < panel.at < time[-1]:
        x = LEFT + (RIGHT - LEFT) * (panel.at - float(time[0])) / float(time[-1] - time[0])
        canvas.line((x, top), (x, bottom), colour=SOFT, width=1.5, dash="2 4")
    for curve in panel.curves:
        points, over = _reduced(time, curve.values, low, high)
        drawn = [(x, level(value)) for x, value in points]
        colour = SOFT if curve.compared else LEAD
        if curve.compared:
            canvas.line(*drawn, colour=colour, width=2, dash="7 4")
        else:
            canvas.line(*drawn, colour=colour, width=2.6)
        for x, up in over:
            tip, base = (top - 2, top + 8) if up else (bottom + 2, bottom - 8)
            canvas.area(((x, tip), (x - 5, base), (x + 5, base)), colour)
        tail = curve.values[-max(1, len(curve.values) // 40) :]
        height = level(float(np.clip(np.median(tail), low, high)))
        wanted.append((height, curve.name, not curve.compared, colour))
    canvas.rectangle(Box(LEFT, top, RIGHT, bottom), fill="none", width=1.2)
    _names(canvas, wanted, bottom)
    return bottom


def _names(canvas: Canvas, wanted: Sequence[tuple[float, str, bool, str]], bottom: float) -> None:
    """Put names beside the ends of the curves, pushed apart if they would touch, each with a line to its curve."""
    step = 18.0
    order = sorted(wanted, key=lambda one: one[0])
    heights = [one[0] for one in order]
    for number in range(1, len(heights)):
        heights[number] = max(heights[number], heights[number - 1] + step)
    over = max(0.0, heights[-1] - (bottom - 2)) if heights else 0.0
    heights = [height - over for height in heights]
    for number in range(len(heights) - 2, -1, -1):
        heights[number] = min(heights[number], heights[number + 1] - step)
    for (exact, words, bold, colour), height in zip(order, heights, strict=True):
        dash = "" if bold else ("7 4" if colour == SOFT else "")
        canvas.line(
            (RIGHT, exact), (RIGHT + 10, height), (RIGHT + 22, height), colour=colour, width=1.5, dash=dash
        )
        size = 14.0
        while text_width(words, size, bold=bold) > canvas.width - RIGHT - 30 and size > 11:
            size -= 0.5
        canvas.text(RIGHT + 26, height + 5, words, size=size, bold=bold, colour=colour if bold else INK)


def _reduced(
    time: Floats, values: Floats, low: float, high: float
) -> tuple[list[tuple[float, float]], list[tuple[float, bool]]]:
    """Lowest and highest value of each column in time order, and the columns in which the axis cuts something
    off.

    This keeps a flyback of some microseconds visible.
    """
    span = float(time[-1] - time[0])
    x = LEFT + (time - time[0]) / span * (RIGHT - LEFT)
    column = np.minimum(((x - LEFT) * _COLUMNS / (RIGHT - LEFT)).astype(int), _COLUMNS - 1)
    first = np.concatenate([[0], np.flatnonzero(np.diff(column)) + 1])
    last = np.append(first[1:], len(time)) - 1
    lowest, highest = (_where(values, first, of) for of in (np.minimum, np.maximum))
    marked = np.sort(np.stack([first, lowest, highest, last], axis=1), axis=1)
    drawn = marked[np.diff(marked, axis=1, prepend=-1) != 0]
    points = list(zip(x[drawn].tolist(), np.clip(values[drawn], low, high).tolist(), strict=True))
    over: list[tuple[float, bool]] = []
    above = values[highest] > high * 1.001
    below = values[lowest] < low - 0.001 * abs(low) - 1e-9
    for number in np.flatnonzero(above | below):
        for index, beyond, up in (
            (highest[number], above[number], True),
            (lowest[number], below[number], False),
        ):
            at = float(x[index])
            if beyond and not any(abs(at - before) < 9 and up is side for before, side in over):
                over.append((at, up))
    return points, over


def _where(values: Floats, first: NDArray[np.intp], of: np.ufunc) -> NDArray[np.intp]:
    """The first position of the lowest or highest value in each column; the columns begin at `first`."""
    lengths = np.diff(first, append=len(values))
    hits = np.flatnonzero(values == np.repeat(of.reduceat(values, first), lengths))
    found = first.copy()
    found[np.searchsorted(first, hits[::-1], side="right") - 1] = hits[::-1]
    return found
