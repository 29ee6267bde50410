"""A small SVG writer that knows how much room its letters take.

The pictures need only lines, a few curves, and words that must not run into each other.
A drawing library would be heavy for that, would decide the look, and would not say whether two labels touch.
"""

from __future__ import annotations

import functools
import itertools
import math
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

Point = tuple[float, float]
"""x to the right and y downwards, in units of the drawing; at full size a unit is a pixel."""

FONT = "Liberation Sans, Arial, Helvetica, DejaVu Sans, sans-serif"
INK, SOFT, LEAD, ALARM = "#111", "#555", "#0b4f9e", "#a3123a"
"""Lines and words; second lines and grids; instrument and leads; the fault."""

# Advance widths of printable ASCII, hundredths of the size, in DejaVu Sans and its bold face: the widest of the
# fonts that the pages name, so a label that fits here fits in all of them.
_PLAIN = (
    "32 40 46 84 64 95 78 27 39 39 50 84 32 36 32 34 64 64 64 64 64 64 64 64 64 64 34 34 84 84 84 53 100 68 69 70 77 "
    "63 58 77 75 29 29 66 56 86 75 79 60 79 69 63 61 73 68 99 69 61 69 39 34 39 84 50 50 61 63 55 63 62 35 63 63 28 "
    "28 58 28 97 63 61 63 63 41 52 39 63 59 82 59 59 52 64 34 64 84"
)
_BOLD = (
    "35 46 52 84 70 100 87 31 46 46 52 84 38 42 38 37 70 70 70 70 70 70 70 70 70 70 40 40 84 84 84 58 100 77 76 73 83 "
    "68 68 82 84 37 37 77 64 100 84 85 73 85 77 72 68 81 77 110 77 72 73 46 37 46 84 50 50 67 72 59 72 68 44 72 71 34 "
    "34 67 34 104 71 69 72 72 49 60 48 71 65 92 65 65 58 71 37 71 84"
)
_WIDTHS = {False: tuple(map(int, _PLAIN.split())), True: tuple(map(int, _BOLD.split()))}
_WIDEST = 110


def text_width(text: str, size: float, *, bold: bool = False) -> float:
    """Width of a line of text in units of the drawing; characters outside ASCII count as the widest."""
    return _units(text, bold) * size / 100


