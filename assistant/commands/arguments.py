"""Arguments of the command line: numbers within stated bounds, and errors with the cure."""

from __future__ import annotations

import argparse
import math
from typing import TYPE_CHECKING, Any, NoReturn

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

_SHOWN = 40
"""Number of characters of a wrong value that an error repeats."""


class CommandParser(argparse.ArgumentParser):
    """A parser that answers every mistake with a sentence and exit status 2."""

    def parse_args(self, args: Any = None, namespace: Any = None) -> Any:
        """Like argparse, but refuse a value of ``--`` after "=" first, because argparse of Python 3.11 fails on it."""
        import sys  # noqa: PLC0415  as argparse does it

        given: Sequence[str] = sys.argv[1:] if args is None else args
        for argument in given:
            if argument == "--":
                break
            if argument.startswith("--") and argument.endswith("=--"):
                self.error(f"argument {argument[:-3]}: '--' is no value")
        found = super().parse_args(given, namespace)
        for name, value in vars(found).items():
            if any("\0" in str(one) for one in (value if isinstance(value, list) else [value])):
                self.error(f"argument {name}: a null character cannot be in it")
        return found

    def error(self, message: str) -> NoReturn:
        """End the program; if a value began with a dash, say how to write such a value."""
        if message.endswith(("expected one argument", "expected at least one argument")):
            option = message.partition("argument ")[2].partition(":")[0].split("/")[-1]
            message += f". A value that begins with a dash is written as {option}=-VALUE"
        elif message.startswith("unrecognized arguments"):
            message += ". Words that begin with a dash are written after --"
        super().error(message)


def whole(least: int, most: int) -> Callable[[str], int]:
    """The type of an option that is a whole number from `least` to `most`."""

    def read(text: str) -> int:
        digits = text.strip().removeprefix("-")
        if not (digits.isascii() and digits.isdecimal() and len(digits.lstrip("0")) < 20):
            raise argparse.ArgumentTypeError(f"{_shown(text)} is not a whole number from {least} to {most}")
        number = int(text)
        if not least <= number <= most:
            raise argparse.ArgumentTypeError(f"{_shown(text)} is not a whole number from {least} to {most}")
        return number

    return read


def real(least: float, most: float, what: str = "a number") -> Callable[[str], float]:
    """The type of an option that is a finite number from `least` to `most`, both included."""

    def read(text: str) -> float:
        try:
            number = float(text)
        except ValueError:
            number = math.nan
        if not least <= number <= most:
            raise argparse.ArgumentTypeError(f"{_shown(text)} is not {what} from {least:g} to {most:g}")
        return number

    return read


def _shown(text: str) -> str:
    return f"'{text}'" if len(text) <= _SHOWN else f"'{text[:_SHOWN]}…' ({len(text)} signs)"
