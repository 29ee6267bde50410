"""What is reported as changed is what was changed: held against the files themselves, read by another parser.

The changes are deliberate mistakes of writers (`assistant.mistakes`), which know nothing of the comparison; what they
changed is told from the two YAML trees, key by key.
"""

from __future__ import annotations

import copy
from dataclasses import replace
from decimal import Decimal, InvalidOperation
from functools import cache
from typing import TYPE_CHECKING, Any

import pytest
import yaml
from hypothesis import assume, given, settings, strategies as st

from assistant import resources
from assistant.core.comparison.change import About, Alteration
from assistant.core.comparison.of_odds import odds_changes
from assistant.core.comparison.procedures import compare
from assistant.core.comparison.three_way import three_way
from assistant.core.library.library import Library
from assistant.core.library.procedure_file import parse_procedure
from assistant.core.library.terms_file import parse_cautions, parse_terms
from assistant.errors import FileProblem
from assistant.loading.folder import load_library
from assistant.mistakes import editing, making

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.mistakes.editing import Mistake, Tree

SHIPPED = resources.directory("procedures")
LIBRARY = load_library(SHIPPED)
SOURCES = editing.read(SHIPPED)
LEADS = ("next", "procedure", "verdict")

Keys = tuple[str, ...]


@cache
def every_mistake() -> dict[str, list[Mistake]]:
    return making.everything(SOURCES)


@st.composite
def mistakes(draw: st.DrawFn) -> Mistake:
    """One mistake; each kind is as likely as any other."""
    made = every_mistake()
    of_kind = made[draw(st.sampled_from(sorted(kind for kind, found in made.items() if found)))]
    return draw(st.sampled_from(of_kind))


def with_mistake(mistake: Mistake, tree: Tree | None = None) -> tuple[Tree, Library]:
    """The tree with a mistake in it, and the library with that procedure in the place of its original.

    A mistake that the loader refuses is of no use here.
    """
    changed = editing.apply(tree or SOURCES[mistake.procedure].tree, mistake)
    data = editing.written(changed).encode()
    path = f"{mistake.procedure}.yaml"
    try:
        parsed, _ = parse_procedure(data, path, LIBRARY.terms, LIBRARY.cautions)
    except FileProblem:
        assume(False)
    return changed, replace(LIBRARY, procedures={**LIBRARY.procedures, mistake.procedure: parsed})


def leaves(node: Any, above: Keys = ()) -> Iterator[tuple[Keys, Any]]:
    """Every key of a tree with its value; a list is one value, and where an answer leads has one key."""
    if not isinstance(node, dict) or set(node) == {"specification"}:
        yield above, plain(node)
        return
    for key, child in node.items():
        if key in LEADS and isinstance(child, str):
            yield (*above, "leads"), (key, child)
        else:
            yield from leaves(child, (*above, key))


