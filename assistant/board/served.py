"""What the server's answers need to know, and their plainest form."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from starlette.responses import HTMLResponse

from assistant.board import papers
from assistant.board.access import Admission, ServedAt
from assistant.board.hub import Hub
from assistant.board.pressing import Pressing

if TYPE_CHECKING:
    from starlette.requests import HTTPConnection

    from assistant.board.access import Tablet


@dataclass(frozen=True)
class Served:
    """What the server needs to know.

    Attributes:
        place: Where it is served.
        admission: Who is admitted.
        hub: The session.
        pressing: Which tablet presses.
        sessions: Folder of the sessions.
        tell_machine: Shows a sentence on the machine's own screen.
    """

    place: ServedAt
    admission: Admission
    hub: Hub
    pressing: Pressing
    sessions: Path
    tell_machine: Callable[[str], None] = print

    @property
    def cookie(self) -> str:
        """Name of the cookie: browsers share cookies between the ports of a machine, so it has the port in it."""
        return f"bay-board-{self.place.hosts[0].rpartition(':')[2].replace(']', '')}"

    def tablet(self, connection: HTTPConnection) -> Tablet | None:
        """The tablet that asks; None if it was not admitted."""
        tablet = self.admission.tablet(connection.cookies.get(self.cookie))
        if tablet is not None:
            self.pressing.asked_at = time.monotonic()
        return tablet


def sentence(words: str, status: int) -> HTMLResponse:
    """A page with one sentence."""
    return HTMLResponse(papers.page("Board", papers.plain(words)), status)
