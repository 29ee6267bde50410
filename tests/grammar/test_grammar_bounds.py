"""Grammars that would grow without bound are refused at once, with file, line and the limit."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.errors import FileProblem, UsageProblem
from assistant.grammar import jsgf
from assistant.grammar.automaton import MOST_SUBSETS, Automaton, Builder
from assistant.grammar.compiling import MOST_STATES, compile_rule
from assistant.grammar.counting import MOST_PHRASES, MOST_PIECES, SizeCounter
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.jsgf.parsing import DEEPEST, MOST_IMPORTS, MOST_RULES
from assistant.grammar.jsgf.symbols import MOST_SYMBOLS
from assistant.grammar.lexicon import MOST_PHONES, MOST_PRONUNCIATIONS, parse_lexicon
from assistant.grammar.network import MOST_READINGS
from assistant.grammar.phrases import phrases

HEAD = "#JSGF V1.0 UTF-8 en;\ngrammar g;\n"
FILE = Path("g.jsgf")


@pytest.fixture(autouse=True)
def _within_a_while() -> Iterator[None]:
    """Nothing here may wait for ever."""

    def late(_number: int, _frame: object) -> None:
        raise AssertionError("this did not end within 20 s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(20)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


def doubling(lines: int, last: str, between: str = " ") -> str:
    """Rules each of which uses the next one twice; its first rule, in line 3, is public."""
    rules = [f"<r{n}> = <r{n + 1}>{between}<r{n + 1}>;" for n in range(lines)]
    return HEAD + "public " + "\n".join([*rules, f"<r{lines}> = {last};"]) + "\n"


def refused(body: str) -> FileProblem:
    """Return the faults found in a grammar."""
    with pytest.raises(FileProblem) as caught:
        GrammarSet.from_files({FILE: body.encode()})
    return caught.value


def test_twelve_lines_that_double_are_counted_and_refused() -> None:
    """An exponential grammar is refused with file, line, the limit and how many phrases there would be."""
    problem = refused(doubling(11, "x | y"))
    assert str(problem).startswith("g.jsgf:3: ")
    assert f"more than {MOST_PHRASES} phrases" in str(problem)
    assert "Split the rule" in str(problem)


@pytest.mark.parametrize("last", ["x", "<NULL>", "<VOID>", "x {outcome=lit}"])
@pytest.mark.parametrize("lines", [20, 30, 45])
def test_doubling_without_a_choice_is_refused_as_well(lines: int, last: str) -> None:
    """One phrase of a million words, or of none, is refused by the words it writes out as."""
    assert f"more than {MOST_STATES} words" in str(refused(doubling(lines, last)))


def test_phrases_of_many_rules_are_counted_together() -> None:
    """Each rule may keep its own limit; all together have one, too."""
    choice = " ".join(["(a|b|c|d|e|f|g|h)"] * 4)
    rules = "".join(f"public <p{n}> = {choice} {{outcome=lit}};\n" for n in range(100))
    assert f"more than {MOST_PIECES} words" in str(refused(HEAD + rules))


def test_counting_is_exact() -> None:
    """The advance count equals what is written out: phrases, words and tags."""
    body = HEAD + (
        "public <a> = [<b>] (x | y z | <NULL>) <b> {outcome=lit};\n"
        '<b> = one | "two three" | four [five {place=feed}];\n'
    )
    linked = jsgf.link([jsgf.parse(body.encode(), FILE)])
    counter = SizeCounter(linked)
    counter.check_phrases("g.a")
    found = phrases(linked, "g.a")
    size = counter.size("g.a")
    assert size.phrases == len(found)
    assert size.pieces >= sum(len(phrase.words) + len(phrase.tags) for phrase in found)


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("(" * 100_000 + "x" + ")" * 100_000, str(MOST_SYMBOLS)),
        ("(" * 1000 + "x" + ")" * 1000, str(DEEPEST)),
        ("x " * 40_000, str(MOST_SYMBOLS)),
        ("/1e999/ x | /1/ y", "is not a weight"),
        ("/1" + "0" * 400 + "/ x | /1/ y", "is not a weight"),
        ("x" + " (<NULL> {number=1} | <NULL> {number=2})" * 40, str(MOST_READINGS)),
        ("x" + " (<NULL> {sign=A} | <NULL> {sign=B})" * 40, str(MOST_READINGS)),
    ],
    ids=["parentheses", "fewer parentheses", "words", "weight", "long weight", "numbers", "signs"],
)
def test_one_rule_beyond_a_limit(rule: str, said: str) -> None:
    """Depth, length, weights and tags without words each have a limit that the error names, with its line."""
    problem = refused(f"{HEAD}public <a> = {rule};")
    assert 3 == problem.line
    assert said in str(problem)


def test_many_rules_and_imports_have_limits() -> None:
    """So many rules or imports that looking through them would take minutes are refused."""
    rules = "".join(f"<r{n}>=x;\n" for n in range(MOST_RULES + 1))
    assert f"more than {MOST_RULES} rules" in str(refused(HEAD + rules))
    imports = "".join(f"import <g{n}.*>;\n" for n in range(MOST_IMPORTS + 1))
    assert f"more than {MOST_IMPORTS} imports" in str(refused(HEAD + imports + "public <a> = x;"))


def test_a_long_chain_of_empty_rules_is_looked_through_once() -> None:
    """One pass finds the rules that can be empty: two thousand rules in the worst order take less than a minute."""
    chain = "".join(f"<r{n}> = <r{n + 1}>;\n" for n in range(1990)) + "<r1990> = <NULL>;\n"
    wide = "public <z> = " + " | ".join(f"<r{n % 1990}> x" for n in range(6000)) + ";"
    assert "nested too deep" in str(refused(HEAD + chain + wide))


def test_readings_without_bound_are_no_number() -> None:
    """Words that can be read in a million ways are no number, found at once."""
    twice = " ".join(["(x {number=1} | x {number=2})"] * 40)
    grammars = GrammarSet.from_files({FILE: f"{HEAD}public <a> = {twice};".encode()})
    assert grammars.number is not None
    assert grammars.number.parse(["x"] * 40) is None


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("amps  AE M P S\nlamp  " + "L " * 61, 2, f"{MOST_PHONES} phones"),
        ("a" * 100_000 + "  AE", 1, "letters"),
        ("".join(f"x  {'M ' * count}\n" for count in range(1, 30)), 21, f"more than {MOST_PRONUNCIATIONS} pron"),
        ("x" * 50 + "  " + "Q" * 100_000, 1, "is not an ARPAbet phone"),
    ],
    ids=["phones", "letters", "pronunciations", "unknown phone"],
)  # fmt: skip
def test_lines_of_the_lexicon_have_limits(text: str, line: int, said: str) -> None:
    """A word has so many letters, phones and pronunciations at most; the error names line and limit, and is short."""
    with pytest.raises(FileProblem, match=said) as caught:
        parse_lexicon(text.encode(), "lexicon.txt")
    assert line == caught.value.line
    assert len(str(caught.value)) < 400


def test_an_acceptor_without_bound_is_an_error() -> None:
    """A choice in which every word fits everywhere has too many states for a graph; that is said, not tried."""
    body = f"{HEAD}public <a> = {' '.join(['[x | y]'] * 22)} x {' '.join(['(x | y)'] * 22)};"
    network = compile_rule(jsgf.link([jsgf.parse(body.encode(), FILE)]), "g.a")
    pieces = Builder()
    start, end = pieces.state(), pieces.state()
    pieces.network(network, start, end)
    with pytest.raises(UsageProblem, match=f"more than {MOST_SUBSETS} states"):
        Automaton.of(pieces, start, end)
