"""Whether the assistant answers itself through a headset's leakage, and whether it is heard when spoken over.

Sessions of eight turns go through the real ear with the real grammars, each with a path from loudspeaker to microphone
of its own: two of three by wire (40 to 120 ms), the others by radio (150 to 400 ms, clocks up to 100 parts in a
million apart). The ear knows nothing of the path when a session begins.
"""

from __future__ import annotations

import random
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.core.values.events import Clip, Event, Heard, NoMatch
from assistant.core.values.result import Control
from assistant.core.words.sentences import sentences
from assistant.hearing.activity import CHUNK
from assistant.hearing.baynoise import KINDS, bay_noise
from assistant.hearing.ear import Ear, Reports
from assistant.hearing.own_voice import OwnVoice
from assistant.hearing.sound import RATE
from assistant.hearing_bench.leaking import LeakPath
from assistant.hearing_bench.mixing import CLEAN_DB, Signal, at_level, rendered_signal, to_samples
from assistant.hearing_bench.spoken_turns import SpokenTurn
from assistant.speaking.voice import Voice

if TYPE_CHECKING:
    from assistant.grammar.grammar_set import GrammarSet
    from assistant.hearing.recogniser import Recogniser
    from assistant.hearing.sound import Samples

LEAKS_DB = (-10, -20, -30)
NOISES_DB = (CLEAN_DB, 20.0, 10.0)
SPEECH_DB = -25.0
"""Level of the technician's speech, to which leakage and noise refer, dB relative to full scale."""

TURNS = 8
LEAD_S, REST_S = 1.0, 2.0


@dataclass
class Leakage:
    """What came of the turns of one condition: `counts` by name, see `text`."""

    counts: Counter[str] = field(default_factory=Counter)

    def line(self) -> str:
        """The counts in words."""
        return ", ".join(f"{name} {count}" for name, count in self.counts.items())


class _Beside:
    """What was played, laid beside the microphone's samples."""

    def __init__(self) -> None:
        self.samples: Samples = np.zeros(0, np.int16)

    def between(self, start: int, end: int) -> Samples:
        found = np.zeros(end - start, np.int16)
        piece = self.samples[max(0, start) : max(0, end)]
        found[max(0, -start) : max(0, -start) + piece.size] = piece
        return found


@dataclass(frozen=True)
class LeakagePlan:
    """What is measured.

    Attributes:
        turns: What the assistant says.
        voice: Says it.
        speak_over: Gives the speech of a technician who says a word meanwhile; None if nobody does.
        cure: The ear tells its own voice.
        every_noise: Every turn at every noise; else the sessions take turns with them.
    """

    turns: Sequence[SpokenTurn]
    voice: Voice
    speak_over: Callable[[str], Signal] | None = None
    cure: bool = True
    every_noise: bool = False


