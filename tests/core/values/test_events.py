"""Events, actions and entries as JSON: nothing is lost on the way to the record and back."""

from __future__ import annotations

import dataclasses
import enum
import json
import types
import typing
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given, settings, strategies as st

from assistant.core.values import board, entries, events, perceived, result, witness
from assistant.core.values.codec import from_json, to_json
from assistant.core.values.entries import Entry
from assistant.core.values.events import Action, Event
from assistant.core.values.result import Control, Result


def concrete(base: type[Any]) -> list[type[Any]]:
    """Every class below a base, found by reflection, so that none goes untested."""
    return [found for child in base.__subclasses__() for found in (child, *concrete(child))]


ALL = [
    *concrete(Event),
    *concrete(Action),
    *concrete(Entry),
    events.Clip,
    witness.Figure,
    board.Board,
    Result,
    result.GrammarRequest,
]

NUMBERS = st.decimals(allow_nan=False, allow_infinity=False)


def results() -> st.SearchStrategy[Result]:
    """A result holds exactly one of three things, which its class checks."""
    places = st.none() | st.text()
    return st.one_of(
        st.builds(Result, outcome=st.text(), place=places),
        st.builds(Result, value=NUMBERS, unit=st.none() | st.text(), place=places),
        st.builds(Result, control=st.sampled_from(Control), place=places),
    )


def values(hint: Any) -> st.SearchStrategy[Any]:
    """Values of an annotated type."""
    origin, arms = typing.get_origin(hint), typing.get_args(hint)
    if origin in (types.UnionType, typing.Union):
        return st.one_of(*(st.none() if arm is type(None) else values(arm) for arm in arms))
    if origin is tuple:
        if arms[-1] is Ellipsis:
            return st.lists(values(arms[0]), max_size=3).map(tuple)
        return st.tuples(*map(values, arms))
    if hint is Result:
        return results()
    if hint is Entry:
        return st.sampled_from(concrete(Entry)).flatmap(instances)
    if dataclasses.is_dataclass(hint):
        return instances(typing.cast("type[Any]", hint))
    if issubclass(hint, enum.Enum):
        return st.sampled_from(hint)
    simple: dict[type, st.SearchStrategy[Any]] = {
        str: st.text(),
        bool: st.booleans(),
        int: st.integers(),
        float: st.floats(allow_nan=False),
        Decimal: NUMBERS,
    }
    return simple[hint]


def instances(cls: type[Any]) -> st.SearchStrategy[Any]:
    """Instances of a dataclass with any parts."""
    if cls is Result:
        return results()
    hints = typing.get_type_hints(cls)
    return st.builds(cls, **{part.name: values(hints[part.name]) for part in dataclasses.fields(cls)})


def test_reflection_finds_every_kind() -> None:
    """The search for classes is not empty and reaches each module."""
    names = {cls.__name__ for cls in ALL}
    assert {"Heard", "KeyPressed", "Say", "Show", "ResultTaken", "Remark"} <= names
    modules = {cls.__module__ for cls in ALL}
    assert {events.__name__, entries.__name__, perceived.__name__} <= modules


@pytest.mark.parametrize("cls", ALL, ids=lambda cls: cls.__name__)
@given(data=st.data())
@settings(max_examples=25)
def test_every_kind_survives_json(cls: type[Any], data: st.DataObject) -> None:
    """Every event of every class reads back as it was written, through strict JSON text."""
    value = data.draw(instances(cls))
    text = json.dumps(to_json(value), allow_nan=False)
    assert value == from_json(json.loads(text))


def test_digits_of_a_reading_are_kept() -> None:
    """12.40 stays 12.40: a trailing zero says how well it was read."""
    again = from_json(json.loads(json.dumps(to_json(Result(value=Decimal("12.40"))))))
    assert str(again.value) == "12.40"


def json_values() -> st.SearchStrategy[Any]:
    """Any JSON, with the names of our types strewn in."""
    names = st.sampled_from([cls.__name__ for cls in ALL] + ["type", "at", "words", "entry", "result"])
    leaves = st.none() | st.booleans() | st.integers() | st.floats() | st.text() | names
    return st.recursive(
        leaves,
        lambda inner: st.lists(inner, max_size=4) | st.dictionaries(names | st.text(), inner, max_size=6),
        max_leaves=12,
    )


@given(json_values())
def test_other_json_raises_only_the_documented_error(data: Any) -> None:
    """Reading any JSON gives a value of ours or ValueError, and nothing else."""
    try:
        value = from_json(data)
    except ValueError:
        return
    assert type(value) in ALL


@given(st.sampled_from(ALL).flatmap(instances), st.data())
def test_a_part_of_another_type_is_refused(value: Any, data: st.DataObject) -> None:
    """A part that is replaced by other JSON gives an equal-typed value or ValueError, never a wrong type."""
    body = to_json(value)
    name = data.draw(st.sampled_from(sorted(body)))
    body[name] = data.draw(json_values())
    try:
        again = from_json(body)
    except ValueError:
        return
    assert type(value) is type(again)
    assert repr(again) == repr(from_json(to_json(again)))


@pytest.mark.parametrize(
    "data",
    [
        {"type": "Note", "entry": {"type": "Clip", "file": "a", "sha256": "b", "duration_s": 1}},
        {"type": []},
        {"type": "Result", "outcome": None, "value": 12.4, "unit": "V", "control": None, "place": None},
        {"type": "NoInput"},
        {"type": "NoInput", "at": 1.0, "extra": 2},
        {"type": "NoInput", "at": True},
        {"type": "Entry"},
    ],
)
def test_near_misses_are_refused(data: Any) -> None:
    """A clip in place of an entry, a binary number in place of exact digits, a missing or strange part."""
    with pytest.raises(ValueError, match=r"not an event or action|expected|missing|argument"):
        from_json(data)


def test_a_sound_never_begins_before_the_session() -> None:
    """What was heard is dated back by the detector's delay, never below zero and never after the event."""
    begins = perceived.CrankSound.BEGINS
    assert 7.5 == perceived.StarterHeard(8.0, begins, 0.5, 0.9).happened
    assert 0.0 == perceived.StarterHeard(0.2, begins, 0.5, 0.9).happened
    assert 8.0 == perceived.StarterHeard(8.0, begins, -3.0, 0.9).happened


def test_a_part_with_a_default_may_be_missing() -> None:
    """A session that was recorded before there was this part still loads; a needed part is still needed."""
    began = to_json(events.Began(1.0, "coil-control"))
    del began["facts"]
    assert events.Began(1.0, "coil-control") == from_json(began)
    del began["procedure"]
    with pytest.raises(ValueError, match="has the parts"):
        from_json(began)
