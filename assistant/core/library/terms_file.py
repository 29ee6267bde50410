"""``terms.yaml`` and ``cautions.yaml``: the names that procedures and grammars share, and the cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.context import range_of
from assistant.core.library.reader import Reader, known_of, mapping_of, member_of, number
from assistant.core.library.terms import (
    Called,
    Caution,
    FactKind,
    Fault,
    Hazard,
    Inquiry,
    Instrument,
    Outcome,
    Place,
    SignalWord,
    Terms,
)
from assistant.core.library.tree import parse
from assistant.core.library.vocabulary import FILAMENTS
from assistant.core.values.units import UNIT_WORDS
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from collections.abc import Iterable

FACT_UNITS = tuple(UNIT_WORDS)
"""Units that a number among the facts can be kept in."""

MOST_QUESTION_WORDS = 12
"""Most words of a spoken question, so that it can be kept in mind."""

PLACE_KEYS = ("kind", "spoken", "short", "at_plug", "at_coil", "logic", "end", "says", "plug_short")
INSTRUMENT_KEYS = (
    *("spoken", "short", "prepare", "clip", "probe", "watch", "outcomes", "units"),
    *("filament", "minutes", "prove"),
)
OUTCOME_KEYS = ("spoken", "seen", "told", "like")
CALLED_KEYS = ("name", "with", "between", "probe", "hook_up")
LONGEST_TEST = 1_000_000
"""Most minutes of a test, as in ``odds.yaml``."""
FACT_KEYS = (
    *("kind", "label", "question", "look_for", "longest", "unit", "plausible", "whole", "choices"),
    "specification",
)
_KEYS_OF_KIND = {
    FactKind.SPELLED: ("longest",),
    FactKind.VIN: (),
    FactKind.NUMBER: ("unit", "plausible", "whole", "specification"),
    FactKind.CHOICE: ("choices",),
}


def parse_terms(data: bytes, path: str) -> Terms:
    """Places, instruments, outcomes, faults and facts of ``terms.yaml``.

    Raises:
        FileProblem: It is wrong; the message starts with ``file:line:``.
    """
    top = Reader(parse(data, path), path, "the terms")
    top.only(("places", "instruments", "outcomes", "faults", "facts", "called"))
    outcomes = {name: _outcome(name, item) for name, item in top.named("outcomes", OUTCOME_KEYS)}
    places = {name: _place(name, item) for name, item in top.named("places", PLACE_KEYS)}
    instruments = {
        name: _instrument(name, item, outcomes, places)
        for name, item in top.named("instruments", INSTRUMENT_KEYS)
    }
    faults = {
        name: Fault(name, item.text("plain"), item.text("part"), item.text("customer", needed=False))
        for name, item in top.named("faults", ("plain", "part", "customer"))
    }
    facts = {}
    if "facts" in top.node.items:
        facts = {name: _fact(name, item) for name, item in top.named("facts", FACT_KEYS)}
    called = {}
    if "called" in top.node.items:
        called = {name: _called(item, instruments, places) for name, item in top.named("called", CALLED_KEYS)}
    return Terms(places, instruments, outcomes, faults, facts, called)


def _outcome(name: str, item: Reader) -> Outcome:
    return Outcome(
        name,
        item.text("spoken"),
        item.text("seen"),
        item.text("told", needed=False),
        item.text("like", needed=False),
    )


def _called(item: Reader, instruments: Iterable[str], places: Iterable[str]) -> Called:
    between = item.names("between", places, "place", needed=False)
    if len(between) not in (0, 2):
        raise FileProblem(
            item.path, item.line("between"), f"'between' of {item.what} needs the places of both leads"
        )
    probe = "probe" in item.node.items
    return Called(
        item.text("name"),
        item.names("with", instruments, "instrument"),
        between,
        known_of(item.get_text("probe"), places, item.path, "place") if probe else "",
        item.text("hook_up", needed=False),
    )


def _place(name: str, item: Reader) -> Place:
    return Place(
        name,
        item.text("spoken"),
        item.text("short"),
        item.one_of("kind", ("node", "part", "item", "matter")),
        item.text("at_plug", needed=False),
        item.text("at_coil", needed=False),
        item.flag("logic"),
        item.text("end", needed=False),
        item.text("says", needed=False),
        item.text("plug_short", needed=False),
    )


def _instrument(name: str, item: Reader, outcomes: Iterable[str], places: Iterable[str]) -> Instrument:
    shown = item.names("outcomes", outcomes, "outcome", needed=False)
    units = tuple(text.value for text in item.texts("units", needed=False))
    if bool(shown) == bool(units):
        raise FileProblem(
            item.path, item.node.line, f"instrument '{name}' needs either 'outcomes' or 'units'"
        )
    return Instrument(
        name,
        item.text("spoken"),
        item.text("clip"),
        item.text("probe"),
        item.text("watch"),
        shown,
        units,
        item.text("short"),
        item.text("prepare", needed=False),
        item.flag("filament") or name in FILAMENTS,
        _minutes(item),
        _prove(item, places),
    )


def _prove(item: Reader, places: Iterable[str]) -> dict[str, str]:
    """How the instrument is proved, for each place of its clip; empty if its entry does not say it."""
    if "prove" not in item.node.items:
        return {}
    node = item.mapping("prove")
    reader = Reader(node, item.path, f"'prove' of {item.what}")
    reader.only(tuple(places))
    return {place: reader.text(place) for place in node.items}


def _minutes(item: Reader) -> float:
    """Minutes of one test with an instrument; 0 if its entry does not say them."""
    if "minutes" not in item.node.items:
        return 0.0
    found = float(number(item.get_text("minutes"), item.path))
    if not 0 < found <= LONGEST_TEST:
        raise FileProblem(
            item.path,
            item.line("minutes"),
            f"{item.what} takes {found:g} minutes",
            f"A number above 0 is expected, at most {LONGEST_TEST}",
        )
    return found


def _fact(name: str, item: Reader) -> Inquiry:
    path = item.path
    kind = member_of(FactKind, item.get_text("kind"), path, "kind of fact")
    for key, line in item.node.key_lines.items():
        if key not in ("kind", "label", "question", "look_for", *_KEYS_OF_KIND[kind]):
            raise FileProblem(path, line, f"the fact '{name}' of the kind {kind} has no '{key}'", "Remove it")
    question = item.text("question")
    if len(question.split()) > MOST_QUESTION_WORDS:
        raise FileProblem(
            path,
            item.line("question"),
            f"the question for '{name}' has {len(question.split())} words",
            f"Say it in at most {MOST_QUESTION_WORDS}",
        )
    longest, unit, plausible = 0, "", None
    choices: dict[str, str] = {}
    if kind is FactKind.SPELLED:
        text = item.get_text("longest")
        longest = int(text.value) if text.value.isascii() and text.value.isdigit() else 0
        if not 1 <= longest <= 40:
            raise FileProblem(path, text.line, f"'longest' of '{name}' is '{text.value}'", "Write 1 to 40")
    elif kind is FactKind.NUMBER:
        unit = known_of(item.get_text("unit"), FACT_UNITS, path, "unit") if "unit" in item.node.items else ""
        plausible = range_of(item)
    elif kind is FactKind.CHOICE:
        node = item.mapping("choices")
        reader = Reader(node, path, f"'choices' of '{name}'")
        choices = {choice: reader.text(choice) for choice in node.items}
        if not 2 <= len(choices) <= 8:
            raise FileProblem(
                path,
                item.line("choices"),
                f"'{name}' has {len(choices)} choices",
                "Give two to eight, one for each digit",
            )
    return Inquiry(
        name,
        kind,
        item.text("label"),
        question,
        item.text("look_for", needed=False),
        longest,
        unit,
        plausible,
        whole=item.flag("whole"),
        choices=choices,
        specification=item.flag("specification"),
        line=item.node.line,
    )


HURTS_AT_ONCE = (Hazard.CRANKING, Hazard.SECONDARY_VOLTAGE, Hazard.SWITCHED_VOLTAGE)
"""Hazards whose caution has to be acknowledged before the step is released."""


def _check_caution(item: Reader, covers: Iterable[Hazard], *, acknowledge: bool) -> None:
    """A caution says something, and one for what hurts at once waits for the person.

    Otherwise a step could name a caution that covers its hazard, and nobody would be warned.
    """
    for key in ("full", "short"):
        if not any(sign.isalnum() for sign in item.text(key)):
            raise FileProblem(
                item.path,
                item.line(key),
                f"'{key}' of {item.what} has no words",
                "Say what can hurt, and how to stay clear of it",
            )
    grave = [hazard.value for hazard in covers if hazard in HURTS_AT_ONCE]
    if grave and not acknowledge:
        raise FileProblem(
            item.path,
            item.line("acknowledge"),
            f"{item.what} covers '{grave[0]}', and nobody has to acknowledge it",
            "Write 'acknowledge: true'",
        )


def parse_cautions(data: bytes, path: str, instruments: Iterable[str] = ()) -> dict[str, Caution]:
    """The cautions of ``cautions.yaml`` by name; `instruments` are the names that they may refer to.

    Raises:
        FileProblem: It is wrong; the message starts with ``file:line:``.
    """
    cautions = {}
    top = parse(data, path)
    keys = ("signal", "full", "short", "covers", "acknowledge", "source", "with")
    for name, node in top.items.items():
        item = Reader(mapping_of(node, path, f"caution '{name}'"), path, f"caution '{name}'")
        item.only(keys)
        covers = tuple(member_of(Hazard, text, path, "hazard") for text in item.texts("covers"))
        acknowledge = item.one_of("acknowledge", ("true", "false")) == "true"
        _check_caution(item, covers, acknowledge=acknowledge)
        cautions[name] = Caution(
            name,
            member_of(SignalWord, item.get_text("signal"), path, "signal word"),
            item.text("full"),
            item.text("short"),
            covers,
            acknowledge,
            item.text("source"),
            item.names("with", instruments, "instrument", needed=False),
        )
    return cautions
