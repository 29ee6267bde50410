"""Reads a number pad itself, wherever the focus of the desktop is, and takes it up again when it was unplugged."""

from __future__ import annotations

import contextlib
import os
import select
import signal
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING

from assistant.closing import Closes
from assistant.errors import GearProblem
from assistant.keys.finding import InputDevices
from assistant.keys.linux_keys import INTERRUPT, PadState, caught_up, decode

if TYPE_CHECKING:
    from assistant.keys.finding import PluggedPad

LET_GO_S = 2.0
"""Time for the key to come up with which the program was started, s.

A key that is down when its pad is taken stays down for the desktop, which would repeat it for ever."""

LOOK_S = 0.5
"""Pause between two looks for a pad that was unplugged, s."""

LEAVE_S = 3.0
"""Time that the system has to give the account leave to read a pad that was just plugged in, s."""

UNPLUGGED = "It is unplugged, or its battery is empty. The session goes on with it when it is back."


def interrupt() -> None:
    """What Control and C do at a terminal."""
    os.kill(os.getpid(), signal.SIGINT)


@dataclass(frozen=True)
class PadTold:
    """Callbacks of a pad, on its reading thread; they must not block for long.

    Attributes:
        post: Gets each key's name.
        lost: Called once, with a plain reason, when the pad is gone.
        back: Called once when it can be read again.
        remark: Gets a sentence for the person when the pad is there again but cannot be used; once a loss.
        interrupt: Control and C were pressed on a keyboard that serves as the pad.
    """

    post: Callable[[str], None]
    lost: Callable[[str], None] = lambda _why: None
    back: Callable[[], None] = lambda: None
    remark: Callable[[str], None] = lambda _text: None
    interrupt: Callable[[], None] = interrupt


class DevicePad(Closes):
    """A number pad that nobody else gets the keys of.

    A pad that is plugged in again is known by its name, maker and model, in the same plug first; so another pad of the
    same kind may take its place.

    It is taken at once, so that one that cannot be read is refused before a session is made; `start` reads it.

    Args:
        pad: Which one.
        devices: The machine's input devices.

    Attributes:
        pad: The pad that is read, with its present path.

    Raises:
        GearProblem: It may not be read, is gone, or another program holds it.
    """

    def __init__(self, pad: PluggedPad, devices: InputDevices | None = None) -> None:
        self.pad = pad
        self._devices = devices or InputDevices()
        self._closing = threading.Event()
        self._thread: threading.Thread | None = None
        self._told = PadTold(lambda _key: None)
        try:
            self._fd, self._state = self._opened(pad)
        except OSError as error:
            raise GearProblem(
                f"The number pad at {pad.path} cannot be read ({error.strerror or error}). "
                f"{self._devices.told()}"
            ) from error
        self._wake_read, self._wake_write = os.pipe()

    def start(self, told: PadTold) -> None:
        """Report what is pressed, also since the pad was taken."""
        self._told = told
        self._thread = threading.Thread(target=self._read, name="device-pad", daemon=True)
        self._thread.start()

    def close(self) -> None:
        """Give the pad back to everybody; safe to call twice."""
        if self._closing.is_set():
            return
        self._closing.set()
        os.write(self._wake_write, b".")
        if self._thread is None:
            os.close(self._fd)
        elif self._thread is not threading.current_thread():
            self._thread.join(timeout=2.0)
        if self._thread is None or not self._thread.is_alive():
            os.close(self._wake_read)
            os.close(self._wake_write)

    def _opened(self, pad: PluggedPad) -> tuple[int, PadState]:
        """Open and take a pad once no key of it is down."""
        fd = self._devices.open(pad)
        try:
            until = time.monotonic() + LET_GO_S
            while self._devices.down(fd) and time.monotonic() < until and not self._closing.wait(0.02):
                pass
            self._devices.take(fd)
            self._drain(fd)
            return fd, PadState(down=self._devices.down(fd))
        except BaseException:
            os.close(fd)
            raise

    @staticmethod
    def _drain(fd: int) -> None:
        """Leave out what was pressed before the pad was taken: the terminal had it."""
        with contextlib.suppress(BlockingIOError):
            while os.read(fd, 4096):
                pass

    # --- the reading thread ---

    def _read(self) -> None:
        try:
            while not self._closing.is_set():
                self._until_gone()
                os.close(self._fd)
                self._fd = -1
                if self._closing.is_set():
                    return
                self._call(partial(self._told.lost, UNPLUGGED))
                if not self._found_again():
                    return
                self._call(self._told.back)
        finally:
            if self._fd >= 0:
                os.close(self._fd)

    def _until_gone(self) -> None:
        """Read until the device is gone, or the pad is closed."""
        while True:
            try:
                ready, _, _ = select.select([self._fd, self._wake_read], [], [])
                if self._wake_read in ready:
                    return
                data = os.read(self._fd, 4096)
                if not data:
                    return
                self._hand_on(data)
            except BlockingIOError:
                continue
            except (OSError, ValueError):
                return

    def _hand_on(self, data: bytes) -> None:
        came = decode(data, self._state)
        self._state = came.state
        self._post(came.keys)
        if came.lost:
            missed, self._state = caught_up(self._state, self._devices.down(self._fd))
            self._post(missed)

    def _post(self, keys: tuple[str, ...]) -> None:
        for key in keys:
            self._call(self._told.interrupt if key == INTERRUPT else partial(self._told.post, key))

    def _found_again(self) -> bool:
        """Look for the pad until it can be read; False if it is closed meanwhile."""
        seen: float | None = None
        remarked = False
        while not self._closing.wait(LOOK_S):
            present = self._present()
            if not present:
                seen = None
                continue
            seen = time.monotonic() if seen is None else seen
            problem: GearProblem | None = None
            for pad in present:
                try:
                    self._fd, self._state = self._opened(pad)
                except GearProblem as refused:
                    problem = problem or refused
                except OSError:
                    continue  # it is just coming, or just going
                else:
                    self.pad = pad
                    return True
            if problem is not None and not remarked and time.monotonic() - seen >= LEAVE_S:
                remarked = True
                self._call(partial(self._told.remark, str(problem)))
        return False

    def _present(self) -> tuple[PluggedPad, ...]:
        """The pad and others like it, that in the same plug first."""
        alike = [one for one in self._devices.found() if one.same_kind(self.pad)]
        return tuple(sorted(alike, key=lambda one: one.plug != self.pad.plug))

    @staticmethod
    def _call(call: Callable[[], None]) -> None:
        with contextlib.suppress(Exception):  # one failed key must not silence the pad
            call()
