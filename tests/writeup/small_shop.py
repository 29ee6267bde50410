"""A small set of procedures and a session in it, for the tests of the write-up."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from typing import TYPE_CHECKING

from assistant.core.library.library import Library
from assistant.core.library.procedure import (
    Answer,
    Band,
    Engine,
    Leads,
    Measurement,
    Procedure,
    Reading,
    Step,
    Target,
    Verdict,
)
from assistant.core.library.terms import Caution, Fault, Hazard, Instrument, Outcome, Place, SignalWord, Terms
from assistant.core.values.entries import (
    CautionAcknowledged,
    CautionGiven,
    Cranked,
    Entry,
    ModeChanged,
    ProcedureEntered,
    Remark,
    ResultTaken,
    ResultUndone,
    StepSkipped,
    VerdictReached,
    VoiceNoteTaken,
)
from assistant.core.values.events import NoInput, Note
from assistant.record import Facts, Header, Line, LogFile, RecordedSession, Seal

if TYPE_CHECKING:
    from pathlib import Path

ZONE = timezone(timedelta(hours=-5))
START = datetime(2026, 11, 25, 14, 32, 7, tzinfo=ZONE)
FACTS = Facts(
    order="4711",
    vin="1G4AH59H45G118341",
    vehicle="2005 blue pickup, 4 cylinders",
    complaint='Cranks fine, will not start since Monday. "Smelled <hot> & burnt."',
    technician="R. Alvarez",
)


def _to(name: str) -> Target:
    leads, _, name = name.partition(":")
    return Target(Leads(leads), name)


def small_library() -> Library:
    """Battery first, then the coil: enough for every part of the write-up."""
    places = (
        Place("battery-negative", "the battery negative post", "battery negative", "node"),
        Place("battery-positive", "the battery positive post", "battery positive", "node"),
        Place("feed", "the feed side of the coil", "feed side", "node"),
        Place("switched", "the switched side of the coil", "switched side", "node"),
        Place("coil", "the coil", "coil", "part"),
    )
    lamp = ("lit", "dark", "blinking", "steady")
    instruments = (
        Instrument(
            "test-lamp", "test lamp", "Clip the lamp to", "Probe", "Watch the lamp", lamp, filament=True
        ),
        Instrument(
            "voltmeter", "voltmeter", "Black lead to", "Red lead to", "Read the meter", units=("V", "mV")
        ),
        Instrument("ohmmeter", "ohmmeter", "One lead to", "Other lead to", "Read the meter", units=("ohm",)),
    )
    outcomes = (
        Outcome("lit", "lit", "lamp lit"),
        Outcome("dark", "dark", "lamp dark"),
        Outcome("blinking", "blinking", "lamp blinking"),
        Outcome("steady", "steady", "lamp lit and steady, no blink"),
    )
    faults = (
        Fault("weak-battery", "weak battery", "battery"),
        Fault("open-feed", "open feed", "feed circuit"),
        Fault("coil-secondary", "coil secondary, lead or plug", "ignition coil"),
        Fault("shorted-primary", "shorted coil primary", "ignition coil"),
        Fault("driver-dead", "driver does not switch", "driver module"),
    )
    cautions = (
        Caution(
            "cranking", SignalWord.WARNING, "The engine will turn. Hands and hair clear of belts and fans.",
            "Cranking. Hands clear.", (Hazard.CRANKING,), acknowledge=True, source="common practice",
        ),
        Caution(
            "live", SignalWord.CAUTION, "The circuit is live. Take rings off.", "Live circuit.",
            (Hazard.LIVE_CIRCUIT,), acknowledge=False, source="common practice",
        ),
    )  # fmt: skip
    return Library(
        terms=Terms(
            places={one.name: one for one in places},
            instruments={one.name: one for one in instruments},
            outcomes={one.name: one for one in outcomes},
            faults={one.name: one for one in faults},
        ),
        cautions={one.name: one for one in cautions},
        procedures={"battery": _battery(), "coil": _coil()},
    )


def _battery() -> Procedure:
    floor = "cranking floor of the test"
    bands = (
        Band("drops", _to("verdict:weak"), (), None, Decimal("9.6"), floor, "below the cranking floor"),
        Band("holds", _to("verdict:able"), ("weak-battery",), Decimal("9.6"), None, floor, "above the floor"),
    )
    measure = Measurement("voltmeter", "battery-negative", "battery-positive", Engine.CRANKING)
    step = Step(
        "volts", measure, ("cranking",), reading=Reading("V", (Decimal(0), Decimal(18)), bands), good="holds"
    )
    return Procedure(
        "battery", "Battery while cranking", "battery-and-starter", "", ("voltmeter",), (), "volts", {"volts": step},
        {
            "weak": Verdict("weak", "The battery does not hold up.", ("weak-battery",), "", "Charge and test it.", ()),
            "able": Verdict(
                "able", "The battery holds up.", (), "", "Go on with the coil.", (), continue_with="coil"
            ),
        },
    )  # fmt: skip


def _coil() -> Procedure:
    feed = Step(
        "feed", Measurement("test-lamp", "battery-negative", "feed", Engine.CRANKING), ("cranking", "live"),
        (Answer("lit", _to("step:switched"), ("open-feed",)), Answer("dark", _to("verdict:feed-open"))),
        good="lit", look_for="As bright as on the battery.",
    )  # fmt: skip
    switched = Step(
        "switched", Measurement("test-lamp", "battery-negative", "switched", Engine.CRANKING), ("cranking",),
        (
            Answer("blinking", _to("verdict:control"), ("driver-dead",)),
            Answer("steady", _to("step:primary")),
        ),
        good="blinking",
    )  # fmt: skip
    bands = (
        Band(
            "shorted",
            _to("verdict:coil-shorted"),
            (),
            None,
            Decimal("0.3"),
            "usual range",
            "below the usual range",
        ),
        Band(
            "normal",
            _to("verdict:no-control"),
            ("shorted-primary",),
            Decimal("0.3"),
            None,
            "usual range",
            "normal",
        ),
    )
    primary = Step(
        "primary", Measurement("ohmmeter", "feed", "switched", Engine.KEY_OFF, ("coil",)), (),
        reading=Reading("ohm", (Decimal(0), Decimal(1000)), bands), good="normal",
        if_skipped=_to("verdict:no-control"),
    )  # fmt: skip
    verify = ("Spark at a grounded spark tester", "Engine starts")
    verdicts = (
        Verdict("feed-open", "The feed is open.", ("open-feed",), "feed circuit", "Repair the feed.", verify),
        Verdict(
            "control", "Control is there. The coil or its secondary is at fault.", ("coil-secondary",), "ignition coil",
            "Check leads and plugs, then replace the ignition coil.", verify, "Coil and plugs are not told apart.",
        ),
        Verdict("coil-shorted", "The primary is shorted.", ("shorted-primary",), "coil", "Fit a coil.", verify),
        Verdict("no-control", "The driver does not switch.", ("driver-dead",), "", "Test its inputs first.", verify),
    )  # fmt: skip
    return Procedure(
        "coil", "Control test at the coil", "coil-with-external-driver", "", ("test lamp",), (), "feed",
        {one.name: one for one in (feed, switched, primary)}, {one.name: one for one in verdicts},
    )  # fmt: skip


@dataclass
class Story:
    """Entries with a time each; the log has one line for each."""

    lines: list[Line] = field(default_factory=list)

    def add(self, minute: float, *entries: Entry) -> Story:
        """Add a line with these entries so many minutes after the start."""
        moment = START + timedelta(minutes=minute)
        number = len(self.lines) + 1
        self.lines.append(Line(number, moment, NoInput(minute * 60), tuple(map(Note, entries))))
        return self

    def session(
        self, facts: Facts = FACTS, *, sealed: bool = True, folder: Path | None = None
    ) -> RecordedSession:
        """The session that holds these lines."""
        seal = Seal(START + timedelta(minutes=40), len(self.lines), "0" * 64, {}) if sealed else None
        return RecordedSession(
            Header("2026-11-25-1432-k7f3", START, "0.1.0", facts),
            tuple(self.lines),
            sealed=seal,
            logs=(LogFile("log.jsonl", "ab" * 32, len(self.lines)),),
            folder=folder,
        )


def lamp(
    number: int, step: str, outcome: str, following: str, *, how: str = "voice", confirmed: str = "read back"
) -> ResultTaken:
    """A lamp result in the coil procedure."""
    voice = how == "voice"
    return ResultTaken(
        number, "coil", step, outcome, None, None, how, f"{step} {outcome}" if voice else "1", 0.97 if voice else 1.0,
        14.4 if voice else None, confirmed, f"clips/{number:04d}.flac" if voice else None, following,
    )  # fmt: skip


def reading(
    number: int, procedure: str, step: str, outcome: str, value: str, unit: str, following: str
) -> ResultTaken:
    """A reading that was spoken and affirmed."""
    return ResultTaken(
        number, procedure, step, outcome, Decimal(value), unit, "voice", f"{value} spoken", 0.88, 9.6, "affirmed",
        f"clips/{number:04d}.flac", following,
    )  # fmt: skip


def whole_story() -> Story:
    """A session with a correction, a skip, noise, a stop, an interruption, a note, and an affirmed verdict."""
    crank = ("cranking",)
    return (
        Story()
        .add(0, ProcedureEntered("battery"))
        .add(0.4, CautionGiven("cranking", "full", "battery", "volts"))
        .add(0.6, CautionAcknowledged(crank, "battery", "volts", "keypad"))
        .add(1.2, Cranked(5.2, timed=True, procedure="battery", step="volts"))
        .add(1.5, reading(1, "battery", "volts", "holds", "10.40", "V", "verdict:able"))
        .add(1.6, VerdictReached("battery", "able", affirmed=True))
        .add(2, ProcedureEntered("coil", "battery"))
        .add(
            2.2,
            CautionGiven("cranking", "short", "coil", "feed"),
            CautionGiven("live", "full", "coil", "feed"),
        )
        .add(
            3, Remark("wrong place", "switched side was said at the feed side: switched lit", "coil", "feed")
        )
        .add(3.3, Cranked(4.9, timed=True, procedure="coil", step="feed"))
        .add(3.5, lamp(2, "feed", "lit", "step:switched"))
        .add(5, CautionGiven("cranking", "short", "coil", "switched"))
        .add(6, lamp(3, "switched", "blinking", "verdict:control"))
        .add(6.2, ResultUndone(3, "coil", "switched", "voice"))
        .add(7, Remark("not understood", "hand me the", "coil", "switched"))
        .add(7.2, Remark("not understood", "", "coil", "switched"))
        .add(7.5, ModeChanged("keypad only", "too loud to hear, noise -12 dB"))
        .add(8, Cranked(8.0, timed=False, procedure="coil", step="switched"))
        .add(8.1, lamp(4, "switched", "steady", "step:primary", how="keypad"))
        .add(8.5, ModeChanged("stop", "stop was said or keyed"))
        .add(9, VoiceNoteTaken("clips/0005.flac", 4.2, "coil", "primary"))
        .add(25, ModeChanged("resumed", "the session was interrupted"))
        .add(27, reading(5, "coil", "primary", "shorted", "0.1", "ohm", "verdict:coil-shorted"))
        .add(27.2, VerdictReached("coil", "coil-shorted", affirmed=True))
        .add(28, ModeChanged("closed", "asked for"))
    )


def skipped_story() -> Story:
    """A session that ends at a skipped test, with a verdict that nobody affirmed."""
    return (
        Story()
        .add(0, ProcedureEntered("coil"))
        .add(1, lamp(1, "feed", "lit", "step:switched"))
        .add(2, lamp(2, "switched", "steady", "step:primary"))
        .add(3, StepSkipped("coil", "primary", "no tool", "verdict:no-control"))
        .add(3, VerdictReached("coil", "no-control", affirmed=False))
    )
