"""The terms that procedures share: places, instruments, outcomes, faults, facts and cautions, each with its words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum


class Hazard(StrEnum):
    """Harm that a measurement can do to a person or a part; a caution of the step must cover each."""

    CRANKING = "cranking"
    SECONDARY_VOLTAGE = "secondary-voltage"
    SWITCHED_VOLTAGE = "switched-voltage"
    LIVE_CIRCUIT = "live-circuit"


class SignalWord(StrEnum):
    """ANSI Z535.4 signal words: DANGER will, WARNING could (death or serious injury); CAUTION could.

    CAUTION is for minor or moderate injury; NOTICE for damage, not injury.
    """

    DANGER = "DANGER"
    WARNING = "WARNING"
    CAUTION = "CAUTION"
    NOTICE = "NOTICE"


@dataclass(frozen=True)
class Place:
    """A point that a lamp or meter is put on, a part that is unplugged, or a thing that is looked at.

    Attributes:
        name: Name in YAML and grammar, such as ``switched``.
        spoken: With its article, as spoken in an instruction: "the switched side of the coil".
        short: As spoken in a remark and shown in large letters: "switched side".
        kind: ``node`` (a point of the circuit), ``part`` (can be unplugged), ``item`` (is looked at), ``matter`` (is
            looked at or asked about, without its name being said with the answer, so no grammar needs to hear it).
        at_plug: As spoken when the coil is unplugged and its harness plug is probed; "" if that is the same.
        at_coil: As spoken when the coil is unplugged and is itself measured; "" if that is the same.
        logic: It carries a logic signal or a sensor's supply, which a filament lamp would pull down: none is put there.
        end: As spoken as one end of a voltage drop: "battery"; "" for its short name.
        says: The whole instruction at this place, instead of the instrument's words; "" for none.
        plug_short: Its short name when its harness connector is probed: "control pin"; "" if that is the same.
    """

    name: str
    spoken: str
    short: str
    kind: str
    at_plug: str = ""
    at_coil: str = ""
    logic: bool = False
    end: str = ""
    says: str = ""
    plug_short: str = ""


@dataclass(frozen=True)
class Instrument:
    """A tool to measure or to look with.

    Attributes:
        name: Name in YAML, such as ``test-lamp``.
        spoken: In a report: "test lamp".
        short: The tools that are taken off, joined by "and": "test lamp", "voltmeter and heavy lamp".
        prepare: Instruction before it is connected; "" for none.
        clip: Instruction for its fixed lead, with the place for ``{place}``: "Clip the lamp to {place}."; "" if it
            has none.
        probe: Instruction for its free end: "Probe {place}."; "" if it has none.
        watch: Instruction for the observer, said last; "" for none.
        outcomes: Outcomes that it can show, by name; empty for an instrument that gives numbers.
        units: Units of its readings; empty for one that gives outcomes.
        filament: It loads what it touches with a filament.
        minutes: Minutes of one test with it; 0 if ``odds.yaml`` says them.
        prove: For each place of its clip, the instruction that proves it once it is clipped there.
    """

    name: str
    spoken: str
    clip: str
    probe: str
    watch: str
    outcomes: tuple[str, ...] = ()
    units: tuple[str, ...] = ()
    short: str = ""
    prepare: str = ""
    filament: bool = False
    minutes: float = 0.0
    prove: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class Outcome:
    """Something that can be seen.

    `spoken` is the word for it in a question, `seen` in a report; `told` follows what showed it in a sentence about
    the past ("was lit"); "" if the terms leave it out.  A question leaves it out beside the outcome that it is `like`
    if both lead to the same place; it is heard all the same.
    """

    name: str
    spoken: str
    seen: str
    told: str = ""
    like: str = ""


@dataclass(frozen=True)
class Called:
    """What a measurement is called by the part that it is about, and not by its leads: "primary".

    Attributes:
        name: As spoken; ``{clip}`` and ``{probe}`` stand for the ends: "drop, {probe} to {clip}".
        instruments: Instruments that it is for.
        between: The places of both leads, in either order; empty for any.
        probe: The place of the free end; "" for any.
        hook_up: How it is connected, instead of an instruction for each lead; "" for none.
    """

    name: str
    instruments: tuple[str, ...]
    between: tuple[str, ...] = ()
    probe: str = ""
    hook_up: str = ""


@dataclass(frozen=True)
class Fault:
    """A fault of the catalogue.

    Attributes:
        plain: Its name in a report.
        part: The part that has it.
        customer: Its meaning, in a sentence for the car's owner; "" if the terms leave it out.
    """

    name: str
    plain: str
    part: str
    customer: str = ""


class FactKind(StrEnum):
    """The kind of answer that a fact has."""

    SPELLED = "spelled"
    VIN = "vin"
    NUMBER = "number"
    CHOICE = "choice"


@dataclass(frozen=True)
class Inquiry:
    """A fact about the vehicle, the order or the gear: the assistant asks for it and never invents it.

    Attributes:
        name: Name in YAML, such as ``lamp-current``.
        kind: Spelled signs, a vehicle identification number, a number, or one of a few choices.
        label: As in the write-up: "Lamp current".
        question: As spoken; at most twelve words.
        look_for: Hint where to find it, spoken when the person is not sure.
        longest: Most signs of a spelled fact.
        unit: Unit in which a number is kept; "" for one without.
        plausible: Lowest and highest believable number, both included; None if it is not a number.
        whole: Only whole numbers.
        choices: Name of each choice with its spoken words, in the order of their digits.
        specification: It is read from the vehicle maker's information and never has a default.
        line: Line in the file, for messages.
    """

    name: str
    kind: FactKind
    label: str
    question: str
    look_for: str = ""
    longest: int = 0
    unit: str = ""
    plausible: tuple[Decimal, Decimal] | None = None
    whole: bool = False
    choices: Mapping[str, str] = field(default_factory=dict)
    specification: bool = False
    line: int = 0


@dataclass(frozen=True)
class Caution:
    """A caution with its ANSI Z535 signal word, a full form and a shorter one for repetitions.

    Attributes:
        covers: Hazards for which this caution is enough.
        acknowledge: The person must say that they are ready the first time, before the step is released.
        source: The publication or practice that it comes from.
        instruments: A procedure gives it before the first step with one of these; () for any step.
    """

    name: str
    signal: SignalWord
    full: str
    short: str
    covers: tuple[Hazard, ...]
    acknowledge: bool
    source: str
    instruments: tuple[str, ...] = ()


@dataclass(frozen=True)
class Terms:
    """The names that procedures and grammars share, each with its words, and the facts that can be asked for."""

    places: dict[str, Place]
    instruments: dict[str, Instrument]
    outcomes: dict[str, Outcome]
    faults: dict[str, Fault]
    facts: dict[str, Inquiry] = field(default_factory=dict)
    called: dict[str, Called] = field(default_factory=dict)

    def places_of(self, *kinds: str) -> list[str]:
        """Names of the places of these kinds, in the order of the file."""
        return [place.name for place in self.places.values() if place.kind in kinds]
