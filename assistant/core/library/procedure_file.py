"""A procedure's file: steps, answers and verdicts; a mistake is reported with its line and what would be right.

A step that cranks, or touches what can hurt, is refused unless one of its cautions covers that hazard.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.library.context import ANSWER_KEYS, TARGET_KEYS, Context, target_of
from assistant.core.library.procedure import (
    Answer,
    Engine,
    Leads,
    Measurement,
    NextCheck,
    Procedure,
    Step,
    Target,
    Verdict,
)
from assistant.core.library.reader import Reader, known_of, mapping_of, member_of, stem
from assistant.core.library.reading_file import reading_of
from assistant.core.library.repeat import DECIDING, FAILED, NOT_YET, PASSED
from assistant.core.library.tree import MapNode, TextNode, parse
from assistant.core.library.vocabulary import (
    COMPARISONS,
    LOGIC_IN,
    OVER_RANGE,
    SENSES,
    WATCHED,
)
from assistant.core.library.watch import is_watched
from assistant.core.library.ways import check_asked, check_reachable
from assistant.errors import FileProblem

if TYPE_CHECKING:
    from assistant.core.library.procedure import Reading
    from assistant.core.library.terms import Caution, Instrument, Terms

STEP_KEYS = (
    "measure",
    "asks",
    "cautions",
    "look_for",
    "good",
    "if_skipped",
    "answers",
    "reading",
    "repeat",
    "watch",
)
MEASURE_KEYS = ("with", "clip", "probe", "engine", "unplugged", "compared_with")
VERDICT_KEYS = ("says", "faults", "part", "repair", "verify", "still_possible", "continue_with", "next_check")
CHECK_KEYS = ("do", "value", "source", "come_back")
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
    # A procedure that only hands over has none.
    told = top.node.items.get("verdicts", MapNode(top.node.line))
    verdict_nodes = mapping_of(told, path, "'verdicts'")
    hand_overs: dict[str, int] = {}
    circuit = top.text("circuit")
    context = Context(
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
    check_asked(procedure, step_nodes, path)
    check_reachable(procedure, step_nodes, verdict_nodes, path)
    return procedure, hand_overs


def _step(name: str, node: MapNode, context: Context) -> Step:
    item = Reader(node, context.path, f"step '{name}'")
    item.only(STEP_KEYS)
    measure_node = mapping_of(item.get("measure"), context.path, f"'measure' of step '{name}'")
    measure = _measure(name, measure_node, context)
    cautions = item.names("cautions", context.cautions, "caution")
    _check_cautioned(name, measure, measure_node.line, cautions, context)
    instrument = context.terms.instruments[measure.instrument]
    answers, reading = _outcomes(name, item, instrument, context)
    given = tuple(answer.outcome for answer in (reading.bands if reading else answers))
    watched = is_watched(name, item, measure, given, context.terms)
    good = None
    if "good" in node.items:
        good = known_of(item.get_text("good"), given, context.path, "answer of this step")
    return Step(
        name=name,
        measure=measure,
        cautions=cautions,
        answers=answers,
        reading=reading,
        good=good,
        look_for=item.text("look_for", needed=False),
        if_skipped=_skipped(name, node, context),
        heard=WATCHED if watched else _heard(answers, measure, instrument),
        line=node.line,
        asks=item.names("asks", context.terms.facts, "fact", needed=False),
        repeat=_repeat(name, item, given),
    )


def _repeat(step: str, item: Reader, given: tuple[str, ...]) -> str:
    """The earlier measurement that is asked instead; "" for none."""
    if "repeat" not in item.node.items:
        return ""
    text = item.get_text("repeat")
    known_of(text, (DECIDING,), item.path, "measurement to repeat")
    missing = [name for name in (PASSED, FAILED, NOT_YET) if name not in given]
    if missing:
        raise FileProblem(
            item.path,
            text.line,
            f"step '{step}' repeats a measurement and lacks the answer '{missing[0]}'",
            f"Give it the answers {PASSED}, {FAILED} and {NOT_YET}",
        )
    return text.value


def _check_cautioned(
    step: str, measure: Measurement, line: int, cautions: tuple[str, ...], context: Context
) -> None:
    """Every hazard of a measurement is covered by a caution of its step."""
    covered = {hazard for caution in cautions for hazard in context.cautions[caution].covers}
    for hazard in measure.hazards():
        if hazard not in covered:
            fitting = [c.name for c in context.cautions.values() if hazard in c.covers]
            raise FileProblem(
                context.path,
                line,
                f"step '{step}' has the hazard '{hazard}', and none of its cautions covers it",
                f"Add one of these to its cautions: {', '.join(fitting) or 'none exists yet, write one'}",
            )


def _outcomes(
    step: str, item: Reader, instrument: Instrument, context: Context
) -> tuple[tuple[Answer, ...], Reading | None]:
    """The answers of a step, or its reading: an instrument gives the ones or the other."""
    if instrument.units:
        if "answers" in item.node.items:
            raise FileProblem(
                context.path,
                item.line("answers"),
                f"the {instrument.spoken} gives a number, not answers",
                "Use 'reading' with unit, plausible range and bands",
            )
        node = mapping_of(item.get("reading"), context.path, f"'reading' of step '{step}'")
        return (), reading_of(step, node, instrument, context)
    if "reading" in item.node.items:
        raise FileProblem(
            context.path,
            item.line("reading"),
            f"the {instrument.spoken} gives no number",
            "Use 'answers'",
        )
    node = mapping_of(item.get("answers"), context.path, f"'answers' of step '{step}'")
    return _answers(step, node, instrument, context), None


def _skipped(step: str, node: MapNode, context: Context) -> Target | None:
    """The target of skipping a step; None if it cannot be skipped."""
    if "if_skipped" not in node.items:
        return None
    what = f"'if_skipped' of step '{step}'"
    item = Reader(mapping_of(node.items["if_skipped"], context.path, what), context.path, what)
    item.only(TARGET_KEYS)
    return target_of(item, context)


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


def _measure(step: str, node: MapNode, context: Context) -> Measurement:
    path, terms = context.path, context.terms
    item = Reader(node, path, f"'measure' of step '{step}'")
    item.only(MEASURE_KEYS)
    instrument = terms.instruments[known_of(item.get_text("with"), terms.instruments, path, "instrument")]
    nodes = terms.places_of("node")
    clip = None
    if "clip" in node.items:
        clip = known_of(item.get_text("clip"), nodes, path, "point of the circuit")
    _check_clipped(clip, instrument, node.line, path)
    targets = terms.places_of("item", "matter") if instrument.name in SENSES else nodes
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
    parts = terms.places_of("part")
    unplugged = tuple(
        known_of(text, parts, path, "part that can be unplugged")
        for text in item.texts("unplugged", needed=False)
    )
    engine = member_of(Engine, item.get_text("engine"), path, "engine state")
    measure = Measurement(instrument.name, clip, probe, engine, unplugged, compared)
    _check_logic(step, measure, node.line, context)
    return measure


def _check_clipped(clip: str | None, instrument: Instrument, line: int, path: str) -> None:
    """A place for the fixed lead is given if the instrument has one, and only then."""
    if clip and not instrument.clip:
        raise FileProblem(path, line, f"the {instrument.spoken} has no fixed lead", "Remove 'clip'")
    if instrument.clip and not clip:
        raise FileProblem(
            path,
            line,
            f"the step does not say where the {instrument.spoken} is clipped",
            "Add 'clip: battery-negative'",
        )


def _check_logic(step: str, measure: Measurement, line: int, context: Context) -> None:
    """No filament is put on a place that carries a logic signal."""
    instrument = context.terms.instruments[measure.instrument]
    if not instrument.filament:
        return
    logic = LOGIC_IN.get(context.circuit, ())
    for place in filter(None, (measure.clip, measure.probe, measure.compared_with)):
        if context.terms.places[place].logic or place in logic:
            raise FileProblem(
                context.path,
                line,
                f"step '{step}' puts the {instrument.short} on '{place}', which carries a logic signal: a filament "
                "pulls it down and may harm the output",
                "Use the logic-probe or the signal-meter, or the voltmeter for a supply",
            )


def _answers(step: str, node: MapNode, instrument: Instrument, context: Context) -> tuple[Answer, ...]:
    answers = []
    for outcome, child in node.items.items():
        line = node.key_lines[outcome]
        known_of(
            TextNode(line, outcome), instrument.outcomes, context.path, f"outcome of a {instrument.spoken}"
        )
        item = Reader(
            mapping_of(child, context.path, f"answer '{outcome}'"),
            context.path,
            f"answer '{outcome}' of step '{step}'",
        )
        item.only((*ANSWER_KEYS, "known_after"))
        rules_out = item.names("rules_out", context.terms.faults, "fault", needed=False)
        known_after = item.text("known_after", needed=False)
        target = target_of(item, context)
        if known_after:
            _check_known(item, target, context)
        answers.append(Answer(outcome, target, rules_out, known_after=known_after))
    if len(answers) < 2:
        raise FileProblem(
            context.path,
            node.line,
            f"step '{step}' has fewer than two answers",
            "Give it at least two ways to end",
        )
    return tuple(answers)


def _check_known(item: Reader, target: Target, context: Context) -> None:
    """An answer that is known after another procedure leads to a step; that the procedure exists is checked later."""
    line = item.line("known_after")
    context.hand_overs.setdefault(item.text("known_after"), line)
    if target.leads is not Leads.STEP:
        raise FileProblem(
            context.path,
            line,
            f"{item.what} is known after '{item.text('known_after')}', but does not lead to a step",
            "Only an answer with 'next' can be taken as known",
        )


def _verdict(name: str, node: MapNode, context: Context) -> Verdict:
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
        _next_check(name, item, context) if "next_check" in node.items else None,
    )


def _next_check(verdict: str, item: Reader, context: Context) -> NextCheck:
    """The check that a verdict names; a `come_back` of one word is the name of a procedure."""
    check = Reader(item.mapping("next_check"), context.path, f"'next_check' of verdict '{verdict}'")
    check.only(CHECK_KEYS)
    for key in ("do", "value", "source"):
        if not check.text(key):
            raise FileProblem(
                context.path,
                check.line(key),
                f"'{key}' of {check.what} is empty",
                "Say what to do, what is good with its unit, and where that value comes from",
            )
    come_back = check.text("come_back", needed=False)
    if come_back and " " not in come_back:
        context.hand_overs.setdefault(come_back, check.line("come_back"))
    return NextCheck(check.text("do"), check.text("value"), check.text("source"), come_back)
