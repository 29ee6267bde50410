"""The number pad: bytes become keys, and the terminal is given back."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
import termios
import threading
import time
from itertools import pairwise

import pytest
from hypothesis import given, strategies as st

from assistant.errors import GearProblem
from assistant.keys.pad import KEYS, NumberPad, decode, settle

KEYPAD_BYTES = st.binary(max_size=40) | st.lists(
    st.sampled_from(
        [b"\x1b", b"\x1bO", b"\x1b[", b"[", b"O", b"q", b"5", b"~", b"\x1bOM", b"\x1b[5~", b"\x1b[[A"]
    ),
    max_size=12,
).map(b"".join)


@given(data=KEYPAD_BYTES, cuts=st.lists(st.integers(0, 40), max_size=6))
def test_chunking_does_not_matter(data: bytes, cuts: list[int]) -> None:
    """The same bytes give the same keys in whatever pieces they arrive, and only documented names."""
    whole, end = decode(data)
    edges = [0, *sorted(min(cut, len(data)) for cut in cuts), len(data)]
    keys: list[str] = []
    state = b""
    for start, stop in pairwise(edges):
        found, state = decode(data[start:stop], state)
        keys.extend(found)
    assert (whole, end) == (tuple(keys), state)
    assert set() == {*whole, *settle(end)} - set(KEYS)


@given(data=KEYPAD_BYTES)
def test_state_stays_small(data: bytes) -> None:
    """However long a broken sequence is, a key pressed soon after it counts again."""
    _, state = decode(data)
    assert len(state) < 33
    keys, _ = decode(b"\x1b[A5", decode(b"\x1b[" + b"1;" * 100)[1])
    assert "5" in keys


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"12.4\r", ("1", "2", "point", "4", "enter")),
        (b"12,4\n", ("1", "2", "point", "4", "enter")),
        (b"-+*/", ("minus", "plus", "star", "slash")),
        (b"\x7f\x08 nqw", ("erase", "erase", "stop", "note", "close", "why")),
        (b"xYz\x00\xff\xc3\xa9", ("x", "y", "z")),
    ],
)
def test_plain_keys(data: bytes, expected: tuple[str, ...]) -> None:
    """Each documented key has its name; anything else is nothing."""
    assert (expected, b"") == decode(data)


def test_application_keypad() -> None:
    """Source: xterm's control sequences, "VT220-style function keys": ESC O p..y digits, M j k l m n o."""
    digits = b"".join(b"\x1bO" + bytes([ord("p") + digit]) for digit in range(10))
    assert (tuple("0123456789"), b"") == decode(digits)
    others = b"".join(b"\x1bO" + bytes([letter]) for letter in b"Mjklmno")
    assert decode(others)[0] == ("enter", "star", "plus", "point", "minus", "point", "slash")


@pytest.mark.parametrize(
    "data", [b"\x1b[A", b"\x1bOA", b"\x1b[5~", b"\x1b[2;5~", b"\x1b[E", b"\x1bOH", b"\x1b[[A", b"\x1b[1;5C"]
)
def test_cursor_and_function_keys_are_swallowed_whole(data: bytes) -> None:
    """With NumLock off a pad sends cursor keys; none of their characters may count as a key."""
    assert decode(data) == ((), b"")
    assert decode(data + b"7")[0] == ("7",)


@pytest.mark.parametrize("after", [b"5", b"\x1b", b"\r", b"x"])
def test_a_stop_is_never_lost(after: bytes) -> None:
    """Escape counts as stop also when another key follows faster than a person would type."""
    keys, state = decode(b"\x1b" + after)
    assert (keys + settle(state))[0] == "stop"


def test_escape_alone_is_stop_and_a_broken_cursor_key_is_not() -> None:
    """After a pause an open Escape means stop; an open cursor sequence means nothing."""
    assert settle(decode(b"\x1b")[1]) == ("stop",)
    assert settle(decode(b"\x1bO")[1]) == ("stop",)
    assert settle(decode(b"\x1b[1")[1]) == ()
    assert settle(b"") == ()


class _Posted:
    """Collects what a pad posts and lets a test wait for it."""

    def __init__(self) -> None:
        self.keys: list[str] = []
        self.lost: list[str] = []
        self._changed = threading.Condition()

    def post(self, key: str) -> None:
        with self._changed:
            self.keys.append(key)
            self._changed.notify_all()

    def lose(self, why: str) -> None:
        with self._changed:
            self.lost.append(why)
            self._changed.notify_all()

    def wait_for(self, keys: int = 0, lost: int = 0) -> None:
        with self._changed:
            done = self._changed.wait_for(
                lambda: len(self.keys) >= keys and len(self.lost) >= lost, timeout=30
            )
        assert done


