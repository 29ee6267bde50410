"""YAML files to `Library`: every mistake is reported with file, line, and what would be right.

The folder holds ``terms.yaml``, ``cautions.yaml``, ``odds.yaml`` (read by ``core/odds.py``), one file for each
procedure, and perhaps ``likelihoods.json``, which a session weighs its results with.
Nothing is loaded by halves: the first mistake raises a `FileProblem`.
A step that cranks, or touches what can hurt, is refused unless one of its cautions covers that hazard.
"""

from __future__ import annotations

import difflib
import itertools
from dataclasses import replace
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, TypeVar

from assistant import files
from assistant.core.library.procedure import (
    FILAMENTS,
    LOGIC_IN,
    OVER_RANGE,
    SENSES,
    UNJUDGED,
    Answer,
    Band,
    Caution,
    Engine,
    FactKind,
    Fault,
    Hazard,
    Inquiry,
    Instrument,
    Leads,
    Library,
    Limit,
    Measurement,
    Outcome,
    Place,
    Procedure,
    Reading,
    SignalWord,
    Specified,
    Step,
    Target,
    Terms,
    Verdict,
)
from assistant.core.library.tree import Mapping, Node, Sequence, Text, parse, type_names
from assistant.core.words import wording
from assistant.errors import FileProblem, UsageProblem

if TYPE_CHECKING:
    from collections.abc import Iterable
    from enum import StrEnum
    from pathlib import Path

    from assistant.core.reasoning.evidence import Knowledge

TERMS_FILE = "terms.yaml"
CAUTIONS_FILE = "cautions.yaml"
ODDS_FILE = "odds.yaml"
FINDINGS_FILE = "findings.json"
LIKELIHOODS_FILE = "likelihoods.json"

COMPARISONS = ("same", "sharper")
"""Outcomes of a comparison of two places; elsewhere nobody says them."""

FACT_UNITS = tuple(wording.UNIT_WORDS)
"""Units that a number among the facts can be kept in."""

MOST_QUESTION_WORDS = 12
"""A spoken question is short enough to hold in the head."""

LARGEST_NUMBER = 10**9
"""Largest number in a file of procedures, far above any that is measured."""

MOST_DECIMALS = 9
"""Most decimals of a number there."""

_SHOWN = 60
"""Signs of a wrong value that an error repeats."""

STEP_KEYS = ("measure", "asks", "cautions", "look_for", "good", "if_skipped", "answers", "reading")
MEASURE_KEYS = ("with", "clip", "probe", "engine", "unplugged", "compared_with")
TARGET_KEYS = tuple(leads.value.replace("step", "next") for leads in Leads)
ANSWER_KEYS = (*TARGET_KEYS, "rules_out")
READING_KEYS = ("unit", "plausible", "subtract", "at_20_celsius", "bands", "unjudged")
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
BAND_KEYS = (*ANSWER_KEYS, "from", "below", "source", "seen")
VERDICT_KEYS = ("says", "faults", "part", "repair", "verify", "still_possible", "continue_with")
PROCEDURE_KEYS = (
    "procedure",
    "title",
    "circuit",
    "presumes_no",
    "about",
    "needs",
    "asks",
    "cautions",
    "start",
    "steps",
    "verdicts",
)

_Name = TypeVar("_Name", bound="StrEnum")


def load_library(directory: Path, *, weighing: bool = True) -> Library:
    """Read terms, cautions and all procedures of a folder.

    Args:
        directory: The folder.
        weighing: Read also what results are weighed with, likelihoods and odds, where the folder has them.

    Raises:
        UsageProblem: The folder, or its terms or cautions, cannot be read.
        FileProblem: A file is wrong; the message starts with ``file:line:``.
    """
    terms = load_terms(_read(directory / TERMS_FILE), directory / TERMS_FILE)
    cautions = load_cautions(_read(directory / CAUTIONS_FILE), directory / CAUTIONS_FILE)
    library = Library(terms, cautions)
    lines: dict[str, dict[str, int]] = {}
    for path in sorted(directory.glob("*.yaml")):
        if path.name in (TERMS_FILE, CAUTIONS_FILE, ODDS_FILE):
            continue
        procedure, where = load_procedure(_read(path), path, terms, cautions)
        if procedure.name in library.procedures:
            other = library.procedures[procedure.name].file
            raise FileProblem(
                path, 1, f"procedure '{procedure.name}' is also in {other}", "Give it another name"
            )
        library.procedures[procedure.name] = procedure
        lines[procedure.name] = where
    for name, procedure in library.procedures.items():
        _check_hand_overs(procedure, library, lines[name])
    return replace(library, knowledge=_knowledge(directory, terms)) if weighing else library


