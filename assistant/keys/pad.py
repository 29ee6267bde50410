"""Turns bytes from a terminal into the key names of the dialogue (`assistant.core.values.events.KeyPressed`).

`decode` and `settle` are pure: the same bytes give the same keys, however they are split.
`NumberPad` owns the terminal and a thread that reads it.

A number pad sends plain characters, or, in a terminal's application keypad mode, ``ESC O`` and one letter
(DEC VT100 User Guide, "Keypad keys"; xterm's control sequences, "VT220-style function keys").
With NumLock off it sends cursor keys (``ESC [ A`` and the like), which are dropped whole, so none of their
letters counts as a key.
"""

from __future__ import annotations

import contextlib
import os
import select
import termios
import threading
import tty
from typing import TYPE_CHECKING

from assistant.closing import Closes
from assistant.core.values.result import Control
from assistant.errors import GearProblem
from assistant.keys.restoring import Undo

if TYPE_CHECKING:
    from collections.abc import Callable

ESCAPE_S = 0.05
"""An Escape that nothing follows within this time was pressed by a person."""

_ESC = 0x1B
_LONGEST_SEQUENCE = 32
"""No cursor or function key sends more bytes; a longer sequence is dropped, so keys are not swallowed for long."""

_COMMANDS = {word.letter: word.key for word in Control if word.letter}
"""Letters that are commands; while something is spelled, the dialogue treats them as letters again."""

LETTERS = {letter: _COMMANDS.get(letter, letter) for letter in "abcdefghijklmnopqrstuvwxyz"}
"""The key names of the letters: the command that a letter stands for, else the letter."""

KEYS = (
    *"0123456789",
    *("point", "minus", "plus", "star", "slash", "enter", "erase", "stop"),
    *_COMMANDS.values(),
    *(letter for letter, name in LETTERS.items() if letter == name),
)
"""All key names, as `assistant.core.values.events.KeyPressed` lists them."""

_PLAIN: dict[int, str] = {
    **{ord(digit): digit for digit in "0123456789"},
    ord("."): "point",
    ord(","): "point",
    ord("-"): "minus",
    ord("+"): "plus",
    ord("*"): "star",
    ord("/"): "slash",
    ord("\r"): "enter",
    ord("\n"): "enter",
    0x7F: "erase",
    0x08: "erase",
    ord(" "): "stop",
    **{ord(letter): name for letter, name in LETTERS.items()},
    **{ord(letter.upper()): name for letter, name in LETTERS.items()},
}

_KEYPAD: dict[int, str] = {
    **{ord("p") + digit: str(digit) for digit in range(10)},
    ord("M"): "enter",
    ord("j"): "star",
    ord("k"): "plus",
    ord("l"): "point",
    ord("m"): "minus",
    ord("n"): "point",
    ord("o"): "slash",
}


def decode(data: bytes, state: bytes = b"") -> tuple[tuple[str, ...], bytes]:
    """The keys in `data`, and the unfinished rest as the state for the next call.

    Args:
        data: Bytes from the terminal.
        state: The state that the previous call returned: an unfinished escape sequence.

    Returns:
        Key names of `KEYS`, and the new state.
    """
    keys: list[str] = []
    for byte in data:
        found, state = _step(byte, state)
        keys.extend(found)
    return tuple(keys), state


def settle(state: bytes) -> tuple[str, ...]:
    """The keys in an unfinished sequence that nothing followed: somebody pressed Escape, so ``stop``.

    An unfinished cursor sequence (``ESC [`` and more) is not a key.
    """
    return () if state[1:2] == b"[" or not state else ("stop",)


def _step(byte: int, state: bytes) -> tuple[tuple[str, ...], bytes]:
    """Read one more byte: the keys that it completes, and the new state."""
    if not state:
        if byte == _ESC:
            return (), b"\x1b"
        return _named(_PLAIN, byte), b""
    if state == b"\x1b":
        if byte in b"O[":
            return (), bytes([_ESC, byte])
        # Escape and then something else: a stop is never lost.
        keys, after = _step(byte, b"")
        return ("stop", *keys), after
    if state == b"\x1bO":
        if 0x40 <= byte <= 0x7E:
            return _named(_KEYPAD, byte), b""
        keys, after = _step(byte, b"")
        return ("stop", *keys), after
    # ESC [ parameters, closed by a letter or the like (ECMA-48, 5.4); ESC [ [ A is the Linux console's F1.
    if state == b"\x1b[" and byte == ord("["):
        return (), b"\x1b[["
    if 0x20 <= byte <= 0x3F:
        longer = state + bytes([byte])
        return (), longer if len(longer) < _LONGEST_SEQUENCE else b""
    if 0x40 <= byte <= 0x7E:
        return (), b""
    return _step(byte, b"")


