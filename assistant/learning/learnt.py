"""What is known of a technician: how the voice matches the model, own words, and which answers are heard well."""

from __future__ import annotations

import base64
import binascii
import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from assistant.core.values.own_word import KINDS, OwnWord
from assistant.hearing.voice_so_far import LONGEST, NEW_VOICE, VoiceSoFar

FORMAT = "bay-assistant voice"
VERSION = 1

MOST_OWN_WORDS = 60
"""Largest number of own words of one technician."""

MOST_SCALES = 8192
"""Largest number of units of a layer whose scales are kept."""

Floats = NDArray[np.float32]


@dataclass(frozen=True)
class HeardOften:
    """How an answer was heard in the lesson: right, of so many times."""

    right: int
    of: int


@dataclass(frozen=True)
class Learnt:
    """What is known of a technician.

    Attributes:
        technician: The name.
        day: Day of the last lesson, as 2026-11-28; "" before the first.
        model: Fingerprint of the model that heard it; what is learnt of the sound counts for that model alone.
        voice: How this voice's answers differ from those of others: where a session begins.
        scales: Logarithms of the scales of the acoustic model's last wide layer, shape (units,); empty if scaling did
            not help on the half that checks.
        scores: For each prompted answer how it was heard.
        own: Own words for answers.
    """

    technician: str
    day: str = ""
    model: str = ""
    voice: VoiceSoFar = NEW_VOICE
    scales: Floats = field(default_factory=lambda: np.zeros(0, np.float32), compare=False)
    scores: Mapping[str, HeardOften] = field(default_factory=dict)
    own: tuple[OwnWord, ...] = ()

    def to_bytes(self) -> bytes:
        """The contents of the file."""
        body = {
            "format": FORMAT,
            "version": VERSION,
            "technician": self.technician,
            "day": self.day,
            "model": self.model,
            "voice": {"answers": self.voice.answers, "sums": dict(self.voice.sums)},
            "scales": base64.b64encode(self.scales.astype("<f2").tobytes()).decode("ascii"),
            "scores": {words: [one.right, one.of] for words, one in self.scores.items()},
            "own": own_to_json(self.own),
        }
        return json.dumps(body, ensure_ascii=False, indent=1, allow_nan=False).encode("utf-8") + b"\n"


def own_to_json(own: tuple[OwnWord, ...]) -> list[dict[str, str]]:
    """Own words as JSON."""
    return [{"words": one.words, "kind": one.kind, "means": one.means} for one in own]


def own_from_json(body: Any) -> tuple[OwnWord, ...]:
    """The same from JSON.

    Raises:
        ValueError, TypeError, LookupError: It is something else.
    """
    if not isinstance(body, list) or len(body) > MOST_OWN_WORDS:
        raise ValueError("the own words are not a list, or are too many")
    found = []
    for one in body:
        words, kind, means = _text(one["words"]), _text(one["kind"]), _text(one["means"])
        if kind not in KINDS or not words or " ".join(words.split()) != words:
            raise ValueError(f"'{words}' are not own words")
        found.append(OwnWord(words, kind, means))
    return tuple(found)


def parse_learnt(data: bytes) -> Learnt:
    """Read what `Learnt.to_bytes` wrote.

    Raises:
        ValueError, TypeError, LookupError: It is damaged, or of another version; says what.
    """
    body = json.loads(data)
    if not isinstance(body, dict) or body.get("format") != FORMAT:
        raise ValueError("it is not a learnt voice")
    if body.get("version") != VERSION:
        raise ValueError("another version of bay-assistant wrote it")
    try:
        packed = base64.b64decode(_text(body["scales"]), validate=True)
    except binascii.Error as error:
        raise ValueError("the scales are damaged") from error
    scales = np.frombuffer(packed, "<f2").astype(np.float32)
    if scales.size > MOST_SCALES or not np.isfinite(scales).all() or (np.abs(scales) > 3).any():
        raise ValueError("the scales are damaged")
    sums = {_text(name): _number(value) for name, value in body["voice"]["sums"].items()}
    answers = min(max(0.0, _number(body["voice"]["answers"])), LONGEST)
    return Learnt(
        technician=_text(body["technician"]),
        day=_text(body["day"]),
        model=_text(body["model"]),
        voice=VoiceSoFar(answers, sums),
        scales=scales,
        scores={
            _text(words): HeardOften(int(right), int(of)) for words, (right, of) in body["scores"].items()
        },
        own=own_from_json(body["own"]),
    )


def fingerprint(model: bytes) -> str:
    """A short name for the contents of an acoustic model's file: its length and its CRC-32."""
    return f"{len(model)}-{zlib.crc32(model):08x}"


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise TypeError(f"expected text, found {value!r}")
    return value


def _number(value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1e6:
        raise TypeError(f"expected a number, found {value!r}")
    return float(value)
