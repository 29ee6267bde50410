"""Lines of a manifest, heard in bay noise by the recogniser that is to be calibrated.

**The manifest** holds one JSON object a line with ``file`` (clean speech, beside the manifest), ``words``, ``voice``
and ``request`` (outcomes, units, controls; null for speech that is in no grammar, which is heard with the request of
another line).
Every line is heard at two of the four signal-to-noise ratios 20, 10, 5 and 0 dB in turn, in one kind of generated
bay noise; the file's name determines the kind and the noise itself.
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
from assistant.core.values.result import Control, GrammarRequest
from assistant.errors import UsageProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.baynoise import KINDS, bay_noise
from assistant.hearing.confidence import evidence_in, measures
from assistant.hearing.judge import judge, share_of
from assistant.hearing.sound import FULL_SCALE, RATE, read_sound
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.hearing.recogniser import Recogniser
    from assistant.hearing.sound import Samples

Floats = NDArray[np.float64]

LEVELS = (20, 10, 5, 0)
"""Signal-to-noise ratios over the speech part, dB."""

SPEECH_DB = -26.0
"""Level of the speech part, relative to full scale: a near voice with a usual microphone setting."""

BEFORE_S, AFTER_S = 0.5, 0.3
"""Noise before and after the utterance, s: about as much as a live session hands to the recogniser."""


@dataclass(frozen=True)
class ManifestLine:
    """One line of the manifest."""

    file: Path
    words: str
    voice: str
    request: GrammarRequest
    other: bool


@dataclass(frozen=True)
class HeardInNoise:
    """One utterance in noise, as it was heard.

    Attributes:
        voice: The voice.
        level: Signal-to-noise ratio, dB.
        other: Whether it was speech outside the grammar.
        phrase: Whether the heard words are a phrase of the grammar.
        right: Whether they mean the same as the spoken words.
        measures: As in `assistant.hearing.confidence`.
    """

    voice: str
    level: int
    other: bool
    phrase: bool
    right: bool
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
    found: list[tuple[dict[str, Any], GrammarRequest | None]] = []
    for number, line in enumerate(lines, 1):
        try:
            body = json.loads(line)
            asked = body["request"]
            request = None
            if asked is not None:
                controls = tuple(Control(name) for name in asked["controls"])
                request = GrammarRequest(tuple(asked["outcomes"]), tuple(asked["units"]), controls)
            found.append(({name: str(body[name]) for name in ("file", "words", "voice")}, request))
        except (ValueError, KeyError, TypeError) as error:
            raise UsageProblem(
                f"{path}:{number}: this is not a line of a manifest ({error}). "
                "It needs file, words, voice and request."
            ) from error
    requests = sorted({r for _, r in found if r and (r.outcomes or r.units)}, key=repr)
    if not requests:
        raise UsageProblem(f"The manifest {path} has no line with a request for outcomes or units.")
    return [
        ManifestLine(
            path.parent / body["file"],
            body["words"],
            body["voice"],
            request or requests[zlib.crc32(body["file"].encode()) % len(requests)],
            request is None,
        )
        for body, request in found
    ]


def speech_part(samples: Floats) -> tuple[int, int]:
    """First and last sample of the part within 35 dB of the loudest 10 ms."""
    size = RATE // 100
    count = len(samples) // size
    if count == 0:
        return 0, len(samples)
    power = np.mean(samples[: count * size].reshape(count, size) ** 2, axis=1)
    loud = np.flatnonzero(power >= power.max() * 10**-3.5)
    return int(loud[0]) * size, (int(loud[-1]) + 1) * size


def in_noise(clean: Samples, level: int, name: str) -> Samples:
    """Speech in bay noise at a signal-to-noise ratio over the speech part; `name` picks kind and seed."""
    speech = clean.astype(np.float64) / FULL_SCALE
    begin, end = speech_part(speech)
    speech *= 10 ** (SPEECH_DB / 20) / max(1e-9, float(np.sqrt(np.mean(speech[begin:end] ** 2))))
    full = np.concatenate([np.zeros(round(BEFORE_S * RATE)), speech, np.zeros(round(AFTER_S * RATE))])
    seed = zlib.crc32(f"{name} {level}".encode())
    noise = bay_noise(KINDS[zlib.crc32(name.encode()) % len(KINDS)], len(full) / RATE, RATE, seed)
    mixed = full + noise[: len(full)] * 10 ** ((SPEECH_DB - level) / 20)
    return np.clip(np.rint(mixed * FULL_SCALE), -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)


def hear_all(
    spoken: Sequence[ManifestLine],
    recogniser: Recogniser,
    progress: Callable[[str], None] = lambda _text: None,
) -> list[HeardInNoise]:
    """Hear every line at two levels, sorted by request so that each graph is opened once."""
    grammars = GrammarSet.load(resources.directory("grammars"))
    heard = []
    order = sorted(range(len(spoken)), key=lambda at: repr(spoken[at].request))
    for done, at in enumerate(order):
        if done % 100 == 0:
            progress(f"{done} of {len(order)} heard")
        one = spoken[at]
        grammar = grammars.request(one.request)
        wanted = None if one.other else grammar.parse(one.words)
        clean = read_sound(one.file).samples
        for level in LEVELS[at % 2 :: 2]:
            samples = in_noise(clean, level, one.file.name)
            enough, evidence = evidence_in(samples)
            recognition = recogniser.hear(samples, grammar)
            result = judge(recognition, grammar, DEFAULT_THRESHOLDS, speech=enough, evidence=evidence).result
            found: dict[str, float] = {}
            if result is not None:
                share = share_of(recognition, grammar, result)
                found = measures(recognition, share, grammar.lexicon, evidence)
            right = result is not None and result == wanted
            heard.append(HeardInNoise(one.voice, level, one.other, result is not None, right, found))
    return heard
