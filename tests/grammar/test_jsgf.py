"""The JSGF parser, against the specification's own examples and against arbitrary bytes.

The examples are those of the JSpeech Grammar Format, W3C Note of 5 June 2000 (www.w3.org/TR/jsgf); each test
names the section by its heading.
They are written from memory of the Note, except the politeness and command grammars, which also stand in
public documentation of other JSGF tools.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import pytest
from hypothesis import example, given, settings, strategies as st

from assistant.errors import FileProblem
from assistant.grammar import jsgf
from assistant.grammar.compiling import compile_rule
from assistant.grammar.network import Network

FILE = Path("example.jsgf")


def read(body: str, name: str = "example") -> jsgf.Grammar:
    """A grammar with this body."""
    return jsgf.parse(f"#JSGF V1.0 UTF-8 en;\ngrammar {name};\n{body}".encode(), Path(f"{name}.jsgf"))


def network(body: str, rule: str) -> Network:
    """The network of a rule of a grammar with this body."""
    return compile_rule(jsgf.link([read(body)]), f"example.{rule}")


def says(body: str, rule: str, words: str) -> bool:
    """Whether a rule accepts these words."""
    return network(body, rule).accepts(words.split())


def problem(data: bytes | str) -> FileProblem:
    """Return the faults found in this file, or in this body."""
    with pytest.raises(FileProblem) as caught:
        jsgf.link([read(data) if isinstance(data, str) else jsgf.parse(data, FILE)])
    return caught.value


# --- the specification's examples ---


@pytest.mark.parametrize(
    ("header", "encoding", "locale"),
    [
        ("#JSGF V1.0;", "UTF-8", ""),
        ("#JSGF V1.0 ISO8859-5;", "ISO8859-5", ""),
        ("#JSGF V1.0 JIS ja;", "JIS", "ja"),
    ],
)
def test_header_examples(header: str, encoding: str, locale: str) -> None:
    """Self-Identifying Header: the three forms of the header give encoding and locale."""
    grammar = jsgf.parse(f"{header}\ngrammar a;\npublic <b> = c;".encode(), FILE)
    assert (encoding, locale) == (grammar.encoding, grammar.locale)


def test_header_encoding_is_used() -> None:
    """Self-Identifying Header: the text behind the header is read in the encoding that it names."""
    data = "#JSGF V1.0 ISO8859-5 ru;\ngrammar a;\npublic <b> = свет;".encode("iso8859-5")
    assert jsgf.Token("свет", 3) == jsgf.parse(data, FILE).rules["b"].expansion


def test_grammar_and_import_names() -> None:
    """Grammar Name, Import: package names with dots; one rule or all public rules of a grammar."""
    grammar = jsgf.parse(
        b"#JSGF V1.0;\ngrammar com.sun.speech.apps.numbers;\n"
        b"import <com.sun.speech.app.index.1stTo31st>;\nimport <com.sun.speech.app.numbers.*>;\n<x> = y;",
        FILE,
    )
    assert grammar.name == "com.sun.speech.apps.numbers"
    assert grammar.imports == (
        jsgf.Import("com.sun.speech.app.index", "1stTo31st", 3),
        jsgf.Import("com.sun.speech.app.numbers", None, 4),
    )


@pytest.mark.parametrize("name", ["hello", "Zürich", "user_test", "$100", "1+2=3", "a-b", "9:30", "@#%!^&~"])
def test_rule_names(name: str) -> None:
    """Rulenames: letters and digits of any script and the listed punctuation make a name."""
    assert name in read(f"public <{name}> = word;").rules


def test_sequences() -> None:
    """Sequences: words and rules one after the other are said in that order."""
    body = "<where> = I live in Boston;\n<statement> = this <object> is <OK>;\n<object> = pen; <OK> = fine;"
    assert says(body, "where", "I live in Boston")
    assert not says(body, "where", "I live Boston in")
    assert says(body, "statement", "this pen is fine")


def test_alternatives_and_precedence() -> None:
    """Alternatives, Precedence: a sequence binds closer than '|'."""
    body = "<country> = South Africa | New Zealand | Papua New Guinea;"
    assert says(body, "country", "New Zealand")
    assert not says(body, "country", "South Africa New Zealand")
    assert not says(body, "country", "South Zealand")


def test_weights() -> None:
    """Weights: each alternative may be given a likelihood, also inside a group."""
    grammar = read(
        "<size> = /10/ small | /2/ medium | /1/ large;\n<c> = /0.5/ red | /0.1/ navy blue | /3.1E-2f/ <size>;"
    )
    sizes, colours = grammar.rules["size"].expansion, grammar.rules["c"].expansion
    assert isinstance(sizes, jsgf.Alternatives)
    assert isinstance(colours, jsgf.Alternatives)
    assert sizes.weights == (10.0, 2.0, 1.0)
    assert colours.weights == (0.5, 0.1, 0.031)
    assert says("<a> = please (/20/save files |/1/delete all files);", "a", "please save files")


def test_grouping() -> None:
    """Parentheses: group alternatives inside a sequence."""
    body = "<action> = please (open | close | delete);\n<command> = (open | close) (windows | doors);"
    assert says(body, "action", "please close")
    assert [says(body, "command", f"{a} {b}") for a in ("open", "close") for b in ("windows", "doors")] == [
        True
    ] * 4
    assert not says(body, "command", "open close")


def test_optional() -> None:
    """Optional Grouping: what stands in square brackets may be left out."""
    body = "<polite> = please | kindly | oh mighty computer;\npublic <command> = [ <polite> ] don't crash;"
    assert says(body, "command", "oh mighty computer don't crash")
    assert says(body, "command", "don't crash")
    assert not says(body, "command", "please kindly don't crash")


def test_kleene_star() -> None:
    """Kleene Star: nothing, once or often; applies to the nearest expansion only."""
    body = "<c> = <polite>* don't crash;\n<polite> = please | kindly;\n<s> = sing New York *;\n<t> = sing (New York) *;"
    assert [says(body, "c", "please " * times + "don't crash") for times in range(4)] == [True] * 4
    assert [says(body, "s", "sing New" + " York" * times) for times in range(3)] == [True] * 3
    assert [says(body, "t", "sing" + " New York" * times) for times in range(3)] == [True] * 3
    assert not says(body, "t", "sing New")


def test_plus() -> None:
    """Plus Operator: once or often."""
    body = "<c> = <polite>+ don't crash;\n<polite> = please | kindly;"
    assert [says(body, "c", "kindly " * times + "don't crash") for times in range(4)] == [
        False,
        True,
        True,
        True,
    ]


def test_tags() -> None:
    """Tags: belong to the expansion just before them; several may follow each other."""
    body = (
        "<action> = open {OPEN} | close {CLOSE} | move {MOVE};\n"
        "<country> = Australia {Oz} | (United States) {USA} | America {USA} | (U S of A) {USA};\n"
        "<many> = open {x} {y} {z};"
    )
    assert network(body, "action").tags(["close"]) == {("CLOSE",)}
    assert network(body, "country").tags(["U", "S", "of", "A"]) == {("USA",)}
    assert set(*network(body, "many").tags(["open"])) == {"x", "y", "z"}


def test_tag_escapes() -> None:
    r"""Tags: a backslash lets ``}`` and a backslash stand in a tag, which may run over several lines."""
    assert network("<a> = b { x\\}y\\\\z };", "a").tags(["b"]) == {("x}y\\z",)}
    grammar = read("<a> = b {one\ntwo};\n<c> = d;")
    assert grammar.rules["c"].line == 5


def test_quoted_tokens() -> None:
    """Tokens: quotes take spaces and symbols into a token, with a backslash before an inner quote."""
    grammar = read('<a> = "New York" | "\\"" | "a;b";')
    assert isinstance(grammar.rules["a"].expansion, jsgf.Alternatives)
    texts = [item.text for item in grammar.rules["a"].expansion.items if isinstance(item, jsgf.Token)]
    assert texts == ["New York", '"', "a;b"]


def test_comments() -> None:
    """Comments: of both kinds, anywhere between symbols."""
    assert says("// x; <y> = z\n/** @example a */ <a> /* = ; */ = b // c;\n d;", "a", "b d")


def test_right_recursion() -> None:
    """Recursion: right recursion, also nested over two rules, repeats."""
    body = "<command> = <action> | (<action> and <command>);\n<action> = stop | start | pause;"
    assert says(body, "command", "stop and start and pause")
    assert not says(body, "command", "stop and")
    nested = "<X> = something | <Y>;\n<Y> = another thing <X>;"
    assert says(nested, "X", "another thing another thing something")


def test_left_recursion_is_refused() -> None:
    """Recursion: a rule that begins with itself is not legal, also by way of something that may be silent."""
    found = problem("<command> = <action> | (<command> and <action>);\n<action> = stop;")
    assert (found.line, found.problem[:14]) == (3, "left recursion")
    assert "left recursion" in problem("<a> = [please] <a>;").problem
    assert "left recursion" in problem("<a> = <b> x;\n<b> = <n> <a>;\n<n> = <NULL>;").problem


def test_embedded_recursion_is_refused() -> None:
    """Recursion: a rule with itself in its middle, or repeated, cannot be a finite network."""
    assert "contains itself" in problem("<a> = x <a> y;").problem
    assert "contains itself" in problem("<a> = x | x (y <a>)*;").problem


def test_null_and_void() -> None:
    """Use of <VOID> and <NULL>: NULL is said by silence, VOID by nothing at all."""
    assert says("<a> = x (<NULL> | y);", "a", "x")
    assert not says("<a> = x <VOID> | y;", "a", "x")
    assert says("<a> = x <VOID> | y;", "a", "y")
    assert "JSGF itself" in problem("<NULL> = x;").problem


POLITENESS = b"""#JSGF V1.0 ISO8859-1 en;