@functools.lru_cache(maxsize=4096)
def _units(text: str, bold: bool) -> int:
    """Width of these letters in hundredths of the size; cached, because most words of a sheet recur."""
    table = _WIDTHS[bold]
    return sum(table[ord(sign) - 32] if " " <= sign <= "~" else _WIDEST for sign in text)


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """Lines of words no wider than `width`; a longer word gets a line of its own."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, size, bold=bold) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines


@dataclass(frozen=True)
class Box:
    """A rectangle from its left top to its right bottom."""

    left: float
    top: float
    right: float
    bottom: float

    def touches(self, other: Box) -> bool:
        """Whether the two overlap."""
        return (
            self.left < other.right
            and other.left < self.right
            and self.top < other.bottom
            and other.top < self.bottom
        )

    def inside(self, other: Box) -> bool:
        """Whether this lies wholly in the other."""
        return (
            other.left <= self.left
            and other.top <= self.top
            and self.right <= other.right
            and self.bottom <= other.bottom
        )

    def crossed(self, line: Sequence[Point]) -> bool:
        """Whether a line of straight pieces passes through it, checked at each unit of its length."""
        for (x0, y0), (x1, y1) in itertools.pairwise(line):
            if max(x0, x1) <= self.left or min(x0, x1) >= self.right:
                continue
            if max(y0, y1) <= self.top or min(y0, y1) >= self.bottom:
                continue
            steps = max(1, math.ceil(math.hypot(x1 - x0, y1 - y0)))
            for step in range(steps + 1):
                x, y = x0 + (x1 - x0) * step / steps, y0 + (y1 - y0) * step / steps
                if self.left < x < self.right and self.top < y < self.bottom:
                    return True
        return False


@dataclass(frozen=True)
class Label:
    """Words on a canvas, and the room that they take."""

    text: str
    box: Box


class Canvas:
    """Collects the parts of a drawing; `svg` gives the file.

    Attributes:
        width, height: Size in units.
        labels: Words so far with their boxes, so that a test can check whether any two touch.
        leads: Lines of the instrument's leads, so that a test can check whether one runs through a word.
    """

    def __init__(self, width: float, height: float) -> None:
        self.width, self.height = width, height
        self.labels: list[Label] = []
        self.leads: list[tuple[Point, ...]] = []
        self._parts: list[str] = []

    def line(
        self,
        *points: Point,
        colour: str = INK,
        width: float = 2,
        dash: str = "",
        corner: float = 0,
        halo: bool = False,
    ) -> None:
        """Straight pieces, with rounded corners on request; a halo sets the line off from lines that it
        crosses.
        """
        path = _path(points, corner)
        if halo:
            self._parts.append(f'<path d="{path}" fill="none" stroke="#fff" stroke-width="{_n(width + 5)}"/>')
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{_n(width)}"{dashes} '
            'stroke-linejoin="round" stroke-linecap="butt"/>'
        )

    def path(self, data: str, *, colour: str = INK, width: float = 2, fill: str = "none") -> None:
        """Any path, in SVG's notation."""
        self._parts.append(
            f'<path d="{data}" fill="{fill}" stroke="{colour}" stroke-width="{_n(width)}" stroke-linejoin="round"/>'
        )

    def area(self, points: Sequence[Point], colour: str = INK) -> None:
        """A filled polygon."""
        self._parts.append(f'<path d="{_path(points)}Z" fill="{colour}"/>')

    def rectangle(
        self,
        box: Box,
        *,
        colour: str = INK,
        width: float = 2,
        fill: str = "#fff",
        dash: str = "",
        round_: float = 0,
    ) -> None:
        """A rectangle."""
        dashes = f' stroke-dasharray="{dash}"' if dash else ""
        self._parts.append(
            f'<rect x="{_n(box.left)}" y="{_n(box.top)}" width="{_n(box.right - box.left)}" '
            f'height="{_n(box.bottom - box.top)}" rx="{_n(round_)}" fill="{fill}" stroke="{colour}" '
            f'stroke-width="{_n(width)}"{dashes}/>'
        )

    def circle(
        self, centre: Point, radius: float, *, colour: str = INK, width: float = 2, fill: str = "#fff"
    ) -> None:
        """A circle."""
        self._parts.append(
            f'<circle cx="{_n(centre[0])}" cy="{_n(centre[1])}" r="{_n(radius)}" fill="{fill}" stroke="{colour}" '
            f'stroke-width="{_n(width)}"/>'
        )

    def text(
        self,
        x: float,
        y: float,
        text: str,
        *,
        anchor: str = "start",
        size: float = 15,
        bold: bool = False,
        colour: str = INK,
    ) -> Box:
        """A line of words on the base line `y`; returns its box."""
        wide = text_width(text, size, bold=bold)
        left = x - {"start": 0.0, "middle": wide / 2, "end": wide}[anchor]
        box = Box(left, y - 0.78 * size, left + wide, y + 0.23 * size)
        self.labels.append(Label(text, box))
        weight = ' font-weight="bold"' if bold else ""
        side = "" if anchor == "start" else f' text-anchor="{anchor}"'
        self._parts.append(
            f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}" fill="{colour}"{weight}{side}>{escape(text)}</text>'
        )
        return box

    def upright(self, x: float, y: float, text: str, *, size: float = 15, colour: str = INK) -> Box:
        """Words that read upwards, centred on a point of their base line."""
        wide = text_width(text, size)
        box = Box(x - 0.78 * size, y - wide / 2, x + 0.23 * size, y + wide / 2)
        self.labels.append(Label(text, box))
        self._parts.append(
            f'<text x="{_n(x)}" y="{_n(y)}" font-size="{_n(size)}" fill="{colour}" text-anchor="middle" '
            f'transform="rotate(-90 {_n(x)} {_n(y)})">{escape(text)}</text>'
        )
        return box

    def place(self, other: Canvas, x: float, y: float) -> None:
        """Put another drawing into this one, its left top at a point."""
        self._parts.append(f'<g transform="translate({_n(x)} {_n(y)})">{"".join(other._parts)}</g>')
        self.labels += [
            Label(one.text, Box(one.box.left + x, one.box.top + y, one.box.right + x, one.box.bottom + y))
            for one in other.labels
        ]
        self.leads += [tuple((px + x, py + y) for px, py in lead) for lead in other.leads]

    def svg(self, title: str, about: str, *, key: str = "picture", inline: bool = False) -> str:
        """The drawing as SVG.

        Args:
            title: Its content in a few words.
            about: Its content in sentences, for a reader who cannot see it.
            key: Prefix of the names of its parts, unique on the page.
            inline: Whether it goes into a page and so has no size of its own.
        """
        size = "" if inline else f' width="{_n(self.width)}" height="{_n(self.height)}"'
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(self.width)} {_n(self.height)}"{size} '
            f'role="img" aria-labelledby="{key}-title {key}-about" font-family="{FONT}">'
            f'<title id="{key}-title">{escape(title)}</title><desc id="{key}-about">{escape(about)}</desc>'
            f'<rect width="{_n(self.width)}" height="{_n(self.height)}" fill="#fff"/>'
            f"{''.join(self._parts)}</svg>"
        )


def _n(value: float) -> str:
    """A number with at most one decimal, and no minus before a zero."""
    if not -99999 < value < 99999:
        return f"{round(value, 1) + 0.0:g}"
    text = f"{value:.1f}"
    text = text.removesuffix(".0")
    return "0" if text == "-0" else text


def _path(points: Sequence[Point], corner: float = 0) -> str:
    """Straight pieces as path data; a curve that begins `corner` before each corner rounds it."""
    if corner <= 0:
        return "M" + "L".join(f"{_n(x)} {_n(y)}" for x, y in points)
    data = [f"M{_n(points[0][0])} {_n(points[0][1])}"]
    for before, here, after in zip(points, points[1:], [*points[2:], None], strict=False):
        if after is None:
            data.append(f"L{_n(here[0])} {_n(here[1])}")
            continue
        first, second = _towards(here, before, corner), _towards(here, after, corner)
        data.append(
            f"L{_n(first[0])} {_n(first[1])}Q{_n(here[0])} {_n(here[1])} {_n(second[0])} {_n(second[1])}"
        )
    return "".join(data)


def _towards(here: Point, there: Point, length: float) -> Point:
    """The point `length` from here towards there, but at most halfway."""
    far = math.hypot(there[0] - here[0], there[1] - here[1])
    if far == 0:
        return here
    share = min(length, far / 2) / far
    return here[0] + (there[0] - here[0]) * share, here[1] + (there[1] - here[1]) * share
