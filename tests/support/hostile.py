"""Nasty values, and the command line called with them: shared by the tests of bounded input."""

from __future__ import annotations

import contextlib
import io
import os
import random
import signal
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from assistant.cli import main

RAW = frozenset(
    {chr(code) for code in (*range(0x20), *range(0x7F, 0xA0)) if chr(code) != "\n"}
    | {chr(code) for code in (*range(0x202A, 0x202F), *range(0x2066, 0x206A), 0x200B, 0x200C, 0x200D)}
    | {chr(code) for code in (0x200E, 0x200F, 0x061C, 0x2028, 0x2029, 0xFEFF, 0x2060)}
)
"""What must never reach a terminal from outside."""

SIGNS = "a\x1b[2J\x07\x7f\x9b31mb\u202ecod\u2066e\u200f\u061c\u200b\u2028z\udcff"
"""A text with one of each kind of sign that is to be escaped."""

WORDS = (
    *(
        "",
        " ",
        "-",
        "--",
        "-x",
        "--x",
        "=",
        "--=--",
        "0",
        "-0",
        "-1",
        "last",
        ".",
        "..",
        "/",
        "//",
        "~",
        "~nobody-here/x",
    ),
    *(
        "1e999",
        "-1e999",
        "nan",
        "inf",
        "9" * 400,
        "9" * 5000,
        "0x10",
        "1_0",
        "1.5",
        "٣",
        "½",
        "1e-999",
        "seed:" + "9" * 300,
    ),
    *(
        "a" * 300,
        "a/" * 3000,
        "x" * 20_000,
        "/dev/zero",
        "/dev/null",
        "/proc/self/mem",
        "/nowhere/at/all",
        "a\0b",
    ),
    *(
        SIGNS,
        "\n\nbay-assistant: all is well",
        "%s%d%(x)s",
        "{0}{x}",
        "'; DROP TABLE sessions; --",
        '"',
        "\\",
        "*",
    ),
    *(
        "no-start",
        "4711",
        "2026-11",
        "0000-00-00",
        "9999-12-31",
        "monday",
        "-2026",
        "control-wire-open",
        "194",
        "typical",
    ),
)
"""Values for any option; some of them are right for one."""


@dataclass(frozen=True)
class Ended:
    """The outcome of a command."""

    arguments: tuple[str, ...]
    status: int
    out: str
    err: str

    def fault(self) -> str:
        """Say what is wrong with how it ended; "" when nothing is."""
        if "defect" in self.err or "Traceback" in self.err:
            return f"a defect: {self.err[:300]!r}"
        if self.status not in (0, 1, 2):
            return f"exit status {self.status}"
        raw = RAW & set(self.out + self.err) or {
            sign for sign in self.out + self.err if "\ud800" <= sign <= "\udfff"
        }
        return f"printed raw: {sorted(map(ascii, raw))}" if raw else ""


class TooLong(BaseException):
    """A command did not end; no handler of the program takes this for one of its own errors."""


@contextlib.contextmanager
def within(seconds: float) -> Iterator[None]:
    """Break off what takes longer."""

    def late(_number: int, _frame: object) -> None:
        raise TooLong(f"not ended after {seconds} s")

    before = signal.signal(signal.SIGALRM, late)
    signal.setitimer(signal.ITIMER_REAL, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        signal.signal(signal.SIGALRM, before)


def call(*arguments: object, seconds: float = 20.0) -> Ended:
    """The command line in this process, with its output and a bound on its time; no key can be read."""
    given = tuple(map(str, arguments))
    out, err = io.StringIO(), io.StringIO()
    kept = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGHUP, signal.SIGINT)}
    stdin = sys.stdin
    try:
        with (
            Path(os.devnull).open(encoding="utf-8") as nothing,
            contextlib.redirect_stdout(out),
            contextlib.redirect_stderr(err),
            within(seconds),
        ):
            sys.stdin = nothing
            try:
                status = main(list(given))
            except SystemExit as end:
                status = end.code if isinstance(end.code, int) else 2
    finally:
        sys.stdin = stdin
        for number, handler in kept.items():
            signal.signal(number, handler)
    return Ended(given, status, out.getvalue(), err.getvalue())


