"""Make the spoken results in this folder: text-to-speech by flite, plus generated bay noise.

Run from a checkout: ``python audio_fixtures/make_fixtures.py`` (needs the Debian package flite).

Reads ``plan.json``: an object with ``lead_s``, ``tail_s`` (noise alone before and after the speech),
``speech_dbfs`` (level of the speech) and ``clips``, a list of objects with

- ``file``: name of the sound file, ending in ``.flac``;
- ``words``: what is said;
- ``voice``: ``flite:`` and the name of one of its voices;
- ``rate``: speaking rate, 1 is the voice's own, 1.2 is a fifth faster;
- ``noise``: a kind of `assistant.hearing.baynoise`;
- ``snr_db``: level of the speech where someone speaks over the level of the noise, dB;
- ``seed``: of the noise;
- ``lead_s``: optional, a longer lead for this clip.

A clip whose ``words`` are empty is noise alone, as loud as it would be under speech.

Writes the sound files (FLAC, mono, 16 kHz, 16 bit) and ``manifest.json``, which says of each how it was made.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

from assistant.errors import BayAssistantError, FileProblem, GearProblem  # noqa: E402  (the checkout's own)
from assistant.hearing.baynoise import KINDS, bay_noise  # noqa: E402
from assistant.hearing_bench.mixing import CEILING, Signal, speech_power, trimmed  # noqa: E402
from assistant.resources import refuse_installed  # noqa: E402

RATE = 16000
KINDS_OF_VOICE = {
    "flite:rms": "text-to-speech from a male US speaker; the bundled model was trained on this voice",
    "flite:slt": "text-to-speech from a female US speaker; the bundled model has never heard this voice",
}
_LARGEST = 200_000


@dataclass(frozen=True)
class Clip:
    """One line of the plan."""

    file: str
    words: str
    voice: str
    rate: float
    noise: str
    snr_db: float
    seed: int
    lead_s: float | None = None


@dataclass(frozen=True)
class Plan:
    """The whole plan; times in s, level in dB relative to full scale."""

    lead_s: float
    tail_s: float
    speech_dbfs: float
    clips: tuple[Clip, ...]


def read_plan(path: Path) -> Plan:
    """The plan in a file.

    Raises:
        FileProblem: It is not JSON, or a part is missing, unknown, or of another kind.
    """
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise FileProblem(path, 0, f"The plan cannot be read ({error.strerror})") from error
    except ValueError as error:
        raise FileProblem(
            path, getattr(error, "lineno", 0), "This is not JSON", "Write one object"
        ) from error
    try:
        clips = tuple(_clip(path, number, item) for number, item in enumerate(data["clips"], start=1))
        plan = Plan(float(data["lead_s"]), float(data["tail_s"]), float(data["speech_dbfs"]), clips)
    except (KeyError, TypeError, ValueError) as error:
        remedy = "Give lead_s, tail_s, speech_dbfs and clips"
        raise FileProblem(path, 0, f"The plan lacks something: {error}", remedy) from error
    names = [clip.file for clip in clips]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise FileProblem(
            path, 0, f"The file {twice[0]} is planned twice", "Give every clip its own file name"
        )
    return plan


def _clip(path: Path, number: int, item: dict[str, Any]) -> Clip:
    kinds = {
        "file": str,
        "words": str,
        "voice": str,
        "rate": float,
        "noise": str,
        "snr_db": float,
        "seed": int,
    }
    optional = {"lead_s": float}
    if set(item) - set(optional) != set(kinds):
        raise FileProblem(path, 0, f"Clip {number} has the parts {sorted(item)}", f"Give {sorted(kinds)}")
    clip = Clip(**{name: kind(item[name]) for name, kind in (kinds | optional).items() if name in item})
    if not clip.file.endswith(".flac") or "/" in clip.file:
        raise FileProblem(path, 0, f"Clip {number} is named '{clip.file}'", "Give a name that ends in .flac")
    if clip.noise not in KINDS:
        raise FileProblem(
            path, 0, f"Clip {number} has the noise '{clip.noise}'", f"Give one of {', '.join(KINDS)}"
        )
    if not clip.voice.startswith("flite:"):
        raise FileProblem(
            path, 0, f"Clip {number} has the voice '{clip.voice}'", "Give flite: and a voice's name"
        )
    if not 0.5 <= clip.rate <= 2.0:
        raise FileProblem(path, 0, f"Clip {number} has the rate {clip.rate}", "Give a rate from 0.5 to 2")
    return clip


def flite_version() -> str:
    """What flite says of itself.

    Raises:
        GearProblem: flite is not installed.
    """
    try:
        said = subprocess.run(["flite", "--version"], capture_output=True, text=True, check=False).stdout
    except FileNotFoundError as error:
        raise GearProblem("The speech program flite is not installed. Run: apt install flite") from error
    lines = [line.removeprefix("version:").strip() for line in map(str.strip, said.splitlines())]
    return next((line for line in lines if line.startswith("flite-")), "flite, version unknown")


def speak(words: str, voice: str, rate: float) -> Signal:
    """Speech from flite at 16 kHz, silence at both ends cut off; full scale is 1.

    Raises:
        GearProblem: flite fails.
    """
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "speech.wav"
        command = ["flite", "-voice", voice.removeprefix("flite:"), "--setf", f"duration_stretch={1 / rate}"]
        done = subprocess.run(
            [*command, "-t", words, "-o", str(path)], capture_output=True, text=True, check=False
        )
        if done.returncode or not path.exists():
            raise GearProblem(f"flite could not say '{words}' with the voice {voice}: {done.stderr.strip()}.")
        samples, given = soundfile.read(path, dtype="float64", always_2d=True)
    mono: Signal = samples[:, 0]
    if given != RATE:
        raise GearProblem(
            f"The voice {voice} speaks at {given} Hz. Use one that speaks at {RATE} Hz, such as slt."
        )
    return trimmed(mono)


def active_level(speech: Signal) -> float:
    """Root mean square of the speech over the frames in which someone speaks."""
    return float(np.sqrt(speech_power(speech)))


def mix(speech: Signal, clip: Clip, plan: Plan) -> tuple[Signal, float]:
    """Speech in noise, and by how many dB the whole was turned down so that it does not clip."""
    level = 10 ** (plan.speech_dbfs / 20)
    lead = round((plan.lead_s if clip.lead_s is None else clip.lead_s) * RATE)
    tail = round(plan.tail_s * RATE)
    spoken = speech * (level / active_level(speech)) if speech.size else speech
    placed = np.concatenate([np.zeros(lead), spoken, np.zeros(tail)])
    noise = bay_noise(clip.noise, len(placed) / RATE, RATE, clip.seed)
    mixed = placed + noise * level * 10 ** (-clip.snr_db / 20)
    peak = float(np.max(np.abs(mixed)))
    if peak <= CEILING:
        return mixed, 0.0
    return mixed * (CEILING / peak), float(20 * np.log10(peak / CEILING))


def make(plan_path: Path, folder: Path) -> list[dict[str, Any]]:
    """Make every clip of the plan; returns the manifest's list.

    Raises:
        BayAssistantError: The plan is wrong, flite fails, or a file is too large.
    """
    plan = read_plan(plan_path)
    version = flite_version()
    made = []
    for clip in plan.clips:
        speech = speak(clip.words, clip.voice, clip.rate) if clip.words else np.zeros(0)
        mixed, turned_down = mix(speech, clip, plan)
        path = folder / clip.file
        soundfile.write(path, np.round(mixed * 32767).astype(np.int16), RATE, subtype="PCM_16")
        size = path.stat().st_size
        if size > _LARGEST:
            raise GearProblem(
                f"{clip.file} has {size} bytes. Shorten it: no fixture is over {_LARGEST} bytes."
            )
        made.append(
            {
                "file": clip.file,
                "words": clip.words,
                "voice": clip.voice,
                "kind_of_voice": KINDS_OF_VOICE.get(clip.voice, "text-to-speech"),
                "program": version,
                "rate": clip.rate,
                "noise": clip.noise,
                "snr_db": clip.snr_db,
                "seed": clip.seed,
                "speech_dbfs": round(plan.speech_dbfs - turned_down, 1),
                "speech_from_s": plan.lead_s if clip.lead_s is None else clip.lead_s,
                "speech_to_s": round(len(mixed) / RATE - plan.tail_s, 3),
                "duration_s": round(len(mixed) / RATE, 3),
                "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
                "made": "flite speech plus assistant.hearing.baynoise, by audio_fixtures/make_fixtures.py",
            }
        )
    return made


def main(arguments: list[str] | None = None) -> int:
    """Make the fixtures; 0 done, 2 with a sentence on what is wrong."""
    parser = argparse.ArgumentParser(description="Make the spoken results from plan.json.")
    parser.add_argument("--plan", type=Path, default=HERE / "plan.json")
    parser.add_argument(
        "--folder", type=Path, default=HERE, help="where the sound files and manifest.json go"
    )
    given = parser.parse_args(arguments)
    manifest = given.folder / "manifest.json"
    try:
        refuse_installed(given.folder)
        made = make(given.plan, given.folder)
        before = json.loads(manifest.read_text(encoding="utf-8"))["clips"] if manifest.exists() else []
        for gone in {clip["file"] for clip in before} - {clip["file"] for clip in made}:
            (given.folder / gone).unlink(missing_ok=True)
        text = json.dumps({"clips": made}, indent=1, ensure_ascii=False) + "\n"
        manifest.write_text(text, encoding="utf-8")
    except (BayAssistantError, OSError) as error:
        print(error, file=sys.stderr)
        return 2
    seconds = sum(clip["duration_s"] for clip in made)
    print(
        f"{len(made)} clips, {seconds:.0f} s, {sum((given.folder / c['file']).stat().st_size for c in made)} bytes"
    )
    return 0


if __name__ == "__main__":
    sys.exit(main())
