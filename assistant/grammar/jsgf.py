"""A parser for the JSpeech Grammar Format, version 1.0 (W3C Note, 5 June 2000, an open specification).

A file is read in three steps: the self-identifying header names the encoding, the text is cut into symbols,
and the symbols become a tree of frozen dataclasses that carry their line.
`link` then joins several grammars: it finds the rule that each name stands for and refuses recursion that
no finite network can hold.

Any bytes give a tree or a `FileProblem`, never another exception.

Choices that the specification leaves open:

- A file without an encoding in its header is UTF-8.
- A quoted token may hold several words, spoken one after the other.
- ``*`` and ``+`` stand directly behind what they repeat; tags follow them.
- Either every alternative of a set has a weight, or none has one.
"""

from __future__ import annotations

import codecs
import graphlib
import math
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn, TypeAlias

from assistant.errors import FileProblem

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

MOST_BYTES = 1 << 20
"""Size of the largest grammar file that is read; a grammar of this program has a few thousand bytes."""

DEEPEST = 20
"""Deepest nesting of brackets; no file may exhaust the interpreter's stack."""

MOST_RULES = 2000
"""Largest number of rules in one grammar, because each rule's dependencies are traced."""

MOST_IMPORTS = 100
"""Largest number of imports in one grammar, because each name is looked up in each of them."""

MOST_SYMBOLS = 30_000
"""Largest number of words, names and symbols in one grammar file."""

MOST_TAGS = 8
"""Largest number of tags on one expansion, for the same reason."""

# --- the tree -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Token:
    """A spoken word; a quoted token may hold several words."""

    text: str
    line: int

    def words(self) -> tuple[str, ...]:
        """The words, in order."""
        return tuple(self.text.split())


@dataclass(frozen=True)
class Reference:
    """The name of a rule, between angle brackets, as written: simple, qualified or fully qualified."""

    name: str
    line: int


@dataclass(frozen=True)
class Null:
    """``<NULL>``: matches without a word."""

    line: int


@dataclass(frozen=True)
class Void:
    """``<VOID>``: can never be said."""

    line: int


@dataclass(frozen=True)
class Sequence:
    """Expansions that are spoken one after the other."""

    items: tuple[Expansion, ...]
    line: int


@dataclass(frozen=True)
class Alternatives:
    """Expansions of which one is spoken.

    Attributes:
        weights: Relative likelihood of each; empty if the file gives none.
    """

    items: tuple[Expansion, ...]
    weights: tuple[float, ...]
    line: int


@dataclass(frozen=True)
class Optional:
    """``[ ]``: may be left out."""

    item: Expansion
    line: int


@dataclass(frozen=True)
class Repeat:
    """``*`` (`at_least` 0) or ``+`` (`at_least` 1)."""

    item: Expansion
    at_least: int
    line: int


@dataclass(frozen=True)
class Tagged:
    """An expansion with its tag, unescaped and stripped of whitespace."""

    item: Expansion
    tag: str
    line: int


Expansion: TypeAlias = Token | Reference | Null | Void | Sequence | Alternatives | Optional | Repeat | Tagged


@dataclass(frozen=True)
class Rule:
    """A rule: its simple name, whether other grammars may use it, and its expansion."""

    name: str
    public: bool
    expansion: Expansion
    line: int


@dataclass(frozen=True)
class Import:
    """``import <grammar.rule>;`` or ``import <grammar.*>;``: `rule` is None for all public rules."""

    grammar: str
    rule: str | None
    line: int


@dataclass(frozen=True)
class Grammar:
    """One grammar file."""

    path: Path
    name: str
    encoding: str
    locale: str
    imports: tuple[Import, ...]
    rules: dict[str, Rule]
    line: int


def references(expansion: Expansion) -> Iterator[Reference]:
    """Every rule name that an expansion uses, in order."""
    if isinstance(expansion, Reference):
        yield expansion
    elif isinstance(expansion, Sequence | Alternatives):
        for item in expansion.items:
            yield from references(item)
    elif isinstance(expansion, Optional | Repeat | Tagged):
        yield from references(expansion.item)


