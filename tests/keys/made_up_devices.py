"""Input devices for tests: pipes that carry `struct input_event`, and pads that the kernel makes (uinput).

A pipe gives bytes, blocks, and ends like a device; it cannot be taken for oneself or say which keys are down, so
`PipedDevices` answers these two questions in its place.
"""

from __future__ import annotations

import errno
import fcntl
import os
import shutil
import struct
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeVar

from assistant.keys.finding import InputDevices, PluggedPad
from assistant.keys.linux_keys import EVENT, KEY, KEYPAD, SYN, SYN_REPORT

T = TypeVar("T")

PAD_KEYS = frozenset({*KEYPAD.values(), 69})
WHOLE_KEYBOARD = PAD_KEYS | set(range(1, 59))


def event(kind: int, code: int, value: int) -> bytes:
    """One event, as the kernel writes it."""
    return EVENT.pack(1_700_000_000, 5, kind, code, value)


def struck(*codes: int) -> bytes:
    """Keys pressed and let go."""
    return b"".join(event(KEY, code, value) + event(SYN, SYN_REPORT, 0) for code in codes for value in (1, 0))


def bitmap(codes: frozenset[int]) -> str:
    """Key codes as ``capabilities/key`` shows them."""
    bits, width = sum(1 << code for code in codes), 8 * struct.calcsize("L")
    words = []
    while bits:
        words.append(f"{bits & ((1 << width) - 1):x}")
        bits >>= width
    return " ".join(reversed(words or ["0"]))


@dataclass(frozen=True)
class PipedDevices(InputDevices):
    """Devices in a folder of a test; `taken` counts how often one was taken, `held` are the keys that are down."""

    taken: list[int] = field(default_factory=list)
    held: set[int] = field(default_factory=set)
    refusal: list[Exception] = field(default_factory=list)

    def plug_in(
        self,
        number: int,
        name: str = "Small Pad",
        keys: frozenset[int] = PAD_KEYS,
        plug: str = "usb-1/input0",
    ) -> Path:
        """A device appears; the pipe that stands for it."""
        about = self.described / f"event{number}" / "device"
        (about / "capabilities").mkdir(parents=True)
        (about / "id").mkdir()
        for file, text in {
            "name": name,
            "phys": plug,
            "id/vendor": "1a2b",
            "id/product": "0c0d",
            "capabilities/key": bitmap(keys),
        }.items():
            (about / file).write_text(text + "\n", encoding="utf-8")
        self.devices.mkdir(exist_ok=True)
        os.mkfifo(self.devices / f"event{number}")
        return self.devices / f"event{number}"

    def pull_out(self, number: int) -> None:
        """A device disappears."""
        shutil.rmtree(self.described / f"event{number}")
        (self.devices / f"event{number}").unlink()

    def open(self, pad: PluggedPad) -> int:
        if self.refusal:
            raise self.refusal[0]
        return super().open(pad)

    def take(self, fd: int) -> None:
        self.taken.append(fd)

    def down(self, fd: int) -> frozenset[int]:
        return frozenset(self.held)


class Told:
    """Collects what a pad reports, and lets a test wait for it."""

    def __init__(self) -> None:
        self.came: list[str] = []
        self._changed = threading.Condition()

    def note(self, what: str) -> None:
        with self._changed:
            self.came.append(what)
            self._changed.notify_all()

    def wait_for(self, *what: str) -> None:
        """Until exactly this came."""
        with self._changed:
            self._changed.wait_for(lambda: len(self.came) >= len(what), timeout=30)
        assert list(what) == self.came


UINPUT = Path("/dev/uinput")


def can_make_pads() -> bool:
    """Whether the kernel lets this account make input devices, and shows them."""
    return os.access(UINPUT, os.W_OK) and Path("/sys/class/input").is_dir()


class KernelPad:
    """A pad that the kernel makes (uinput): a real input device, without a plug.

    Source of the calls: the kernel's include/uapi/linux/uinput.h and Documentation/input/uinput.rst.
    """

    def __init__(self, name: str, keys: frozenset[int] = PAD_KEYS) -> None:
        self._fd = os.open(UINPUT, os.O_WRONLY | os.O_NONBLOCK)
        for kind in (SYN, KEY, 20):  # 20: the kernel repeats keys that are held
            fcntl.ioctl(self._fd, 0x40045564, kind)  # UI_SET_EVBIT
        for code in keys:
            fcntl.ioctl(self._fd, 0x40045565, code)  # UI_SET_KEYBIT
        fcntl.ioctl(self._fd, 0x405C5503, struct.pack("HHHH80sI", 3, 0x1A2B, 0x0C0D, 1, name.encode(), 0))
        fcntl.ioctl(self._fd, 0x5501)  # UI_DEV_CREATE
        self._name = name

    def found(self, devices: InputDevices) -> PluggedPad:
        """The device, once the system shows it."""
        return waited_for(lambda: next((one for one in devices.found() if one.name == self._name), None))

    def send(self, kind: int, code: int, value: int) -> None:
        os.write(self._fd, event(kind, code, value))

    def press(self, code: int) -> None:
        self.send(KEY, code, 1)
        self.send(SYN, SYN_REPORT, 0)

    def let_go(self, code: int) -> None:
        self.send(KEY, code, 0)
        self.send(SYN, SYN_REPORT, 0)

    def pull_out(self) -> None:
        fcntl.ioctl(self._fd, 0x5502)  # UI_DEV_DESTROY
        os.close(self._fd)


def waited_for(look: Callable[[], T | None]) -> T:
    """What `look` finds within half a minute."""
    until = time.monotonic() + 30
    while time.monotonic() < until:
        if (found := look()) is not None:
            return found
        time.sleep(0.02)
    raise TimeoutError(errno.ETIMEDOUT, "it did not come")
