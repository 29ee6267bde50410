"""Speech for measurements: synthesised once and kept, or recorded by people and installed as a package."""

from __future__ import annotations

import hashlib
import json
import shutil
import subprocess
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import soundfile

from assistant import places
from assistant.errors import GearProblem, UsageProblem
from assistant.hearing.sound import FULL_SCALE, RATE, read_sound
from assistant.hearing_bench.listening import flite
from assistant.hearing_bench.mixing import Signal, from_samples, trimmed

if TYPE_CHECKING:
    from assistant.hearing_bench.manifest import BenchVoice, Recordings

PACKAGES = {"flite": "flite", "festival": "festival festvox-us-slt-hts", "espeak-ng": "espeak-ng"}
"""Debian packages with each synthesiser and the manifest's voices."""

LONGEST_S = 60.0
"""A synthesiser that takes longer for one sentence has failed."""


def cache_folder() -> Path:
    """The default folder for synthesised speech."""
    return places.cache_folder("hearing-bench")


class SpeechCache:
    """Spoken sentences, from the cache or from a synthesiser.

    Args:
        folder: The cache, which is made when it is first needed.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._known: dict[tuple[str, str], Signal] = {}

    def missing(self, voice: BenchVoice) -> str:
        """The reason why a voice cannot speak, as a sentence; "" if it can."""
        try:
            self.say(voice, "ready")
        except GearProblem as problem:
            return str(problem)
        return ""

    def say(self, voice: BenchVoice, words: str) -> Signal:
        """A sentence, trimmed to its speech.

        Raises:
            GearProblem: The synthesiser or its voice is not installed.
            UsageProblem: The cache cannot be written.
        """
        key = (voice.name, words)
        if key not in self._known:
            self._known[key] = trimmed(self._spoken(voice, words))
        return self._known[key]

    def _spoken(self, voice: BenchVoice, words: str) -> Signal:
        named = json.dumps([voice.synthesiser, voice.voice, words])
        path = self._folder / f"{hashlib.sha256(named.encode()).hexdigest()[:24]}.flac"
        try:
            return from_samples(read_sound(path).samples)
        except UsageProblem:  # not there yet, or damaged
            pass
        made = _synthesised(voice, words)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            with tempfile.NamedTemporaryFile(dir=self._folder, suffix=".part", delete=False) as file:
                soundfile.write(
                    file, np.rint(made * FULL_SCALE).astype(np.int16), RATE, format="FLAC", subtype="PCM_16"
                )
            Path(file.name).replace(path)
        except (OSError, soundfile.LibsndfileError) as error:
            raise UsageProblem(
                f"Synthesised speech cannot be kept in {self._folder} ({error}). Name another folder with --cache."
            ) from error
        return from_samples(read_sound(path).samples)


def _synthesised(voice: BenchVoice, words: str) -> Signal:
    if shutil.which(voice.synthesiser) is None:
        raise GearProblem(
            f"The voice '{voice.name}' is left out: {voice.synthesiser} is not installed "
            f"(Debian packages: {PACKAGES[voice.synthesiser]})."
        )
    with tempfile.TemporaryDirectory(prefix="bay-assistant-") as name:
        path = Path(name) / "spoken.wav"
        if voice.synthesiser == "flite":
            command = ["flite", "-voice", voice.voice, "-t", words, "-o", str(path)]
        elif voice.synthesiser == "espeak-ng":
            command = ["espeak-ng", "-v", voice.voice, "-w", str(path), words]
        else:
            said, where = json.dumps(words), json.dumps(str(path))
            scheme = (
                f"(begin ({voice.voice}) (utt.save.wave (utt.synth (Utterance Text {said})) {where} 'riff))"
            )
            command = ["festival", "--batch", scheme]
        try:
            done = subprocess.run(command, capture_output=True, check=False, timeout=LONGEST_S)
        except (OSError, subprocess.TimeoutExpired) as error:
            raise GearProblem(f"{voice.synthesiser} failed on '{words}' ({error}).") from error
        if done.returncode or not path.is_file() or not _has_voice(voice):
            raise GearProblem(
                f"The voice '{voice.name}' is left out: {voice.synthesiser} has no voice '{voice.voice}' "
                f"(Debian packages: {PACKAGES[voice.synthesiser]})."
            )
        return from_samples(read_sound(path).samples)


def _has_voice(voice: BenchVoice) -> bool:
    """Whether flite lists a voice; the other synthesisers fail without it."""
    return voice.synthesiser != "flite" or voice.voice in flite.voices()


def missing_recordings(recordings: Recordings) -> str:
    """The reason why recordings cannot be used, as a sentence; "" if they can."""
    absent = [clip.file for clip in recordings.clips if not (recordings.folder / clip.file).is_file()]
    if not absent:
        return ""
    what = "none of them is" if len(absent) == len(recordings.clips) else f"{absent[0]} is not"
    return (
        f"The recordings '{recordings.name}' are left out: {what} in {recordings.folder} "
        f"(Debian package: {recordings.package})."
    )


def recording(path: Path) -> Signal:
    """A recording, trimmed; ``.raw`` is 16 bits, little-endian, at `RATE`, without a header.

    Raises:
        UsageProblem: It cannot be read.
    """
    if path.suffix == ".raw":
        return trimmed(from_samples(np.fromfile(path, dtype="<i2")))
    return trimmed(from_samples(read_sound(path).samples))
