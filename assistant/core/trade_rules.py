"""Rules of the trade that every step and verdict keeps, whatever the procedure."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.finding import Finding
    from assistant.core.procedure import Library


def findings(library: Library) -> Iterator[Finding]:
    """All findings, procedure by procedure."""
    yield from ()
