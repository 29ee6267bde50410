"""Three prompts as sound files, in each voice, in quiet and in noise, so that anybody can judge for themselves."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from assistant.core.library.terms import SignalWord
from assistant.core.words.remarking import caution_text
from assistant.errors import GearProblem, UsageProblem
from assistant.hearing.sound import FULL_SCALE
from assistant.hearing_bench.listening import noise

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from assistant.core.library.library import Library
    from assistant.hearing.sound import Samples
    from assistant.hearing_bench.listening.talkers import Talker
    from assistant.hearing_bench.mixing import Signal

INDEX = "index.txt"

_GAIN = 10 ** (-12 / 20)
"""All files are turned down by this much, so that the loudest mixture fits and their levels stay comparable."""

_NUMBER = re.compile(r"\d+\.\d+ \w+")


@dataclass(frozen=True)
class Prompt:
    """A prompt that is rendered.

    Attributes:
        file: Beginning of the files' names.
        what: What it is, in words.
        text: What is said.
    """

    file: str
    what: str
    text: str


def prompts(library: Library, sentences: Sequence[str], steps: Sequence[str]) -> list[Prompt]:
    """A caution with its signal word, a reading with its unit, and an instruction of middling length.

    Args:
        library: The procedures; the first caution with DANGER, or else WARNING, is taken.
        sentences: Drawn sentences; the first reading is taken.
        steps: Drawn sentences of steps; the first of middling length is taken.
    """
    found = []
    grave = [
        caution
        for word in (SignalWord.DANGER, SignalWord.WARNING)
        for caution in library.cautions.values()
        if caution.signal is word
    ]
    if grave:
        found.append(Prompt("1-caution", "a caution with its signal word", caution_text(grave[0], "full")))
    readings = [one for one in sentences if _NUMBER.search(one)]
    if readings:
        found.append(Prompt("2-reading", "a reading with its unit", readings[0]))
    instructions = [one for one in steps if 6 <= len(one.split()) <= 10 and one not in readings]
    if instructions:
        found.append(Prompt("3-sentence", "a sentence of a step", instructions[0]))
    return found


def write(folder: Path, wanted: Sequence[Prompt], talkers: Sequence[Talker], seed: int) -> list[Path]:
    """Write every prompt in every voice, quiet and in bay noise, and an index in plain words.

    Every voice has the same peak, and the noise has the same level in every file with noise.

    Returns:
        The files, the index last.

    Raises:
        UsageProblem: The folder cannot be written.
        GearProblem: There is no prompt or no voice.
    """
    if not wanted or not talkers:
        raise GearProblem("There is nothing to render. Give procedures that say something, and a voice.")
    noises = noise.NoiseMaker(seed)
    lines = [
        "Listen to these with one setting of the volume.",
        "",
        "Every voice has the same peak, and the noise has the same level in every file with noise:",
        "about as loud as the default voice itself when it is not shaped.",
        '"Shaped" is how a loudspeaker says it in such noise: consonants raised, loud parts held down.',
        "",
    ]
    files: list[Path] = []
    conditions = (("quiet", noise.CLEAN), ("noise", noise.Condition("", "bay")))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for number, prompt in enumerate(wanted):
            lines += [f"{prompt.file}: {prompt.what}. It says: {prompt.text}"]
            spoken = [(talker, noise.at_rate(talker.say(prompt.text))) for talker in talkers]
            longest = max(noise.length(speech) for _, speech in spoken)
            for talker, speech in spoken:
                for name, condition in conditions:
                    made = noises.make(condition.noise, number, longest)
                    mixed = noise.mixed(speech, made, condition)
                    path = folder / f"{prompt.file}-{_file_name(talker.name)}-{name}.wav"
                    soundfile.write(path, _scaled(mixed.whole), noise.RATE, subtype="PCM_16")
                    files.append(path)
                    kind = f"in noise ({noises.kind('bay', number)})" if condition.noise else "in quiet"
                    lines.append(f"  {path.name}: {talker.name}, {kind}")
            lines.append("")
        files.append(folder / INDEX)
        files[-1].write_text("\n".join(lines), encoding="utf-8")
    except (OSError, soundfile.LibsndfileError) as error:
        raise UsageProblem(f"{folder} cannot be written ({error}). Name another folder.") from error
    return files


def _file_name(talker: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", talker.lower()).strip("-")


def _scaled(whole: Signal) -> Samples:
    return np.clip(np.rint(whole * _GAIN * FULL_SCALE), -32768, 32767).astype(np.int16)
