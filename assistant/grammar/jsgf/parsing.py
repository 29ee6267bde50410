"""The symbols of a grammar file, made into its syntax tree by recursive descent."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

from assistant.errors import FileProblem
from assistant.grammar.jsgf.header import decode
from assistant.grammar.jsgf.symbols import symbols
from assistant.grammar.jsgf.tree import (
    Alternatives,
    Grammar,
    Import,
    Null,
    Optional,
    Reference,
    Repeat,
    Rule,
    Sequence,
    Tagged,
    Token,
    Void,
)

if TYPE_CHECKING:
    from assistant.grammar.jsgf.symbols import Symbol
    from assistant.grammar.jsgf.tree import Expansion

DEEPEST = 20
"""Deepest nesting of brackets; no file may exhaust the interpreter's stack."""

MOST_RULES = 2000
"""Largest number of rules in one grammar, because each rule's dependencies are traced."""

MOST_IMPORTS = 100
"""Largest number of imports in one grammar, because each name is looked up in each of them."""

MOST_TAGS = 8
"""Largest number of tags on one expansion: each wraps what it follows, and the tree may not grow deep."""

_NAME_EXTRAS = frozenset("_$+-:;,=|/\\()[]@#%!^&~")
_JAVA_NAME = re.compile(r"[^\W\d][\w$]*(?:\.[^\W\d][\w$]*)*")


def parse(data: bytes, path: Path | str) -> Grammar:
    """Read one grammar.

    Args:
        data: Content of the file.
        path: Its name, for messages.

    Raises:
        FileProblem: The file is not JSGF 1.0; the message has the line, the reason and the cure.
    """
    path = Path(path)
    text, encoding, locale = decode(data, path)
    return _Parser(symbols(text, path), path).grammar(encoding, locale)


