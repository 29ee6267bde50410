"""The screen on a terminal and as lines."""

from __future__ import annotations

import fcntl
import io
import os
import pty
import re
import select
import struct
import termios
import time
from typing import TextIO, cast

import pytest

from assistant.core.values.board import Board
from assistant.core.values.events import NoMatch
from assistant.screen import drawing
from assistant.screen.plain import Level
from assistant.screen.terminal import LineScreen, TerminalScreen, open_screen


def _read_until(fd: int, wanted: bytes) -> bytes:
    """All output up to and with `wanted`; fails after half a minute."""
    seen = b""
    end = time.monotonic() + 30
    while wanted not in seen:
        ready, _, _ = select.select([fd], [], [], max(0.0, end - time.monotonic()))
        assert ready, f"{wanted!r} did not come; only {seen!r}"
        seen += os.read(fd, 65536)
    return seen


def test_terminal_is_entered_drawn_and_left() -> None:
    """The board appears on the alternate screen; leaving shows the cursor and the old screen again."""
    outer, inner = pty.openpty()
    with open(inner, "w", encoding="utf-8", closefd=False) as stream:
        with TerminalScreen(stream, lambda: 0.0, colour=False) as screen:
            start = _read_until(outer, b"\x1b[?25l")
            assert b"\x1b[?1049h" in start
            screen.level(Level(-30, -40))
            screen.show(Board(message="Say again."), 0.0)
            _read_until(outer, b"Say again.")
        assert b"\x1b[?25h\x1b[?1049l" in _read_until(outer, b"\x1b[?1049l")
        screen.close()
    os.close(outer)
    os.close(inner)


def test_only_changed_lines_are_written() -> None:
    """A picture that has not changed writes nothing, one changed line writes one line."""
    outer, inner = pty.openpty()
    with open(inner, "w", encoding="utf-8", closefd=False) as stream:
        with TerminalScreen(stream, lambda: 0.0, colour=False) as screen:
            screen.show(Board(title="Control test", message="one"), 0.0)
            _read_until(outer, b"one")
            screen.show(Board(title="Control test", message="two"), 0.0)
            second = _read_until(outer, b"two")
        assert len(re.findall(rb"\x1b\[\d+;1H", second)) == 1
    os.close(outer)
    os.close(inner)


def test_terminal_that_goes_away_is_no_error() -> None:
    """The session goes on by voice when its window is closed."""
    outer, inner = pty.openpty()
    stream = open(inner, "w", encoding="utf-8", closefd=False)  # noqa: SIM115  (closed below)
    screen = TerminalScreen(stream, lambda: 0.0)
    os.close(outer)
    screen.show(Board(message="gone"), 0.0)
    screen.close()
    with pytest.raises(OSError, match="Input/output error"):  # the terminal really was gone
        stream.close()
    os.close(inner)


def test_lines_tell_the_dialogue() -> None:
    """Each thing said, heard, keyed or changed is one line with its time."""
    stream = io.StringIO()
    with LineScreen(stream) as screen:
        board = Board(title="Control test", step=1, headline="FEED SIDE")
        screen.show(board, 0.0)
        screen.show(board, 0.5)
        screen.says("Probe the feed side.\nWatch the lamp.", 1.25)
        screen.heard("feed lit", 61.04)
        screen.heard("", 62.0, understood=False)
        screen.key("enter", 3599.96)
        screen.level(Level(-20))
        screen.show(Board(title="Control test", step=1, headline="FEED SIDE", keys_only=True), 70.0)
        screen.notice("Session stored.", 71.0)
    assert stream.getvalue().splitlines() == [
        "00:00.0  TEST   1 FEED SIDE (Control test)",
        "00:01.2  SAYS   Probe the feed side. Watch the lamp.",
        "01:01.0  HEARD  feed lit",
        "01:02.0  HEARD  (not understood)",
        "60:00.0  KEY    enter",
        "01:10.0  NOISE  keys only",
        "01:11.0  NOTE   Session stored.",
    ]


@pytest.mark.parametrize(
    ("words", "shown"),
    [("[unk]", "(speech)"), ("", "(speech)"), ("feed [unk] lit", "feed lit"), ("[unk] [unk]", "(speech)")],
)
def test_what_is_no_word_is_shown_as_speech(words: str, shown: str) -> None:
    """The recogniser's own sign for other speech, which older records hold, never reaches a person."""
    heard = NoMatch(62.0, words, 0.2)
    stream = io.StringIO()
    LineScreen(stream).heard(heard.shown, heard.at, understood=False)
    assert stream.getvalue() == f"01:02.0  HEARD  {shown} (not understood)\n"


def test_lines_say_each_loss_once() -> None:
    """A second loss is a line of its own; what is lost still is not said again."""
    stream = io.StringIO()
    screen = LineScreen(stream)
    screen.show(Board(lost=(("speaker", "gone"),)), 0.0)
    screen.show(Board(lost=(("speaker", "gone"), ("microphone", "mute"))), 1.0)
    screen.show(Board(lost=(("microphone", "mute"),)), 2.0)
    assert [line.partition("NOTE")[2].strip() for line in stream.getvalue().splitlines()] == [
        "No speaker: gone",
        "No microphone: mute",
    ]


