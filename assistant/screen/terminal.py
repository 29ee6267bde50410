"""Screens: a picture in place on a terminal, or a running dialogue with a line for each thing said."""

from __future__ import annotations

import contextlib
import os
import threading
import time
from typing import TYPE_CHECKING, Protocol, TextIO

from assistant.closing import Closes
from assistant.core.values.board import Board
from assistant.keys.restoring import Undo
from assistant.printing import unescaped
from assistant.screen.drawing import Picture, ToShow
from assistant.screen.lettering import clean, wrap
from assistant.screen.parts import left_out_words
from assistant.screen.quiet import Quiet

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.screen.inviting import Invitation
    from assistant.screen.plain import Level

_REDRAW_S = 0.1
"""At most ten pictures a second: a person sees no more, and the recogniser needs the processor."""

_ENTER = "\x1b[?1049h\x1b[?25l\x1b[2J"
_LEAVE = "\x1b[?25h\x1b[?1049l"
# Alternate screen and cursor: xterm's control sequences, DECSET 1049 and 25; clearing: ECMA-48, ED.


class Screen(Protocol):
    """The screen that a session needs; `at` is in seconds since the session began."""

    def show(self, board: Board, at: float) -> None:
        """This is on the board now."""

    def level(self, level: Level) -> None:
        """This is what the microphone gives now."""

    def says(self, text: str, at: float) -> None:
        """The assistant begins to say this."""

    def heard(self, words: str, at: float, *, understood: bool = True) -> None:
        """The person said this."""

    def key(self, name: str, at: float) -> None:
        """The person pressed this key."""

    def notice(self, text: str, at: float) -> None:
        """Something else that a reader of the dialogue wants to know."""

    def redraw(self) -> None:
        """Something may have disturbed the picture (gear was lost or is back): put all of it there again."""

    def close(self) -> None:
        """Leave the terminal as it was."""


class TerminalScreen(Closes):
    """Draws the board in place on a terminal; a thread redraws while a countdown runs.

    Meanwhile nothing else that is written to descriptors 1 and 2 reaches that terminal (see `quiet`).
    The alternate screen is left, the cursor shown again and the descriptors led back on `close`, on leaving a
    ``with`` block, at exit and on SIGTERM and SIGHUP.
    A terminal that goes away is not an error: the session goes on by voice.

    Args:
        stream: A text stream whose file is a terminal.
        now: The session's clock, seconds since it began.
        colour: Use colour; None: unless the environment sets NO_COLOR (no-color.org) or the terminal is dumb.
        invitation: Gives the address of the board for tablets, each time that the picture is drawn.
    """

    def __init__(
        self,
        stream: TextIO,
        now: Callable[[], float],
        *,
        colour: bool | None = None,
        invitation: Callable[[], Invitation | None] = lambda: None,
    ) -> None:
        stream = unescaped(stream)
        plain = os.environ.get("NO_COLOR", "") != "" or os.environ.get("TERM", "dumb") == "dumb"
        self._now = now
        self._invitation = invitation
        self._to_show = ToShow()
        self._picture = Picture(
            colour=not plain if colour is None else colour, blocks=_can_write(stream, "█▀▄·│▁")
        )
        self._anew = False
        self._changed = threading.Event()
        self._closing = threading.Event()
        self._quiet = Quiet(stream)
        self._stream = self._quiet.out
        self._restore = Undo(self._leave)
        self._write(_ENTER)
        self._thread = threading.Thread(target=self._draw_on, name="screen", daemon=True)
        self._thread.start()

    def show(self, board: Board, at: float) -> None:  # noqa: ARG002  (part of `Screen`)
        """Draw this board; drawn within a tenth of a second."""
        self._to_show.board(board)
        self._changed.set()

    def level(self, level: Level) -> None:
        """Draw this level."""
        self._to_show.level(level)
        self._changed.set()

    def says(self, text: str, at: float) -> None:
        """Nothing: what is said is heard."""

    def heard(self, words: str, at: float, *, understood: bool = True) -> None:
        """Nothing: the board carries what was heard."""

    def key(self, name: str, at: float) -> None:
        """Nothing: the board carries what was keyed."""

    def notice(self, text: str, at: float) -> None:
        """Show it beside the board's message for `NOTICE_S`."""
        self._to_show.notice(text, at)
        self._changed.set()

    def redraw(self) -> None:
        """Clear the terminal and draw all lines."""
        self._anew = True
        self._changed.set()

    def close(self) -> None:
        """Leave the terminal as it was; safe to call twice."""
        self._closing.set()
        self._changed.set()
        if self._thread is not threading.current_thread():
            self._thread.join(timeout=1.0)
        self._restore()

    def _leave(self) -> None:
        self._write(_LEAVE)
        self._quiet.restore()

    def _draw_on(self) -> None:
        while not self._closing.is_set():
            began = time.monotonic()
            self._changed.clear()
            board, level = self._to_show.at(self._now())
            self._quiet.trim()
            if not self._draw(board, level):
                return
            self._closing.wait(max(0.0, _REDRAW_S - (time.monotonic() - began)))
            # A countdown and a changed window size are looked at without being told.
            self._changed.wait(_REDRAW_S if board.countdown else 0.5)

    def _draw(self, board: Board, level: Level | None) -> bool:
        """Write the lines that differ from what is there; False if the terminal is gone."""
        try:
            size = os.get_terminal_size(self._stream.fileno())
        except (OSError, ValueError):
            return False
        # A window of no size (a serial line that does not say) is taken as the traditional 80 by 24.
        shape = (size.columns or 80, size.lines or 24)
        anew, self._anew = self._anew, False
        text = self._picture.changes(
            board, level, shape, self._now(), anew=anew, invitation=self._invitation()
        )
        return not text or self._write(text)

    def _write(self, text: str) -> bool:
        encoding = self._stream.encoding or "ascii"
        data = text.encode(encoding, "replace").decode(encoding, "replace")
        try:
            self._stream.write(data)
            self._stream.flush()
        except (OSError, ValueError):
            return False
        return True


