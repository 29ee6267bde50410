"""Files cut tightly around an answer, heard as the command `hear` does."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile

from assistant.commands import sound_files
from assistant.core.values.codec import from_json
from assistant.core.values.result import Result
from assistant.hearing.sound import FULL_SCALE, RATE
from assistant.hearing_bench.measurements import HeardUtterance
from assistant.hearing_bench.mixing import Signal, at_level
from assistant.hearing_bench.scoring import Hearing

if TYPE_CHECKING:
    from assistant.hearing_bench.ours import Ours
    from assistant.hearing_bench.rows.context import RowContext

PART = "files cut tightly, heard by `hear`"
"""Row of the report."""

MOST_DRAWS = 1000


@dataclass(frozen=True)
class _File:
    voice: str
    words: str
    truth: Result
    speech: Signal


def cut_files(context: RowContext, ours: Ours) -> list[HeardUtterance]:
    """Hear answers of which nothing but the speech is in the file."""
    plan = context.plan.cut
    found = []
    for question in plan.questions:
        procedure, step = context.manifest.questions[question]
        spoken = _spoken(context, question)
        with tempfile.TemporaryDirectory(prefix="bay-assistant-") as folder:
            paths = [Path(folder) / f"{number}.flac" for number in range(len(spoken))]
            for path, one in zip(paths, spoken, strict=True):
                sound = at_level(one.speech, context.manifest.mixing.speech_dbfs)
                soundfile.write(path, np.rint(sound * (FULL_SCALE - 1)).astype(np.int16), RATE)
            lines: list[dict[str, Any]] = []
            sound_files.run(
                paths,
                grammar=None,
                procedure=procedure,
                step=step,
                model=ours.path,
                grammars=None,
                procedures=None,
                write=lines.append,
            )
        found += [
            HeardUtterance(ours.name, PART, one.voice, "clean", _hearing(one, line))
            for one, line in zip(spoken, lines, strict=True)
        ]
    return found


def _spoken(context: RowContext, question: str) -> list[_File]:
    plan = context.plan.cut
    grammar = context.made.question(question)
    found = []
    for voice in context.made.voices(plan.voices):
        draw = context.draw("cut", question, voice)
        seen: set[str] = set()
        for _ in range(MOST_DRAWS):
            if len(seen) >= context.shared(plan.count):
                break
            words = grammar.sample(draw)
            truth = grammar.parse(words)
            if truth is None or words in seen:
                continue
            seen.add(words)
            found.append(_File(voice, words, truth, context.made.say(voice, words)))
    return found


def _hearing(one: _File, line: dict[str, Any]) -> Hearing:
    """What `hear` printed about a file."""
    result = from_json({"type": "Result", **line["result"]}) if line["result"] else None
    return Hearing(
        one.truth,
        result,
        bool(line["accepted"]),
        float(line["confidence"]),
        0.0,
        0.0,
        str(line["words"]),
    )
