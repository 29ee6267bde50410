"""A second dialogue that goes on from where one is, so that somebody can look ahead without moving the first."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any

from assistant.core.dialogue.talk import Talk
from assistant.core.dialogue.trail import Trails
from assistant.core.reasoning.scales import Memo

_PARTS = ("now", "work", "said", "awaited", "cautions", "crank", "facts", "gear")
"""The parts of a session's memory, less the measurements."""


def forked(talk: Talk) -> Talk:
    """The same session as a value of its own: what is changed in one is not changed in the other.

    Library, knowledge and earlier computations are shared; they change no result.
    """
    twin = Talk(talk.library, talk.limits, _own(talk.past))
    twin.state = talk.state
    for name in _PARTS:
        setattr(twin, name, _own(getattr(talk, name)))
    return twin


def _own(value: Any) -> Any:
    """A copy of what can be changed in a value; what cannot be changed stays the same."""
    if isinstance(value, Trails):
        return value.copy()
    if isinstance(value, Memo):
        return value  # it only saves time
    if isinstance(value, list | set):
        return type(value)(_own(one) for one in value)
    if isinstance(value, dict):
        return {key: _own(one) for key, one in value.items()}
    if is_dataclass(value) and not isinstance(value, type) and not _frozen(value):
        return replace(value, **{item.name: _own(getattr(value, item.name)) for item in fields(value)})
    return value


def _frozen(value: Any) -> bool:
    """Whether a dataclass can have no other values in its fields."""
    return bool(type(value).__dataclass_params__.frozen)
