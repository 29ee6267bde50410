"""YAML text to a tree of plain maps, lists and texts."""

from __future__ import annotations

import pytest
from hypothesis import given, strategies as st

from assistant.core.library.tree import DEEPEST, LARGEST_FILE, Mapping, Text, parse
from assistant.errors import FileProblem


def test_values_stay_the_text_that_was_typed() -> None:
    """What YAML 1.1 reads as false, 750 or 12 stays the text "no", "12:30", "014"."""
    tree = parse(b"a: no\nb: 12:30\nc: 014\n", "x.yaml")
    assert [node.value for node in tree.items.values() if isinstance(node, Text)] == ["no", "12:30", "014"]


def test_lines_are_kept_for_keys_and_values() -> None:
    """Every key and value knows its line, counted from 1."""
    tree = parse(b"# comment\na: 1\nb:\n  c: 2\n", "x.yaml")
    inner = tree.items["b"]
    assert isinstance(inner, Mapping)
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
    assert isinstance(tree, Mapping)