class _Parser:
    """Turns symbols into the tree, by recursive descent."""

    def __init__(self, symbols: list[Symbol], path: Path) -> None:
        self.symbols = symbols
        self.path = path
        self.at = 0
        self.depth = 0

    @property
    def here(self) -> Symbol:
        return self.symbols[self.at]

    def take(self) -> Symbol:
        symbol = self.here
        self.at += symbol.kind != "end"
        return symbol

    def fail(self, problem: str, remedy: str, line: int | None = None) -> NoReturn:
        raise FileProblem(self.path, self.here.line if line is None else line, problem, remedy)

    def need(self, kind: str, after: str, line: int) -> Symbol:
        if self.here.kind != kind:
            self.fail(
                f"found {self.here.shown()} where '{kind}' should end {after}", f"Write '{kind}' there", line
            )
        return self.take()

    def grammar(self, encoding: str, locale: str) -> Grammar:
        line = self.here.line
        if (self.here.kind, self.here.text) != ("word", "grammar"):
            self.fail("the grammar's name is missing", "After the header comes 'grammar NAME;'")
        self.take()
        if self.here.kind != "word" or not _JAVA_NAME.fullmatch(self.here.text):
            self.fail(
                f"{self.here.shown()} is not a name for a grammar", "A name is letters, digits and dots"
            )
        name = self.take().text
        self.need(";", "the grammar's name", line)
        imports = []
        while (self.here.kind, self.here.text) == ("word", "import"):
            imports.append(self.import_())
            if len(imports) > MOST_IMPORTS:
                self.fail(
                    f"the grammar has more than {MOST_IMPORTS} imports",
                    "Import 'grammar.*'",
                    imports[-1].line,
                )
        rules: dict[str, Rule] = {}
        while self.here.kind != "end":
            rule = self.rule()
            if rule.name in rules:
                self.fail(
                    f"the rule <{rule.name}> is defined again (first in line {rules[rule.name].line})",
                    "Give it another name, or put the alternatives into one rule",
                    rule.line,
                )
            rules[rule.name] = rule
            if len(rules) > MOST_RULES:
                self.fail(f"the grammar has more than {MOST_RULES} rules", "Split the grammar", rule.line)
        return Grammar(self.path, name, encoding, locale, tuple(imports), rules, line)

    def import_(self) -> Import:
        line = self.take().line
        if self.here.kind != "rule":
            self.fail(f"found {self.here.shown()} after 'import'", "Write 'import <grammar.rule>;'", line)
        text = self.take().text
        grammar, dot, rule = text.rpartition(".")
        if not dot or not _JAVA_NAME.fullmatch(grammar) or not (rule == "*" or _is_simple_name(rule)):
            self.fail(
                f"'import <{text[:60]}>' does not name a rule of another grammar",
                "Write 'import <grammar.rule>;' or 'import <grammar.*>;'",
                line,
            )
        self.need(";", "the import", line)
        return Import(grammar, None if rule == "*" else rule, line)

    def rule(self) -> Rule:
        public = (self.here.kind, self.here.text) == ("word", "public")
        line = self.here.line
        if public:
            self.take()
        if self.here.kind != "rule":
            remedy = "A rule is '<name> = words;', with 'public' before it when it is used from outside"
            if self.here.text == "import":
                remedy = "Imports stand before the first rule"
            self.fail(f"found {self.here.shown()} where a rule should begin", remedy)
        name = self.take().text
        if name in ("NULL", "VOID"):
            self.fail(f"<{name}> is a rule of JSGF itself", "Choose another name", line)
        if not _is_simple_name(name):
            self.fail(f"'<{name[:60]}>' is not a name for a rule", "A name has no spaces and no dots", line)
        if self.here.kind != "=":
            self.fail(f"found {self.here.shown()} after <{name}>", f"Write '<{name}> = words;'", line)
        self.take()
        expansion = self.alternatives(f"<{name}>")
        if self.here.kind == "=":
            self.fail(
                "a second '=' in one rule", f"End the rule <{name}> with ';' before the next one begins"
            )
        self.need(";", f"the rule <{name}>", self.here.line if self.here.kind != "end" else line)
        return Rule(name, public, expansion, line)

    def alternatives(self, where: str) -> Expansion:
        line = self.here.line
        items, weights = [], []
        while True:
            if self.here.kind == "weight":
                weights.append(float(self.take().text))
            items.append(self.sequence(where))
            if self.here.kind != "|":
                break
            self.take()
        if weights and len(weights) != len(items):
            self.fail(
                f"{len(weights)} of {len(items)} alternatives in {where} have a weight",
                "Give every one a weight, or none",
                line,
            )
        if weights and not any(weights):
            self.fail(f"all weights in {where} are zero", "At least one must be larger", line)
        if len(items) == 1 and not weights:
            return items[0]
        return Alternatives(tuple(items), tuple(weights), line)

    def sequence(self, where: str) -> Expansion:
        line = self.here.line
        items = []
        while self.here.kind in ("word", "quoted", "rule", "(", "["):
            items.append(self.item())
        if not items:
            if self.here.kind in ("*", "+", "tag"):
                self.fail(f"{self.here.shown()} in {where} has nothing before it", "Put the words before it")
            if self.here.kind == "weight":
                self.fail(
                    f"{self.here.shown()} in {where} is not at the start of an alternative", "Move it there"
                )
            self.fail(
                f"found {self.here.shown()} in {where} where words should be",
                "Write words, or <NULL> where nothing is to be said",
            )
        if self.here.kind == "weight":
            self.fail(
                f"the weight {self.here.shown()} in {where} stands behind words",
                "A weight stands before its alternative",
            )
        return items[0] if len(items) == 1 else Sequence(tuple(items), line)

    def item(self) -> Expansion:
        item = self.primary()
        if self.here.kind in ("*", "+"):
            symbol = self.take()
            item = Repeat(item, 1 if symbol.kind == "+" else 0, symbol.line)
        tags = 0
        while self.here.kind == "tag":
            symbol = self.take()
            tags += 1
            if tags > MOST_TAGS:
                self.fail(f"more than {MOST_TAGS} tags follow each other", "Put what they say into one")
            item = Tagged(item, symbol.text, symbol.line)
        if self.here.kind in ("*", "+"):
            self.fail(
                f"'{self.here.kind}' follows another operator",
                "Put brackets round what is repeated: '(words {tag})*'",
            )
        return item

    def primary(self) -> Expansion:
        symbol = self.take()
        if symbol.kind in ("word", "quoted"):
            return Token(symbol.text, symbol.line)
        if symbol.kind == "rule":
            if symbol.text == "NULL":
                return Null(symbol.line)
            if symbol.text == "VOID":
                return Void(symbol.line)
            parts = symbol.text.split(".")
            if not all(_is_simple_name(part) for part in parts):
                self.fail(f"'<{symbol.text[:60]}>' is not the name of a rule", "Write '<name>'", symbol.line)
            return Reference(symbol.text, symbol.line)
        closing = {"(": ")", "[": "]"}[symbol.kind]
        self.depth += 1
        if self.depth > DEEPEST:
            self.fail(
                f"more than {DEEPEST} brackets stand inside each other", "Make rules of the inner parts"
            )
        inner = self.alternatives(f"the '{symbol.kind}' of line {symbol.line}")
        if self.here.kind != closing:
            self.fail(
                f"the '{symbol.kind}' is not closed before {self.here.shown()} in line {self.here.line}",
                f"Close it with '{closing}'",
                symbol.line,
            )
        self.take()
        self.depth -= 1
        return Optional(inner, symbol.line) if symbol.kind == "[" else inner


def _is_simple_name(name: str) -> bool:
    """Letters and digits of any script, and the punctuation that the specification lists (rulenames)."""
    return bool(name) and all(char.isalnum() or char in _NAME_EXTRAS for char in name)