# --- header and symbols ---------------------------------------------------------------------------

_HEADER = re.compile(rb"#JSGF[ \t]+V1\.0(?:[ \t]+([^\s;]+))?(?:[ \t]+([^\s;]+))?[ \t]*;")
_ENCODINGS = {
    "jis": "iso2022_jp",
    **{f"iso8859-{part}": f"iso8859-{part}" for part in (*range(1, 12), *range(13, 17))},
    **{f"iso-8859-{part}": f"iso8859-{part}" for part in (*range(1, 12), *range(13, 17))},
    **dict.fromkeys(("utf-8", "utf8"), "utf-8"),
    **dict.fromkeys(("us-ascii", "ascii"), "ascii"),
}
_SINGLE = frozenset(";=|*+()[]")
_ENDS_WORD = frozenset(';=|*+()[]<>{}/"')
_WEIGHT = re.compile(r"(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?[fF]?", re.ASCII)
_NAME_EXTRAS = frozenset("_$+-:;,=|/\\()[]@#%!^&~")
_JAVA_NAME = re.compile(r"[^\W\d][\w$]*(?:\.[^\W\d][\w$]*)*")


@dataclass(frozen=True)
class _Symbol:
    """`kind` is the character itself, or ``word``, ``quoted``, ``rule``, ``tag``, ``weight``, ``end``."""

    kind: str
    text: str
    line: int

    def shown(self) -> str:
        wrap = {
            "rule": "<{}>",
            "tag": "{{{}}}",
            "weight": "/{}/",
            "quoted": '"{}"',
            "end": "the end of the file",
        }
        return wrap.get(self.kind, "{}").format(self.text)[:60]


def _decode(data: bytes, path: Path) -> tuple[str, str, str]:
    """The text after the header, with plain line ends, the encoding, and the locale."""
    if len(data) > MOST_BYTES:
        raise FileProblem(path, 0, f"the file has {len(data)} bytes", f"A grammar has at most {MOST_BYTES}")
    header = _HEADER.match(data.removeprefix(codecs.BOM_UTF8))
    if header is None:
        raise FileProblem(
            path, 1, "the file does not begin with a JSGF header", "The first line is '#JSGF V1.0 UTF-8 en;'"
        )
    named = (header[1] or b"UTF-8").decode("ascii", "replace")
    encoding = _ENCODINGS.get(named.lower())
    if encoding is None:
        raise FileProblem(
            path,
            1,
            f"the encoding '{named}' in the header is not known",
            "Save the file as UTF-8 and write 'UTF-8'",
        )
    body = data.removeprefix(codecs.BOM_UTF8)[header.end() :]
    try:
        text = body.decode(encoding)
    except UnicodeDecodeError as error:
        line = 1 + body[: error.start].count(b"\n")
        raise FileProblem(
            path, line, f"the text is not {named}", "Save the file in the encoding that its header names"
        ) from error
    locale = (header[2] or b"").decode("ascii", "replace")
    return text.replace("\r\n", "\n").replace("\r", "\n"), named, locale


