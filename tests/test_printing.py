"""Printed text cannot command a terminal, forge a line, or turn the direction of writing."""

from __future__ import annotations

import contextlib
import io
import sys
import unicodedata

import pytest
from hostile import RAW, SIGNS
from hypothesis import given, strategies as st

from assistant.printing import EscapingStream, escaped, escaping, in_line, unescaped
from assistant.screen.lettering import clean
from assistant.writeup.statement import printable

ANYTHING = st.text(st.characters(exclude_categories=()), max_size=60)


@pytest.mark.parametrize(
    ("sign", "shown"),
    [
        ("\x1b", "\\x1b"),
        ("\x00", "\\x00"),
        ("\x7f", "\\x7f"),
        ("\x9b", "\\x9b"),
        ("\t", "\\t"),
        ("\r", "\\r"),
        ("\u202e", "\\u202e"),
        ("\u2066", "\\u2066"),
        ("\u200f", "\\u200f"),
        ("\u061c", "\\u061c"),
        ("\u200b", "\\u200b"),
        ("\ufeff", "\\ufeff"),
        ("\u2028", "\\u2028"),
        ("\udcff", "\\udcff"),
        ("\U000e0041", "\\U000e0041"),
    ],
)
def test_each_kind_of_sign_is_shown_as_its_escape(sign: str, shown: str) -> None:
    """Control characters, signs of direction and of no width, separators and lone surrogates are escaped."""
    assert f"a{shown}b" == escaped(f"a{sign}b") == in_line(f"a{sign}b")


def test_words_are_left_as_they_are() -> None:
    """Letters of any script, spaces of any width and our own line breaks are no danger."""
    words = "café note\n3,3 kΩ Überprüfung\u00a0日本語 … 'x'\\n"
    assert words == escaped(words)
    assert words.replace("\n", "\\n") == in_line(words)


@given(text=ANYTHING)
def test_whatever_is_given_comes_out_harmless(text: str) -> None:
    """In every way of showing it: printed, on one line, on the drawn screen, and in a write-up."""
    for shown in (escaped(text), in_line(text), clean(text), printable(text)):
        assert set() == set(shown) & RAW
        assert all(unicodedata.category(sign) != "Cs" for sign in shown)
        shown.encode("utf-8")
    assert "\n" not in in_line(text)
    assert in_line(in_line(text)) == in_line(text)


def test_a_stream_escapes_what_is_printed_and_keeps_what_is_ours() -> None:
    """The output of a command is escaped; control sequences of our own go around it."""
    inner = io.StringIO()
    stream = EscapingStream(inner)
    print(SIGNS, file=stream)  # type: ignore[call-overload]
    stream.writelines(["\x1b", "b\n"])
    unescaped(stream).write("\x1b[K")  # type: ignore[arg-type]
    assert f"{escaped(SIGNS)}\n\\x1bb\n\x1b[K" == inner.getvalue()
    assert inner is unescaped(inner)
    assert not stream.isatty()


def test_the_streams_are_as_before_afterwards(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing stays installed after a command, nor after one that raises; closed output is no error."""
    before = sys.stdout, sys.stderr
    with contextlib.suppress(KeyError), escaping():
        assert sys.stdout is not before[0]
        raise KeyError
    assert before == (sys.stdout, sys.stderr)
    monkeypatch.setattr(sys, "stdout", None)
    with escaping():
        print("into nothing")
    assert sys.stdout is None
