r"""Makes printed text harmless, because it may hold anything that was typed or came in a file.

A control character in a customer's words, in the name of a file or in another shop's record could command the terminal,
and a character that turns the direction of writing could make a line read as something else.
So each appears as its escape, such as ``\x1b`` or ``\u202e``: in every form of a write-up, on the drawn screen,
and in everything that a command writes to standard output and standard error.
"""

from __future__ import annotations

import contextlib
import io
import os
import sys
import textwrap
import unicodedata
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO, cast

if TYPE_CHECKING:
    from collections.abc import Iterator

_SHORT = {"\n": "\\n", "\t": "\\t", "\r": "\\r"}


def escaped(text: str) -> str:
    """The text with every invisible character escaped, except line breaks and spaces.

    These are the control characters (C0, DEL, C1), direction marks, characters without width, separators of lines
    and paragraphs, lone surrogates (an undecodable byte that was typed), and unassigned code points.
    """
    if text.isprintable():
        return text
    return "".join(sign if sign == "\n" or _seen(sign) else _escape(sign) for sign in text)


def filled(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """A text in lines of at most `width` columns; words and what has hyphens stay whole.

    Args:
        text: The text.
        width: Columns.
        first: Begins the first line.
        rest: Begins all others.
    """
    return textwrap.wrap(
        text,
        width,
        initial_indent=first,
        subsequent_indent=rest,
        break_long_words=False,
        break_on_hyphens=False,
    )


def in_line(text: str) -> str:
    """The same on one line: line breaks are escaped as well, so nothing can pass for a line of ours."""
    return text if text.isprintable() else "".join(sign if _seen(sign) else _escape(sign) for sign in text)


def _seen(sign: str) -> bool:
    return sign.isprintable() or unicodedata.category(sign) == "Zs"


def _escape(sign: str) -> str:
    code = ord(sign)
    if sign in _SHORT:
        return _SHORT[sign]
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


class EscapingStream:
    """A text stream that escapes everything written to it and otherwise behaves like its stream.

    Args:
        stream: The target; `unescaped` returns it to code that writes its own sequences.
    """

    def __init__(self, stream: TextIO) -> None:
        self.unescaped = stream

    def write(self, text: str) -> int:
        """Write it escaped."""
        self.unescaped.write(escaped(text))
        return len(text)

    def writelines(self, lines: Any) -> None:
        """Write each escaped."""
        for line in lines:
            self.write(line)

    def __getattr__(self, name: str) -> Any:
        return getattr(self.unescaped, name)


class Lost(io.StringIO):
    """Stands for an output that is closed: it keeps nothing, and remembers whether anything was written."""

    lost = False

    def write(self, text: str) -> int:
        """Drop it."""
        self.lost = self.lost or bool(text)
        return len(text)


def lost(stream: TextIO) -> bool:
    """Whether something was written to an output that is closed."""
    return bool(getattr(unescaped(stream), "lost", False))


def unescaped(stream: TextIO) -> TextIO:
    """The stream behind an `EscapingStream`, for control sequences of our own; any other stream is its own."""
    return cast("TextIO", getattr(stream, "unescaped", stream))


@contextlib.contextmanager
def escaping() -> Iterator[None]:
    """Escape everything that is printed meanwhile to standard output and standard error.

    A character that the terminal's character set lacks becomes a question mark; closed output goes nowhere (`lost`).
    """
    before = sys.stdout, sys.stderr
    with contextlib.ExitStack() as opened:
        found = []
        for stream in before:
            if stream is None:
                # It takes the number of the closed one, so that no file gets what a C library prints.
                opened.enter_context(Path(os.devnull).open("w", encoding="utf-8"))
                stream = Lost()  # noqa: PLW2901
            if isinstance(stream, io.TextIOWrapper):
                stream.reconfigure(errors="replace")
            found.append(cast("TextIO", EscapingStream(unescaped(stream))))
        sys.stdout, sys.stderr = found
        try:
            yield
        finally:
            sys.stdout, sys.stderr = before
