"""People's orders: their grammar, their slots, and the files that name them."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from assistant import resources
from assistant.core.values.result import Result
from assistant.errors import FileProblem, UsageProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing_bench.orders import HELD, meaning, order_grammar, read_labels, read_orders
from assistant.hearing_bench.pocketsphinx import jsgf_of

LEXICON = GrammarSet.load(resources.directory("grammars")).lexicon
LABELS = {
    "a.flac": {"coffeeDrink": "coffee", "size": "medium", "milkAmount": "milk"},
    "b.flac": {"coffeeDrink": "iced coffee", "roast": "medium roast", "sugarAmount": "a lot of sugar"},
    "c.flac": {"coffeeDrink": "coffee", "numberOfShots": "double shot", "milkAmount": "soy milk"},
}


@pytest.mark.parametrize(
    ("words", "slots"),
    [
        ("coffee", {"coffeeDrink": "coffee"}),
        ("can i get a medium coffee", {"coffeeDrink": "coffee", "size": "medium"}),
        ("medium roast medium coffee", {"coffeeDrink": "coffee", "roast": "medium roast", "size": "medium"}),
        (
            "double shot medium medium roast iced coffee with a lot of sugar and soy milk",
            {
                "coffeeDrink": "iced coffee",
                "numberOfShots": "double shot",
                "size": "medium",
                "roast": "medium roast",
                "sugarAmount": "a lot of sugar",
                "milkAmount": "soy milk",
            },
        ),
        (
            "coffee milk a lot of sugar",
            {"coffeeDrink": "coffee", "milkAmount": "milk", "sugarAmount": "a lot of sugar"},
        ),
        ("medium", None),
        ("coffee medium", None),
        ("coffee with", None),
        ("coffee milk soy milk", None),
        ("i want want coffee", None),
    ],
)
def test_an_order_is_its_slots_in_any_order(words: str, slots: dict[str, str] | None) -> None:
    """Size, roast and shots stand before the drink in any order, milk and sugar behind it; nothing else is an order."""
    grammar = order_grammar(LABELS, LEXICON, Path("labels.json"))
    assert grammar.parse(words) == (meaning(slots) if slots else None)


def test_the_meaning_does_not_depend_on_the_order_of_the_slots() -> None:
    """Two ways to say the same are the same; another value is not."""
    one = {"size": "medium", "coffeeDrink": "coffee"}
    assert meaning(one) == meaning(dict(reversed(one.items())))
    assert meaning(one) != meaning(one | {"size": "small"})
    assert meaning({"coffeeDrink": "coffee"}) == Result(outcome="coffeeDrink: coffee")


def test_the_other_recogniser_gets_the_same_grammar() -> None:
    """PocketSphinx hears with the JSGF that the automaton was made from."""
    grammar = order_grammar(LABELS, LEXICON, Path("labels.json"))
    assert "public <order>" in jsgf_of(grammar)
    words = set(re.findall("[a-z']+", jsgf_of(grammar)))
    assert set(grammar.words()) <= words


def test_orders_without_a_drink_are_refused() -> None:
    """The drink is the one slot that every order has."""
    with pytest.raises(FileProblem, match="coffeeDrink"):
        order_grammar({"a.flac": {"size": "small"}}, LEXICON, Path("labels.json"))


def folder(path: Path) -> Path:
    (path / "labels.json").write_text(json.dumps(LABELS), encoding="utf-8")
    for name in LABELS:
        (path / name).touch()
    return path


def test_a_part_names_files_speaker_by_speaker(tmp_path: Path) -> None:
    """Each list of names is one speaker; a name without a recording is refused."""
    part = tmp_path / "part.json"
    part.write_text('[["a.flac", "b.flac"], ["c.flac"]]', encoding="utf-8")
    found = read_orders(folder(tmp_path), part)
    assert [(one.file.name, one.speaker) for one in found] == [("a.flac", 0), ("b.flac", 0), ("c.flac", 1)]
    assert found[1].slots == LABELS["b.flac"]
    part.write_text('[["d.flac"]]', encoding="utf-8")
    with pytest.raises(UsageProblem, match=r"d\.flac, named in"):
        read_orders(tmp_path, part)


@pytest.mark.parametrize("text", ["", "3", "[1]", "[[1", '{"a": 1'])
def test_a_part_of_another_form_is_refused(tmp_path: Path, text: str) -> None:
    """Any text gives the orders or a sentence."""
    part = tmp_path / "part.json"
    part.write_text(text, encoding="utf-8")
    with pytest.raises(UsageProblem):
        read_orders(folder(tmp_path), part)


@pytest.mark.parametrize("text", ["", "[]", '{"a.flac": 3}', "{"])
def test_labels_of_another_form_are_refused(tmp_path: Path, text: str) -> None:
    """Any text gives the slots or a sentence."""
    (tmp_path / "labels.json").write_text(text, encoding="utf-8")
    with pytest.raises(UsageProblem, match="slots of orders"):
        read_labels(tmp_path)


def test_the_held_part_names_each_recording_once() -> None:
    """A recording that counted twice would count as two, or as two speakers."""
    groups = json.loads((resources.directory("audio_fixtures") / HELD).read_text(encoding="utf-8"))
    names = [name for group in groups for name in group]
    assert len(names) == len(set(names)) == 155
    assert all(groups)