def _knowledge(directory: Path, terms: Terms) -> Knowledge | None:
    """Likelihoods and odds of a folder; None where one of them is missing, as in sessions recorded before."""
    table, odds = directory / LIKELIHOODS_FILE, directory / ODDS_FILE
    if not (table.is_file() and odds.is_file()):
        return None
    from assistant.core.reasoning.evidence import Knowledge, parse_table  # noqa: PLC0415
    from assistant.core.reasoning.odds import parse_findings, parse_odds  # noqa: PLC0415  they read with this module's `Reader`

    version, circuits = parse_table(_read(table, files.TABLE), table)
    weights = parse_odds(_read(odds), odds, terms)
    findings = directory / FINDINGS_FILE
    if findings.is_file():
        weights = replace(weights, findings=parse_findings(_read(findings), findings, terms))
    return Knowledge(version, circuits, weights)


def _read(path: Path, most: int = files.SETTINGS) -> bytes:
    try:
        return files.read_bytes(path, most)
    except OSError as error:
        raise UsageProblem(
            f"The procedures need the file {path}, but it cannot be read ({error.strerror})."
        ) from error


# --- terms and cautions ---------------------------------------------------------------------------


def load_terms(data: bytes, path: Path) -> Terms:
    """Places, instruments, outcomes, faults and facts of ``terms.yaml``."""
    top = Reader(parse(data, path), path, "the terms")
    top.only(("places", "instruments", "outcomes", "faults", "facts"))
    outcomes = {
        name: Outcome(name, item.text("spoken"), item.text("seen"), item.text("told", needed=False))
        for name, item in top.named("outcomes", ("spoken", "seen", "told"))
    }
    places = {
        name: Place(
            name,
            item.text("spoken"),
            item.text("short"),
            item.one_of("kind", ("node", "part", "item", "matter")),
            item.text("at_plug", needed=False),
            item.text("at_coil", needed=False),
            item.flag("logic"),
        )
        for name, item in top.named("places", ("kind", "spoken", "short", "at_plug", "at_coil", "logic"))
    }
    instruments = {}
    keys = ("spoken", "short", "prepare", "clip", "probe", "watch", "outcomes", "units")
    for name, item in top.named("instruments", keys):
        shown = item.names("outcomes", outcomes, "outcome", needed=False)
        units = tuple(text.value for text in item.texts("units", needed=False))
        if bool(shown) == bool(units):
            raise FileProblem(path, item.node.line, f"instrument '{name}' needs either 'outcomes' or 'units'")
        instruments[name] = Instrument(
            name,
            item.text("spoken"),
            item.text("clip"),
            item.text("probe"),
            item.text("watch"),
            shown,
            units,
            item.text("short"),
            item.text("prepare", needed=False),
        )
    faults = {
        name: Fault(name, item.text("plain"), item.text("part"), item.text("customer", needed=False))
        for name, item in top.named("faults", ("plain", "part", "customer"))
    }
    facts = (
        {name: _fact(name, item) for name, item in top.named("facts", FACT_KEYS)}
        if "facts" in top.node.items
        else {}
    )
    return Terms(places, instruments, outcomes, faults, facts)


