"""Lines of a manifest, and their sound in noise and beside other voices.

**The manifest** holds one JSON object a line:

- ``file`` (clean speech, beside the manifest or a whole path; ``begin`` and ``end``, s, for a part of it), ``voice``;
- what is listened for, one of ``request`` (outcomes, units, controls), ``choices`` (a list of phrases) and ``task``
  (a JSGF file beside the manifest, whose tags are the meaning); a line with none of them, or with ``request`` null,
  is heard with the request of another line;
- what is said, one of ``words`` and ``meaning`` (the tags, sorted and joined by "; "); null, or words that are not
  among what is listened for, for speech that must be refused;
- ``about``, a word that groups lines in the report, and ``times``, in how many conditions it is heard, if given.

**Conditions.** Each line is heard in so many of `CONDITIONS`, which its name determines, as it does noise and level.
The other voice is that of another line's file. Everything then goes through the same gate as live sound.
"""

from __future__ import annotations

import json
import zlib
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from assistant import resources
from assistant.acoustic.tasks import TaskGrammar
from assistant.core.values.answer_kind import AnswerKind
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.errors import UsageProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.baynoise import KINDS, bay_noise
from assistant.hearing.sound import FULL_SCALE, RATE, read_sound

if TYPE_CHECKING:
    from collections.abc import Sequence

    from assistant.grammar.step_grammar import StepGrammar
    from assistant.hearing.sound import Samples

Floats = NDArray[np.float64]

CONDITIONS = ("clean", "bay 20", "bay 10", "bay 5", "bay 0", "voice 24", "voice 18", "voice 12")
"""Clean; bay noise with its signal-to-noise ratio over the speech part, dB; another voice so many dB under."""

SPEECH_DB = -26.0
"""Level of the speech part, relative to full scale: a near voice with a usual microphone setting."""

SPREAD_DB = 8.0
"""Most by which the level differs from that, up or down."""

HISS_DB = -55.0
"""Level of the hiss that every recording gets, relative to the speech."""

BEFORE_S, AFTER_S = 0.5, 0.3
"""Noise before and after the utterance, s: about as much as a live session hands to the recogniser."""


@dataclass(frozen=True)
class ManifestLine:
    """One line of the manifest.

    Attributes:
        file: The recording.
        part: Its part, s; None for the whole.
        said: The words, or the meaning after "=", or None for speech that must be refused.
        voice: The voice.
        listened: What is listened for: a request, the choices, or the path of a JSGF file.
        about: Group in the report.
        times: Conditions in which it is heard.
    """

    file: Path
    part: tuple[float, float] | None
    said: str | None
    voice: str
    listened: GrammarRequest | tuple[str, ...] | Path
    about: str
    times: int = 1

    @property
    def name(self) -> str:
        """What determines noise and level: the same for the same recording everywhere."""
        return f"{self.file.name} {self.part or ''}"


@dataclass(frozen=True)
class HeardInNoise:
    """One utterance in noise, as it was heard.

    Attributes:
        voice: The voice.
        condition: One of `CONDITIONS`.
        about: Group in the report.
        other: Whether it was speech outside the grammar.
        phrase: Whether any alternative was a phrase of the grammar.
        right: Whether the best of them means the same as the spoken words.
        kind: Kind of the answer that was heard.
        measures: As in `assistant.hearing.confidence`.
    """

    voice: str
    condition: str
    about: str
    other: bool
    phrase: bool
    right: bool
    kind: AnswerKind = AnswerKind.RESULT
    measures: dict[str, float] = field(default_factory=dict)