grammar com.acme.politeness;

// Body
public <startPolite> = (please | kindly | could you | oh mighty computer) *;
public <endPolite> = [ please | thanks | thank you ];
"""
COMMANDS = b"""#JSGF V1.0 ISO8859-1 en;

grammar com.acme.commands;
import <com.acme.politeness.startPolite>;
import <com.acme.politeness.endPolite>;

/**
 * Basic command.
 * @example please move the window
 * @example open a file
 */
public <basicCmd> = <startPolite> <command> <endPolite>;

<command> = <action> <object>;
<action> = /10/ open |/2/ close |/1/ delete |/1/ move;
<object> = [the | a] (window | file | menu);
"""


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("open a file", True),
        ("please move the window", True),
        ("oh mighty computer please open the menu thanks", True),
        ("move a menu thank you please", False),
        ("please window", False),
    ],
)
def test_simple_command_and_control(words: str, said: bool) -> None:
    """Simple Command and Control: the example of two grammars, one of which imports the other."""
    linked = jsgf.link([jsgf.parse(COMMANDS, FILE), jsgf.parse(POLITENESS, FILE)])
    assert said == compile_rule(linked, "com.acme.commands.basicCmd").accepts(words.split())


def test_resolving_names() -> None:
    """Resolving Rulenames: a local rule goes before an imported one; qualified names reach the other."""
    other = read("public <city> = Rome;\n<hidden> = x;", "com.acme.cities")
    local = read(
        "import <com.acme.cities.*>;\n<city> = Paris;\n<a> = <city> | <cities.city> | <com.acme.cities.city>;"
    )
    linked = jsgf.link([local, other])
    assert linked.target("example", "city") == "example.city"
    assert linked.target("example", "cities.city") == "com.acme.cities.city"
    assert linked.target("example", "com.acme.cities.city") == "com.acme.cities.city"


def test_ambiguous_and_hidden_names() -> None:
    """Resolving Rulenames: a name that could be two rules, or a rule that is not public, is an error."""
    one, two = read("public <x> = a;\n<hidden> = b;", "one"), read("public <x> = a;", "two")
    user = "import <one.*>;\nimport <two.*>;\n<a> = <x>;"
    with pytest.raises(FileProblem, match=r"could be <one\.x> or <two\.x>"):
        jsgf.link([one, two, read(user)])
    with pytest.raises(FileProblem, match="not public"):
        jsgf.link([one, read("import <one.hidden>;\n<a> = b;")])
    with pytest.raises(FileProblem, match="not public"):
        jsgf.link([one, read("<a> = <one.hidden>;")])


# --- errors ---


@pytest.mark.parametrize(
    ("body", "line", "says_what"),
    [
        ("<a> = b", 3, "found the end of the file"),
        ("<a> = b\n<c> = d;", 4, "a second '='"),
        ("<a> = ;", 3, "where words should be"),
        ("<a> = b | | c;", 3, "where words should be"),
        ("<a> = (b | c;", 3, "the '(' is not closed"),
        ("<a> = b);", 3, "found )"),
        ("<a> = b]", 3, "found ]"),
        ("<a> = /x/ b;", 3, "not a weight"),
        ("<a> = /1/ b | c;", 3, "1 of 2 alternatives"),
        ("<a> = /0/ b | /0/ c;", 3, "zero"),
        ("<a> = /1e999/ b;", 3, "not a weight"),
        ("<a> = b /2/ c;", 3, "stands behind words"),
        ("<a> = * b;", 3, "nothing before it"),
        ("<a> = b**;", 3, "follows another operator"),
        ("<a> = {t} b;", 3, "nothing before it"),
        ("<a> = b {t;\n", 3, "the tag that begins here has no end"),
        ("\n<a> = /* b;", 4, "the comment that begins here has no end"),
        ('<a> = "b;', 3, "the quoted token that begins here has no end"),
        ("<a = b;", 3, "the rule name that begins here has no end"),
        ("<a b> = c;", 3, "not a name for a rule"),
        ("<a> b;", 3, "found b after <a>"),
        ("a = b;", 3, "where a rule should begin"),
        ("<a> = b;\n<a> = c;", 4, "defined again"),
        ("<a> = b;\nimport <x.y>;", 4, "where a rule should begin"),
        ("import x;", 3, "after 'import'"),
        ("import <x>;", 3, "does not name a rule of another grammar"),
        ("import <x.y>;", 3, "there is no grammar 'x'"),
        ("<a> =\n<b>;", 4, "no rule is named <b>"),
        ("<a> = b\x00c;", 3, "cannot be spoken"),
        ("<a> = " + "(" * 60 + "b" + ")" * 60 + ";", 3, "brackets stand inside each other"),
        ("<a> = b" + " {t}" * 60 + ";", 3, "tags follow each other"),
    ],
)
def test_errors_name_line_and_remedy(body: str, line: int, says_what: str) -> None:
    """A mistake in a grammar is reported at its line, with what is wrong and what would be right."""
    found = problem(body)
    assert says_what in found.problem
    assert line == found.line
    assert found.remedy
    assert str(found).startswith(f"example.jsgf:{line}: ")


@pytest.mark.parametrize(
    ("data", "line", "says_what"),
    [
        (b"", 1, "does not begin with a JSGF header"),
        (b"grammar a;", 1, "does not begin with a JSGF header"),
        (b"#JSGF V2.0;\ngrammar a;", 1, "does not begin with a JSGF header"),
        (b"#JSGF V1.0 rot13;\ngrammar a;", 1, "encoding 'rot13'"),
        (b"#JSGF V1.0;\ngrammar a;\n<b> = \xff;", 3, "the text is not UTF-8"),
        (b"#JSGF V1.0;\n<b> = c;", 2, "the grammar's name is missing"),
        (b"#JSGF V1.0;\ngrammar 7up;", 2, "not a name for a grammar"),
        (b"#JSGF V1.0;\n\ngrammar a\n<b> = c;", 3, "should end the grammar's name"),
        (b"#JSGF V1.0;" + b" " * (1 << 20), 0, "bytes"),
    ],
)
def test_broken_files(data: bytes, line: int, says_what: str) -> None:
    """A file that is no JSGF grammar is refused at its line."""
    found = problem(data)
    assert says_what in found.problem
    assert line == found.line


def test_long_chains_are_refused_not_crashed() -> None:
    """A thousand rules inside each other are a documented error, not an exhausted stack."""
    chain = "".join(f"<r{n}> = a <r{n + 1}>;" for n in range(1000)) + "<r1000> = b;"
    with pytest.raises(FileProblem, match="nested too deep"):
        network(chain, "r0")


def test_two_grammars_of_one_name() -> None:
    """Two files with one grammar name are refused."""
    with pytest.raises(FileProblem, match="is also in"):
        jsgf.link([read("<a> = b;"), read("<c> = d;")])


PIECES = st.sampled_from(
    [
        *(
            "<a>",
            "<b>",
            "<NULL>",
            "<VOID>",
            "<",
            ">",
            "=",
            ";",
            "|",
            "*",
            "+",
            "(",
            ")",
            "[",
            "]",
            "{t}",
            "{",
            "}",
        ),
        *(
            '"x y"',
            '"',
            "\\",
            "/1/",
            "/",
            "//",
            "/*",
            "*/",
            "\n",
            "public",
            "import",
            "<x.*>",
            "<x.a>",
            "word",
            "é",
        ),
        *("grammar", "x", "<a> = ", "; <b> = ", "\x00", "\ud7ff"),
    ]
)


@settings(max_examples=300)
@given(
    st.one_of(
        st.binary(max_size=200),
        st.lists(PIECES, max_size=30).map(lambda p: ("#JSGF V1.0;grammar x; " + " ".join(p)).encode()),
        st.lists(PIECES, max_size=30).map(
            lambda p: ("#JSGF V1.0;grammar x;public <a> = " + "".join(p)).encode()
        ),
    )
)
@example(b"#JSGF V1.0 JIS;\x1b$B\x1b")
@example(b"\xef\xbb\xbf#JSGF V1.0;grammar x;<a>=b;")
def test_any_bytes_give_a_tree_or_a_file_problem(data: bytes) -> None:
    """Any bytes are a grammar whose rules can be made into networks, or a FileProblem; never another error."""
    try:
        linked = jsgf.link([jsgf.parse(data, FILE)])
        for rule in linked.rules:
            compile_rule(linked, rule)
    except FileProblem as found:
        assert str(found).startswith("example.jsgf")
    else:
        assert len(linked.grammars) == 1


# --- outside check ---

WORDS = st.lists(st.sampled_from(["please", "kindly", "stop", "and", "start", "x", "y"]), max_size=6)
BODIES = [
    "public <top> = <action> | (<action> and <top>);\n<action> = stop | start;",
    "public <top> = [please] (stop | start)* x;",
    "public <top> = (please | kindly)+ stop [and start];",
    "public <top> = x (<NULL> | y) (stop y)*;",
]


@settings(max_examples=60)
@given(st.integers(0, len(BODIES) - 1), WORDS)
def test_same_language_as_pocketsphinx(body: int, words: list[str]) -> None:
    """Outside check: PocketSphinx's own JSGF compiler (BSD) accepts the same words; skipped where it is absent.

    Not compared: <VOID>, which makes PocketSphinx refuse the whole rule, also where another way remains.
    """
    pocketsphinx = pytest.importorskip("pocketsphinx")
    text = f"#JSGF V1.0;\ngrammar example;\n{BODIES[body]}\n"
    with tempfile.NamedTemporaryFile("w", suffix=".gram") as file:
        file.write(text)
        file.flush()
        other = pocketsphinx.FsgModel.jsgf_read_file(file.name, pocketsphinx.LogMath(1.0001), 1.0)
    assert other.accept(" ".join(words)) == network(BODIES[body], "top").accepts(words)