def test_reader_who_closes_the_pipe_is_no_error() -> None:
    """Piping the dialogue into a program that ends early does not end the session."""
    reader, writer = os.pipe()
    os.close(reader)
    stream = open(writer, "w", encoding="utf-8", closefd=False)  # noqa: SIM115  (closed below)
    LineScreen(stream).says("Probe the feed side.", 0.0)
    with pytest.raises(BrokenPipeError):  # what was not written is still in Python's own buffer
        stream.close()
    os.close(writer)


def test_letters_that_the_stream_lacks_are_replaced() -> None:
    """A stream in ASCII gets a question mark for an omega, not an error."""
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding="ascii")
    LineScreen(stream).says("0.6 Ω", 0.0)
    assert raw.getvalue() == b"00:00.0  SAYS   0.6 ?\n"


def test_the_stream_decides_the_kind_of_screen() -> None:
    """No terminal, or lines asked for: lines."""
    assert isinstance(open_screen(io.StringIO(), lambda: 0.0), LineScreen)
    outer, inner = pty.openpty()
    with open(inner, "w", encoding="utf-8", closefd=False) as stream:
        assert isinstance(open_screen(stream, lambda: 0.0, lines=True), LineScreen)
        screen = open_screen(stream, lambda: 0.0)
        assert isinstance(screen, TerminalScreen)
        screen.close()
    os.close(outer)
    os.close(inner)


def test_redraw_clears_and_writes_every_line() -> None:
    """After gear was lost or is back the picture is put there anew, also the lines that did not change."""
    outer, inner = pty.openpty()
    with open(inner, "w", encoding="utf-8", closefd=False) as stream:
        with TerminalScreen(stream, lambda: 0.0, colour=False) as screen:
            screen.show(Board(title="Control test", message="one"), 0.0)
            _read_until(outer, b"one")
            screen.redraw()
            again = _read_until(outer, b"one")
        assert b"\x1b[2J" in again
        assert b"Control test" in again
        assert len(re.findall(rb"\x1b\[\d+;1H", again)) > 20
    os.close(outer)
    os.close(inner)


def test_what_was_written_across_the_picture_is_mended(monkeypatch: pytest.MonkeyPatch) -> None:
    """From time to time all lines are written again, without being told that something disturbed them."""
    monkeypatch.setattr(drawing, "_ANEW_S", 0.2)
    outer, inner = pty.openpty()
    with open(inner, "w", encoding="utf-8", closefd=False) as stream:
        with TerminalScreen(stream, lambda: 0.0, colour=False) as screen:
            screen.show(Board(message="Say again."), 0.0)
            _read_until(outer, b"Say again.")
            again = _read_until(outer, b"Say again.")
        assert b"\x1b[2J" not in again  # no flicker
    os.close(outer)
    os.close(inner)


def test_a_notice_is_shown_for_a_while() -> None:
    """Trouble with the record reaches a person who has only the drawn screen; later the board is as before."""
    outer, inner = pty.openpty()
    at = [0.0]
    with (
        open(inner, "w", encoding="utf-8", closefd=False) as stream,
        TerminalScreen(stream, lambda: at[0], colour=False) as screen,
    ):
        screen.show(Board(message="Say again."), 0.0)
        _read_until(outer, b"Say again.")
        screen.notice("The record could not be written.", 0.0)
        _read_until(outer, b"The record could not be written. Say again.")
        at[0] = drawing.NOTICE_S
        assert b"record" not in _read_until(outer, b"Say again.")
    os.close(outer)
    os.close(inner)


def test_lines_do_not_call_lost_what_was_switched_off() -> None:
    """Gear that the session was started without is off, and nothing of it is noise or a loss."""
    stream = io.StringIO()
    screen = LineScreen(stream)
    screen.show(Board(lost=(("speaker", ""), ("microphone", "")), keys_only=True), 0.0)
    screen.show(Board(lost=(("speaker", ""), ("microphone", "")), keys_only=True), 1.0)
    assert ["Sound off.", "Keys only."] == [
        line.partition("NOTE")[2].strip() for line in stream.getvalue().splitlines()
    ]


def test_lines_on_a_terminal_end_with_whole_words() -> None:
    """A long sentence goes on below its own beginning, and no word is cut at the edge of the window."""
    outer, inner = pty.openpty()
    fcntl.ioctl(inner, termios.TIOCSWINSZ, struct.pack("HHHH", 20, 60, 0, 0))
    said = "Service manual first. Park, brake, chocks. Orange cables? Stop. Live circuit. Don't short it."
    with open(inner, "w", encoding="utf-8", closefd=False) as stream:
        LineScreen(stream).says(said, 0.0)
        shown = _read_until(outer, b"short it.").decode().splitlines()
    os.close(outer)
    os.close(inner)
    assert max(map(len, shown)) <= 60
    assert said.split() == " ".join(shown).removeprefix("00:00.0  SAYS ").split()
    assert all(line.startswith(" " * len("00:00.0  SAYS   ")) for line in shown[1:])


def test_lines_need_no_file() -> None:
    """A stream that only writes, such as one to two places at once, gets each thing on one line."""

    class Both:
        encoding = "utf-8"
        text = ""

        def write(self, text: str) -> None:
            self.text += text

        def flush(self) -> None:
            pass

    both = Both()
    LineScreen(cast("TextIO", both)).says("Probe the feed side. " * 9, 0.0)
    assert 1 == both.text.count("\n")
