"""The data model of a procedure: its measurements, the readings and answers to them, its steps and verdicts.

A step of a procedure is a **measurement**: what is connected where, in which engine state, with what
unplugged, and what the person observes.
It is stated once; the spoken text, the answers that can be heard, the hazards, the line in the write-up
(and later the circuit proof and the picture) derive from it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from decimal import ROUND_HALF_EVEN, Context, Decimal
from enum import StrEnum
from typing import TYPE_CHECKING

from assistant.core.library.terms import Hazard
from assistant.core.library.vocabulary import FIRED, SAME_POINT, SENSES, UNJUDGED, WATCHED

if TYPE_CHECKING:
    from collections.abc import Mapping

COPPER_PER_KELVIN = Decimal("0.00393")
"""Temperature coefficient of copper's resistance at 20 degrees Celsius, per kelvin (IEC 60028)."""

_JUDGED = Context(prec=4, rounding=ROUND_HALF_EVEN)


class Engine(StrEnum):
    """State of key and engine during a measurement."""

    KEY_OFF = "key-off"
    KEY_ON = "key-on"
    CRANKING = "cranking"
    RUNNING = "running"


@dataclass(frozen=True)
class Specified:
    """A limit that is not a number but a fact of this name: the vehicle maker's specification."""

    fact: str

    def __str__(self) -> str:
        return "{" + self.fact + "}"


Limit = Decimal | Specified


@dataclass(frozen=True)
class Measurement:
    """Instrument, places, engine state, and what is unplugged.

    Attributes:
        instrument: Name of an instrument.
        clip: Place of the fixed lead; None for an instrument that has none.
        probe: Place of the free end, or the thing that is looked at.
        engine: State of key and engine.
        unplugged: Parts that are unplugged.
        compared_with: A second place that is looked at for comparison.
    """

    instrument: str
    clip: str | None
    probe: str
    engine: Engine
    unplugged: tuple[str, ...] = ()
    compared_with: str | None = None

    def usual(self) -> Measurement:
        """The same with the names that points and parts have in the circuit of a coil with an external driver."""

        def name(of: str | None) -> str | None:
            return SAME_POINT.get(of, of) if of else of

        return replace(
            self,
            clip=name(self.clip),
            probe=SAME_POINT.get(self.probe, self.probe),
            unplugged=tuple(SAME_POINT.get(part, part) for part in self.unplugged),
            compared_with=name(self.compared_with),
        )

    def hazards(self) -> tuple[Hazard, ...]:
        """Hazards of this measurement, derived from its instrument, places and engine state.

        Cranking turns belts and fans, and with the coil plugged in a working driver makes secondary voltage.
        A spark tester shows secondary voltage.
        The switched side and the driver's end of the control wire reach about 400 V when the driver
        switches off (the flyback clamp of an ignition transistor, public data sheets).
        A live circuit is any other with the key on or the battery's positive post on a lead.
        """
        found = []
        if self.engine in (Engine.CRANKING, Engine.RUNNING):
            found.append(Hazard.CRANKING)
        turning = self.engine in (Engine.CRANKING, Engine.RUNNING)
        if self.instrument == "spark-tester" or (turning and "coil" not in self.unplugged):
            found.append(Hazard.SECONDARY_VOLTAGE)
        touched = {self.clip, self.probe, self.compared_with}
        if touched & {"switched", "driver-end", "load-switched"} and self.engine in (
            Engine.CRANKING,
            Engine.RUNNING,
        ):
            found.append(Hazard.SWITCHED_VOLTAGE)
        if self.instrument not in SENSES and (
            self.engine is not Engine.KEY_OFF or "battery-positive" in touched
        ):
            found.append(Hazard.LIVE_CIRCUIT)
        return tuple(found)


class Leads(StrEnum):
    """The kind of place that an answer leads to."""

    STEP = "step"
    PROCEDURE = "procedure"
    VERDICT = "verdict"


@dataclass(frozen=True)
class Target:
    """The target of an answer: a step of this procedure, another procedure, or a verdict."""

    leads: Leads
    name: str

    def __str__(self) -> str:
        return f"{self.leads}:{self.name}"


