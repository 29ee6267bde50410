"""The text behind the header, cut into the symbols of the format: words, names of rules, tags, weights and signs."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, NoReturn

from assistant.errors import FileProblem

if TYPE_CHECKING:
    from pathlib import Path

MOST_SYMBOLS = 30_000
"""Largest number of words, names and symbols in one grammar file."""

_SINGLE = frozenset(";=|*+()[]")
_ENDS_WORD = frozenset(';=|*+()[]<>{}/"')
_WEIGHT = re.compile(r"(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?[fF]?", re.ASCII)


@dataclass(frozen=True)
class Symbol:
    """`kind` is the character itself, or ``word``, ``quoted``, ``rule``, ``tag``, ``weight``, ``end``."""

    kind: str
    text: str
    line: int

    def shown(self) -> str:
        """The symbol as the file has it, for a message."""
        wrap = {
            "rule": "<{}>",
            "tag": "{{{}}}",
            "weight": "/{}/",
            "quoted": '"{}"',
            "end": "the end of the file",
        }
        return wrap.get(self.kind, "{}").format(self.text)[:60]


def symbols(text: str, path: Path) -> list[Symbol]:
    """Every symbol of a text, in order; the last one is its end.

    Raises:
        FileProblem: Something in the text is not a symbol, or there are more than `MOST_SYMBOLS`.
    """
    return _Scanner(text, path).symbols()


class _Scanner:
    """Cuts the text behind the header into symbols."""

    def __init__(self, text: str, path: Path) -> None:
        self.text = text
        self.path = path
        self.at = 0
        self.line = 1

    def fail(self, problem: str, remedy: str) -> NoReturn:
        raise FileProblem(self.path, self.line, problem, remedy)

    def symbols(self) -> list[Symbol]:
        found = []
        while (symbol := self.next()) is not None:
            found.append(symbol)
            if len(found) > MOST_SYMBOLS:
                self.fail(f"the file has more than {MOST_SYMBOLS} words and signs", "Split the grammar")
        found.append(Symbol("end", "", self.line))
        return found

    def next(self) -> Symbol | None:
        self.skip_blank()
        if self.at >= len(self.text):
            return None
        char, line = self.text[self.at], self.line
        if char in _SINGLE:
            self.at += 1
            return Symbol(char, char, line)
        if char == "<":
            name = self.enclosed(">", "the rule name", one_line=True)
            return Symbol("rule", name.strip(), line)
        if char == "{":
            return Symbol("tag", self.escaped("}", "the tag").strip(), line)
        if char == '"':
            text = self.escaped('"', "the quoted token")
            if not text.strip() or not all(c.isprintable() or c.isspace() for c in text):
                raise FileProblem(
                    self.path, line, "a quoted token is empty or not printable", "Put words in it"
                )
            return Symbol("quoted", " ".join(text.split()), line)
        if char == "/":
            weight = self.enclosed("/", "the weight", one_line=True).strip()
            if not _WEIGHT.fullmatch(weight) or not math.isfinite(float(weight.rstrip("fF"))):
                raise FileProblem(
                    self.path, line, f"'/{weight[:40]}/' is not a weight", "A weight is like /0.5/"
                )
            return Symbol("weight", weight.rstrip("fF"), line)
        if char in _ENDS_WORD:
            self.fail(f"'{char}' closes nothing", f"Remove it, or write '\"{char}\"' if it is spoken")
        start = self.at
        while self.at < len(self.text) and not self.text[self.at].isspace():
            if self.text[self.at] in _ENDS_WORD:
                break
            if not self.text[self.at].isprintable():
                self.fail(f"the character {self.text[self.at]!r} cannot be spoken", "Remove it")
            self.at += 1
        return Symbol("word", self.text[start : self.at], line)

    def skip_blank(self) -> None:
        """Skip whitespace and comments."""
        text = self.text
        while self.at < len(text):
            if text[self.at].isspace():
                self.line += text[self.at] == "\n"
                self.at += 1
            elif text.startswith("//", self.at):
                end = text.find("\n", self.at)
                self.at = len(text) if end < 0 else end
            elif text.startswith("/*", self.at):
                end = text.find("*/", self.at + 2)
                if end < 0:
                    self.fail("the comment that begins here has no end", "End it with '*/'")
                self.line += text.count("\n", self.at, end)
                self.at = end + 2
            else:
                return

    def enclosed(self, closing: str, what: str, *, one_line: bool) -> str:
        """The text after the current character up to `closing`, which is consumed as well."""
        end = self.text.find(closing, self.at + 1)
        inner = self.text[self.at + 1 : end]
        if end < 0 or (one_line and "\n" in inner):
            self.fail(f"{what} that begins here has no end", f"End it with '{closing}' on the same line")
        self.at = end + 1
        return inner

    def escaped(self, closing: str, what: str) -> str:
        """Like `enclosed`, across lines, with a backslash escaping `closing` and itself."""
        out: list[str] = []
        at = self.at + 1
        while at < len(self.text):
            char = self.text[at]
            if char == closing:
                self.line += self.text.count("\n", self.at, at)
                self.at = at + 1
                return "".join(out)
            if char == "\\" and self.text[at + 1 : at + 2] in (closing, "\\"):
                at += 1
                char = self.text[at]
            out.append(char)
            at += 1
        return self.fail(f"{what} that begins here has no end", f"End it with '{closing}'")
