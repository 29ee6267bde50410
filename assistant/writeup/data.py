"""The write-up as JSON, for another program; `schema` describes it, published as ``writeup.schema.json``.

It has the shape of `assistant.writeup.contents.Draft`: everything in the other forms, each statement with its
sources in the session folder.
"""

from __future__ import annotations

import dataclasses
import inspect
import json
import re
import types
import typing
from pathlib import Path
from typing import Any

from assistant.writeup.contents import Draft
from assistant.writeup.statement import printable

FORMAT = "bay-assistant write-up"
VERSION = 1
SCHEMA_FILE = Path(__file__).with_name("writeup.schema.json")

_PLAIN = {str: "string", int: "integer", bool: "boolean"}
_CHOICE = re.compile(r"^    (\w+): (.*(?:\n {8,}.*)*)", re.MULTILINE)


def to_json(draft: Draft) -> str:
    """The write-up as indented JSON, with its format's name and version first."""
    body = {"format": FORMAT, "version": VERSION, **_printable(dataclasses.asdict(draft))}
    return json.dumps(body, ensure_ascii=False, indent=1, allow_nan=False) + "\n"


def schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the output of `to_json`, derived from its classes."""
    needed: dict[str, dict[str, Any]] = {}
    whole = _object(Draft, needed)
    whole["properties"] = {
        "format": {"const": FORMAT, "description": "Name of this format."},
        "version": {"const": VERSION, "description": "Version of this format."},
        **whole["properties"],
    }
    whole["required"] = ["format", "version", *whole["required"]]
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": FORMAT,
        **whole,
        "$defs": dict(sorted(needed.items())),
    }


def schema_text() -> str:
    """The schema, as in `SCHEMA_FILE`."""
    return json.dumps(schema(), indent=1) + "\n"


def _printable(value: Any) -> Any:
    """The same data without characters that cannot be stored, such as an undecodable byte that was typed."""
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, dict):
        return {key: _printable(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_printable(item) for item in value]
    return value


def _object(kind: type, needed: dict[str, dict[str, Any]]) -> dict[str, Any]:
    about = inspect.getdoc(kind) or ""
    told = {
        name: " ".join(words.split())
        for part in reversed(kind.__mro__)
        for name, words in _CHOICE.findall(inspect.cleandoc(part.__doc__ or ""))
    }
    hints = typing.get_type_hints(kind)
    properties = {}
    for field in dataclasses.fields(kind):
        properties[field.name] = _type(hints[field.name], needed)
        if field.name in told:
            properties[field.name] = {"description": told[field.name], **properties[field.name]}
    return {
        "description": " ".join(about.partition("\n\n")[0].split()),
        "type": "object",
        "properties": properties,
        "required": list(properties),
        "additionalProperties": False,
    }


def _type(kind: Any, needed: dict[str, dict[str, Any]]) -> dict[str, Any]:
    if kind in _PLAIN:
        return {"type": _PLAIN[kind]}
    if typing.get_origin(kind) is tuple:
        return {"type": "array", "items": _type(typing.get_args(kind)[0], needed)}
    if isinstance(kind, types.GenericAlias) or not dataclasses.is_dataclass(kind):
        raise TypeError(f"{kind} has no JSON Schema here")
    name = typing.cast("type", kind).__name__
    if name not in needed:
        needed[name] = {}
        needed[name] = _object(typing.cast("type", kind), needed)
    return {"$ref": f"#/$defs/{name}"}
