"""The line to one tablet: boards go out, taps come in, and a beat each second tells that the line is whole."""

from __future__ import annotations

import asyncio
import contextlib
import json
from typing import TYPE_CHECKING, Any

from starlette.websockets import WebSocket, WebSocketDisconnect

from assistant.board.questions import Tap
from assistant.board.view import letters, pad

if TYPE_CHECKING:
    from assistant.board.access import Tablet
    from assistant.board.hub import Hub
    from assistant.board.pressing import Pressing

BEAT_S = 1.0
"""A page that has heard nothing for two and a quarter of these says that the line is lost."""

LEVEL_S = 0.25
"""The meter moves four times a second."""

MOST_LINES = 64
"""So many tablets at once; one more is refused."""

LONGEST_MESSAGE = 2000
"""Characters; what a page sends has fewer than two hundred."""


def encoded(message: dict[str, Any]) -> str:
    """A message as it is sent."""
    return json.dumps(message, ensure_ascii=False, separators=(",", ":"))


class Lines:
    """All lines; lives on the server's own event loop.

    Args:
        hub: The session's side.
        pressing: Which tablet presses.
    """

    def __init__(self, hub: Hub, pressing: Pressing) -> None:
        self._hub = hub
        self._pressing = pressing
        self._lines: dict[int, _Line] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._due = False

    def begin(self) -> None:
        """The server runs: from now on what the session shows is sent."""
        self._loop = asyncio.get_running_loop()
        self._hub.changed = self._changed

    def _changed(self) -> None:
        """Something is new; called on any thread, as often as something happens."""
        if self._loop is not None and not self._due:
            self._due = True
            with contextlib.suppress(RuntimeError):  # the server has just been closed
                self._loop.call_soon_threadsafe(self._send_state)

    def _send_state(self) -> None:
        self._due = False
        text = encoded(self._hub.state())
        # The tablet that presses comes first, so that others who watch do not delay it.
        for number in sorted(self._lines, key=lambda one: not self._pressing.presses(one)):
            self._lines[number].put("board", text)

    def send_hands(self) -> None:
        """Tell every tablet what it may do, because that has changed."""
        for number, line in self._lines.items():
            line.put("hands", encoded({"kind": "hands", "may": self._pressing.hands(number)}))

    async def serve(self, socket: WebSocket, cookie: str, tablet: Tablet) -> None:
        """Serve one tablet until it goes away."""
        if len(self._lines) >= MOST_LINES:
            await socket.close(4429)
            return
        await socket.accept()
        number = self._pressing.join(cookie, tablet.role)
        line = self._lines[number] = _Line(socket)
        line.put("hello", encoded({"kind": "hello", "pad": pad(), "letters": letters()}))
        line.put("board", encoded(self._hub.state()))
        self.send_hands()
        sending = asyncio.create_task(line.send(self._hub))
        try:
            while True:
                self._take(number, line, await socket.receive_text())
        except (WebSocketDisconnect, KeyError, RuntimeError):
            pass  # gone, or it sent bytes, which no page of ours does
        finally:
            sending.cancel()
            self._lines.pop(number, None)
            self._pressing.leave(number)
            self.send_hands()

    def _take(self, number: int, line: _Line, text: str) -> None:
        """Do what a page asks; ignore any other message."""
        try:
            message = json.loads(text) if len(text) <= LONGEST_MESSAGE else None
        except (ValueError, RecursionError):
            return
        if not isinstance(message, dict):
            return
        if message.get("take") is True:
            if self._pressing.take(number):
                self.send_hands()
            return
        names, question = message.get("names"), message.get("question")
        if not isinstance(names, str) or type(question) is not int:
            return
        tap = Tap(names, question)
        if self._pressing.presses(number) or (tap.stops and self._pressing.may_stop(number)):
            self._hub.tap(tap, lambda: self._late(line))

    def _late(self, line: _Line) -> None:
        """Tell a tablet that its tap did not count; called on the session's loop."""
        if self._loop is not None:
            with contextlib.suppress(RuntimeError):
                self._loop.call_soon_threadsafe(line.put, "late", encoded({"kind": "late"}))


class _Line:
    """What is still to be sent to one tablet: of each kind of message only the newest."""

    def __init__(self, socket: WebSocket) -> None:
        self._socket = socket
        self._waiting: dict[str, str] = {}
        self._new = asyncio.Event()

    def put(self, kind: str, text: str) -> None:
        """Send this as soon as the tablet takes it."""
        self._waiting[kind] = text
        self._new.set()

    async def send(self, hub: Hub) -> None:
        """Send until the line ends: what is put, the level, and the beat."""
        loop = asyncio.get_running_loop()
        beat_at, level = loop.time(), ""
        with contextlib.suppress(WebSocketDisconnect, RuntimeError, OSError):
            while True:
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(self._new.wait(), LEVEL_S)
                self._new.clear()
                waiting, self._waiting = self._waiting, {}
                for text in waiting.values():
                    await self._socket.send_text(text)
                now = hub.level_now()
                if now is not None and (text := encoded(now)) != level:
                    level = text
                    await self._socket.send_text(text)
                if loop.time() >= beat_at:
                    beat_at = loop.time() + BEAT_S
                    await self._socket.send_text('{"kind":"beat"}')
