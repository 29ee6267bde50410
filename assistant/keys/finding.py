"""Finds number pads among the input devices of Linux, and opens them.

What a device is called and which keys it has stands in ``/sys/class/input``, which every account can read, so a pad
can be named to somebody who may not open it yet.
"""

from __future__ import annotations

import errno
import fcntl
import getpass
import grp
import os
import stat
import struct
from dataclasses import dataclass, field
from pathlib import Path

from assistant.errors import GearProblem
from assistant.keys.linux_keys import KEY_COUNT, KEYPAD, codes_in
from assistant.printing import in_line

RULES = "/etc/udev/rules.d/70-number-pad.rules"
"""A rule for udev; its number is below that of the rules that give leave by the tag (73-seat-late.rules)."""

_WORD = 8 * struct.calcsize("L")
_LETTERS_FROM, _LETTERS_TO = 16, 50
_KEYPAD_CODES = frozenset(KEYPAD[name] for name in ("1", "5", "9", "enter"))

_TAKE = 0x40044590
"""``EVIOCGRAB``: ``_IOW('E', 0x90, int)``."""

_DOWN = 0x80000000 | (KEY_COUNT // 8) << 16 | ord("E") << 8 | 0x18
"""``EVIOCGKEY`` of all key codes: ``_IOC(_IOC_READ, 'E', 0x18, length)``."""


@dataclass(frozen=True)
class PluggedPad:
    """An input device with the keys of a number pad.

    Attributes:
        path: Such as ``/dev/input/event5``; it can be another one when the pad is plugged in again.
        name: As its maker calls it.
        vendor: Four hexadecimal digits.
        product: Likewise.
        plug: Where it is plugged in, "" if unknown.
        letters: It also has the letters, or says so: many small pads do.
    """

    path: Path
    name: str
    vendor: str = ""
    product: str = ""
    plug: str = ""
    letters: bool = False

    def same_kind(self, other: PluggedPad) -> bool:
        """Whether it is the same pad, or one of the same make and model in another plug."""
        return (self.name, self.vendor, self.product) == (other.name, other.vendor, other.product)

    def line(self) -> str:
        """For a list."""
        kind = "a keyboard, or a pad that calls itself one" if self.letters else "a number pad"
        barred = self.path.exists() and not os.access(self.path, os.R_OK)
        return f"'{in_line(self.name)}' ({self.path}, {kind}{'; this account may not read it' if barred else ''})"


@dataclass(frozen=True)
class InputDevices:
    """The input devices of this machine; other folders are for tests.

    Attributes:
        devices: The folder of the devices.
        described: The folder that tells about them.
    """

    devices: Path = field(default=Path("/dev/input"))
    described: Path = field(default=Path("/sys/class/input"))

    def found(self) -> tuple[PluggedPad, ...]:
        """Those with the keys of a number pad, in the order of their numbers."""
        try:
            names = [file.name for file in self.described.iterdir() if file.name.startswith("event")]
        except OSError:
            return ()
        names.sort(key=lambda name: (len(name), name))
        return tuple(one for name in names if (one := self.described_as(name)) is not None)

    def described_as(self, event: str) -> PluggedPad | None:
        """What is told of one of them, ``event5``; None if it is gone or has no number pad."""
        folder = self.described / event / "device"
        keys = keys_in(_text(folder / "capabilities" / "key"))
        if not keys >= _KEYPAD_CODES:
            return None
        return PluggedPad(
            self.devices / event,
            _text(folder / "name") or event,
            _text(folder / "id" / "vendor"),
            _text(folder / "id" / "product"),
            _text(folder / "phys"),
            letters=len([code for code in keys if _LETTERS_FROM <= code <= _LETTERS_TO]) >= 26,
        )

    def chosen(self, wanted: str) -> PluggedPad:
        """The pad with this path, name, or part of a name.

        Raises:
            GearProblem: None or several fit; lists the pads that there are.
        """
        if "/" in wanted:
            real = Path(os.path.realpath(wanted))
            if real.exists() and real.parent == Path(os.path.realpath(self.devices)):
                known = self.described_as(real.name)
                if known is not None:
                    return known
                raise GearProblem(f"{in_line(wanted)} has no number pad. {self.told()}")
            raise GearProblem(f"There is no input device {in_line(wanted)}. {self.told()}")
        low = " ".join(wanted.lower().split())
        pads = self.found()
        fitting = [one for one in pads if one.name.lower() == low] or [
            one for one in pads if low and low in one.name.lower()
        ]
        if len(fitting) == 1:
            return fitting[0]
        if fitting:
            raise GearProblem(
                f"Several number pads are called '{in_line(wanted)}'; name one by its path. {self.told()}"
            )
        which = f"is called '{in_line(wanted)}'" if wanted else "was named"
        raise GearProblem(f"No number pad {which}. {self.told()}")

    def told(self) -> str:
        """Which pads there are, as sentences."""
        pads = self.found()
        if not pads:
            return "None is plugged in; 'bay-assistant gear' lists those that are."
        lines = "; ".join(one.line() for one in pads)
        return f"Give --pad the name, a part of it, or the path of one of these: {lines}."

    def open(self, pad: PluggedPad) -> int:
        """Open it for reading; a file descriptor.

        Raises:
            GearProblem: It may not be read; says how to get leave.
            OSError: It is gone.
        """
        try:
            return os.open(pad.path, os.O_RDONLY | os.O_NONBLOCK | os.O_CLOEXEC)
        except PermissionError as error:
            raise GearProblem(_no_leave(pad)) from error

    def take(self, fd: int) -> None:
        """Have its keys for us alone, until the descriptor is closed.

        Raises:
            GearProblem: Another program has it.
            OSError: It is gone.
        """
        try:
            fcntl.ioctl(fd, _TAKE, 1)
        except OSError as error:
            if error.errno == errno.EBUSY:
                raise GearProblem(
                    "Another program holds the number pad for itself. End that program, or run without --pad."
                ) from error
            raise

    def down(self, fd: int) -> frozenset[int]:
        """Codes of the keys that are down.

        Raises:
            OSError: It is gone.
        """
        return codes_in(fcntl.ioctl(fd, _DOWN, bytes(KEY_COUNT // 8)))


def keys_in(bitmap: str) -> frozenset[int]:
    """The key codes of a bitmap in ``capabilities/key``: hexadecimal words of a C `long`, the highest first.

    Anything else than that gives no keys.
    """
    keys: set[int] = set()
    try:
        words = [int(word, 16) for word in bitmap.split()]
    except ValueError:
        return frozenset()
    for place, word in enumerate(reversed(words)):
        keys.update(place * _WORD + bit for bit in range(_WORD) if word >> bit & 1)
    return frozenset(keys)


def _text(file: Path) -> str:
    try:
        return file.read_text(encoding="utf-8", errors="replace").strip()
    except OSError:
        return ""


def _no_leave(pad: PluggedPad) -> str:
    """Which permission is missing, and the two ways to get it."""
    try:
        about = pad.path.stat()
        group = _group(about.st_gid)
        told = f"it belongs to {_owner(about.st_uid)} and group {group} ({stat.filemode(about.st_mode)})"
        joining = group if group != "root" else "input"
    except OSError:
        told, joining = "it belongs to another account", "input"
    rule = (
        f'KERNEL=="event*", SUBSYSTEM=="input", ATTRS{{id/vendor}}=="{pad.vendor}", '
        f'ATTRS{{id/product}}=="{pad.product}", TAG+="uaccess"'
    )
    return (
        f"This account may not read the number pad '{in_line(pad.name)}' at {pad.path}: {told}. "
        f"To let whoever sits at this machine read this pad alone: echo '{rule}' | sudo tee {RULES}; then plug the "
        f"pad in again. Or let this account read every keyboard: sudo usermod -aG {joining} {_account()}; then log "
        "in again."
    )


def _owner(number: int) -> str:
    import pwd  # noqa: PLC0415  only where a name is told

    try:
        return pwd.getpwuid(number).pw_name
    except KeyError:
        return str(number)


def _group(number: int) -> str:
    try:
        return grp.getgrgid(number).gr_name
    except KeyError:
        return str(number)


def _account() -> str:
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return str(os.getuid())