class _Scanner:
    """Cuts the text behind the header into symbols."""

    def __init__(self, text: str, path: Path) -> None:
        self.text = text
        self.path = path
        self.at = 0
        self.line = 1

    def fail(self, problem: str, remedy: str) -> NoReturn:
        raise FileProblem(self.path, self.line, problem, remedy)

    def symbols(self) -> list[_Symbol]:
        found = []
        while (symbol := self.next()) is not None:
            found.append(symbol)
            if len(found) > MOST_SYMBOLS:
                self.fail(f"the file has more than {MOST_SYMBOLS} words and signs", "Split the grammar")
        found.append(_Symbol("end", "", self.line))
        return found

    def next(self) -> _Symbol | None:
        self.skip_blank()
        if self.at >= len(self.text):
            return None
        char, line = self.text[self.at], self.line
        if char in _SINGLE:
            self.at += 1
            return _Symbol(char, char, line)
        if char == "<":
            name = self.enclosed(">", "the rule name", one_line=True)
            return _Symbol("rule", name.strip(), line)
        if char == "{":
            return _Symbol("tag", self.escaped("}", "the tag").strip(), line)
        if char == '"':
            text = self.escaped('"', "the quoted token")
            if not text.strip() or not all(c.isprintable() or c.isspace() for c in text):
                raise FileProblem(
                    self.path, line, "a quoted token is empty or not printable", "Put words in it"
                )
            return _Symbol("quoted", " ".join(text.split()), line)
        if char == "/":
            weight = self.enclosed("/", "the weight", one_line=True).strip()
            if not _WEIGHT.fullmatch(weight) or not math.isfinite(float(weight.rstrip("fF"))):
                raise FileProblem(
                    self.path, line, f"'/{weight[:40]}/' is not a weight", "A weight is like /0.5/"
                )
            return _Symbol("weight", weight.rstrip("fF"), line)
        if char in _ENDS_WORD:
            self.fail(f"'{char}' closes nothing", f"Remove it, or write '\"{char}\"' if it is spoken")
        start = self.at
        while self.at < len(self.text) and not self.text[self.at].isspace():
            if self.text[self.at] in _ENDS_WORD:
                break
            if not self.text[self.at].isprintable():
                self.fail(f"the character {self.text[self.at]!r} cannot be spoken", "Remove it")
            self.at += 1
        return _Symbol("word", self.text[start : self.at], line)

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


# --- parser ---------------------------------------------------------------------------------------


def parse(data: bytes, path: Path | str) -> Grammar:
    """Read one grammar.

    Args:
        data: Content of the file.
        path: Its name, for messages.

    Raises:
        FileProblem: The file is not JSGF 1.0; the message has the line, the reason and the cure.
    """
    path = Path(path)
    text, encoding, locale = _decode(data, path)
    return _Parser(_Scanner(text, path).symbols(), path).grammar(encoding, locale)


class _Parser:
    """Turns symbols into the tree, by recursive descent."""

    def __init__(self, symbols: list[_Symbol], path: Path) -> None:
        self.symbols = symbols
        self.path = path
        self.at = 0
        self.depth = 0

    @property
    def here(self) -> _Symbol:
        return self.symbols[self.at]

    def take(self) -> _Symbol:
        symbol = self.here
        self.at += symbol.kind != "end"
        return symbol

    def fail(self, problem: str, remedy: str, line: int | None = None) -> NoReturn:
        raise FileProblem(self.path, self.here.line if line is None else line, problem, remedy)

    def need(self, kind: str, after: str, line: int) -> _Symbol:
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


# --- linking --------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Linked:
    """Grammars whose rule names have been resolved.

    Attributes:
        grammars: Every grammar by its full name.
        rules: Every rule by its fully qualified name, ``grammar.rule``.
    """

    grammars: dict[str, Grammar]
    rules: dict[str, Rule]
    _targets: dict[tuple[str, str], str] = field(repr=False)

    def target(self, grammar: str, name: str) -> str:
        """Fully qualified name of the rule that `name` stands for inside `grammar`."""
        return self._targets[grammar, name]

    def path(self, rule: str) -> Path:
        """File of a fully qualified rule."""
        return self.grammars[rule.rpartition(".")[0]].path


def link(grammars: Iterable[Grammar]) -> Linked:
    """Join grammars: resolve every rule name, and refuse recursion other than right recursion.

    Raises:
        FileProblem: Two grammars share a name, a name is unknown or ambiguous, an imported rule is not public,
            or a rule contains itself at its beginning or in its middle.
    """
    by_name: dict[str, Grammar] = {}
    for grammar in grammars:
        if grammar.name in by_name:
            raise FileProblem(
                grammar.path,
                grammar.line,
                f"the grammar '{grammar.name}' is also in {by_name[grammar.name].path}",
                "Give one of them another name",
            )
        by_name[grammar.name] = grammar
    rules = {f"{g.name}.{r.name}": r for g in by_name.values() for r in g.rules.values()}
    targets = {}
    for grammar in by_name.values():
        _check_imports(grammar, by_name)
        for rule in grammar.rules.values():
            for reference in references(rule.expansion):
                targets[grammar.name, reference.name] = _resolve(grammar, reference, by_name)
    linked = Linked(by_name, rules, targets)
    _refuse_recursion(linked)
    return linked


