"""Altering bytes, trees and texts at random, and signs that must never reach a terminal as they are."""

from __future__ import annotations

import contextlib
import signal
import threading
import unicodedata
from typing import TYPE_CHECKING, Any

from harness import Hung

if TYPE_CHECKING:
    import random
    from collections.abc import Iterator

NASTY = (
    "", " ", "-", "--", "-x", "--help", "=", "\x1b[2J\x07", "\x1b]0;title\x07", "\u202egnp.exe",
    "\u2066a\u2069", "\udcff\udc80",
    "a\nb\rc", "\t", "\x01", "\x7f\x9b31m", "%s%n%x", "../../etc/passwd", "/dev/zero", "~nobody/x", "~",
    "$(id)", "'; DROP TABLE sessions; --", "<script>alert(1)</script>", "\u0663\u0664", "e\u0301" * 50,
    "\U0001f697", "\ufeff",
    "\u2028\u2029", "1e999", "-0", "inf", "nan", "9" * 400, "1_000", "0x10", "x" * 20_000, "\u202e" * 3000,
    "last", "*", "None",
    "1G4AH59H45G118341", "1G4AH59H45G118341\n", "I" * 17, "0" * 17, "158000 km", "1e9 miles", "-5 km",
    "\u00bd", "4711\u200b",
)  # fmt: skip
"""Texts that programs stumble over: options, commands to a terminal, right-to-left signs,
bytes that are no text,
paths, markup, numbers of other scripts and without bounds."""

_PIECES = (
    b"\x00", b"\xff\xfe", b"\x1b[2J", b"\xe2\x80\xae", b"\t", b"\r", b"\n\n", b"  ", b": ", b"- ", b"[" * 60,
    b"{" * 60, b"]", b"}",
    b"&a ", b"*a ", b"!!python/object/apply:os.system [id]", b"<<: *a", b"? ", b"| ", b"> ", b"---\n",
    b"...\n", b"%YAML 9.9\n",
    b"1e999", b"-1e999", b".inf", b".nan", b"9" * 300, b"1" + b"0" * 5000, b"null", b"true", b"''",
    b'"\\ud800"', b"\xed\xa0\x80",
    b"(a|b)" * 12, b"[a]" * 30, b"<x>", b"<NULL>", b"<VOID>", b"public ", b";", b"=", b"/1e9/", b"*", b"+",
    b"{tag}", b"/*", b"//",
)  # fmt: skip

_VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2**63, 10**400, 1e308, -1e308, float("inf"), float("nan"), 0.1, "", " ", [], {},
    [[]], [None], {"": ""}, "\x1b[31m", "\u202e", "x" * 5000, "no", "1", "1.5", {"a": {"b": {"c": []}}}, "lit", "dark",
    "battery", [1, 2, 3],
)  # fmt: skip


def mutated_bytes(rng: random.Random, data: bytes, most: int = 6) -> bytes:
    """One to `most` alterations: bits, bytes, pieces put in, parts taken out, doubled, moved or cut off."""
    changed = bytearray(data)
    for _ in range(rng.randint(1, most)):
        at = rng.randrange(len(changed) + 1)
        length = min(rng.choice((1, 2, 8, 64, 700)), len(changed) - at)
        what = rng.randrange(7)
        if what == 0 and at < len(changed):
            changed[at] ^= 1 << rng.randrange(8)
        elif what == 1:
            del changed[at : at + length]
        elif what == 2:
            changed[at:at] = changed[at : at + length]
        elif what == 3:
            changed[at:at] = rng.choice(_PIECES)
        elif what == 4:
            changed[at : at + length] = rng.randbytes(length)
        elif what == 5:
            piece = changed[at : at + length]
            del changed[at : at + length]
            other = rng.randrange(len(changed) + 1)
            changed[other:other] = piece
        elif rng.random() < 0.2:
            del changed[at:]
    return bytes(changed)


def mutated_tree(rng: random.Random, tree: Any, most: int = 3) -> Any:
    """One to `most` values of a tree of dicts and lists replaced, taken out,
    doubled or renamed; done in place.
    """
    for _ in range(rng.randint(1, most)):
        places = list(_places(tree))
        if not places:
            return rng.choice(_VALUES)
        parent, key = rng.choice(places)
        what = rng.randrange(5)
        if what == 0:
            del parent[key]
        elif what == 1 and isinstance(parent, dict):
            parent[rng.choice(("", "x", "if", f"{key}s", "\x1b[0m", 7, None))] = parent.pop(key)
        elif what == 2:
            other_parent, other_key = rng.choice(places)
            parent[key] = other_parent[other_key]
        elif what == 3 and isinstance(parent[key], str):
            parent[key] = rng.choice((parent[key] * 300, parent[key][:-1], rng.choice(NASTY)))
        else:
            parent[key] = rng.choice(_VALUES)
    return tree


def same_kind(rng: random.Random, tree: Any) -> None:
    """Replace one value of a tree by another of its kind, so that it still looks right; done in place."""
    places = [place for place in _places(tree) if not isinstance(place[0][place[1]], dict | list)]
    if not places:
        return
    parent, key = rng.choice(places)
    value = parent[key]
    if isinstance(value, bool):
        parent[key] = not value
    elif isinstance(value, int):
        parent[key] = rng.choice((0, -1, 1, 2**31, 2**63, -(10**30), value + 1))
    elif isinstance(value, float):
        parent[key] = rng.choice((0.0, -1.0, 1e-300, 1e15, 1e300, -1e300, value * 1000))
    elif isinstance(value, str):
        other_parent, other_key = rng.choice(places)
        other = other_parent[other_key]
        parent[key] = other if isinstance(other, str) and rng.random() < 0.5 else rng.choice(NASTY)


def _places(tree: Any, depth: int = 0) -> Iterator[tuple[Any, Any]]:
    if depth > 40:  # a value may have been put into itself
        return
    if isinstance(tree, dict):
        for key, value in list(tree.items()):
            yield tree, key
            yield from _places(value, depth + 1)
    elif isinstance(tree, list):
        for at, value in enumerate(tree):
            yield tree, at
            yield from _places(value, depth + 1)


def raw_signs(shown: str | bytes) -> str:
    """The control, right-to-left and invisible signs in what was printed,
    as a list; "" when there are none.
    """
    text = shown.decode("utf-8", "replace") if isinstance(shown, bytes) else shown
    found = sorted({sign for sign in text if sign not in "\n\t" and _commands(sign)})
    return " ".join(f"U+{ord(sign):04X}" for sign in found)


def _commands(sign: str) -> bool:
    if sign in "\u200e\u200f\u061c" or "\u202a" <= sign <= "\u202e" or "\u2066" <= sign <= "\u2069":
        return True
    return unicodedata.category(sign) in ("Cc", "Cs", "Zl", "Zp")


@contextlib.contextmanager
def within(seconds: float) -> Iterator[None]:
    """Let nothing take longer; only in a main thread, because only there Python can break something off.

    Raises:
        Hung: It took longer.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return

    def over(_number: int, _frame: object) -> None:
        raise Hung(f"longer than {seconds:g} s")

    before = signal.signal(signal.SIGALRM, over)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)