def plain(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(value)
    if isinstance(value, dict):
        return str(value)
    try:
        return Decimal(value)
    except InvalidOperation:
        return " ".join(str(value).split())


def differing(before: Tree, after: Tree) -> dict[Keys, tuple[Any, Any]]:
    """Every key whose value differs, with both values; a limit between two bands is one, of the lower band."""
    one, other = dict(leaves(before)), dict(leaves(after))
    found = {
        keys: (one.get(keys), other.get(keys)) for keys in {*one, *other} if one.get(keys) != other.get(keys)
    }
    for keys, values in list(found.items()):
        if keys[-1] != "from":
            continue
        twins = [
            twin for twin in found if twin[-1] == "below" and twin[:-2] == keys[:-2] and found[twin] == values
        ]
        if twins:
            del found[keys]
    return found


def related(one: Keys, other: Keys) -> bool:
    """Whether one of two keys is, or is inside, the other."""
    return one[: len(other)] == other or other[: len(one)] == one


@settings(max_examples=150, deadline=None)
@given(mistakes())
def test_every_reported_change_was_made_and_every_one_made_is_reported(mistake: Mistake) -> None:
    """No change is invented and none is missed, whatever a writer does to a procedure."""
    tree, changed = with_mistake(mistake)
    made = differing(SOURCES[mistake.procedure].tree, tree)
    reported = compare(LIBRARY, changed)
    assert {one.file for one in reported} <= {f"{mistake.procedure}.yaml"}
    assert [] == [one for one in reported if not any(related(one.path, keys) for keys in made)]
    assert [] == [keys for keys in made if not any(related(one.path, keys) for one in reported)]


@settings(max_examples=60, deadline=None)
@given(mistakes())
def test_a_change_and_its_way_back_are_the_same_change(mistake: Mistake) -> None:
    """Comparing the other way round reports the same places, with before and after exchanged."""
    _, changed = with_mistake(mistake)
    there = {(one.file, one.path, one.before, one.after) for one in compare(LIBRARY, changed)}
    back = {(one.file, one.path, one.after, one.before) for one in compare(changed, LIBRARY)}
    assert there == back


@settings(max_examples=60, deadline=None)
@given(mistakes())
def test_a_limit_is_told_with_both_numbers(mistake: Mistake) -> None:
    """The sentence about a limit has the number that the file had and the one that it has."""
    tree, changed = with_mistake(mistake)
    made = differing(SOURCES[mistake.procedure].tree, tree)
    for one in compare(LIBRARY, changed):
        values = made.get(one.path)
        if one.about is not About.LIMIT or values is None or not isinstance(values[1], Decimal):
            continue
        if isinstance(values[0], Decimal):
            assert str(values[0]) in one.sentence
            assert str(values[1]) in one.sentence


@settings(max_examples=80, deadline=None)
@given(mistakes(), mistakes())
def test_a_conflict_is_what_both_changed(mine: Mistake, theirs: Mistake) -> None:
    """With a change by the shop and one by the program, the conflicts are the steps and verdicts that both changed."""
    my_tree, my_library = with_mistake(mine)
    their_tree, their_library = with_mistake(theirs)
    found = three_way(compare(LIBRARY, my_library), compare(LIBRARY, their_library))
    changed = [
        {
            (source.procedure, keys[:2], keys, values)
            for keys, values in differing(SOURCES[source.procedure].tree, tree).items()
        }
        for source, tree in ((mine, my_tree), (theirs, their_tree))
    ]
    places = [{(name, place) for name, place, _, _ in one - other} for one, other in (changed, changed[::-1])]
    expected = {(f"{name}.yaml", place) for name, place in places[0] & places[1]}
    assert expected == {(one.file, one.place) for one in found.conflicts}


@settings(max_examples=40, deadline=None)
@given(mistakes())
def test_who_made_the_same_change_is_in_no_conflict(mistake: Mistake) -> None:
    """A change that the shop made, and that came with the program as well, asks nobody to decide."""
    _, changed = with_mistake(mistake)
    made = compare(LIBRARY, changed)
    found = three_way(made, made)
    assert (made, (), (), ()) == (list(found.alike), found.yours, found.shipped, found.conflicts)


def test_a_removed_procedure_that_the_other_one_edited_is_a_conflict() -> None:
    """The shop edited a procedure that the program no longer has: nobody can take both."""
    mine = [Alteration("a.yaml", ("steps", "x", "good"), About.ANSWER, "s", "1", "2")]
    theirs = [Alteration("a.yaml", ("procedure",), About.PROCEDURE, "s", "A", "")]
    (conflict,) = three_way(mine, theirs).conflicts
    assert ("a.yaml", ("steps", "x"), tuple(theirs)) == (conflict.file, conflict.place, conflict.shipped)


def test_nothing_differs_from_itself() -> None:
    """What is shipped, loaded twice, has no change."""
    assert [] == compare(LIBRARY, load_library(SHIPPED))


def texts_of(tree: Tree) -> list[Keys]:
    """Keys of texts that may be any text."""
    free = ("spoken", "short", "seen", "plain", "part", "label", "full", "source")
    return sorted(keys for keys, _ in leaves(tree) if len(keys) == 3 and keys[-1] in free)


@pytest.mark.parametrize("name", ["terms.yaml", "cautions.yaml"])
@given(data=st.data())
@settings(max_examples=40, deadline=None)
def test_a_word_of_terms_and_cautions_is_reported_where_it_stands(name: str, data: st.DataObject) -> None:
    """A word that is changed in a term or a caution is the one change, with both texts."""
    tree = yaml.load((SHIPPED / name).read_bytes(), Loader=yaml.BaseLoader)  # noqa: S506  texts only
    whole = {"cautions": tree} if name == "cautions.yaml" else tree
    keys = data.draw(st.sampled_from(texts_of(whole)))
    changed = copy.deepcopy(whole)
    at = changed
    for key in keys[:-1]:
        at = at[key]
    before = " ".join(at[keys[-1]].split())
    at[keys[-1]] = f"{before} indeed"
    written = yaml.safe_dump(changed["cautions"] if name == "cautions.yaml" else changed).encode()
    if name == "cautions.yaml":
        library = replace(LIBRARY, cautions=parse_cautions(written, name, LIBRARY.terms.instruments))
    else:
        library = replace(LIBRARY, terms=parse_terms(written, name))
    (one,) = [one for one in compare(LIBRARY, library) if one.file == name]
    assert (keys, f"'{before}'" if before else "") == (one.path, one.before)
    assert one.after.strip("'") == f"{before} indeed".strip()


def test_one_number_of_the_odds_is_one_change() -> None:
    """The odds sum to 1 when they are loaded; the file's own number is told, and 4.0 is no other number than 4."""
    data = b"source: s\nprior:\n  a: 4\n  b: 2\n"
    (one,) = odds_changes(data, b"source: s\nprior:\n  a: 4.0\n  b: 3\n")
    assert (("prior", "b"), "2", "3") == (one.path, one.before, one.after)
    assert "was 2, now 3" in one.sentence


def test_answers_in_another_order_have_other_keys() -> None:
    """The digits of a pad follow the order of the answers, so the order is a change."""
    step = LIBRARY.step("feed-dead", "feed-key-on")
    turned = replace(step, answers=step.answers[::-1])
    procedure = LIBRARY.procedures["feed-dead"]
    other = replace(procedure, steps={**procedure.steps, step.name: turned})
    (one,) = compare(LIBRARY, replace(LIBRARY, procedures={**LIBRARY.procedures, "feed-dead": other}))
    assert "another order" in one.sentence
    assert "keys" in one.sentence