@dataclass(frozen=True)
class Answer:
    """An outcome of a step and where it leads; `rules_out` are faults that can no longer be.

    `known_after` is a procedure that has already seen to it: if it handed over to this one in the same session, the
    step is not asked; "" if there is none.
    """

    outcome: str
    target: Target
    rules_out: tuple[str, ...] = ()
    known_after: str = field(default="", kw_only=True)


@dataclass(frozen=True)
class Band(Answer):
    """A range of a reading, ``low <= value < high``, with the source of its limits.

    Attributes:
        low: Lower limit, included; None: no lower limit.
        high: Upper limit, excluded; None: no upper limit.
        source: The publication or reasoning that the limits come from.
        seen: Description of the band in a report: "below the cranking floor".
    """

    low: Limit | None = None
    high: Limit | None = None
    source: str = ""
    seen: str = ""

    def limits(self, facts: Mapping[str, Decimal]) -> tuple[Decimal | None, Decimal | None] | None:
        """Both limits as numbers, None for none; None for both when one is a specification that is not known."""
        found: list[Decimal | None] = []
        for limit in (self.low, self.high):
            if isinstance(limit, Specified):
                if limit.fact not in facts:
                    return None
                found.append(facts[limit.fact])
            else:
                found.append(limit)
        return found[0], found[1]

    def holds(self, value: Decimal, facts: Mapping[str, Decimal] | None = None) -> bool:
        """Whether the value falls into this band; not when one of its limits is not known."""
        limits = self.limits(facts or {})
        if limits is None:
            return False
        low, high = limits
        return (low is None or value >= low) and (high is None or value < high)


@dataclass(frozen=True)
class Judged:
    """A reading as it was judged: after the leads were subtracted and the temperature was allowed for.

    `band` is None if a limit that it needs was not given, or when the given limits contradict each other.
    """

    value: Decimal
    band: Band | None


@dataclass(frozen=True)
class Reading:
    """A number that is asked for.

    Attributes:
        unit: Unit in which limits are stated and a bare number is taken.
        plausible: Lowest and highest believable value, both included; outside, it is asked again.
        bands: Bands that cover the whole plausible range without overlap, lowest first.
        subtract: A fact that is subtracted before the reading is judged; "" for none.
        at_20_celsius: The fact that holds the temperature of the copper that was measured; the reading is judged as
            it would be at 20 degrees Celsius.  "" if temperature does not matter.
        unjudged: Target if a specification was not given; None if no limit is a specification.
    """

    unit: str
    plausible: tuple[Decimal, Decimal]
    bands: tuple[Band, ...]
    subtract: str = ""
    at_20_celsius: str = ""
    unjudged: Answer | None = None

    def band(self, value: Decimal) -> Band:
        """The band that holds a plausible value, where no limit is a specification."""
        return next(band for band in self.bands if band.holds(value))

    def specified(self) -> tuple[str, ...]:
        """Names of the facts that limits are taken from, lowest limit first."""
        limits = [limit for band in self.bands for limit in (band.low, band.high)]
        return tuple(dict.fromkeys(limit.fact for limit in limits if isinstance(limit, Specified)))

    def judge(self, value: Decimal, facts: Mapping[str, Decimal]) -> Judged:
        """The band of a reading.

        Args:
            value: The reading in `unit`.
            facts: Numbers by name of fact, each in its own unit; one that was left blank is missing.
                A fact that is to be subtracted and is missing is taken as nothing, a temperature as 20 degrees.
        """
        judged = value
        if self.subtract in facts:
            judged = max(judged - facts[self.subtract], Decimal(0))
        if self.at_20_celsius in facts:
            warmer = facts[self.at_20_celsius] - 20
            judged = Decimal(format(_JUDGED.divide(judged, 1 + COPPER_PER_KELVIN * warmer), "f"))
        known = [band.limits(facts) for band in self.bands]
        rising = [high for limits in known if limits for high in limits[1:] if high is not None]
        if rising != sorted(rising):
            return Judged(judged, None)
        return Judged(judged, next((band for band in self.bands if band.holds(judged, facts)), None))


