"""YAML files to `Library`: every mistake is reported with file, line, and what would be right.

The folder holds ``terms.yaml``, ``cautions.yaml``, ``odds.yaml`` (read by ``core/odds.py``), one file for each
procedure, and perhaps ``likelihoods.json``, which a session weighs its results with.
Nothing is loaded by halves: the first mistake raises a `FileProblem`.
A step that cranks, or touches what can hurt, is refused unless one of its cautions covers that hazard.
"""

from __future__ import annotations

import itertools
from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING

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
from assistant.core.library.reader import Reader, known_of, mapping_of, member_of, number, stem
from assistant.core.library.tree import Mapping, Text, parse
from assistant.core.values.units import UNIT_WORDS
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from collections.abc import Iterable

COMPARISONS = ("same", "sharper")
"""Outcomes of a comparison of two places; elsewhere nobody says them."""

FACT_UNITS = tuple(UNIT_WORDS)
"""Units that a number among the facts can be kept in."""

MOST_QUESTION_WORDS = 12
"""A spoken question is short enough to hold in the head."""

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

# --- terms and cautions ---------------------------------------------------------------------------


def parse_terms(data: bytes, path: str) -> Terms:
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


def parse_cautions(data: bytes, path: str) -> dict[str, Caution]:
    """The cautions of ``cautions.yaml`` by name."""
    cautions = {}
    top = parse(data, path)
    keys = ("signal", "full", "short", "covers", "acknowledge", "source")
    for name, node in top.items.items():
        item = Reader(mapping_of(node, path, f"caution '{name}'"), path, f"caution '{name}'")
        item.only(keys)
        covers = tuple(member_of(Hazard, text, path, "hazard") for text in item.texts("covers"))
        cautions[name] = Caution(
            name,
            member_of(SignalWord, item.get_text("signal"), path, "signal word"),
            item.text("full"),
            item.text("short"),
            covers,
            item.one_of("acknowledge", ("true", "false")) == "true",
            item.text("source"),
        )
    return cautions


# --- procedures -----------------------------------------------------------------------------------


def parse_procedure(
    data: bytes, path: str, terms: Terms, cautions: dict[str, Caution]
) -> tuple[Procedure, dict[str, int]]:
    """One procedure, and the line of each answer that hands over to another procedure (by that name)."""
    top = Reader(parse(data, path), path, "the procedure")
    top.only(PROCEDURE_KEYS)
    name = top.text("procedure")
    if name != stem(path):
        raise FileProblem(
            path,
            top.line("procedure"),
            f"the procedure is called '{name}', its file '{stem(path)}.yaml'",
            f"Call the file '{name}.yaml' or the procedure '{stem(path)}'",
        )
    step_nodes = mapping_of(top.get("steps"), path, "'steps'")
    verdict_nodes = mapping_of(top.get("verdicts"), path, "'verdicts'")
    hand_overs: dict[str, int] = {}
    circuit = top.text("circuit")
    context = _Context(
        path, terms, cautions, tuple(step_nodes.items), tuple(verdict_nodes.items), hand_overs, circuit
    )
    steps = {
        step: _step(step, mapping_of(node, path, f"step '{step}'"), context)
        for step, node in step_nodes.items.items()
    }
    verdicts = {
        verdict: _verdict(verdict, mapping_of(node, path, f"verdict '{verdict}'"), context)
        for verdict, node in verdict_nodes.items.items()
    }
    start = known_of(top.get_text("start"), context.steps, path, "step")
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
        file=path,
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
        path: str,
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
    measure_node = mapping_of(item.get("measure"), path, f"'measure' of step '{name}'")
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
            name, mapping_of(item.get("reading"), path, f"'reading' of step '{name}'"), instrument, context
        )
    else:
        if "reading" in node.items:
            raise FileProblem(
                path, node.key_lines["reading"], f"the {instrument.spoken} gives no number", "Use 'answers'"
            )
        answers = _answers(
            name, mapping_of(item.get("answers"), path, f"'answers' of step '{name}'"), instrument, context
        )
    given = tuple(answer.outcome for answer in (reading.bands if reading else answers))
    good = (
        known_of(item.get_text("good"), given, path, "answer of this step") if "good" in node.items else None
    )
    return Step(
        name=name,
        measure=measure,
        cautions=cautions,
        answers=answers,
        reading=reading,
        good=good,
        look_for=item.text("look_for", needed=False),
        if_skipped=_skipped(name, node, context),
        heard=_heard(answers, measure, instrument),
        line=node.line,
        asks=item.names("asks", context.terms.facts, "fact", needed=False),
    )


