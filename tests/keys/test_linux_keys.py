"""What a Linux input device sends becomes keys."""

from __future__ import annotations

import re
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given, strategies as st

from assistant.keys.linux_keys import (
    EVENT,
    INTERRUPT,
    KEY,
    KEY_COUNT,
    KEYPAD,
    PRESSED,
    RELEASED,
    REPEATED,
    SYN,
    SYN_DROPPED,
    SYN_REPORT,
    PadState,
    caught_up,
    codes_in,
    decode,
)
from assistant.keys.pad import KEYS

HEADER = Path("/usr/include/linux/input-event-codes.h")
"""Debian's linux-libc-dev: the kernel's own numbers."""

SHIFT, CONTROL, ALT, NUM_LOCK, C = 42, 29, 56, 69, 46


def sent(kind: int, code: int, value: int) -> bytes:
    """One event, as the kernel writes it."""
    return EVENT.pack(1_700_000_000, 999_999, kind, code, value)


def struck(*codes: int) -> bytes:
    """Keys pressed and let go, one after the other."""
    return b"".join(
        sent(KEY, code, value) + sent(SYN, SYN_REPORT, 0) for code in codes for value in (PRESSED, RELEASED)
    )


EVENTS = st.builds(
    sent,
    st.sampled_from([SYN, KEY, KEY, KEY, 4, 17, 0xFFFF]),
    st.integers(0, KEY_COUNT) | st.sampled_from([SHIFT, CONTROL, ALT, C, 1, 57, 0xFFFF]),
    st.integers(-1, 3) | st.just(-(2**31)),
)
BYTES = st.lists(EVENTS | st.binary(max_size=30) | st.just(sent(SYN, SYN_DROPPED, 0)), max_size=20).map(
    b"".join
)


@given(data=BYTES, cuts=st.lists(st.integers(0, 600), max_size=8))
def test_any_bytes_in_any_pieces(data: bytes, cuts: list[int]) -> None:
    """Any bytes are accepted; the pieces in which they come do not matter; only documented names come out."""
    whole = decode(data)
    edges = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    keys: list[str] = []
    state, lost = PadState(), False
    for start, stop in pairwise(edges):
        came = decode(data[start:stop], state)
        keys.extend(came.keys)
        state, lost = came.state, lost or came.lost
    assert (whole.keys, whole.state, whole.lost) == (tuple(keys), state, lost)
    assert set() == set(keys) - set(KEYS) - {INTERRUPT}
    assert len(state.rest) < EVENT.size
    assert all(0 <= code < KEY_COUNT for code in state.down)


@given(data=BYTES, down=st.frozensets(st.integers(0, KEY_COUNT - 1), max_size=5))
def test_whatever_came_before_a_stop_counts(data: bytes, down: frozenset[int]) -> None:
    """With any keys held, and after any bytes in which nothing was dropped, Escape and the space bar stop."""
    state = decode(data, PadState(down=down)).state
    if state.dropped:
        state = decode(sent(SYN, SYN_REPORT, 0)[len(state.rest) :], PadState(down=state.down)).state
    for code in (1, 57):
        assert ("stop",) == decode(sent(KEY, code, PRESSED), PadState(down=state.down)).keys


@pytest.mark.parametrize("lost", [1, 57])
def test_a_stop_that_was_dropped_is_found(lost: int) -> None:
    """When the kernel had to drop events, the key that is down then still counts, and older ones do not again.

    Source: the kernel's Documentation/input/event-codes.rst, SYN_DROPPED.
    """
    before = decode(sent(KEY, KEYPAD["7"], PRESSED))
    came = decode(sent(SYN, SYN_DROPPED, 0) + struck(KEYPAD["1"]) + struck(KEYPAD["2"]), before.state)
    assert (came.keys, came.lost) == (("2",), True)
    keys, state = caught_up(came.state, frozenset({KEYPAD["7"], lost, CONTROL}))
    assert ("stop",) == keys
    assert frozenset({KEYPAD["7"], lost, CONTROL}) == state.down


def test_the_keys_of_a_pad_have_their_names() -> None:
    """Each key of a pad gives the name that the dialogue knows it by."""
    assert tuple(KEYPAD) == decode(struck(*KEYPAD.values())).keys
    assert ("erase", "enter", "stop", "stop") == decode(struck(14, 28, 1, 57)).keys


def test_num_lock_does_not_matter() -> None:
    """Cursor keys are the digits they are printed on, and Num Lock pressed around a key changes nothing."""
    home_row = (102, 103, 104, 105, 0x163, 106, 107, 108, 109, 110, 111)
    assert (*"78945612", "3", "0", "point") == decode(struck(*home_row)).keys
    assert ("4",) == decode(struck(NUM_LOCK) + struck(KEYPAD["4"]) + struck(NUM_LOCK)).keys


def test_a_key_that_is_held_down_counts_once() -> None:
    """A tool that lies on the pad types one key and not thirty a second."""
    held = sent(KEY, KEYPAD["5"], PRESSED) + 50 * (
        sent(KEY, KEYPAD["5"], REPEATED) + sent(SYN, SYN_REPORT, 1)
    )
    came = decode(held)
    assert (("5",), {KEYPAD["5"]}) == (came.keys, came.state.down)


