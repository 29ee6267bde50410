"""YAML text to a tree of plain maps, lists and texts."""

from __future__ import annotations

import pytest
from hypothesis import given, settings, strategies as st

from assistant.core.library import tree
from assistant.core.library.tree import DEEPEST, LARGEST_FILE, MapNode, TextNode, parse
from assistant.errors import FileProblem
from assistant.resources import directory


def test_values_stay_the_text_that_was_typed() -> None:
    """What YAML 1.1 reads as false, 750 or 12 stays the text "no", "12:30", "014"."""
    tree = parse(b"a: no\nb: 12:30\nc: 014\n", "x.yaml")
    assert [node.value for node in tree.items.values() if isinstance(node, TextNode)] == [
        "no",
        "12:30",
        "014",
    ]


def test_lines_are_kept_for_keys_and_values() -> None:
    """Every key and value knows its line, counted from 1."""
    tree = parse(b"# comment\na: 1\nb:\n  c: 2\n", "x.yaml")
    inner = tree.items["b"]
    assert isinstance(inner, MapNode)
    assert (tree.key_lines["a"], tree.key_lines["b"], inner.key_lines["c"]) == (2, 3, 4)


@pytest.mark.parametrize(
    ("text", "line", "words"),
    [
        (b"a: 1\na: 2\n", 2, "second time"),
        (b"a: &x 1\nb: *x\n", 1, "anchors"),
        (b"a: !!python/object:os.system 1\n", 1, "tag"),
        (b"a: [1, 2\n", 2, "not valid YAML"),
        (b"a: 1\n---\nb: 2\n", 2, "second document"),
        (b"- 1\n- 2\n", 0, "no map"),
        (b"", 0, "no map"),
        (b"a: \xff\n", 1, "UTF-8"),
        (b"a: 1\n\nb: \x07\n", 3, "forbids"),
        (b"? [a, b]\n: 1\n", 1, "name is expected"),
    ],
)
def test_each_trap_of_yaml_is_refused_at_its_line(text: bytes, line: int, words: str) -> None:
    """Duplicate keys, anchors, tags, broken or double documents are named with file and line."""
    with pytest.raises(FileProblem, match=words) as caught:
        parse(text, "x.yaml")
    assert line == caught.value.line
    assert str(caught.value).startswith("x.yaml")


def test_deep_nesting_is_refused_without_exhausting_the_stack() -> None:
    """A hundred thousand open brackets are a clear error, not a crash."""
    with pytest.raises(FileProblem, match=f"deeper than {DEEPEST}"):
        parse(b"a: " + b"[" * 100_000, "x.yaml")


def test_a_huge_file_is_refused_before_it_is_read() -> None:
    """Files over 1 MiB are refused with their size."""
    with pytest.raises(FileProblem, match="bytes"):
        parse(b"#" * (LARGEST_FILE + 1), "x.yaml")


@given(st.binary(max_size=300) | st.text(alphabet="ab:-[]{}\"'\n #&*!|>?0,", max_size=120).map(str.encode))
def test_any_bytes_give_a_tree_or_the_one_documented_error(data: bytes) -> None:
    """Accept, or raise FileProblem; never any other exception."""
    try:
        tree = parse(data, "x.yaml")
    except FileProblem:
        return
    assert isinstance(tree, MapNode)


def _read(data: bytes) -> MapNode | str:
    """What is made of these bytes: a tree, or the message."""
    try:
        return parse(data, "x.yaml")
    except FileProblem as problem:
        return str(problem)


def _by_both(data: bytes) -> tuple[MapNode | str, MapNode | str]:
    """What is made of these bytes with the quick parser and without it."""
    with pytest.MonkeyPatch.context() as patch:
        quick = _read(data)
        patch.setattr(tree, "_QUICK", None)
        return quick, _read(data)


_SIGNS = (
    ": ",
    " ",
    "- ",
    "#",
    "'",
    '"',
    "{",
    "}",
    "[",
    "]",
    ", ",
    "|",
    ">-",
    "?",
    "? ",
    "x?",
    "&a",
    "*a",
    "!t",
    "%",
)
_PIECES = st.sampled_from(
    [
        *_SIGNS,
        "\n",
        "\n  ",
        "a",
        "b: c",
        "key:",
        "---",
        "...",
        "\t",
        "\r",
        "\N{NEXT LINE}",
        "\\",
        "\ufeff",
        "~",
        "@",
    ]
)


@given(st.lists(_PIECES, max_size=14).map("".join))
@settings(max_examples=500)
def test_both_parsers_of_yaml_make_the_same_of_a_text(text: str) -> None:
    """The parser in C is there to save time: tree, lines and messages are those of the parser in Python."""
    one, other = _by_both(text.encode())
    assert one == other


@pytest.mark.parametrize(
    "text",
    [
        "a: [no?smell]",  # only the parser in C reads these
        "a: [b,\n  c? d,\n  e]",
        "a: |#x",
        "a:\tb",
        "? \n  ",  # both read this, and count its lines differently
    ],
)
def test_what_the_parsers_of_yaml_read_differently_is_read_as_ever(text: str) -> None:
    """Where the parser in C reads more, or counts lines otherwise, the parser in Python is asked."""
    one, other = _by_both(text.encode())
    assert one == other


def test_the_shipped_files_are_read_by_the_quick_parser(monkeypatch: pytest.MonkeyPatch) -> None:
    """All of them, and to the same tree: starting the program does not wait for the parser in Python."""
    if tree._QUICK is None:
        pytest.skip("this PyYAML was built without its parser in C")
    for path in directory("procedures").glob("*.yaml"):
        one, other = _by_both(path.read_bytes())
        assert one == other
        with monkeypatch.context() as patch:
            patch.setattr(tree.yaml, "SafeLoader", None)
            assert parse(path.read_bytes(), path) == one