OPTIONS = {
    "run": (
        *(
            "--resume",
            "--order",
            "--vin",
            "--vehicle",
            "--complaint",
            "--odometer",
            "--technician",
            "--speech-rate",
            "--voice",
        ),
        *("--procedures", "--grammars", "--pad"),
    ),
    "hear": ("--grammar", "--procedure", "--step", "--model", "--procedures", "--grammars"),
    "lint": ("--procedures", "--grammars"),
    "prove": ("--systems", "--seed", "--misreading", "--procedures"),
    "writeup": ("--html", "--json", "--out", "--sessions"),
    "review": (
        "--done",
        "--found",
        "--part",
        "--labor",
        "--code",
        "--location",
        "--photo",
        "--remark",
        "--by",
        "--sign",
        "--sessions",
    ),
    "pack": ("--out", "--sessions"),
    "picture": (
        "--procedure",
        "--step",
        "--fault",
        "--mechanism",
        "--lamp",
        "--system",
        "--out",
        "--procedures",
    ),
    "verify": ("--json", "--sessions"),
    "replay": ("--show", "--sessions"),
    "sessions": (
        *("--order", "--vin", "--from", "--to", "--on", "--verdict", "--complaint", "--open", "--limit"),
        *("--rebuild", "--odds", "--json", "--sessions"),
    ),
    "gear": ("--model", "--microphone", "--loudspeaker", "--speaker", "--voice", "--speech-rate"),
    "bench hearing": ("--hours", "--only", "--manifest", "--out", "--json", "--cache", "--model"),
    "bench sessions": ("--count",),
    "bench speech": ("--sentences", "--speech-rate", "--voice", "--seed", "--listener", "--half"),
}
"""Options of each command that are tried with nasty values; a flag gets none."""

FLAGS = frozenset({"--html", "--json", "--sign", "--show", "--open", "--rebuild", "--odds"})

TAKES_WORDS = frozenset({"run", "hear", "prove", "writeup", "review", "pack", "verify", "replay", "sessions"})


def commands(
    seed: int, count: int, sessions: Path, out: Path, of: Iterable[str] = OPTIONS
) -> Iterator[tuple[str, ...]]:
    """So many command lines, made up; they write only below `out` and find their sessions in `sessions`.

    Most have one or two values that are not right, so that each gets past those before it.
    """
    right = {
        "run": ["--keys-only", "--silent", "--plain", f"--sessions={out / 'sessions'}"],
        "hear": ["--grammar=lamp"],
        "prove": ["--systems=1"],
        "picture": ["--procedure=coil-control", "--step=feed-and-switched"],
        "pack": [f"--out={out / 'packed'}"],
        "bench hearing": ["--only=nothing"],
        "bench sessions": ["--count=-1"],
        "bench speech": ["--sentences=-1"],
        **{
            name: [f"--sessions={sessions}"] for name in ("writeup", "review", "verify", "replay", "sessions")
        },
    }
    chance = random.Random(seed)  # noqa: S311  made-up input, no secret
    for number in range(count):
        command = chance.choice(list(of))
        made = [*command.split(), *right.get(command, [])]
        named = chance.sample(OPTIONS[command], min(chance.randint(0, 2), len(OPTIONS[command])))
        if command in ("lint", "gear") and not named:
            named = [OPTIONS[command][0]]
        for option in named:
            value = chance.choice(WORDS)
            if option in ("--out", "--cache"):
                value = str(out / f"{number}{value.replace('/', '').replace(chr(0), '')[:40]}")
            if option == "--systems" and value.isdigit():
                value = "2"
            if option in FLAGS:
                made.append(option)
            elif chance.random() < 0.8:
                made.append(f"{option}={value}")
            else:
                made += [option, value]
        if command in TAKES_WORDS:
            usual = {"run": [], "prove": ["no-start"], "sessions": []}.get(command, ["last"])
            made += [chance.choice(WORDS)] if chance.random() < 0.5 or command == "hear" else usual
        yield tuple(made)