def _check_imports(grammar: Grammar, by_name: dict[str, Grammar]) -> None:
    for item in grammar.imports:
        other = by_name.get(item.grammar)
        if other is None:
            raise FileProblem(
                grammar.path,
                item.line,
                f"there is no grammar '{item.grammar}'",
                _did_you_mean(by_name, "Grammars here"),
            )
        if item.rule is None:
            continue
        if item.rule not in other.rules:
            raise FileProblem(
                grammar.path,
                item.line,
                f"the grammar '{item.grammar}' has no rule <{item.rule}>",
                _did_you_mean(
                    (name for name, rule in other.rules.items() if rule.public), "Its public rules"
                ),
            )
        if not other.rules[item.rule].public:
            raise FileProblem(
                grammar.path,
                item.line,
                f"the rule <{item.grammar}.{item.rule}> is not public",
                f"Write 'public' before it in {other.path}:{other.rules[item.rule].line}",
            )


def _did_you_mean(names: Iterable[str], label: str) -> str:
    listed = sorted(names)
    return f"{label}: {', '.join(listed[:20])}" if listed else f"{label}: none"


def _resolve(grammar: Grammar, reference: Reference, by_name: dict[str, Grammar]) -> str:
    """The specification's order: a rule of this grammar, an imported rule, a fully qualified name."""
    qualifier, _, simple = reference.name.rpartition(".")
    if not qualifier and simple in grammar.rules:
        return f"{grammar.name}.{simple}"
    found = set()
    for item in grammar.imports:
        other = by_name[item.grammar]
        fits = not qualifier or other.name == qualifier or other.name.endswith("." + qualifier)
        if fits and item.rule in (None, simple) and simple in other.rules and other.rules[simple].public:
            found.add(f"{other.name}.{simple}")
    if qualifier == grammar.name or (qualifier and grammar.name.endswith("." + qualifier)):
        found.update({f"{grammar.name}.{simple}"} if simple in grammar.rules else ())
    if not found and qualifier in by_name and simple in by_name[qualifier].rules:
        rule = by_name[qualifier].rules[simple]
        if not rule.public:
            raise FileProblem(
                grammar.path,
                reference.line,
                f"the rule <{reference.name}> is not public",
                f"Write 'public' before it in {by_name[qualifier].path}:{rule.line}",
            )
        found.add(reference.name)
    if len(found) > 1:
        raise FileProblem(
            grammar.path,
            reference.line,
            f"<{reference.name}> could be {' or '.join(f'<{name}>' for name in sorted(found))}",
            "Write the full name",
        )
    if not found:
        raise FileProblem(
            grammar.path,
            reference.line,
            f"no rule is named <{reference.name}>",
            _did_you_mean(grammar.rules, "Define or import it; the rules of this grammar are"),
        )
    return found.pop()


def _refuse_recursion(linked: Linked) -> None:
    """Allow right recursion (section on recursion); refuse a rule that begins with itself or encloses itself."""
    nullable = _nullable(linked)
    begins: dict[str, set[str]] = {key: set() for key in linked.rules}
    edges: dict[str, set[str]] = {key: set() for key in linked.rules}
    enclosed: list[tuple[str, str, int]] = []
    for key, rule in linked.rules.items():
        grammar = key.rpartition(".")[0]
        for reference, first, last in _positions(rule.expansion, linked, grammar, nullable):
            target = linked.target(grammar, reference.name)
            edges[key].add(target)
            if first:
                begins[key].add(target)
            if not last:
                enclosed.append((key, target, reference.line))
    try:
        graphlib.TopologicalSorter(begins).prepare()
    except graphlib.CycleError as error:
        cycle = list(reversed(error.args[1]))
        key = cycle[0]
        raise FileProblem(
            linked.path(key),
            linked.rules[key].line,
            "left recursion: " + " begins with ".join(f"<{name}>" for name in cycle[:6]),
            "Put the words that are spoken first before the rule's own name",
        ) from None
    try:
        graphlib.TopologicalSorter(edges).prepare()
    except graphlib.CycleError:
        reach: dict[str, set[str]] = {}
        for key, target, line in enclosed:
            if target not in reach:
                reach[target] = _reachable(edges, target)
            if key in reach[target]:
                raise FileProblem(
                    linked.path(key),
                    line,
                    f"<{linked.rules[key].name}> contains itself with something behind it",
                    "A rule may contain itself only at its very end (right recursion); use '*' or '+'",
                ) from None


