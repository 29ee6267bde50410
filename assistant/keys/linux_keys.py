"""Turns what a Linux input device sends into the key names of the dialogue.

`decode` is pure: the same bytes give the same keys, however they are split.

The kernel numbers keys by their place and not by what is printed on them, so Num Lock does not change the keys of
a pad. A pad that keeps Num Lock to itself sends cursor keys while it is off; they count as the digits that they are
printed on. Some pads press Num Lock around every key, and some send the digits and signs of a US keyboard's top row;
both are understood. Letters count as on a US keyboard.
A key that is held down counts once: a wrench that lies on the pad must not type.

Numbers: include/uapi/linux/input-event-codes.h of the Linux kernel; `struct input_event` and the meaning of
`SYN_DROPPED`: its Documentation/input/input.rst and event-codes.rst.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from assistant.keys.pad import LETTERS

if TYPE_CHECKING:
    from collections.abc import Set as AbstractSet

EVENT = struct.Struct("@llHHi")
"""`struct input_event`: seconds and microseconds (long), type, code, value; in the machine's own order and sizes."""

SYN, KEY = 0, 1
"""Types of event: a mark between events, and a key."""

SYN_REPORT, SYN_DROPPED = 0, 3
"""Marks: the events so far belong together; events were lost, because nobody read them in time."""

RELEASED, PRESSED, REPEATED = 0, 1, 2
"""Values of a key."""

KEY_COUNT = 0x300
"""Number of key codes."""

_ROWS = (("qwertyuiop", 16), ("asdfghjkl", 30), ("zxcvbnm", 44))

KEYPAD = {
    "7": 71,
    "8": 72,
    "9": 73,
    "4": 75,
    "5": 76,
    "6": 77,
    "1": 79,
    "2": 80,
    "3": 81,
    "0": 82,
    "star": 55,
    "minus": 74,
    "plus": 78,
    "point": 83,
    "enter": 96,
    "slash": 98,
}
"""The keys of a number pad by their names, and their codes."""

_WITHOUT_NUM_LOCK = {
    102: "7",  # Home
    103: "8",  # Up
    104: "9",  # Page Up
    105: "4",  # Left
    0x163: "5",  # Clear
    106: "6",  # Right
    107: "1",  # End
    108: "2",  # Down
    109: "3",  # Page Down
    110: "0",  # Insert
    111: "point",  # Delete
}

_NAMES: dict[int, str] = {
    **{code: name for name, code in KEYPAD.items()},
    **_WITHOUT_NUM_LOCK,
    95: "point",  # the keypad's comma in Japan
    121: "point",  # and elsewhere
    1: "stop",  # Escape
    57: "stop",  # the space bar
    14: "erase",
    28: "enter",
    **{1 + digit: str(digit % 10) for digit in range(1, 11)},
    12: "minus",
    51: "point",  # a comma
    52: "point",
    53: "slash",
    **{0x200 + digit: str(digit) for digit in range(10)},  # pads of telephones and remote controls
    0x20A: "star",
    **{first + place: LETTERS[letter] for row, first in _ROWS for place, letter in enumerate(row)},
}

_SHIFTED = {9: "star", 13: "plus"}
"""The signs of a US keyboard's top row that a pad needs; other keys are the same with Shift."""

_SHIFTS, _CONTROLS = frozenset({42, 54}), frozenset({29, 97})
_OTHERS = frozenset({56, 100, 125, 126})
_HELD = _SHIFTS | _CONTROLS | _OTHERS
"""Keys that change what others mean: Shift, Control; Alt and the logo key."""

_C = 46

INTERRUPT = "interrupt"
"""Control and C: no key of the dialogue, but the end of the program, as at a terminal."""


@dataclass(frozen=True)
class PadState:
    """What `decode` keeps between two calls.

    Attributes:
        rest: The beginning of an event.
        down: Codes of the keys that are down.
        dropped: Events were lost; all is left out until the next `SYN_REPORT`.
    """

    rest: bytes = b""
    down: frozenset[int] = frozenset()
    dropped: bool = False


@dataclass(frozen=True)
class Decoded:
    """What came out of some bytes.

    Attributes:
        keys: Names of keys, and `INTERRUPT`.
        state: For the next call.
        lost: Events were lost, and the device must be asked which keys are down; see `caught_up`.
    """

    keys: tuple[str, ...]
    state: PadState
    lost: bool = False


def decode(data: bytes, state: PadState | None = None) -> Decoded:
    """The keys that were pressed.

    Args:
        data: Bytes from the device.
        state: Of the previous call; None at the beginning.
    """
    state = state or PadState()
    whole = state.rest + data
    end = len(whole) - len(whole) % EVENT.size
    keys: list[str] = []
    down, dropped, lost = set(state.down), state.dropped, False
    for _seconds, _microseconds, kind, code, value in EVENT.iter_unpack(whole[:end]):
        if kind == SYN and code == SYN_DROPPED:
            dropped = True
        elif dropped:
            if kind == SYN and code == SYN_REPORT:
                dropped, lost = False, True
        elif kind == KEY and code < KEY_COUNT:
            if value == RELEASED:
                down.discard(code)
                continue
            down.add(code)
            if value == PRESSED and (name := _named(code, down)):
                keys.append(name)
    return Decoded(tuple(keys), PadState(whole[end:], frozenset(down), dropped), lost)


def caught_up(state: PadState, down: frozenset[int]) -> tuple[tuple[str, ...], PadState]:
    """The keys whose press was lost, those that are down unexpectedly: a stop is never lost.

    Args:
        state: Of the call of `decode` that lost events.
        down: Codes of the keys that the device says are down now.
    """
    names = (_named(code, down) for code in sorted(down - state.down - _HELD))
    return tuple(name for name in names if name), replace(state, down=down)


def codes_in(bits: bytes) -> frozenset[int]:
    """The codes of the bits that are set, as ``EVIOCGKEY`` gives them: the lowest first in each byte."""
    return frozenset(
        8 * place + bit for place, byte in enumerate(bits) for bit in range(8) if byte >> bit & 1
    )


def _named(code: int, held: AbstractSet[int]) -> str:
    """The name of a key, "" for one that does not count: none does with Alt or the logo key, but for a stop."""
    name = _NAMES.get(code, "")
    if name == "stop":
        return name
    if held & _CONTROLS:
        return INTERRUPT if code == _C else ""
    if held & _OTHERS:
        return ""
    return _SHIFTED.get(code, name) if held & _SHIFTS else name