def read_manifest(path: Path) -> list[ManifestLine]:
    """The lines of a manifest.

    Raises:
        UsageProblem: It cannot be read, or a line does not have the form above; the message names the line.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise UsageProblem(f"The manifest {path} cannot be read. Name a file of JSON lines.") from error
    found: list[tuple[dict[str, Any], GrammarRequest | tuple[str, ...] | Path | None]] = []
    for number, line in enumerate(lines, 1):
        try:
            body = json.loads(line)
            _ = str(body["file"]), str(body["voice"]), body["meaning" if "meaning" in body else "words"]
            part = "begin" in body and (float(body["begin"]), float(body["end"]))
            body |= {"part": part or None, "times": int(body.get("times", 1))}
            found.append((body, _listened(body, path)))
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            raise UsageProblem(
                f"{path}:{number}: this is not a line of a manifest ({error}). "
                "It needs file, voice, words or meaning, and request, choices or task."
            ) from error
    requests = sorted({r for _, r in found if isinstance(r, GrammarRequest)}, key=repr)
    if not requests and any(listened is None for _, listened in found):
        raise UsageProblem(f"The manifest {path} has no line with a request for outcomes or units.")
    return [
        ManifestLine(
            path.parent / body["file"],
            body["part"],
            f"={body['meaning']}" if "meaning" in body else body["words"] if listened is not None else None,
            str(body["voice"]),
            listened if listened is not None else requests[zlib.crc32(body["file"].encode()) % len(requests)],
            str(body.get("about", "answers" if listened is not None else "other speech")),
            body["times"],
        )
        for body, listened in found
    ]


def _listened(body: dict[str, Any], path: Path) -> GrammarRequest | tuple[str, ...] | Path | None:
    if "choices" in body:
        return tuple(str(phrase) for phrase in body["choices"])
    if "task" in body:
        return path.parent / str(body["task"])
    asked = body["request"]
    if asked is None:
        return None
    controls = tuple(Control(name) for name in asked["controls"])
    return GrammarRequest(tuple(asked["outcomes"]), tuple(asked["units"]), controls)


def speech_part(samples: Floats) -> tuple[int, int]:
    """First and last sample of the part within 35 dB of the loudest 10 ms."""
    size = RATE // 100
    count = len(samples) // size
    if count == 0:
        return 0, len(samples)
    power = np.mean(samples[: count * size].reshape(count, size) ** 2, axis=1)
    loud = np.flatnonzero(power >= power.max() * 10**-3.5)
    return int(loud[0]) * size, (int(loud[-1]) + 1) * size


def _levelled(samples: Floats, level_db: float) -> Floats:
    begin, end = speech_part(samples)
    return samples * (10 ** (level_db / 20) / max(1e-9, float(np.sqrt(np.mean(samples[begin:end] ** 2)))))


def in_condition(clean: Samples, condition: str, name: str, other: Samples | None = None) -> Samples:
    """Speech in one of the `CONDITIONS`; `name` picks level, kind of noise and seed.

    Args:
        clean: The speech.
        condition: The condition.
        name: Name of the recording.
        other: Speech of another voice, where that is the condition.
    """
    seed = zlib.crc32(f"{name} {condition}".encode())
    draws = np.random.default_rng(seed)
    level = SPEECH_DB + draws.uniform(-SPREAD_DB, SPREAD_DB)
    speech = _levelled(clean.astype(np.float64) / FULL_SCALE, level)
    full = np.concatenate([np.zeros(round(BEFORE_S * RATE)), speech, np.zeros(round(AFTER_S * RATE))])
    full += draws.normal(0, 10 ** ((level + HISS_DB) / 20), len(full))
    kind, _, number = condition.partition(" ")
    if kind == "bay":
        noise = bay_noise(KINDS[zlib.crc32(name.encode()) % len(KINDS)], len(full) / RATE, RATE, seed)
        full += noise[: len(full)] * 10 ** ((level - float(number)) / 20)
    elif kind == "voice" and other is not None and len(other):
        talk = _levelled(other.astype(np.float64) / FULL_SCALE, level - float(number))
        begin = int(draws.integers(len(talk)))
        full += np.tile(talk, 2 + len(full) // len(talk))[begin : begin + len(full)]
    return np.clip(np.rint(full * FULL_SCALE), -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)


class Grammars:
    """The grammar of each line; the same for the same request, choices or task."""

    def __init__(self) -> None:
        self._set = GrammarSet.load(resources.directory("grammars"))
        self._made: dict[tuple[str, ...] | Path, StepGrammar] = {}

    def of(self, listened: GrammarRequest | tuple[str, ...] | Path) -> StepGrammar:
        """What is listened for."""
        if isinstance(listened, GrammarRequest):
            return self._set.request(listened)
        if listened not in self._made:
            if isinstance(listened, Path):
                made = TaskGrammar(listened.read_text(encoding="utf-8"), self._set.lexicon)
            else:
                made = TaskGrammar.of_choices(listened, self._set.lexicon)
            self._made[listened] = made
        return self._made[listened]


def wanted_of(line: ManifestLine, grammar: StepGrammar) -> Result | None:
    """The right meaning; None if the speech must be refused."""
    if line.said is None:
        return None
    return Result(outcome=line.said[1:]) if line.said.startswith("=") else grammar.parse(line.said)


def conditions_of(line: ManifestLine, times: int = 1) -> list[str]:
    """The conditions in which a line is heard: its name determines the first one."""
    first = zlib.crc32(line.name.encode())
    return [CONDITIONS[(first + time * 3) % len(CONDITIONS)] for time in range(times * line.times)]


def sound_of(line: ManifestLine, condition: str, lines: Sequence[ManifestLine]) -> Samples:
    """The sound of a line in a condition; the other voice is that of another of the lines."""
    other = _other(line, lines) if condition.startswith("voice") else None
    return in_condition(_sound(line), condition, line.name, other)


def _sound(line: ManifestLine) -> Samples:
    samples = read_sound(line.file).samples
    if line.part is None:
        return samples
    return samples[round(line.part[0] * RATE) : round(line.part[1] * RATE)]


def _other(line: ManifestLine, spoken: Sequence[ManifestLine]) -> Samples:
    """A recording of another voice, at least a second of it: which one the line's name determines."""
    begin = zlib.crc32(line.name.encode())
    for step in range(len(spoken)):
        one = spoken[(begin + step) % len(spoken)]
        if one.voice != line.voice and one.part is None:
            samples = read_sound(one.file).samples
            if samples.size >= RATE:
                return samples
    return np.zeros(0, np.int16)