def _skipped(step: str, node: Mapping, context: _Context) -> Target | None:
    """Where skipping a step leads; None if it cannot be skipped."""
    if "if_skipped" not in node.items:
        return None
    what = f"'if_skipped' of step '{step}'"
    item = Reader(mapping_of(node.items["if_skipped"], context.path, what), context.path, what)
    item.only(TARGET_KEYS)
    return _target(item, context)


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
    instrument = terms.instruments[known_of(item.get_text("with"), terms.instruments, path, "instrument")]
    nodes = [place.name for place in terms.places.values() if place.kind == "node"]
    parts = [place.name for place in terms.places.values() if place.kind == "part"]
    looked_at = [place.name for place in terms.places.values() if place.kind in ("item", "matter")]
    clip = (
        known_of(item.get_text("clip"), nodes, path, "point of the circuit") if "clip" in node.items else None
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
    probe = known_of(item.get_text("probe"), targets, path, "place")
    if clip == probe:
        raise FileProblem(
            path, node.line, f"clip and probe are both on '{probe}'", "Measure between two points"
        )
    compared = None
    if "compared_with" in node.items:
        compared = known_of(item.get_text("compared_with"), nodes, path, "point of the circuit")
        if compared in (probe, clip):
            raise FileProblem(path, node.line, f"'{compared}' is compared with itself", "Name another point")
    unplugged = tuple(
        known_of(text, parts, path, "part that can be unplugged")
        for text in item.texts("unplugged", needed=False)
    )
    engine = member_of(Engine, item.get_text("engine"), path, "engine state")
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
        known_of(Text(line, outcome), instrument.outcomes, context.path, f"outcome of a {instrument.spoken}")
        item = Reader(
            mapping_of(child, context.path, f"answer '{outcome}'"),
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
    unit = known_of(item.get_text("unit"), instrument.units, path, f"unit of a {instrument.spoken}")
    low, high = _plausible(item)
    subtract = _number_fact(item, "subtract", unit, context)
    at_20 = _number_fact(item, "at_20_celsius", "celsius", context)
    band_nodes = mapping_of(item.get("bands"), path, f"'bands' of step '{step}'")
    bands = []
    for name, child in band_nodes.items.items():
        band = Reader(mapping_of(child, path, f"band '{name}'"), path, f"band '{name}' of step '{step}'")
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
    name = known_of(text, context.terms.facts, context.path, "fact")
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


def _check_asked(procedure: Procedure, steps: Mapping, path: str) -> None:
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
        return Target(Leads.STEP, known_of(text, context.steps, context.path, "step"))
    if given[0] == "verdict":
        return Target(Leads.VERDICT, known_of(text, context.verdicts, context.path, "verdict"))
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


def _check_reachable(procedure: Procedure, steps: Mapping, verdicts: Mapping, path: str) -> None:
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


def check_hand_overs(procedure: Procedure, procedures: Iterable[str], lines: dict[str, int]) -> None:
    """Every procedure that this one hands over to exists.

    Args:
        procedure: The procedure.
        procedures: Names of all procedures.
        lines: Line of the first hand-over to each procedure, by its name.

    Raises:
        FileProblem: One does not exist.
    """
    names = list(procedures)
    for name, line in lines.items():
        known_of(Text(line, name), names, procedure.file, "procedure")
