"""The header: everything known about a session before it begins, in the first file of its folder."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from assistant.core.values.answer_kind import AnswerKind, KindLimits
from assistant.core.values.events import TypedFact
from assistant.core.values.own_word import OwnWord
from assistant.core.values.starter import StarterLimits
from assistant.core.values.thresholds import NO_LIMIT, OLD_RULES, Thresholds
from assistant.errors import MALFORMED, RecordBroken, RecordProblem
from assistant.measured import DEFAULT_THRESHOLDS

FORMAT = "bay-assistant session"
VERSION = 1

HEADER_FILE = "session.json"
SEAL_FILE = "seal.json"
REVIEWS_FILE = "reviews.jsonl"
REVIEWS_HEAD_FILE = "reviews-head.json"
TRANSCRIPTS_FILE = "notes.jsonl"
TORN_FILE = "log.torn"
CLIPS = "clips"
PROCEDURES = "procedures"


@dataclass(frozen=True)
class Facts:
    """The facts that the person typed about the job; "" if a fact was not given (it is never invented).

    Attributes:
        order: Number of the repair order.
        vin: Vehicle identification number, already checked.
        vehicle: The vehicle in free words.
        complaint: The customer's complaint, in the customer's words.
        technician: Name or initials of the technician.
        odometer: Reading of the odometer, already checked, such as ``98200 miles``.
        crank_longest: The vehicle maker's longest cranking in one go, in s.
        crank_rest: The vehicle maker's wait between two cranks, in s.
        lamp_kind: The test lamp in use, by the name that the terms give it.
        lamp_current: The current that it draws, in A.
        cylinders: Number of cylinders of the engine.
    """

    order: str = ""
    vin: str = ""
    vehicle: str = ""
    complaint: str = ""
    technician: str = ""
    odometer: str = ""
    crank_longest: str = ""
    crank_rest: str = ""
    lamp_kind: str = ""
    lamp_current: str = ""
    cylinders: str = ""

    def typed(self) -> tuple[TypedFact, ...]:
        """The facts that a session would otherwise ask for, in the form in which it holds them from the beginning."""
        number, _, unit = self.odometer.partition(" ")
        facts = (
            TypedFact("order", self.order),
            TypedFact("vin", self.vin),
            TypedFact("odometer", number, unit),
            TypedFact("technician", self.technician),
            TypedFact("crank-longest", self.crank_longest, "s"),
            TypedFact("crank-rest", self.crank_rest, "s"),
            TypedFact("lamp-kind", self.lamp_kind),
            TypedFact("lamp-current", self.lamp_current, "A"),
            TypedFact("cylinders", self.cylinders),
        )
        return tuple(fact for fact in facts if fact.value)


@dataclass(frozen=True)
class Shop:
    """The shop as its settings named it when the session began; "" where they do not tell.

    Attributes:
        name: Its name.
        address: Its address, on several lines.
        telephone: Its telephone number.
        clamp: The current clamp that it uses.
    """

    name: str = ""
    address: str = ""
    telephone: str = ""
    clamp: str = ""


@dataclass(frozen=True)
class SpokenBy:
    """The assistant's voice in a session, which a resumed one keeps.

    Attributes:
        voice: Its name; "" if the record does not tell.
        rate: Its rate, words a minute; 0 if the record does not tell.
    """

    voice: str = ""
    rate: int = 0


@dataclass(frozen=True)
class HeardBy:
    """What was known of the technician who answers, which a resumed session keeps.

    A replay needs none of it, because the record holds what was understood.

    Attributes:
        technician: Whose learnt voice hears; "" for nobody's.
        adapted: Whether the acoustic model was fitted to that voice.
        own: The technician's own words for answers.
    """

    technician: str = ""
    adapted: bool = False
    own: tuple[OwnWord, ...] = ()


@dataclass(frozen=True)
class Header:
    """The header of a session.

    Attributes:
        id: Name of the session and of its folder.
        started: Time of its beginning, with the offset to UTC.
        program: Version of the program that recorded it.
        facts: Facts that were typed about the job.
        thresholds: The dialogue's limits in force.
        procedures: SHA-256 of each copied procedure file, by file name.
        likelihoods: Version of the likelihoods that weigh the results; "" if there are none.
        spoken_by: The assistant's voice.
        heard_by: The technician's learnt voice and own words.
        shop: The shop.
    """

    id: str
    started: datetime
    program: str
    facts: Facts = field(default_factory=Facts)
    thresholds: Thresholds = DEFAULT_THRESHOLDS
    procedures: Mapping[str, str] = field(default_factory=dict)
    likelihoods: str = ""
    spoken_by: SpokenBy = field(default_factory=SpokenBy)
    heard_by: HeardBy = field(default_factory=HeardBy)
    shop: Shop = field(default_factory=Shop)

    def to_bytes(self) -> bytes:
        """The contents of `HEADER_FILE`, indented because people look into it."""
        data = {
            "format": FORMAT,
            "version": VERSION,
            "id": self.id,
            "started": self.started.isoformat(timespec="milliseconds"),
            "program": self.program,
            "facts": dataclasses.asdict(self.facts),
            "thresholds": dataclasses.asdict(self.thresholds),
            "procedures": dict(sorted(self.procedures.items())),
            "likelihoods": self.likelihoods,
            "spoken_by": dataclasses.asdict(self.spoken_by),
            "heard_by": dataclasses.asdict(self.heard_by),
            "shop": dataclasses.asdict(self.shop),
        }
        text = json.dumps(data, ensure_ascii=False, indent=2, allow_nan=False)
        return text.encode("utf-8", "backslashreplace") + b"\n"


def parse_header(data: bytes, name: str) -> Header:
    """Parse a header that `Header.to_bytes` wrote.

    Args:
        data: The bytes of the file.
        name: Name of the file for messages.

    Raises:
        RecordProblem: It belongs to something else or to a newer version of this program.
        RecordBroken: It is damaged.
    """
    try:
        body = json.loads(data)
    except (ValueError, RecursionError) as error:
        raise RecordBroken(f"{name} is damaged: it is not JSON any more.") from error
    if not isinstance(body, dict) or body.get("format") != FORMAT:
        raise RecordProblem(f"{name} is not the header of a bay-assistant session.")
    if body.get("version") != VERSION:
        raise RecordProblem(
            f"{name} was written in version {body.get('version')} of the session format; "
            f"this program reads version {VERSION}. Install the newer bay-assistant."
        )
    try:
        return Header(
            id=_text(body["id"]),
            started=parse_time(body["started"]),
            program=_text(body["program"]),
            facts=Facts(**{name: _text(value) for name, value in body["facts"].items()}),
            thresholds=_thresholds(body["thresholds"]),
            procedures={_plain_name(name): _text(value) for name, value in body["procedures"].items()},
            likelihoods=_text(body.get("likelihoods", "")),  # none in sessions recorded before there were any
            spoken_by=_spoken_by(
                body.get("spoken_by", {})
            ),  # not told in sessions recorded with one voice only
            heard_by=_heard_by(body.get("heard_by", {})),  # nobody's in sessions before voices were learnt
            shop=Shop(
                **{name: _text(value) for name, value in body.get("shop", {}).items()}
            ),  # later than both
        )
    except MALFORMED as error:
        raise RecordBroken(f"{name} is damaged: {error}.") from error


def parse_time(value: Any) -> datetime:
    """An ISO 8601 time with its offset to UTC.

    Raises:
        ValueError: It is something else.
    """
    moment = datetime.fromisoformat(_text(value))
    if moment.tzinfo is None:
        raise ValueError(f"the time {value} has no offset to UTC")
    return moment


def _spoken_by(body: Any) -> SpokenBy:
    rate = body.get("rate", 0)
    if isinstance(rate, bool) or not isinstance(rate, int):
        raise TypeError(f"the speaking rate {rate!r} is not a whole number")
    return SpokenBy(_text(body.get("voice", "")), rate)


def _heard_by(body: Any) -> HeardBy:
    adapted = body.get("adapted", False)
    if not isinstance(adapted, bool):
        raise TypeError(f"expected true or false, found {adapted!r}")
    own = tuple(
        OwnWord(_text(one["words"]), _text(one["kind"]), _text(one["means"])) for one in body.get("own", ())
    )
    return HeardBy(_text(body.get("technician", "")), adapted, own)


def _thresholds(body: Any) -> Thresholds:
    """The recorded limits; one that this program has and the record has not keeps its default."""
    known = {item.name for item in dataclasses.fields(Thresholds)}
    nested = ("starter", "by_kind")
    numbers = {name: value for name, value in body.items() if name not in (*nested, *_NO_LONGER)}
    starter = _starter(body.get("starter", {}), numbers.pop("crank_s", None), numbers.pop("rest_s", None))
    _check_numbers(numbers, known)
    return Thresholds(
        **{"weighed_results": NO_LIMIT, "part_from": 0.0, "rules": OLD_RULES, **numbers},
        starter=starter,
        by_kind=tuple(_kind_limits(limits) for limits in body.get("by_kind", ())),
    )


_NO_LONGER = ("stop_from",)
"""Limits of earlier versions that only hearing used, and that no replay needs."""


def _kind_limits(body: Any) -> KindLimits:
    """The recorded limits of a kind of answer."""
    numbers = {name: value for name, value in body.items() if name != "kind"}
    _check_numbers(numbers, {"taken_from", "sure_from"})
    return KindLimits(AnswerKind(body["kind"]), **numbers)


def _starter(body: Any, crank_s: Any, rest_s: Any) -> StarterLimits:
    """The limits of cranking; a session of before the budget has the longest crank and the rest after any crank."""
    _check_numbers(body, {item.name for item in dataclasses.fields(StarterLimits)})
    if crank_s is None and rest_s is None:
        return StarterLimits(**body)
    old = {"crank_s": 8.0 if crank_s is None else crank_s, "rest_s": 60.0 if rest_s is None else rest_s}
    _check_numbers(old, set(old))
    return StarterLimits(
        longest_s=old["crank_s"], assumed_s=old["crank_s"], flat_rest_s=old["rest_s"], pause_s=0.0, **body
    )


def _check_numbers(body: Any, known: set[str]) -> None:
    """Raise a `ValueError` or `TypeError` unless all these limits are known and numbers."""
    for name, value in body.items():
        if name not in known:
            raise ValueError(f"unknown threshold {name}")
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise TypeError(f"threshold {name} is not a number")


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(f"expected text, found {value!r}")
    return value


def _plain_name(name: str) -> str:
    if "/" in name or "\\" in name or name.startswith("."):
        raise ValueError(f"{name!r} is not the name of a procedure file")
    return name