def measure(
    plan: LeakagePlan, recogniser: Recogniser, grammars: GrammarSet, progress: Callable[[str], None]
) -> dict[tuple[int, float], Leakage]:
    """What came of it, by the level of the leakage and the ratio of speech to noise, dB."""
    found: dict[tuple[int, float], Leakage] = defaultdict(Leakage)
    sessions = [plan.turns[at : at + TURNS] for at in range(0, len(plan.turns), TURNS)]
    for leak_db in LEAKS_DB:
        for number, turns in enumerate(sessions):
            progress(f"leakage at {leak_db} dB, session {number + 1} of {len(sessions)}")
            chosen = NOISES_DB[(number + leak_db // 10) % len(NOISES_DB)]
            for noise_db in NOISES_DB if plan.every_noise else (chosen,):
                session = _Session(plan, recogniser, grammars, leak_db, noise_db, number)
                for turn in turns:
                    found[leak_db, noise_db].counts.update(session.take(turn))
    return found


def to_json(found: dict[tuple[int, float], Leakage]) -> list[dict[str, Any]]:
    """The same counts as JSON: a row for each condition."""
    return [
        {"leakage_db": leak_db, "noise_db": noise_db, "counts": dict(found[leak_db, noise_db].counts)}
        for leak_db, noise_db in sorted(found, reverse=True)
    ]


def text(found: dict[tuple[int, float], Leakage]) -> str:
    """A line for each condition."""
    lines = (
        f"leakage {leak_db} dB, noise at {noise_db:.0f} dB: {found[leak_db, noise_db].line()}\n"
        for leak_db, noise_db in sorted(found, reverse=True)
    )
    return "".join(lines)


class _Session:
    """One session with its path."""

    def __init__(
        self,
        plan: LeakagePlan,
        recogniser: Recogniser,
        grammars: GrammarSet,
        leak_db: int,
        noise_db: float,
        number: int,
    ) -> None:
        self._plan, self._leak_db, self._noise_db = plan, leak_db, noise_db
        self._draw = draw = random.Random(f"{number} {leak_db} {noise_db}")  # noqa: S311  a measurement
        self._kind = KINDS[number % len(KINDS)]
        wired = draw.random() < 2 / 3
        self._path = LeakPath(
            delay_s=draw.uniform(0.04, 0.12) if wired else draw.uniform(0.15, 0.4),
            decay_s=0.02,
            drift_ppm=0.0 if wired else draw.uniform(-100, 100),
            seed=draw.randrange(2**31),
        )
        self._beside = _Beside()
        self._events: list[Event] = []
        reports = Reports(
            happened=lambda make: self._events.append(make(0.0)),
            keep_clip=lambda samples: Clip("", "", len(samples) / RATE),
        )
        own_voice = OwnVoice(self._beside.between) if plan.cure else None
        self._ear = Ear(recogniser, grammars.request, reports, own_voice=own_voice)

    def take(self, turn: SpokenTurn) -> Counter[str]:
        """Say a turn, and count what the ear makes of it."""
        said = rendered_signal(self._plan.voice.render(turn.text))
        leaked = at_level(self._path.heard(said), SPEECH_DB + self._leak_db)
        lead = round(LEAD_S * RATE)
        length = -(-(lead + len(leaked) + round(REST_S * RATE)) // CHUNK) * CHUNK
        noise = bay_noise(self._kind, length / RATE, RATE, self._draw.randrange(2**31))
        mixed = noise * 10 ** ((SPEECH_DB - self._noise_db) / 20)
        mixed[lead : lead + len(leaked)] += leaked
        word, began = self._speak_over(turn, mixed, lead, len(said))
        beside = np.zeros(length)
        beside[lead : lead + len(said)] = said
        self._beside.samples = np.concatenate([self._beside.samples, to_samples(beside)])
        self._ear.listen(turn.request)
        counts = Counter(turns=1, sentences=sum(1 for _ in sentences(turn.text)))
        counts["spoken over"] += bool(word)
        samples = to_samples(mixed)
        for start in range(0, length, CHUNK):
            self._ear.feed(samples[start : start + CHUNK])
            for event in self._events:
                counts[_kind(event, word if start > began else "")] += 1
            self._events.clear()
        counts["heard"] = min(1, counts["heard"])
        return counts

    def _speak_over(self, turn: SpokenTurn, mixed: Signal, lead: int, length: int) -> tuple[str, int]:
        """Add a technician's word while the assistant speaks; the word and the place where it begins."""
        if self._plan.speak_over is None:
            return "", 0
        word = "lit" if "lit" in turn.request.outcomes and self._draw.random() < 0.6 else "stop"
        speech = at_level(self._plan.speak_over(word), SPEECH_DB)
        delay = round(self._path.delay_s * RATE)
        began = lead + delay + round(self._draw.uniform(0.1, 0.9) * max(1, length - len(speech)))
        room = mixed[began : began + len(speech)]
        room += speech[: len(room)]
        return word, began


def _kind(event: Event, word: str) -> str:
    """The name under which an event is counted; `word` is what a technician said before it, if any did."""
    if isinstance(event, NoMatch):
        return "no match"
    if not isinstance(event, Heard):
        return "other"
    result = event.result
    if word and (result.outcome == word or (result.control is Control.STOP and word == "stop")):
        return "heard"
    return "answer" if result.control is None else f"control {result.control}"
