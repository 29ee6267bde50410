"""Drawings of the connections that the session has come to: the same SVG as in the write-up."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from assistant.picture.connection import about, can_draw, drawn

if TYPE_CHECKING:
    from assistant.core.library.procedure import Measurement
    from assistant.core.library.terms import Terms

_NAME_DIGITS = 16


class Pictures:
    """Draws a connection when a tablet asks for it, and keeps the drawing: most steps are looked at more than once.

    Args:
        terms: Words for places and instruments.
    """

    def __init__(self, terms: Terms) -> None:
        self._terms = terms
        self._known: dict[str, tuple[str, Measurement]] = {}
        self._drawn: dict[str, str] = {}

    def of(self, circuit: str, measure: Measurement) -> tuple[str, str] | None:
        """Name of the drawing, and the connection in words; None if it cannot be drawn."""
        if not can_draw(circuit, measure):
            return None
        name = hashlib.sha256(f"{circuit} {measure!r}".encode()).hexdigest()[:_NAME_DIGITS]
        self._known[name] = (circuit, measure)
        return name, about(measure, self._terms)

    def svg(self, name: str) -> str | None:
        """The drawing of this name; None if there is none."""
        if name not in self._known:
            return None
        if name not in self._drawn:
            circuit, measure = self._known[name]
            words = about(measure, self._terms)
            self._drawn[name] = drawn(circuit, measure, self._terms).svg("Connection", words)
        return self._drawn[name]
