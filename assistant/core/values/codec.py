"""Events, actions and entries as JSON and back: the form that they have in a session's log.

The log has the class names as ``type``, so renaming one of these classes makes old sessions unreadable.
"""

from __future__ import annotations

import dataclasses
import enum
import math
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from assistant.core.values.board import Board
from assistant.core.values.decoding import Decoder
from assistant.core.values.entries import Entry
from assistant.core.values.events import Action, Clip, Event, ToldToday, TypedFact
from assistant.core.values.perceived import MeterTold, Perceived, StarterHeard
from assistant.core.values.result import GrammarRequest, Result
from assistant.core.values.witness import Figure

if TYPE_CHECKING:
    from collections.abc import Iterator

_PARTS = (Clip, Figure, ToldToday, TypedFact, Board, Result, GrammarRequest)
"""Parts of events, actions and entries that are objects of their own."""

PERCEPTIONS = (StarterHeard, Perceived, MeterTold)
"""Events of what was perceived; they are in a module of their own."""


def _kinds(base: type[Any]) -> Iterator[type[Any]]:
    for kind in base.__subclasses__():
        yield kind
        yield from _kinds(kind)


_CLASSES = {cls.__name__: cls for cls in (*_kinds(Event), *_kinds(Action), *_kinds(Entry), *_PARTS)}

_DECODE = Decoder(_CLASSES)


def to_json(value: Any) -> Any:
    """Turn an event, an action or a part of one into what `json.dumps` takes.

    Dataclasses become objects with a ``type``; decimals become strings so that no digit is lost.
    So do infinite levels (the noise of a muted microphone), for which JSON has no number.
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        body = {f.name: to_json(getattr(value, f.name)) for f in dataclasses.fields(value)}
        return {"type": type(value).__name__, **body}
    if isinstance(value, enum.Enum):
        return value.value
    if isinstance(value, Decimal) or (isinstance(value, float) and not math.isfinite(value)):
        return str(value)
    if isinstance(value, tuple | list):
        return [to_json(item) for item in value]
    return value


def from_json(data: Any) -> Any:
    """The value that `to_json` was given.

    A part that has a default may be missing: a session that was recorded before there was this part still loads.

    Raises:
        ValueError: The data is not of the form that `to_json` writes.
    """
    return _DECODE(data)