def _named(names: dict[int, str], byte: int) -> tuple[str, ...]:
    return (names[byte],) if byte in names else ()


class NumberPad(Closes):
    """Reads keys from a file descriptor on a thread of its own and posts their names.

    A terminal is switched to deliver each key at once and to show none (cbreak mode). Leaving the ``with``
    block, `close`, exit, SIGTERM and SIGHUP switch it back.
    It requests application keypad mode, so the pad's digits also arrive with NumLock off.
    Ctrl-C still interrupts. Ctrl-Z does nothing, because nobody should suspend a session while the starter
    runs.
    Anything other than a terminal (a pipe, a file) is read unchanged.

    Args:
        fd: Descriptor to read, such as ``sys.stdin.fileno()``.
        post: Called with each key's name on the reading thread; must not block for long.
        on_lost: Called once, with a plain reason, when nothing more can be read.

    Raises:
        GearProblem: `fd` is not open for reading.
    """

    def __init__(
        self, fd: int, post: Callable[[str], None], on_lost: Callable[[str], None] | None = None
    ) -> None:
        self._fd = fd
        self._post = post
        self._on_lost = on_lost or (lambda _why: None)
        self._restore: Undo | None = None
        self.is_terminal = False
        try:
            self.is_terminal = os.isatty(fd)
            os.fstat(fd)
            if self.is_terminal:
                self._take_terminal()
        except (OSError, termios.error) as error:
            raise GearProblem(
                f"No keys can be read ({error}). Start bay-assistant in a terminal, or send keys through a pipe."
            ) from error
        self._wake_read, self._wake_write = os.pipe()
        self._thread = threading.Thread(target=self._read, name="number-pad", daemon=True)
        self._closed = False
        self._thread.start()

    def close(self) -> None:
        """Stop reading and give the terminal back as it was; safe to call twice."""
        if self._closed:
            return
        self._closed = True
        os.write(self._wake_write, b".")
        if self._thread is not threading.current_thread():
            self._thread.join(timeout=1.0)
        if self._restore is not None:
            self._restore()
        os.close(self._wake_write)
        if not self._thread.is_alive():
            os.close(self._wake_read)

    def _take_terminal(self) -> None:
        before = termios.tcgetattr(self._fd)

        def give_back() -> None:
            self._ask(b"\x1b>")
            termios.tcsetattr(self._fd, termios.TCSANOW, before)

        self._restore = Undo(give_back)
        tty.setcbreak(self._fd, termios.TCSANOW)
        mode = termios.tcgetattr(self._fd)
        off = os.fpathconf(self._fd, "PC_VDISABLE")  # termios(3): the value that switches a key off
        mode[6][termios.VSUSP] = bytes([off])
        termios.tcsetattr(self._fd, termios.TCSANOW, mode)
        self._ask(b"\x1b=")

    def _ask(self, sequence: bytes) -> None:
        """DECKPAM and DECKPNM (VT100 User Guide); a terminal that cannot be written to stays as it is."""
        if os.environ.get("TERM", "dumb") != "dumb":
            with contextlib.suppress(OSError):
                os.write(self._fd, sequence)

    def _read(self) -> None:
        state = b""
        why = "The number pad's terminal was closed. Open it again and resume the session."
        while True:
            try:
                ready, _, _ = select.select([self._fd, self._wake_read], [], [], ESCAPE_S if state else None)
                if self._wake_read in ready:
                    return
                if not ready:
                    keys, state = settle(state), b""
                else:
                    data = os.read(self._fd, 1024)
                    if not data:
                        self._post_all(settle(state))
                        break
                    keys, state = decode(data, state)
            except (OSError, ValueError):
                break
            self._post_all(keys)
        if not self._closed:
            with contextlib.suppress(Exception):
                self._on_lost(why if self.is_terminal else "The keys that were piped in have ended.")

    def _post_all(self, keys: tuple[str, ...]) -> None:
        for key in keys:
            with contextlib.suppress(Exception):  # one failed key must not silence the pad
                self._post(key)