class LineScreen(Closes):
    """Prints the dialogue as it happens, one line for each thing, for a pipe, a file or the demo.

    ``00:16.0  HEARD  feed lit``

    A reader who closes the pipe is not an error.

    Args:
        stream: Stream to print on.
    """

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._board = Board()
        self._lock = threading.Lock()

    def show(self, board: Board, at: float) -> None:
        """Print what changed: a new test, a message, voice or keys only."""
        with self._lock:
            before, self._board = self._board, board
        if board.step and (board.title, board.step) != (before.title, before.step):
            self._print(at, "TEST", f"{board.step}  {board.headline}  ({board.title})")
        left_out = {gear for gear, why in board.lost if not why}
        if board.keys_only != before.keys_only and "microphone" not in left_out:
            self._print(at, "NOISE", "keys only" if board.keys_only else "voice again")
        for gear, why in board.lost:
            if (gear, why) not in before.lost:
                self._print(at, "NOTE", f"No {gear}: {why}" if why else left_out_words(gear))
        if board.message and board.message != before.message:
            self._print(at, "NOTE", board.message)

    def level(self, level: Level) -> None:
        """Nothing: a level is for the eye."""

    def says(self, text: str, at: float) -> None:
        """Print what the assistant says."""
        self._print(at, "SAYS", text)

    def heard(self, words: str, at: float, *, understood: bool = True) -> None:
        """Print what the person said."""
        self._print(at, "HEARD", words if understood else f"{words}  (not understood)".strip())

    def key(self, name: str, at: float) -> None:
        """Print the key."""
        self._print(at, "KEY", name)

    def notice(self, text: str, at: float) -> None:
        """Print a remark about the session."""
        self._print(at, "NOTE", text)

    def redraw(self) -> None:
        """Nothing: a line that stands is never drawn again."""

    def close(self) -> None:
        """Nothing to undo."""

    def _broken(self, text: str, start: int) -> list[str]:
        """The text on one line; on a terminal in lines of whole words, beside each other's beginning."""
        whole = " ".join(clean(text).split())
        try:
            width = os.get_terminal_size(self._stream.fileno()).columns
        except (AttributeError, OSError, ValueError):  # no terminal, or not even a file
            return [whole]
        return wrap(whole, width - start) if width >= 2 * start else [whole]

    def _print(self, at: float, what: str, text: str) -> None:
        minutes, seconds = divmod(max(0.0, round(at, 1)), 60)
        start = f"{int(minutes):02d}:{seconds:04.1f}  {what:<5}  "
        line = start + f"\n{' ' * len(start)}".join(self._broken(text, len(start))) + "\n"
        encoding = self._stream.encoding or "utf-8"
        with self._lock, contextlib.suppress(OSError, ValueError):
            self._stream.write(line.encode(encoding, "replace").decode(encoding, "replace"))
            self._stream.flush()


def open_screen(
    stream: TextIO,
    now: Callable[[], float],
    *,
    lines: bool = False,
    invitation: Callable[[], Invitation | None] = lambda: None,
) -> Screen:
    """The screen that suits a stream: in place on a terminal, else (or when `lines`) as running dialogue.

    `invitation` gives the address of the board, which a screen in place shows.
    """
    if lines or not stream.isatty():
        return LineScreen(stream)
    return TerminalScreen(stream, now, invitation=invitation)


def _can_write(stream: TextIO, letters: str) -> bool:
    try:
        letters.encode(stream.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True
