"""A session's board: opened before the session, shown to the technician, and there until the write-up was reviewed."""

from __future__ import annotations

import dataclasses
import select
import sys
import time
from typing import TYPE_CHECKING

from assistant.closing import Closes
from assistant.screen.inviting import Invitation
from assistant.screen.several import SeveralScreens

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assistant.board.hub import Hub
    from assistant.board.serving import Door, Server
    from assistant.core.dialogue.runner import Runner
    from assistant.core.library.procedure import Measurement
    from assistant.core.values.particulars import Particulars
    from assistant.screen.terminal import Screen
    from assistant.session.loop import Session
    from assistant.session.settings import BoardOptions

_LOOKS_S = 0.1
_IDLE_S = 600.0

HTTP_IS_OPEN = "Others in the same network can read along (plain HTTP). Use your shop's own, or --board-cert."


class Here:
    """The dialogue's position, as a board shows it."""

    def __init__(self, runner: Runner) -> None:
        self._runner = runner

    def particulars(self) -> Particulars:
        """What belongs to the present step."""
        return self._runner.particulars()

    def connected(self) -> tuple[str, Measurement] | None:
        """The circuit and the measurement of the present step; None before the first."""
        procedure, _ = self._runner.position
        if not procedure:
            return None
        return self._runner.talk.library.procedures[procedure].circuit, self._runner.step.measure


class Boarding(Closes):
    """Opens, shows and closes the board of a session; does nothing for a session without one.

    Args:
        options: How the board is served; None for no board.

    Raises:
        BayAssistantError: It cannot be served so.
    """

    def __init__(self, options: BoardOptions | None) -> None:
        self._door: Door | None = None
        self._hub: Hub | None = None
        self._server: Server | None = None
        self._code: Invitation | None = None
        if options is not None:
            from assistant.board.serving import Door  # noqa: PLC0415  only with a board

            self._door = Door(options)

    def close(self) -> None:
        """Serve no longer."""
        if self._server is not None:
            self._server.close()
        if self._door is not None:
            self._door.close()

    @property
    def there(self) -> bool:
        """Whether there is a board, so that keys can come without the terminal."""
        return self._door is not None

    def begin(
        self, runner: Runner, now: Callable[[], float], sessions: Path, ended: Callable[[], bool]
    ) -> None:
        """Serve the board, print its address, and wait for a tablet or for Enter.

        Args:
            runner: The dialogue.
            now: Seconds since the session began.
            sessions: Folder of the sessions.
            ended: Whether the program is to end, so that nothing is waited for.
        """
        if self._door is None:
            return
        from assistant.board.hub import Hub  # noqa: PLC0415
        from assistant.board.pictures import Pictures  # noqa: PLC0415
        from assistant.board.serving import Server  # noqa: PLC0415

        self._hub = Hub(now, Here(runner), Pictures(runner.talk.library.terms))
        self._server = Server(self._door, self._hub, sessions)
        self._print_address()
        if sys.stdin.isatty() and sys.stdout.isatty():
            print("Scan it with a tablet, or press Enter to begin without one.", flush=True)
            self._wait(lambda: ended() or self._tablets() > 0)

    def _print_address(self) -> None:
        from assistant.board.access import Role  # noqa: PLC0415
        from assistant.board.serving import code  # noqa: PLC0415

        assert self._door is not None  # noqa: S101
        address = self._door.address()
        drawn = code(address)
        self._code = Invitation(address, tuple(drawn.splitlines()))
        print(drawn)
        print(f"Board: {address}")
        if self._door.tokens.watch:
            print(f"To watch only: {self._door.address(Role.WATCH)}")
        if self._door.certificate is None:
            print(HTTP_IS_OPEN)
        sys.stdout.flush()

    def invitation(self) -> Invitation | None:
        """The address for the session's own screen; None without a board."""
        if self._code is None:
            return None
        return dataclasses.replace(self._code, awaited=self._tablets() == 0)

    def _tablets(self) -> int:
        return 0 if self._server is None else self._server.tablets

    def beside(self, screen: Screen) -> Screen:
        """The screen, and the board beside it."""
        return screen if self._hub is None else SeveralScreens(screen, self._hub)

    def join(self, session: Session) -> None:
        """Taps go to this session from now on."""
        if self._hub is not None:
            self._hub.press = session.tap

    def linger(self, folder: Path, ended: Callable[[], bool]) -> None:
        """Keep the board for review until Enter, a signal, or the page's "finish".

        Without a terminal it is kept until no tablet has asked for anything for ten minutes.
        """
        if self._hub is None or self._server is None or ended():
            return
        self._hub.ended(folder)
        finished = self._server.finished
        if sys.stdin.isatty():
            print("The board shows the write-up. Press Enter to close it.", flush=True)
            self._wait(lambda: ended() or finished())
            return
        while self._server.idle_s() < _IDLE_S and not ended() and not finished():
            time.sleep(_LOOKS_S)

    def _wait(self, enough: Callable[[], bool]) -> None:
        """Wait for a line on the terminal, or until it is enough."""
        while not enough():
            ready, _, _ = select.select([sys.stdin], [], [], _LOOKS_S)
            if ready:
                sys.stdin.readline()
                return