def test_terminal_gives_single_keys_and_is_restored() -> None:
    """Keys arrive without Enter, Escape alone is stop, and leaving restores every setting."""
    outer, inner = pty.openpty()
    before = termios.tcgetattr(inner)
    posted = _Posted()
    try:
        with NumberPad(inner, posted.post, posted.lose):
            during = termios.tcgetattr(inner)
            assert during[3] & (termios.ICANON | termios.ECHO) == 0
            os.write(outer, b"1")
            posted.wait_for(keys=1)
            os.write(outer, b"\x1b")
            posted.wait_for(keys=2)
        assert posted.keys == ["1", "stop"]
        assert before == termios.tcgetattr(inner)
        assert posted.lost == []
    finally:
        os.close(outer)
        os.close(inner)


def test_exception_restores_the_terminal() -> None:
    """An error inside the block leaves the terminal as it was."""
    outer, inner = pty.openpty()
    before = termios.tcgetattr(inner)
    try:
        with pytest.raises(RuntimeError), NumberPad(inner, _Posted().post):
            raise RuntimeError
        assert before == termios.tcgetattr(inner)
    finally:
        os.close(outer)
        os.close(inner)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP])
def test_signal_restores_the_terminal(number: signal.Signals) -> None:
    """A program told to end gives the terminal back and ends with the customary status."""
    outer, inner = pty.openpty()
    before = termios.tcgetattr(inner)
    code = (
        "import time, assistant.keys.pad as pad\n"
        "kept = pad.NumberPad(0, print)\n"
        "print('on', flush=True)\n"
        "time.sleep(30)\n"
    )
    with subprocess.Popen([sys.executable, "-c", code], stdin=inner, stdout=subprocess.PIPE) as program:
        try:
            assert program.stdout is not None
            assert program.stdout.readline() == b"on\n"
            assert before != termios.tcgetattr(inner)
            program.send_signal(number)
            assert 128 + number == program.wait(timeout=30)
            assert before == termios.tcgetattr(inner)
        finally:
            program.kill()
            os.close(outer)
            os.close(inner)


def test_keys_from_a_pipe_and_its_end() -> None:
    """Keys may be piped in; the end of the pipe is reported once, after the last key."""
    reader, writer = os.pipe()
    posted = _Posted()
    os.write(writer, b"12.4\n\x1b")
    os.close(writer)
    with NumberPad(reader, posted.post, posted.lose):
        posted.wait_for(lost=1)
    os.close(reader)
    assert posted.keys == ["1", "2", "point", "4", "enter", "stop"]
    assert posted.lost == ["The keys that were piped in have ended."]


def test_closed_terminal_is_reported() -> None:
    """A terminal that is closed is lost gear, not a crash."""
    outer, inner = pty.openpty()
    posted = _Posted()
    with NumberPad(inner, posted.post, posted.lose):
        os.close(outer)
        posted.wait_for(lost=1)
    os.close(inner)
    assert "terminal was closed" in posted.lost[0]


def test_post_that_fails_does_not_silence_the_pad() -> None:
    """One key that goes wrong further in must not take the stop key away."""
    reader, writer = os.pipe()
    posted = _Posted()

    def post(key: str) -> None:
        posted.post(key)
        if key == "1":
            raise RuntimeError

    with NumberPad(reader, post, posted.lose):
        os.write(writer, b"1 ")
        posted.wait_for(keys=2)
    os.close(writer)
    os.close(reader)
    assert posted.keys == ["1", "stop"]


def test_nothing_to_read_is_a_plain_sentence() -> None:
    """A closed descriptor is a gear problem that says what to do."""
    reader, writer = os.pipe()
    os.close(reader)
    os.close(writer)
    with pytest.raises(GearProblem, match="Start bay-assistant in a terminal"):
        NumberPad(reader, _Posted().post)


def test_close_twice_is_harmless() -> None:
    """Closing again does nothing, and nothing is posted afterwards."""
    reader, writer = os.pipe()
    posted = _Posted()
    pad = NumberPad(reader, posted.post, posted.lose)
    pad.close()
    pad.close()
    os.write(writer, b"1")
    time.sleep(0.01)
    os.close(writer)
    os.close(reader)
    assert (posted.keys, posted.lost) == ([], [])