@dataclass(frozen=True)
class Step:
    """One measurement, the answers to it, and the cautions that go before it.

    Attributes:
        good: Outcome or band that a healthy system shows at this point; None if there is none.
        look_for: Hint that is spoken when the person is not sure.
        if_skipped: Target if the test is skipped; None if it cannot be skipped.
        heard: All outcomes that are listened for: the answers, and the other outcomes that the instrument can show, so
            that an answer that does not fit is caught and not taken for another one.
        line: Line in the file, for messages.
        asks: Facts that are asked for before the cautions, each only if the session does not hold it yet.
        repeat: The earlier measurement that is asked instead, if there is one (`assistant.core.library.repeat`).
    """

    name: str
    measure: Measurement
    cautions: tuple[str, ...]
    answers: tuple[Answer, ...] = ()
    reading: Reading | None = None
    good: str | None = None
    look_for: str = ""
    if_skipped: Target | None = None
    heard: tuple[str, ...] = ()
    line: int = 0
    asks: tuple[str, ...] = ()
    repeat: str = ""

    @property
    def watch(self) -> bool:
        """Whether the technician calls out each change until "that is all"; the answer follows from the changes."""
        return self.heard == WATCHED

    @property
    def starts_engine(self) -> bool:
        """Whether the engine is meant to start, and not only to be turned."""
        return any(answer.outcome in FIRED for answer in self.answers)

    def choices(self) -> tuple[Answer, ...]:
        """All answers or bands."""
        return self.reading.bands if self.reading else self.answers

    def ways(self) -> tuple[Answer, ...]:
        """All answers or bands; last, where a reading that cannot be judged leads."""
        unjudged = self.reading.unjudged if self.reading else None
        return (*self.choices(), unjudged) if unjudged else self.choices()

    def answer(self, outcome: str) -> Answer | None:
        """The answer or band of this name, also that of a reading that cannot be judged."""
        if outcome == UNJUDGED and self.reading:
            return self.reading.unjudged
        return next((answer for answer in self.choices() if answer.outcome == outcome), None)


@dataclass(frozen=True)
class NextCheck:
    """The one safe check that a technician can do after a verdict that no further test here follows.

    Attributes:
        do: What to do, spoken in one or two short sentences.
        value: What is good there, with its unit.
        source: Source of that value; common practice and memory are called that.
        come_back: Name of the procedure to come back to afterwards, or words that say where; "" for nowhere.
    """

    do: str
    value: str
    source: str
    come_back: str = ""


@dataclass(frozen=True)
class Verdict:
    """A conclusion that a procedure can end in.

    Attributes:
        says: One or two short sentences, spoken and read back before they count.
        faults: Faults of the catalogue that this verdict covers.
        part: Part that is to be replaced or repaired; "" if none is condemned.
        repair: Repair to do, for the repair order.
        verify: Checks to make after the repair.
        still_possible: Faults that this verdict does not tell apart, for the repair order; "" if none are left.
        continue_with: Procedure to go on with; None if the work ends here.
        line: Line in the file, for messages.
        next_check: The one safe check to do next; None if the verdict names none.
    """

    name: str
    says: str
    faults: tuple[str, ...]
    part: str
    repair: str
    verify: tuple[str, ...]
    still_possible: str = ""
    continue_with: str | None = None
    line: int = field(default=0, compare=False)
    next_check: NextCheck | None = None


@dataclass(frozen=True)
class Procedure:
    """Steps that end in verdicts or hand over to another procedure.

    `cautions` are given once when the procedure is entered, before those of its first step.
    `presumes_no` are faults that another procedure excludes before this one: it is not proven against them.
    `asks` are facts that are asked for on entering, each only if the session does not hold it yet.
    """

    name: str
    title: str
    circuit: str
    about: str
    needs: tuple[str, ...]
    cautions: tuple[str, ...]
    start: str
    steps: dict[str, Step]
    verdicts: dict[str, Verdict]
    file: str = ""
    presumes_no: tuple[str, ...] = ()
    asks: tuple[str, ...] = ()
