"""A session without sound that serves its board on this machine alone: for tests, and for measuring taps."""

from __future__ import annotations

import threading
import time
from typing import TYPE_CHECKING, Self

from assistant import resources
from assistant.board.hub import Hub
from assistant.board.pictures import Pictures
from assistant.board.serving import Door, Server
from assistant.closing import Closes
from assistant.core.dialogue.runner import Runner
from assistant.loading.folder import load_folder
from assistant.record import Facts, SessionLog
from assistant.screen.several import SeveralScreens
from assistant.session.boarding import Here
from assistant.session.loop import Session
from assistant.session.settings import BoardOptions
from assistant.session.silent import NoSpeaker, NoVoice

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.screen.terminal import Screen

HOME = "127.0.0.1"
"""The trial is served on the machine itself only."""


class BoardTrial(Closes):
    """Runs a silent session with a board, on a thread of its own, until it is closed.

    Args:
        sessions: Folder for its record.
        procedure: Procedure to start with.
        facts: Facts of the job.
        options: How the board is served; on the machine itself unless said otherwise.
        screen: Another screen; it is shown each board after the tablets.

    Attributes:
        door: Its address.
        hub: Between loop and server.
        log: Its record.
        session: The session.
    """

    def __init__(
        self,
        sessions: Path,
        screen: Screen,
        *,
        procedure: str = "coil-control",
        facts: Facts = Facts(),  # noqa: B008  a value without parts that change
        options: BoardOptions = BoardOptions(watch=True, address=HOME),  # noqa: B008  likewise
    ) -> None:
        self.door = Door(options)
        self.log = SessionLog.create(sessions, facts, resources.directory("procedures"))
        runner = Runner(*load_folder(self.log.procedures), self.log.header.thresholds)
        begun = time.monotonic()

        def now() -> float:
            return round(time.monotonic() - begun, 4)

        self.hub = Hub(now, Here(runner), Pictures(runner.talk.library.terms))
        self.server = Server(self.door, self.hub, sessions)
        self.session = Session(
            runner=runner,
            log=self.log,
            voice=NoVoice(),
            output=NoSpeaker(),
            screen=SeveralScreens(self.hub, screen),
            now=now,
        )
        self.hub.press = self.session.tap
        self._procedure, self._facts = procedure, facts
        self._thread = threading.Thread(target=self._run, name="trial", daemon=True)

    def _run(self) -> None:
        self.session.begin(self._procedure, self._facts.typed(), left_out=("speaker", "microphone"))
        self.session.run()

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def close(self) -> None:
        """End the session and the board."""
        self.end()
        self.server.close()

    def end(self) -> None:
        """End the session as Ctrl-C would; the board stays."""
        self.session.leave("interrupted")
        self._thread.join(timeout=10.0)
        self.log.close()