def test_pads_that_send_the_top_row() -> None:
    """Digits and signs of a US keyboard's top row, star and plus with Shift, as pads for telephones send them."""
    shifted = sent(KEY, SHIFT, PRESSED) + struck(9, 13) + sent(KEY, SHIFT, RELEASED)
    assert (*"1234567890", "minus", "star", "plus", "8") == decode(
        struck(*range(2, 13)) + shifted + struck(9)
    ).keys


def test_shortcuts_of_a_desktop_are_no_keys() -> None:
    """With Control, Alt or the logo key nothing counts but Control-C, which ends the program, and a stop."""
    for modifier in (CONTROL, 97, ALT, 100, 125, 126):
        came = decode(sent(KEY, modifier, PRESSED) + struck(16, 17, 49, KEYPAD["1"], C, 57))
        assert (*((INTERRUPT,) if modifier in (CONTROL, 97) else ()), "stop") == came.keys
    assert ("close", "c") == decode(struck(16, C)).keys


def test_letters_have_their_names() -> None:
    """The letters of a US keyboard, row by row, with the command of those that are one."""
    rows = decode(struck(*range(16, 26), *range(30, 39), *range(44, 51))).keys
    assert ("close", "why", *"ertyuiop", *"asdfghjkl", *"zxcvb", "note", "m") == rows


@pytest.mark.skipif(not HEADER.exists(), reason="the kernel's header is not installed")
def test_the_numbers_are_those_of_the_kernel() -> None:
    """Source: linux/input-event-codes.h, as Debian's linux-libc-dev has it."""
    text = HEADER.read_text(encoding="utf-8")
    numbers = {
        name: int(code, 0) for name, code in re.findall(r"#define KEY_(\w+)\s+(0x[0-9a-f]+|\d+)\b", text)
    }
    kernel = {
        **{f"KP{digit}": str(digit) for digit in range(10)},
        "KPENTER": "enter",
        "KPPLUS": "plus",
        "KPMINUS": "minus",
        "KPASTERISK": "star",
        "KPSLASH": "slash",
        "KPDOT": "point",
        "KPCOMMA": "point",
        "KPJPCOMMA": "point",
        "ESC": "stop",
        "SPACE": "stop",
        "ENTER": "enter",
        "BACKSPACE": "erase",
        "HOME": "7",
        "UP": "8",
        "PAGEUP": "9",
        "LEFT": "4",
        "CLEAR": "5",
        "RIGHT": "6",
        "END": "1",
        "DOWN": "2",
        "PAGEDOWN": "3",
        "INSERT": "0",
        "DELETE": "point",
        "MINUS": "minus",
        "COMMA": "point",
        "DOT": "point",
        "SLASH": "slash",
        **{str(digit): str(digit) for digit in range(10)},
        **{f"NUMERIC_{digit}": str(digit) for digit in range(10)},
        "NUMERIC_STAR": "star",
        "Q": "close",
        "W": "why",
        "N": "note",
        **{letter.upper(): letter for letter in "abcdefghijklmoprstuvxyz"},
    }
    named = {code: keys[0] for code in range(KEY_COUNT) if (keys := decode(struck(code)).keys)}
    assert {numbers[name]: key for name, key in kernel.items()} == named
    assert numbers["MAX"] + 1 == KEY_COUNT
    held = [numbers[f"{side}{key}"] for side in ("LEFT", "RIGHT") for key in ("CTRL", "ALT", "META", "SHIFT")]
    for code in held:
        assert ("minus",) != decode(sent(KEY, code, PRESSED) + struck(13)).keys


@pytest.mark.skipif(not HEADER.exists(), reason="the kernel's header is not installed")
def test_an_event_has_the_kernels_size(tmp_path: Path) -> None:
    """Source: linux/input.h, asked by a C compiler where there is one."""
    program = tmp_path / "size.c"
    program.write_text(
        "#include <stddef.h>\n#include <stdio.h>\n#include <linux/input.h>\n"
        'int main(void) { printf("%zu %zu %zu %x %x", sizeof(struct input_event), '
        "offsetof(struct input_event, type), offsetof(struct input_event, value), "
        "(unsigned)EVIOCGRAB, (unsigned)EVIOCGKEY(96)); return 0; }\n",
        encoding="utf-8",
    )
    try:
        subprocess.run(["cc", "-o", tmp_path / "size", program], check=True, capture_output=True, timeout=60)
    except FileNotFoundError:
        pytest.skip("there is no C compiler")
    size, kind, value, take, down = subprocess.run(
        [tmp_path / "size"], check=True, capture_output=True, text=True, timeout=60
    ).stdout.split()
    assert (int(size), int(kind), int(value)) == (EVENT.size, EVENT.size - 8, EVENT.size - 4)
    from assistant.keys import finding  # noqa: PLC0415

    assert (finding._TAKE, finding._DOWN) == (int(take, 16), int(down, 16))


@given(codes=st.frozensets(st.integers(0, KEY_COUNT - 1)))
def test_bits_are_read_back(codes: frozenset[int]) -> None:
    """The codes of a bitmap are those whose bits were set."""
    bits = sum(1 << code for code in codes).to_bytes(KEY_COUNT // 8, "little")
    assert codes == codes_in(bits)
