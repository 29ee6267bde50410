"""The published JSON Schema of a procedure file, so that an editor completes and checks it while it is typed.

The schema is made from the same names as the loader uses; ``procedures/procedure.schema.json`` is its copy on
disk, written by ``bay-assistant lint --write-schema`` and compared by a test.
What a schema cannot say (bands without gaps, cautions that cover the hazards, answers that lead somewhere) is
left to the loader.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from assistant.core.library.procedure import Engine, FactKind

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.procedure import Caution, Terms

DIALECT = "https://json-schema.org/draft/2020-12/schema"


def procedure_schema(terms: Terms, cautions: dict[str, Caution]) -> dict[str, Any]:
    """The schema for one ``procedures/*.yaml`` file, JSON Schema draft 2020-12."""
    nodes = [place.name for place in terms.places.values() if place.kind == "node"]
    parts = [place.name for place in terms.places.values() if place.kind == "part"]
    items = [place.name for place in terms.places.values() if place.kind in ("item", "matter")]
    units = sorted({unit for tool in terms.instruments.values() for unit in tool.units})
    faults = _list(_enum(terms.faults))
    text = {"type": "string", "minLength": 1}
    asked = _list(_enum(terms.facts))
    numbers = _enum(fact.name for fact in terms.facts.values() if fact.kind is FactKind.NUMBER)
    specification = _map(
        {"specification": _enum(fact.name for fact in terms.facts.values() if fact.specification)},
        ["specification"],
    )
    limit = {"oneOf": [{"type": "number"}, specification]}
    leads = {
        "next": {**text, "description": "a step of this procedure"},
        "procedure": {**text, "description": "another procedure"},
        "verdict": {**text, "description": "a verdict of this procedure"},
    }
    one_lead = {"oneOf": [{"required": [key]} for key in leads]}
    answer = _map({**leads, "rules_out": faults}, []) | one_lead
    band = (
        _map(
            {
                **leads,
                "rules_out": faults,
                "from": {**limit, "description": "lowest value of the band, or the maker's specification"},
                "below": {**limit, "description": "first value above the band, or the maker's specification"},
                "source": {**text, "description": "where the limit comes from"},
                "seen": {**text, "description": "how the band is described in the write-up"},
            },
            ["source", "seen"],
        )
        | one_lead
    )
    reading = _map(
        {
            "unit": _enum(units),
            "plausible": {"type": "array", "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
            "subtract": {**numbers, "description": "a fact that is subtracted before judging"},
            "at_20_celsius": {**numbers, "description": "temperature of the copper; judged as at 20 degrees"},
            "bands": {"type": "object", "additionalProperties": band, "minProperties": 2},
            "unjudged": _map(leads, []) | one_lead,
        },
        ["unit", "plausible", "bands"],
    )
    measure = _map(
        {
            "with": _enum(terms.instruments),
            "clip": _enum(nodes),
            "probe": _enum([*nodes, *items]),
            "engine": _enum([state.value for state in Engine]),
            "unplugged": _list(_enum(parts)),
            "compared_with": _enum(nodes),
        },
        ["with", "probe", "engine"],
    )
    step = _map(
        {
            "measure": measure,
            "asks": {**asked, "description": "facts that are asked for before the cautions"},
            "cautions": _list(_enum(cautions)),
            "look_for": {**text, "description": "spoken when the person is not sure"},
            "good": {**text, "description": "the answer or band of a healthy system"},
            "if_skipped": _map(leads, []) | one_lead,
            "answers": {
                "type": "object",
                "propertyNames": _enum(terms.outcomes),
                "additionalProperties": answer,
                "minProperties": 2,
            },
            "reading": reading,
        },
        ["measure", "cautions"],
    ) | {"oneOf": [{"required": ["answers"]}, {"required": ["reading"]}]}
    verdict = _map(
        {
            "says": {**text, "description": "one or two short sentences, spoken"},
            "faults": faults,
            "part": {"type": "string", "description": 'the part that is condemned, or ""'},
            "repair": text,
            "verify": _list(text),
            "still_possible": text,
            "continue_with": {**text, "description": "another procedure"},
        },
        ["says", "faults", "part", "repair", "verify"],
    )
    top = _map(
        {
            "procedure": {**text, "description": "the file's name without .yaml"},
            "title": text,
            "circuit": {**text, "description": "'none' for a procedure about nothing electrical"},
            "presumes_no": {**faults, "description": "faults that are excluded before this procedure"},
            "about": text,
            "needs": _list(text),
            "asks": {**asked, "description": "facts that are asked for on entering"},
            "cautions": _list(_enum(cautions)),
            "start": {**text, "description": "the first step"},
            "steps": {"type": "object", "additionalProperties": step, "minProperties": 1},
            "verdicts": {"type": "object", "additionalProperties": verdict, "minProperties": 1},
        },
        ["procedure", "title", "circuit", "about", "needs", "start", "steps", "verdicts"],
    )
    return {"$schema": DIALECT, "title": "A procedure of bay-assistant", **top}


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
