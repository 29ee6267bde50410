"""The reliability diagram as SVG."""

from __future__ import annotations

import math
from html import escape
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.hearing_bench.scoring import Reliability

SIZE, EDGE, GAP = 240, 56, 90
"""Side of a diagram, margin, and space between two diagrams."""


def drawn(diagrams: Sequence[tuple[str, Reliability]]) -> str:
    """The share right over the mean confidence, a diagram for each name that has utterances.

    A dot's area is the share of utterances; the grey line is perfect.
    """
    shown = [(name, found) for name, found in diagrams if found.count]
    width = max(1, len(shown)) * (SIZE + GAP) + EDGE
    parts = [
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {SIZE + 2 * EDGE + 10}" '
            'font-family="sans-serif" font-size="12">'
        ),
        "<title>How often a result is right, by the confidence that was stated</title>",
        '<rect width="100%" height="100%" fill="white"/>',
    ]
    for number, (name, found) in enumerate(shown):
        left, bottom = EDGE + number * (SIZE + GAP), EDGE + SIZE
        parts.append(
            f'<text x="{left}" y="{EDGE - 34}">{escape(name)}</text>'
            f'<text x="{left}" y="{EDGE - 20}" fill="#555">calibration error {found.calibration_error:.3f}, '
            f"Brier {found.brier:.3f}, n {found.count}</text>"
            f'<rect x="{left}" y="{EDGE}" width="{SIZE}" height="{SIZE}" fill="none" stroke="#999"/>'
            f'<line x1="{left}" y1="{bottom}" x2="{left + SIZE}" y2="{EDGE}" stroke="#bbb"/>'
        )
        parts += [
            f'<text x="{left + tick * SIZE}" y="{bottom + 15}" text-anchor="middle">{tick:g}</text>'
            f'<text x="{left - 5}" y="{bottom - tick * SIZE + 4}" text-anchor="end">{tick:g}</text>'
            for tick in (0, 0.5, 1)
        ]
        parts.append(
            f'<text x="{left + SIZE / 2}" y="{bottom + 32}" text-anchor="middle">stated confidence</text>'
            f'<text x="{left - 32}" y="{EDGE + SIZE / 2}" text-anchor="middle" '
            f'transform="rotate(-90 {left - 32} {EDGE + SIZE / 2})">share right</text>'
        )
        parts += [
            f'<circle cx="{left + one.confidence * SIZE:.1f}" cy="{bottom - one.right * SIZE:.1f}" '
            f'r="{2 + 14 * math.sqrt(one.count / found.count):.1f}" fill="#1769aa" fill-opacity="0.6">'
            f"<title>{one.confidence:.2f} stated, {one.right:.2f} right, n = {one.count}</title></circle>"
            for one in found.bins
            if one.count
        ]
    return "\n".join([*parts, "</svg>"]) + "\n"