def _reachable(edges: dict[str, set[str]], start: str) -> set[str]:
    seen, todo = {start}, [start]
    while todo:
        for target in edges[todo.pop()]:
            if target not in seen:
                seen.add(target)
                todo.append(target)
    return seen


def _nullable(linked: Linked) -> set[str]:
    """Rules that can match without a word, in one pass over the whole text.

    Each part waits for its own parts: a sequence for all of them, alternatives for one.
    """
    needs: list[int] = [1] * len(linked.rules)
    numbers = {key: number for number, key in enumerate(linked.rules)}
    users: dict[int, list[int]] = {}
    empty: list[int] = []

    def part(item: Expansion, grammar: str) -> int:
        if isinstance(item, Reference):
            return numbers[linked.target(grammar, item.name)]
        number = len(needs)
        needs.append(1)
        if isinstance(item, Null | Optional) or (isinstance(item, Repeat) and not item.at_least):
            empty.append(number)
        elif isinstance(item, Sequence | Alternatives):
            needs[number] = len(item.items) if isinstance(item, Sequence) else 1
            for one in item.items:
                users.setdefault(part(one, grammar), []).append(number)
        elif isinstance(item, Repeat | Tagged):
            users.setdefault(part(item.item, grammar), []).append(number)
        return number

    for key, rule in linked.rules.items():
        users.setdefault(part(rule.expansion, key.rpartition(".")[0]), []).append(numbers[key])
    found = set(empty)
    while empty:
        for user in users.get(empty.pop(), ()):
            needs[user] -= 1
            if needs[user] <= 0 and user not in found:
                found.add(user)
                empty.append(user)
    return {key for key, number in numbers.items() if number in found}


def _can_be_empty(item: Expansion, linked: Linked, grammar: str, nullable: set[str]) -> bool:
    if isinstance(item, Null | Optional):
        return True
    if isinstance(item, Token | Void):
        return False
    if isinstance(item, Reference):
        return linked.target(grammar, item.name) in nullable
    if isinstance(item, Sequence):
        return all(_can_be_empty(part, linked, grammar, nullable) for part in item.items)
    if isinstance(item, Alternatives):
        return any(_can_be_empty(part, linked, grammar, nullable) for part in item.items)
    return (isinstance(item, Repeat) and not item.at_least) or _can_be_empty(
        item.item, linked, grammar, nullable
    )


def _positions(
    item: Expansion,
    linked: Linked,
    grammar: str,
    nullable: set[str],
    *,
    first: bool = True,
    last: bool = True,
) -> Iterator[tuple[Reference, bool, bool]]:
    """Each reference, with whether it can come before any word and whether nothing can follow it."""
    if isinstance(item, Reference):
        yield item, first, last
    elif isinstance(item, Alternatives):
        for part in item.items:
            yield from _positions(part, linked, grammar, nullable, first=first, last=last)
    elif isinstance(item, Optional | Tagged):
        yield from _positions(item.item, linked, grammar, nullable, first=first, last=last)
    elif isinstance(item, Repeat):
        yield from _positions(item.item, linked, grammar, nullable, first=first, last=False)
    elif isinstance(item, Sequence):
        for index, part in enumerate(item.items):
            yield from _positions(
                part, linked, grammar, nullable, first=first, last=last and index == len(item.items) - 1
            )
            first = first and _can_be_empty(part, linked, grammar, nullable)


__all__ = [
    "Alternatives",
    "Expansion",
    "Grammar",
    "Import",
    "Linked",
    "Null",
    "Optional",
    "Reference",
    "Repeat",
    "Rule",
    "Sequence",
    "Tagged",
    "Token",
    "Void",
    "link",
    "parse",
    "references",
]
