"""The current ramps that a clamp captured: which test each belongs to, the fault to draw beside it, the drawing."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.circuit.problems import CircuitProblem
from assistant.core.dialogue.perceiving import SCOPE
from assistant.core.values.perceived import Perceived
from assistant.core.values.witness import Witness
from assistant.record.clips import ampere_of
from assistant.record.reading import read_clip
from assistant.record.recorded import clips_of
from assistant.writeup import model
from assistant.writeup.naming import procedure_of
from assistant.writeup.ramp import CapturedRamp
from assistant.writeup.statement import Source, line, term

if TYPE_CHECKING:
    from collections.abc import Iterable

    from assistant.core.library.library import Library
    from assistant.core.library.procedure import Verdict
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.core.values.events import Clip
    from assistant.record.course import Course, Taken
    from assistant.record.recorded import RecordedSession
    from assistant.writeup.contents import Draft

NONE = "none"
"""The sound system among the faults."""


def captured(
    session: RecordedSession,
    library: Library,
    knowledge: Knowledge | None,
    course: Course,
    verdict: Verdict | None,
) -> tuple[CapturedRamp, ...]:
    """The last ramp that was captured for each test that asks for its shape, whoever answered it in the end."""
    found = []
    for taken, clip, at in _pairs(session, library, course):
        circuit = procedure_of(library, taken.result.procedure).circuit
        likely = model.remaining(session, library, knowledge, course, circuit)
        fault = _suspected(circuit, (*(verdict.faults if verdict else ()), *likely))
        words = library.terms.faults[fault].plain if fault else ""
        sources = (*line(at, taken.line), *(term("faults", fault) if fault else ()))
        if fault and fault in likely:
            sources = (*sources, Source("procedures/likelihoods.json"), Source("procedures/odds.yaml"))
        found.append(
            CapturedRamp(taken.result.number, clip.file, clip.sha256, circuit, fault, words, sources)
        )
    return tuple(found)


def _pairs(session: RecordedSession, library: Library, course: Course) -> Iterable[tuple[Taken, Clip, int]]:
    """Each test with the capture that was made for it, and the capture's line of the log."""
    tests = {taken.line: taken for taken in course.results}
    left = {passed.line for passed in course.skipped}
    last: tuple[Clip, int] | None = None
    for one in session.lines:
        event = one.event
        if isinstance(event, Perceived) and event.source is Witness.CLAMP and event.clip is not None:
            last = event.clip, one.number
        taken = tests.get(one.number)
        if taken is not None:
            step = library.step(taken.result.procedure, taken.result.step)
            if last is not None and step.measure.instrument == SCOPE:
                yield taken, *last
        if taken is not None or one.number in left:
            last = None


def _suspected(circuit: str, faults: Iterable[str]) -> str:
    """The first of these faults that the model of the circuit can have; "" if there is none."""
    from assistant.circuit.catalogue import mechanism_named  # noqa: PLC0415  few sessions have a ramp

    for fault in faults:
        if fault == NONE:
            continue
        try:
            mechanism_named(circuit, fault)
        except CircuitProblem:
            continue
        return fault
    return ""


def ramps_to_embed(session: RecordedSession, draft: Draft) -> dict[int, str]:
    """The ramps as SVG, by the numbers of their tests, each checked against its checksum in the log.

    Raises:
        RecordProblem: A capture is missing or may not be read.
        RecordBroken: A capture was altered.
    """
    if session.folder is None or not draft.ramps:
        return {}
    from assistant.meter.dwells import CurrentCapture  # noqa: PLC0415  few sessions have a ramp
    from assistant.meter.ramp_picture import expected, svg  # noqa: PLC0415

    clips = {clip.file: clip for one in session.lines for clip in clips_of(one.event)}
    found = {}
    for ramp in draft.ramps:
        capture = CurrentCapture(*ampere_of(read_clip(session.folder, clips[ramp.file]), ramp.file))
        beside = expected(ramp.circuit, [(ramp.fault, ramp.suspected)] if ramp.fault else [])
        found[ramp.test] = svg(capture, beside, key=f"ramp-{ramp.test}")
    return found
