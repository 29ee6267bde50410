"""JSON back to the frozen dataclasses that it was made from, checked part by part.

The types of the parts are looked up once for each class, not for each value: a session has a million parts.
"""

from __future__ import annotations

import dataclasses
import enum
import types
import typing
from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Any

Decode = Callable[[Any], Any]


@dataclasses.dataclass(frozen=True)
class _Form:
    """The parts of one class's JSON, and how each is decoded."""

    cls: type[Any]
    names: frozenset[str]
    needed: frozenset[str]
    parts: Mapping[str, Decode]


class Decoder:
    """Decodes values of these classes; each is an object with its class's name as ``type``.

    Args:
        classes: The classes by name.
    """

    def __init__(self, classes: Mapping[str, type[Any]]) -> None:
        self._forms = {name: self._form(cls) for name, cls in classes.items()}

    def __call__(self, data: Any) -> Any:
        """The value of this JSON.

        Raises:
            ValueError: It is not of the form that the classes give.
        """
        kind = data.get("type") if isinstance(data, dict) else None
        form = self._forms.get(kind) if isinstance(kind, str) else None
        if form is None:
            raise ValueError(f"not an event or action: {str(data)[:80]}")
        parts = form.parts
        try:
            given = {name: parts[name](part) for name, part in data.items() if name != "type"}
        except KeyError as error:  # only a part that the class does not have
            raise self._other_parts(form, data) from error
        except (TypeError, ArithmeticError) as error:
            if not form.needed <= (data.keys() - {"type"}) <= form.names:
                raise self._other_parts(form, data) from error
            raise ValueError(f"{kind}: {error}") from error
        if not form.needed <= given.keys():
            raise self._other_parts(form, data)
        return form.cls(**given)

    def _other_parts(self, form: _Form, data: dict[str, Any]) -> ValueError:
        given = sorted(name for name in data if name != "type")
        return ValueError(f"{form.cls.__name__} has the parts {given}, expected {sorted(form.names)}")

    def _form(self, cls: type[Any]) -> _Form:
        fields = dataclasses.fields(cls)
        hints = typing.get_type_hints(cls)
        return _Form(
            cls,
            frozenset(field.name for field in fields),
            frozenset(
                field.name
                for field in fields
                if field.default is dataclasses.MISSING and field.default_factory is dataclasses.MISSING
            ),
            {field.name: self._decode(hints[field.name]) for field in fields},
        )

    def _decode(self, hint: Any) -> Decode:
        """The function that decodes a part with this annotation."""
        origin = typing.get_origin(hint)
        if origin in (types.UnionType, typing.Union):
            (arm,) = [arm for arm in typing.get_args(hint) if arm is not type(None)] or [Any]
            return _or_none(self._decode(arm))
        if origin is tuple:
            inner = typing.get_args(hint)
            if len(inner) == 2 and inner[1] is Ellipsis:
                return _row(self._decode(inner[0]))
            return _fixed([self._decode(arm) for arm in inner])
        if isinstance(hint, type):
            if dataclasses.is_dataclass(hint):
                return self._nested(hint)
            if issubclass(hint, enum.Enum):
                return _member(hint)
            if issubclass(hint, Decimal):
                return _decimal
            return _plain(hint)
        return lambda data: data

    def _nested(self, hint: type[Any]) -> Decode:
        def decode(data: Any) -> Any:
            value = self(data)
            if not isinstance(value, hint):
                raise TypeError(f"expected {hint.__name__}, found {type(value).__name__}")
            return value

        return decode


def _or_none(decode: Decode) -> Decode:
    return lambda data: None if data is None else decode(data)


def _row(decode: Decode) -> Decode:
    def row(data: Any) -> tuple[Any, ...]:
        if not isinstance(data, list):
            raise TypeError(f"expected a list, found {data!r}")
        return tuple([decode(item) for item in data])

    return row


def _fixed(arms: list[Decode]) -> Decode:
    def row(data: Any) -> tuple[Any, ...]:
        if not isinstance(data, list):
            raise TypeError(f"expected a list, found {data!r}")
        if len(data) != len(arms):
            raise ValueError(f"expected {len(arms)} items, found {len(data)}")
        return tuple([decode(item) for decode, item in zip(arms, data, strict=True)])

    return row


def _member(hint: type[enum.Enum]) -> Decode:
    members: dict[Any, enum.Enum] = {member.value: member for member in hint}

    def member(data: Any) -> enum.Enum:
        return members[data] if isinstance(data, str) and data in members else hint(data)

    return member


def _decimal(data: Any) -> Decimal:
    if not isinstance(data, str):
        raise TypeError(f"expected a number as text, found {data!r}")
    return Decimal(data)


def _plain(hint: type[Any]) -> Decode:
    def plain(data: Any) -> Any:
        if type(data) is hint:
            return data
        if hint is float and isinstance(data, int) and not isinstance(data, bool):
            return float(data)
        if hint is float and data in ("inf", "-inf", "nan"):
            return float(data)
        if not isinstance(data, hint) or (hint in (int, float) and isinstance(data, bool)):
            raise TypeError(f"expected {hint.__name__}, found {data!r}")
        return data

    return plain


def remembering(decode: Decode, key: Callable[[Any], bytes], most: int) -> Decode:
    """The same, but equal data give the very same value again: a session says and shows the same many times.

    Args:
        decode: Gives values that never change.
        key: Bytes that are the same only for data that are the same.
        most: Number of values that are kept; then all are forgotten.
    """
    known: dict[bytes, Any] = {}

    def decoded(data: Any) -> Any:
        name = key(data)
        if name in known:
            return known[name]
        if len(known) >= most:
            known.clear()
        value = known[name] = decode(data)
        return value

    return decoded
