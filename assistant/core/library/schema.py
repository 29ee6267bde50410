"""The published JSON Schema of a procedure file, so that an editor completes and checks it while it is typed.

The schema is made from the same names as the loader uses; ``procedures/procedure.schema.json`` is its copy on
disk, written by ``bay-assistant lint --write-schema`` and compared by a test.
The loader checks the rest, which a schema cannot say: bands without gaps, cautions that cover the hazards, answers
that lead somewhere.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.core.library.procedure import Engine
from assistant.core.library.repeat import DECIDING
from assistant.core.library.terms import FactKind

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.terms import Caution, Terms

DIALECT = "https://json-schema.org/draft/2020-12/schema"


TEXT = {"type": "string", "minLength": 1}
LEADS = {
    "next": {**TEXT, "description": "a step of this procedure"},
    "procedure": {**TEXT, "description": "another procedure"},
    "verdict": {**TEXT, "description": "a verdict of this procedure"},
}
ONE_LEAD = {"oneOf": [{"required": [key]} for key in LEADS]}


def procedure_schema(terms: Terms, cautions: dict[str, Caution]) -> dict[str, Any]:
    """The schema for one ``procedures/*.yaml`` file, JSON Schema draft 2020-12."""
    faults = _list(_enum(terms.faults))
    asked = _list(_enum(terms.facts))
    top = _map(
        {
            "procedure": {**TEXT, "description": "the file's name without .yaml"},
            "title": TEXT,
            "circuit": {**TEXT, "description": "'none' for a procedure about nothing electrical"},
            "presumes_no": {**faults, "description": "faults that are excluded before this procedure"},
            "about": TEXT,
            "needs": _list(TEXT),
            "asks": {**asked, "description": "facts that are asked for on entering"},
            "cautions": _list(_enum(cautions)),
            "start": {**TEXT, "description": "the first step"},
            "steps": {"type": "object", "additionalProperties": _step(terms, cautions), "minProperties": 1},
            "verdicts": {"type": "object", "additionalProperties": _verdict(terms), "minProperties": 1},
        },
        ["procedure", "title", "circuit", "about", "needs", "start", "steps"],
    )
    return {"$schema": DIALECT, "title": "A procedure of bay-assistant", **top}


def _step(terms: Terms, cautions: dict[str, Caution]) -> dict[str, Any]:
    asked = _list(_enum(terms.facts))
    known_after = {
        **TEXT,
        "description": "a procedure that has seen to it, so that the step is not asked after it",
    }
    answer = (
        _map({**LEADS, "rules_out": _list(_enum(terms.faults)), "known_after": known_after}, []) | ONE_LEAD
    )
    return _map(
        {
            "measure": _measure(terms),
            "asks": {**asked, "description": "facts that are asked for before the cautions"},
            "cautions": _list(_enum(cautions)),
            "look_for": {**TEXT, "description": "spoken when the person is not sure"},
            "good": {**TEXT, "description": "the answer or band of a healthy system"},
            "if_skipped": _map(LEADS, []) | ONE_LEAD,
            "answers": {
                "type": "object",
                "propertyNames": _enum(terms.outcomes),
                "additionalProperties": answer,
                "minProperties": 2,
            },
            "reading": _reading(terms),
            "repeat": {
                "enum": [DECIDING],
                "description": "asked as this earlier measurement of the session, if there is one",
            },
            "watch": {
                "type": "boolean",
                "description": 'the technician calls out each change until "that is all"',
            },
        },
        ["measure", "cautions"],
    ) | {"oneOf": [{"required": ["answers"]}, {"required": ["reading"]}]}


def _measure(terms: Terms) -> dict[str, Any]:
    nodes = terms.places_of("node")
    return _map(
        {
            "with": _enum(terms.instruments),
            "clip": _enum(nodes),
            "probe": _enum([*nodes, *terms.places_of("item", "matter")]),
            "engine": _enum([state.value for state in Engine]),
            "unplugged": _list(_enum(terms.places_of("part"))),
            "compared_with": _enum(nodes),
        },
        ["with", "probe", "engine"],
    )


def _reading(terms: Terms) -> dict[str, Any]:
    units = sorted({unit for tool in terms.instruments.values() for unit in tool.units})
    numbers = _enum(fact.name for fact in terms.facts.values() if fact.kind is FactKind.NUMBER)
    return _map(
        {
            "unit": _enum(units),
            "plausible": {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
            "subtract": {**numbers, "description": "a fact that is subtracted before judging"},
            "at_20_celsius": {**numbers, "description": "temperature of the copper; judged as at 20 degrees"},
            "bands": {"type": "object", "additionalProperties": _band(terms), "minProperties": 2},
            "unjudged": _map(LEADS, []) | ONE_LEAD,
        },
        ["unit", "plausible", "bands"],
    )


def _band(terms: Terms) -> dict[str, Any]:
    specified = _enum(fact.name for fact in terms.facts.values() if fact.specification)
    limit = {"oneOf": [{"type": "number"}, _map({"specification": specified}, ["specification"])]}
    band = _map(
        {
            **LEADS,
            "rules_out": _list(_enum(terms.faults)),
            "from": {**limit, "description": "lowest value of the band, or the maker's specification"},
            "below": {**limit, "description": "first value above the band, or the maker's specification"},
            "source": {**TEXT, "description": "where the limit comes from"},
            "seen": {**TEXT, "description": "how the band is described in the write-up"},
        },
        ["source", "seen"],
    )
    return band | ONE_LEAD


def _verdict(terms: Terms) -> dict[str, Any]:
    return _map(
        {
            "says": {**TEXT, "description": "one or two short sentences, spoken"},
            "faults": _list(_enum(terms.faults)),
            "part": {"type": "string", "description": 'the part that is condemned, or ""'},
            "repair": TEXT,
            "verify": _list(TEXT),
            "still_possible": TEXT,
            "continue_with": {**TEXT, "description": "another procedure"},
            "next_check": _map(
                {
                    "do": {**TEXT, "description": "the one safe check to do next, spoken"},
                    "value": {**TEXT, "description": "what is good, with its unit"},
                    "source": {**TEXT, "description": "where that value comes from"},
                    "come_back": {**TEXT, "description": "a procedure, or words that say where"},
                },
                ["do", "value", "source"],
            ),
        },
        ["says", "faults", "part", "repair", "verify"],
    )


def _enum(names: Iterable[str]) -> dict[str, Any]:
    return {"enum": list(names)}


def _list(items: dict[str, Any]) -> dict[str, Any]:
    return {"type": "array", "items": items, "uniqueItems": True}


def _map(properties: dict[str, Any], required: list[str]) -> dict[str, Any]:
    return {
        "type": "object",
        "properties": properties,
        "required": required,
        "additionalProperties": False,
    }