def _fact(name: str, item: Reader) -> Inquiry:
    path = item.path
    kind = _member(FactKind, item.get_text("kind"), path, "kind of fact")
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
        unit = _known(item.get_text("unit"), FACT_UNITS, path, "unit") if "unit" in item.node.items else ""
        plausible = _plausible(item)
    elif kind is FactKind.CHOICE:
        node = item.mapping("choices")
        reader = Reader(node, path, f"'choices' of '{name}'")
        choices = {choice: reader.text(choice) for choice in node.items}
        if not 2 <= len(choices) <= 8:
            raise FileProblem(
                path,
                item.line("choices"),
                f"'{name}' has {len(choices)} choices",
                "Two to eight have a digit",
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


def _plausible(item: Reader) -> tuple[Decimal, Decimal]:
    limits = item.texts("plausible")
    if len(limits) != 2:
        raise FileProblem(
            item.path, item.line("plausible"), "'plausible' needs two numbers", "Write it as [0, 18]"
        )
    low, high = (number(limit, item.path) for limit in limits)
    if low >= high:
        raise FileProblem(
            item.path,
            item.line("plausible"),
            f"the plausible range {low} to {high} is empty",
            "Lower number first",
        )
    return low, high


def load_cautions(data: bytes, path: Path) -> dict[str, Caution]:
    """The cautions of ``cautions.yaml`` by name."""
    cautions = {}
    top = parse(data, path)
    keys = ("signal", "full", "short", "covers", "acknowledge", "source")
    for name, node in top.items.items():
        item = Reader(_mapping(node, path, f"caution '{name}'"), path, f"caution '{name}'")
        item.only(keys)
        covers = tuple(_member(Hazard, text, path, "hazard") for text in item.texts("covers"))
        cautions[name] = Caution(
            name,
            _member(SignalWord, item.get_text("signal"), path, "signal word"),
            item.text("full"),
            item.text("short"),
            covers,
            item.one_of("acknowledge", ("true", "false")) == "true",
            item.text("source"),
        )
    return cautions


# --- procedures -----------------------------------------------------------------------------------


def load_procedure(
    data: bytes, path: Path, terms: Terms, cautions: dict[str, Caution]
) -> tuple[Procedure, dict[str, int]]:
    """One procedure, and the line of each answer that hands over to another procedure (by that name)."""
    top = Reader(parse(data, path), path, "the procedure")
    top.only(PROCEDURE_KEYS)
    name = top.text("procedure")
    if name != path.stem:
        raise FileProblem(
            path,
            top.line("procedure"),
            f"the procedure is called '{name}', its file '{path.name}'",
            f"Call the file '{name}.yaml' or the procedure '{path.stem}'",
        )
    step_nodes = _mapping(top.get("steps"), path, "'steps'")
    verdict_nodes = _mapping(top.get("verdicts"), path, "'verdicts'")
    hand_overs: dict[str, int] = {}
    circuit = top.text("circuit")
    context = _Context(
        path, terms, cautions, tuple(step_nodes.items), tuple(verdict_nodes.items), hand_overs, circuit
    )
    steps = {
        step: _step(step, _mapping(node, path, f"step '{step}'"), context)
        for step, node in step_nodes.items.items()
    }
    verdicts = {
        verdict: _verdict(verdict, _mapping(node, path, f"verdict '{verdict}'"), context)
        for verdict, node in verdict_nodes.items.items()
    }
    start = _known(top.get_text("start"), context.steps, path, "step")
    procedure = Procedure(
        name=name,
        title=top.text("title"),
        circuit=circuit,
        about=top.text("about"),
        needs=tuple(text.value for text in top.texts("needs")),
        cautions=top.names("cautions", cautions, "caution", needed=False),
        start=start,
        steps=steps,
        verdicts=verdicts,
        file=str(path),
        presumes_no=top.names("presumes_no", terms.faults, "fault", needed=False),
        asks=top.names("asks", terms.facts, "fact", needed=False),
    )
    _check_asked(procedure, step_nodes, path)
    _check_reachable(procedure, step_nodes, verdict_nodes, path)
    return procedure, hand_overs


class _Context:
    """What the parts of one procedure may refer to."""

    def __init__(
        self,
        path: Path,
        terms: Terms,
        cautions: dict[str, Caution],
        steps: tuple[str, ...],
        verdicts: tuple[str, ...],
        hand_overs: dict[str, int],
        circuit: str,
    ) -> None:
        self.path = path
        self.terms = terms
        self.cautions = cautions
        self.steps = steps
        self.verdicts = verdicts
        self.hand_overs = hand_overs
        self.circuit = circuit


def _step(name: str, node: Mapping, context: _Context) -> Step:
    path = context.path
    item = Reader(node, path, f"step '{name}'")
    item.only(STEP_KEYS)
    measure_node = _mapping(item.get("measure"), path, f"'measure' of step '{name}'")
    measure = _measure(name, measure_node, context)
    cautions = item.names("cautions", context.cautions, "caution")
    covered = {hazard for caution in cautions for hazard in context.cautions[caution].covers}
    for hazard in measure.hazards():
        if hazard not in covered:
            fitting = [c.name for c in context.cautions.values() if hazard in c.covers]
            raise FileProblem(
                path,
                measure_node.line,
                f"step '{name}' has the hazard '{hazard}', and none of its cautions covers it",
                f"Add one of these to its cautions: {', '.join(fitting) or 'none exists yet, write one'}",
            )
    instrument = context.terms.instruments[measure.instrument]
    answers: tuple[Answer, ...] = ()
    reading = None
    if instrument.units:
        if "answers" in node.items:
            raise FileProblem(
                path,
                node.key_lines["answers"],
                f"the {instrument.spoken} gives a number, not answers",
                "Use 'reading' with unit, plausible range and bands",
            )
        reading = _reading(
            name, _mapping(item.get("reading"), path, f"'reading' of step '{name}'"), instrument, context
        )
    else:
        if "reading" in node.items:
            raise FileProblem(
                path, node.key_lines["reading"], f"the {instrument.spoken} gives no number", "Use 'answers'"
            )
        answers = _answers(
            name, _mapping(item.get("answers"), path, f"'answers' of step '{name}'"), instrument, context
        )
    given = tuple(answer.outcome for answer in (reading.bands if reading else answers))
    good = _known(item.get_text("good"), given, path, "answer of this step") if "good" in node.items else None
    skipped = None
    if "if_skipped" in node.items:
        skip_node = _mapping(node.items["if_skipped"], path, f"'if_skipped' of step '{name}'")
        skip = Reader(skip_node, path, f"'if_skipped' of step '{name}'")
        skip.only(TARGET_KEYS)
        skipped = _target(skip, context)
    return Step(
        name=name,
        measure=measure,
        cautions=cautions,
        answers=answers,
        reading=reading,
        good=good,
        look_for=item.text("look_for", needed=False),
        if_skipped=skipped,
        heard=_heard(answers, measure, instrument),
        line=node.line,
        asks=item.names("asks", context.terms.facts, "fact", needed=False),
    )


def _heard(answers: tuple[Answer, ...], measure: Measurement, instrument: Instrument) -> tuple[str, ...]:
    """The answers of a step, and what else its instrument can show.

    A comparison has answers of its own, and so has each thing that is looked at or asked about.
    """
    own = tuple(answer.outcome for answer in answers)
    if "ohm" in instrument.units:
        return (OVER_RANGE,)
    if not answers or measure.compared_with or instrument.name in SENSES:
        return own
    return (*own, *(name for name in instrument.outcomes if name not in own and name not in COMPARISONS))


def _measure(step: str, node: Mapping, context: _Context) -> Measurement:
    path, terms = context.path, context.terms
    item = Reader(node, path, f"'measure' of step '{step}'")
    item.only(MEASURE_KEYS)
    instrument = terms.instruments[_known(item.get_text("with"), terms.instruments, path, "instrument")]
    nodes = [place.name for place in terms.places.values() if place.kind == "node"]
    parts = [place.name for place in terms.places.values() if place.kind == "part"]
    looked_at = [place.name for place in terms.places.values() if place.kind in ("item", "matter")]
    clip = (
        _known(item.get_text("clip"), nodes, path, "point of the circuit") if "clip" in node.items else None
    )
    if bool(clip) != bool(instrument.clip):
        problem = (
            f"the {instrument.spoken} has no fixed lead"
            if clip
            else f"where the {instrument.spoken} is clipped is missing"
        )
        raise FileProblem(
            path, node.line, problem, "Remove 'clip'" if clip else "Add 'clip: battery-negative'"
        )
    targets = looked_at if instrument.name in SENSES else nodes
    probe = _known(item.get_text("probe"), targets, path, "place")
    if clip == probe:
        raise FileProblem(
            path, node.line, f"clip and probe are both on '{probe}'", "Measure between two points"
        )
    compared = None
    if "compared_with" in node.items:
        compared = _known(item.get_text("compared_with"), nodes, path, "point of the circuit")
        if compared in (probe, clip):
            raise FileProblem(path, node.line, f"'{compared}' is compared with itself", "Name another point")
    unplugged = tuple(
        _known(text, parts, path, "part that can be unplugged")
        for text in item.texts("unplugged", needed=False)
    )
    engine = _member(Engine, item.get_text("engine"), path, "engine state")
    for place in (clip, probe, compared):
        if place is None or instrument.name not in FILAMENTS:
            continue
        if terms.places[place].logic or place in LOGIC_IN.get(context.circuit, ()):
            raise FileProblem(
                path,
                node.line,
                f"step '{step}' puts the {instrument.short} on '{place}', which carries a logic signal: a filament "
                "pulls it down and may harm the output",
                "Use the logic-probe or the signal-meter, or the voltmeter for a supply",
            )
    return Measurement(instrument.name, clip, probe, engine, unplugged, compared)


def _answers(step: str, node: Mapping, instrument: Instrument, context: _Context) -> tuple[Answer, ...]:
    answers = []
    for outcome, child in node.items.items():
        line = node.key_lines[outcome]
        _known(Text(line, outcome), instrument.outcomes, context.path, f"outcome of a {instrument.spoken}")
        item = Reader(
            _mapping(child, context.path, f"answer '{outcome}'"),
            context.path,
            f"answer '{outcome}' of step '{step}'",
        )
        item.only(ANSWER_KEYS)
        rules_out = item.names("rules_out", context.terms.faults, "fault", needed=False)
        answers.append(Answer(outcome, _target(item, context), rules_out))
    if len(answers) < 2:
        raise FileProblem(
            context.path,
            node.line,
            f"step '{step}' has fewer than two answers",
            "A test that can only end one way is no test",
        )
    return tuple(answers)


def _reading(step: str, node: Mapping, instrument: Instrument, context: _Context) -> Reading:
    path = context.path
    item = Reader(node, path, f"'reading' of step '{step}'")
    item.only(READING_KEYS)
    unit = _known(item.get_text("unit"), instrument.units, path, f"unit of a {instrument.spoken}")
    low, high = _plausible(item)
    subtract = _number_fact(item, "subtract", unit, context)
    at_20 = _number_fact(item, "at_20_celsius", "celsius", context)
    band_nodes = _mapping(item.get("bands"), path, f"'bands' of step '{step}'")
    bands = []
    for name, child in band_nodes.items.items():
        band = Reader(_mapping(child, path, f"band '{name}'"), path, f"band '{name}' of step '{step}'")
        band.only(BAND_KEYS)
        start, end = _limit(band, "from", unit, context), _limit(band, "below", unit, context)
        bands.append(
            (
                band.node.line,
                Band(
                    name,
                    _target(band, context),
                    band.names("rules_out", context.terms.faults, "fault", needed=False),
                    start,
                    end,
                    band.text("source"),
                    band.text("seen"),
                ),
            )
        )
    if len(bands) < 2:
        raise FileProblem(
            path,
            band_nodes.line,
            f"step '{step}' has fewer than two bands",
            "A test that can only end one way is no test",
        )
    bands = _in_order(bands)
    for (line, lower), (_, upper) in itertools.pairwise(bands):
        if lower.high is None or upper.low is None or lower.high != upper.low:
            raise FileProblem(
                path,
                line,
                f"bands '{lower.outcome}' and '{upper.outcome}' leave a gap or overlap",
                f"Let '{lower.outcome}' end below where '{upper.outcome}' starts",
            )
    least, most = bands[0][1].low, bands[-1][1].high
    if least is not None and (isinstance(least, Specified) or least > low):
        raise FileProblem(
            path,
            bands[0][0],
            f"no band holds {low}, which is plausible",
            "Leave out 'from' in the lowest band",
        )
    if most is not None and (isinstance(most, Specified) or most <= high):
        raise FileProblem(
            path,
            bands[-1][0],
            f"no band holds {high}, which is plausible",
            "Leave out 'below' in the highest band",
        )
    reading = Reading(unit, (low, high), tuple(band for _, band in bands), subtract, at_20)
    return replace(reading, unjudged=_unjudged(step, item, reading, context))


def _in_order(bands: list[tuple[int, Band]]) -> list[tuple[int, Band]]:
    """Bands by their lower limit; where one is a specification, each behind the one that ends where it begins."""
    rest = sorted(bands, key=lambda pair: _as_number(pair[1].low))
    if not any(isinstance(limit, Specified) for _, band in bands for limit in (band.low, band.high)):
        return rest
    ordered = [rest.pop(0)]
    while rest:
        place = next((at for at, (_, band) in enumerate(rest) if band.low == ordered[-1][1].high), 0)
        ordered.append(rest.pop(place))
    return ordered


def _as_number(limit: Limit | None) -> Decimal:
    """For sorting: nothing is lowest, a specification highest."""
    if limit is None:
        return Decimal("-Infinity")
    return Decimal("Infinity") if isinstance(limit, Specified) else limit


def _limit(band: Reader, key: str, unit: str, context: _Context) -> Limit | None:
    """A limit of a band: a number, or the name of the maker's specification."""
    if key not in band.node.items:
        return None
    node = band.node.items[key]
    if not isinstance(node, Mapping):
        return number(band.get_text(key), context.path)
    given = Reader(node, context.path, f"'{key}' of {band.what}")
    given.only(("specification",))
    name = _number_fact(given, "specification", unit, context)
    if not context.terms.facts[name].specification:
        raise FileProblem(
            context.path,
            node.line,
            f"the fact '{name}' is no specification of the vehicle maker",
            "Mark it 'specification: true' in the terms, or write a number",
        )
    return Specified(name)


def _number_fact(item: Reader, key: str, unit: str, context: _Context) -> str:
    """Name of a fact that is a number in this unit; "" where the key is missing and may be."""
    if key not in item.node.items and key != "specification":
        return ""
    text = item.get_text(key)
    name = _known(text, context.terms.facts, context.path, "fact")
    fact = context.terms.facts[name]
    if fact.kind is not FactKind.NUMBER or fact.unit != unit:
        found = (
            f"a number in {fact.unit or 'no unit'}"
            if fact.kind is FactKind.NUMBER
            else f"of the kind {fact.kind}"
        )
        raise FileProblem(
            context.path,
            text.line,
            f"the fact '{name}' is {found}",
            f"'{key}' of {item.what} needs a number in {unit}",
        )
    return name


def _unjudged(step: str, item: Reader, reading: Reading, context: _Context) -> Answer | None:
    if bool(reading.specified()) != ("unjudged" in item.node.items):
        if reading.specified():
            problem = f"step '{step}' has a specification as a limit, and no 'unjudged'"
            remedy = "Add 'unjudged: {next: …}': where it goes when the specification was left blank"
        else:
            problem = f"step '{step}' has 'unjudged', and no limit of it is a specification"
            remedy = "Remove 'unjudged'"
        raise FileProblem(context.path, item.line("unjudged"), problem, remedy)
    if "unjudged" not in item.node.items:
        return None
    reader = Reader(item.mapping("unjudged"), context.path, f"'unjudged' of step '{step}'")
    reader.only(TARGET_KEYS)
    return Answer(UNJUDGED, _target(reader, context))


def _check_asked(procedure: Procedure, steps: Mapping, path: Path) -> None:
    """What a reading is judged by must be asked for before it."""
    for name, step in procedure.steps.items():
        if step.reading is None:
            continue
        needed = (step.reading.subtract, step.reading.at_20_celsius, *step.reading.specified())
        for fact in filter(None, needed):
            if fact not in (*procedure.asks, *step.asks):
                raise FileProblem(
                    path,
                    steps.key_lines[name],
                    f"step '{name}' is judged by '{fact}', which nobody asks for",
                    f"Add 'asks: [{fact}]' to the step or the procedure",
                )


def _target(item: Reader, context: _Context) -> Target:
    given = [key for key in TARGET_KEYS if key in item.node.items]
    if len(given) != 1:
        raise FileProblem(
            context.path,
            item.node.line,
            f"{item.what} needs exactly one of 'next', 'procedure', 'verdict'",
            "Say where it leads",
        )
    text = item.get_text(given[0])
    if given[0] == "next":
        return Target(Leads.STEP, _known(text, context.steps, context.path, "step"))
    if given[0] == "verdict":
        return Target(Leads.VERDICT, _known(text, context.verdicts, context.path, "verdict"))
    context.hand_overs.setdefault(text.value, text.line)
    return Target(Leads.PROCEDURE, text.value)


def _verdict(name: str, node: Mapping, context: _Context) -> Verdict:
    item = Reader(node, context.path, f"verdict '{name}'")
    item.only(VERDICT_KEYS)
    continue_with = None
    if "continue_with" in node.items:
        text = item.get_text("continue_with")
        context.hand_overs.setdefault(text.value, text.line)
        continue_with = text.value
    return Verdict(
        name,
        item.text("says"),
        item.names("faults", context.terms.faults, "fault"),
        item.text("part"),
        item.text("repair"),
        tuple(text.value for text in item.texts("verify")),
        item.text("still_possible", needed=False),
        continue_with,
        item.node.line,
    )


def targets(step: Step) -> Iterable[Target]:
    """Everything that this step can lead to, skipping included."""
    yield from (answer.target for answer in step.choices())
    if step.reading and step.reading.unjudged:
        yield step.reading.unjudged.target
    if step.if_skipped:
        yield step.if_skipped


def _check_reachable(procedure: Procedure, steps: Mapping, verdicts: Mapping, path: Path) -> None:
    reached: set[str] = set()
    ends: set[str] = set()
    waiting = [procedure.start]
    while waiting:
        name = waiting.pop()
        if name in reached:
            continue
        reached.add(name)
        for target in targets(procedure.steps[name]):
            if target.leads is Leads.STEP:
                waiting.append(target.name)
            elif target.leads is Leads.VERDICT:
                ends.add(target.name)
    for step, line in steps.key_lines.items():
        if step not in reached:
            raise FileProblem(
                path, line, f"no answer leads to step '{step}'", "Let an answer lead there, or remove it"
            )
    for verdict, line in verdicts.key_lines.items():
        if verdict not in ends:
            raise FileProblem(
                path,
                line,
                f"no answer leads to verdict '{verdict}'",
                "Let an answer lead there, or remove it",
            )


def _check_hand_overs(procedure: Procedure, library: Library, lines: dict[str, int]) -> None:
    for name, line in lines.items():
        _known(Text(line, name), library.procedures, procedure.file, "procedure")


# --- reading with good messages -------------------------------------------------------------------


class Reader:
    """Typed access to one map of the tree; every miss is a `FileProblem` at its line."""

    def __init__(self, node: Mapping, path: Path | str, what: str) -> None:
        self.node = node
        self.path = path
        self.what = what

    def only(self, keys: tuple[str, ...]) -> None:
        """Refuse every other key."""
        for key, line in self.node.key_lines.items():
            if key not in keys:
                raise FileProblem(
                    self.path, line, f"'{key}' is not known in {self.what}", _suggestion(key, keys)
                )

    def line(self, key: str) -> int:
        """Line of a key; that of the map where the key is missing."""
        return self.node.key_lines.get(key, self.node.line)

    def get(self, key: str) -> Node:
        """What stands under this key."""
        if key not in self.node.items:
            raise FileProblem(self.path, self.node.line, f"{self.what} has no '{key}'", f"Add '{key}: …'")
        return self.node.items[key]

    def mapping(self, key: str) -> Mapping:
        """The map under this key."""
        return _mapping(self.get(key), self.path, f"'{key}'")

    def get_text(self, key: str) -> Text:
        """The text under this key; empty only in quotes."""
        node = self.get(key)
        if not isinstance(node, Text):
            raise FileProblem(
                self.path,
                self.line(key),
                f"'{key}' of {self.what} is {type_names[type(node).__name__]}",
                "A text is expected",
            )
        if not node.value.strip() and not node.quoted:
            raise FileProblem(
                self.path, self.line(key), f"'{key}' of {self.what} is empty", 'Write a text, or "" for none'
            )
        return node

    def text(self, key: str, *, needed: bool = True) -> str:
        """The same with its white space made single blanks; "" where it is missing and not needed."""
        if not needed and key not in self.node.items:
            return ""
        return " ".join(self.get_text(key).value.split())

    def flag(self, key: str) -> bool:
        """A true or false that may be missing; false then."""
        return key in self.node.items and self.one_of(key, ("true", "false")) == "true"

    def one_of(self, key: str, values: tuple[str, ...]) -> str:
        """One of these values."""
        return _known(self.get_text(key), values, self.path, f"value of '{key}'")

    def texts(self, key: str, *, needed: bool = True) -> list[Text]:
        """A list of texts."""
        if not needed and key not in self.node.items:
            return []
        node = self.get(key)
        if not isinstance(node, Sequence):
            raise FileProblem(
                self.path,
                self.line(key),
                f"'{key}' of {self.what} is not a list",
                f"Write it as {key}: [one, two]",
            )
        found = []
        for item in node.items:
            if not isinstance(item, Text):
                raise FileProblem(self.path, item.line, f"'{key}' of {self.what} holds more than plain texts")
            found.append(Text(item.line, " ".join(item.value.split())))
        return found

    def names(self, key: str, known: Iterable[str], kind: str, *, needed: bool = True) -> tuple[str, ...]:
        """A list of known names, none twice."""
        names = tuple(_known(text, known, self.path, kind) for text in self.texts(key, needed=needed))
        if len(set(names)) != len(names):
            raise FileProblem(self.path, self.line(key), f"'{key}' of {self.what} names something twice")
        return names

    def named(self, key: str, keys: tuple[str, ...]) -> Iterable[tuple[str, Reader]]:
        """A map of maps: the name of each with its reader."""
        for name, node in _mapping(self.get(key), self.path, f"'{key}'").items.items():
            reader = Reader(_mapping(node, self.path, f"'{name}'"), self.path, f"'{name}' in {key}")
            reader.only(keys)
            yield name, reader


def _mapping(node: Node, path: Path | str, what: str) -> Mapping:
    if not isinstance(node, Mapping):
        raise FileProblem(
            path,
            node.line,
            f"{what} is {type_names[type(node).__name__]}",
            "A map of names is expected, as in 'lit: {next: …}'",
        )
    return node


def _suggestion(word: str, known: Iterable[str]) -> str:
    names = list(known)
    close = difflib.get_close_matches(word[:_SHOWN], names, n=1)
    if close:
        return f"Did you mean '{close[0]}'?"[:-1] + "; known are: " + ", ".join(names)
    return "Known are: " + ", ".join(names) if names else "None is defined"


def _known(text: Text, known: Iterable[str], path: Path | str, kind: str) -> str:
    names = list(known)
    if text.value not in names:
        raise FileProblem(
            path, text.line, f"there is no {kind} '{text.value}'", _suggestion(text.value, names)
        )
    return text.value


def _member(kind: type[_Name], text: Text, path: Path | str, what: str) -> _Name:
    return kind(_known(text, [member.value for member in kind], path, what))


def number(text: Text, path: Path | str) -> Decimal:
    """The number that a text is.

    Raises:
        FileProblem: It is none, or one that nobody measures (`LARGEST_NUMBER`, `MOST_DECIMALS`).
    """
    shown = text.value if len(text.value) <= _SHOWN else f"{text.value[:_SHOWN]}…"
    try:
        value = Decimal(text.value if len(text.value) <= _SHOWN else "NaN")
    except InvalidOperation:
        value = Decimal("NaN")
    if not value.is_finite():
        raise FileProblem(
            path, text.line, f"'{shown}' is not a number", "Write it with a decimal point, as 9.6"
        )
    exponent = value.as_tuple().exponent
    # The exponent comes first: to compare some numbers takes all memory, or is an overflow.
    if not (isinstance(exponent, int) and -MOST_DECIMALS <= exponent <= 9 and abs(value) <= LARGEST_NUMBER):
        raise FileProblem(
            path,
            text.line,
            f"'{shown}' is no number that can be meant here",
            f"Write one from -{LARGEST_NUMBER} to {LARGEST_NUMBER} with at most {MOST_DECIMALS} decimals",
        )
    return value
