"""The meaning of what was perceived: of the starter by ear, of readings on a meter, and of "take it"."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from assistant.core.dialogue.inquiring import Origin
from assistant.core.dialogue.policy import ENDED_FROM, HEARD_FROM, PROPOSED_FROM, stands_by_itself
from assistant.core.dialogue.states import State
from assistant.core.dialogue.trail import Pending
from assistant.core.dialogue.triggers import By, Known, Trigger
from assistant.core.dialogue.understanding import understand_result
from assistant.core.library.procedure import Engine
from assistant.core.library.vocabulary import FIRED
from assistant.core.values.perceived import CrankSound, MeterTold, Perceived, StarterHeard, WantedReading
from assistant.core.values.result import Result
from assistant.core.values.units import number_written, units_like
from assistant.core.values.witness import Witness
from assistant.core.words import perceiving as words

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk
    from assistant.core.values.events import Event

HELD = "held"
"""`Pending.by` of a reading that nobody took: it stood still by itself."""

_MAY_CRANK = (State.ASKING, State.RESTING)
"""States in which a step that cranks has been released, its cautions spoken."""


def recognise_perceived(talk: Talk, event: Event) -> Known[Any] | None:
    """The meaning of what was perceived, with its payload; None if it has none and is ignored."""
    match event:
        case StarterHeard():
            return _starter(talk, event)
        case Perceived(source=Witness.EAR) | Perceived(source=Witness.CLAMP, result=Result(value=None)):
            return _sounds_or_looks(talk, event)
        case Perceived():
            return _on_meter(talk, event)
        case MeterTold():
            return Known(Trigger.METER_TOLD, event)
        case _:
            return None


def _starter(talk: Talk, heard: StarterHeard) -> Known[Any] | None:
    """A sound that the ear is unsure of changes nothing: the board shows a doubtful beginning until it ends."""
    sure = heard.confidence >= HEARD_FROM
    match heard.phase:
        case CrankSound.BEGINS if not sure:
            return Known(Trigger.PERHAPS_CRANKING, heard)
        case CrankSound.BEGINS:
            asked = talk.state is State.CRANKING or (
                talk.state in _MAY_CRANK
                and talk.step.measure.engine is Engine.CRANKING
                and not talk.must_rest()
            )
            return Known(Trigger.CRANK_HEARD if asked else Trigger.CRANK_SOUND, heard)
        case CrankSound.ENDS:
            if heard.confidence >= ENDED_FROM and talk.crank.turning is not None:
                return Known(Trigger.CRANK_ENDS, heard)
            shown = talk.said.message == words.PERHAPS_CRANKING
            return Known(Trigger.PERHAPS_CRANKING, heard) if shown else None
        case CrankSound.RUNS:
            return Known(Trigger.ENGINE_RUNS, heard) if sure else None


def runs(talk: Talk, heard: StarterHeard) -> Pending | None:
    """The answer that the engine runs, where the step has one."""
    step = talk.work.step
    if step is None or not any(step.answer(outcome) for outcome in FIRED[:1]):
        return None
    seen = Perceived(heard.at, Witness.EAR, Result(outcome=FIRED[0]), heard.confidence)
    return _pending(talk, seen)


def _sounds_or_looks(talk: Talk, seen: Perceived) -> Known[Any] | None:
    """An answer that it sounds or looks like, if the step asks for it; else something to show."""
    pending = _pending(talk, seen) if seen.confidence >= PROPOSED_FROM else None
    return Known(Trigger.SOUNDS, seen) if pending is None else Known(Trigger.PROPOSED, pending)


def _on_meter(talk: Talk, seen: Perceived) -> Known[Any] | None:
    """A reading that stands; one that has stood long enough is taken where the step allows it."""
    known = understand_result(talk, seen.result, Origin(seen.source.value, "", seen.confidence))
    if known.trigger is Trigger.IMPLAUSIBLE:
        return Known(Trigger.STANDS_WRONG, known.payload)
    if not isinstance(known.payload, Pending) or talk.step.reading is None:
        return None
    held = (
        talk.state in _READ
        and not talk.said.typed
        and talk.said.finished == talk.said.utterance
        and stands_by_itself(
            talk.step, known.payload.answer, seen, talk.gear.meter.before, turning=talk.crank.turning
        )
    )
    if held:
        return Known(Trigger.RESULT, replace(known.payload, seen=seen, by=HELD))
    return Known(Trigger.STANDS, seen)


def _pending(talk: Talk, seen: Perceived, words: str = "") -> Pending | None:
    """What was perceived as an answer to the present step; None if it is none."""
    known = understand_result(talk, seen.result, Origin(seen.source.value, words, seen.confidence))
    return replace(known.payload, seen=seen) if isinstance(known.payload, Pending) else None


def take_it(talk: Talk, source: Origin) -> Known[Any]:
    """The reading that stands on the meter becomes the answer; `source` says who took it."""
    seen = talk.gear.meter.reading
    pending = None if seen is None else _pending(talk, seen, source.words)
    if pending is None:
        return Known(Trigger.TAKE_IT, By(source.how))
    return Known(Trigger.RESULT, replace(pending, by=source.how, clip=source.clip, sure=source.confidence))


def entered(talk: Talk) -> bool:
    """Whether Enter takes the reading: one stands, nothing is typed, and the key does not mean "cranking now"."""
    if talk.gear.meter.reading is None or talk.said.typed:
        return False
    turning = talk.step.measure.engine is Engine.CRANKING
    return talk.state is State.CRANKING or (talk.state is State.ASKING and not turning)


SCOPE = "clamp-scope"
"""The instrument at which the shape of a current ramp is the answer."""


def captures(talk: Talk) -> float | None:
    """Since when the engine is cranked to see the shape of a ramp, which a clamp is to capture; None if it is not."""
    step = talk.work.step
    shape = step is not None and step.measure.instrument == SCOPE
    return talk.crank.began if talk.state is State.CRANKING and shape else None


_READ = (State.ASKING, State.CRANKING)
"""States in which a reading can be taken."""

AC_METER = "ac-voltmeter"
"""The instrument whose readings are of alternating voltage."""


def wanted(talk: Talk) -> WantedReading | None:
    """What a meter is to report now; None if no reading is asked for."""
    step = talk.work.step
    if step is None or step.reading is None or talk.state not in _READ:
        return None
    borders = {limit for band in step.reading.bands for limit in (band.low, band.high)}
    limits = tuple(sorted(limit for limit in borders if isinstance(limit, Decimal)))
    ac = step.measure.instrument == AC_METER
    return WantedReading(units_like(step.reading.unit), ac, limits, talk.gear.meter.turn)


def shown_reading(talk: Talk) -> str:
    """The reading that stands, for the board: "12.4 V, meter"; "" if none does."""
    seen = talk.gear.meter.reading
    if seen is None:
        return ""
    value, unit = seen.result.value, seen.result.unit
    if value is None or unit is None:
        return f"{talk.library.terms.outcomes[seen.result.outcome or ''].spoken}, {seen.source}"
    return f"{number_written(value, unit)}, {seen.source}"


def heard_before(talk: Talk) -> bool:
    """Whether "cranking now" is said of a crank that the ear has begun to time already."""
    return talk.state is State.CRANKING and talk.crank.by_ear is not None
