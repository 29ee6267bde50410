"""Measures how well the assistant's own speech is understood: the real voice speaks, PocketSphinx hears.

To PocketSphinx every word that the assistant can say is equally likely, whatever came before it (a uniform
unigram language model), so only the sound gives the words away.
It is not a person: people know what to expect and understand far more.
It is good for comparisons: sentence with sentence, one wording or speaking rate with another, and, if flite is
installed, our voice with one made from recordings of a person.

If PocketSphinx's dictionary lacks a word, our lexicon supplies the pronunciation; a word that both lack does not
count.
"""

from __future__ import annotations

import math
import re
import shutil
import subprocess
import tempfile
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import soundfile
import soxr

from assistant.errors import GearProblem
from assistant.grammar.numbers import in_words
from assistant.hearing.sound import RATE, Samples
from assistant.hearing_bench import pocketsphinx

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from assistant.grammar.lexicon import Lexicon
    from assistant.speaking.voice import Voice

CONTROL = "flite:rms"
"""The voice for comparison: text-to-speech from recordings of a man, US English."""

_FRAME_S = 0.02
_PAUSE_DB = -35.0
"""A frame this far below the loudest of its sentence counts as silence; chosen by ear and eye, without a source."""

_EDGE_S = 0.3
_FLOOR = 30.0
"""Digital silence breaks recognisers, so both ends get noise of this root mean square (of 32768)."""


@dataclass(frozen=True)
class Listened:
    """One sentence, spoken and heard.

    Attributes:
        sentence: The spoken sentence.
        words: Its words, as read aloud.
        heard: The words heard from our voice.
        errors: Wrong, missing and extra words (least number of changes).
        seconds: Length of the speech.
        pause_s: Longest pause inside it.
        control_errors: The same for the voice for comparison; None without one.
    """

    sentence: str
    words: tuple[str, ...]
    heard: str
    errors: int
    seconds: float
    pause_s: float
    control_errors: int | None


@dataclass
class ListeningReport:
    """All sentences, and the words that could not be judged."""

    voice: str
    rate: int
    listened: list[Listened] = field(default_factory=list)
    unknown: tuple[str, ...] = ()

    @property
    def word_errors(self) -> float:
        """Word error rate of our voice."""
        return sum(one.errors for one in self.listened) / max(1, self._words)

    @property
    def control_word_errors(self) -> float | None:
        """Word error rate of the voice for comparison; None without one."""
        errors = [one.control_errors for one in self.listened if one.control_errors is not None]
        return sum(errors) / max(1, self._words) if len(errors) == len(self.listened) and errors else None

    @property
    def _words(self) -> int:
        return sum(len(one.words) for one in self.listened)

    def worst(self, count: int = 15) -> list[Listened]:
        """Sentences of four words or more with the most errors for their length."""
        long = [one for one in self.listened if len(one.words) >= 4]
        return sorted(long, key=lambda one: one.errors / len(one.words), reverse=True)[:count]

    def text(self) -> str:
        """The report as text."""
        control = self.control_word_errors
        seconds = sorted(one.seconds for one in self.listened)
        longest = max(self.listened, key=lambda one: one.seconds)
        paused = max(self.listened, key=lambda one: one.pause_s)
        lines = [
            f"{len(self.listened)} sentences, {self._words} words, voice {self.voice}, {self.rate} words a minute.",
            f"Word errors by PocketSphinx, every word alike likely: {100 * self.word_errors:.0f} %"
            + (f"; voice of comparison ({CONTROL}) {100 * control:.0f} %." if control is not None else "."),
            f"Length: median {seconds[len(seconds) // 2]:.1f} s; longest {longest.seconds:.1f} s: {longest.sentence}",
            f"Longest pause inside: {paused.pause_s:.2f} s: {paused.sentence}",
        ]
        if self.unknown:
            lines.append(f"Words that cannot be judged: {', '.join(self.unknown)}.")
        lines.append("Worst:")
        lines += [f"  {one.errors} of {len(one.words)}: {one.sentence} | {one.heard}" for one in self.worst()]
        return "\n".join(lines) + "\n"

    def to_json(self) -> dict[str, Any]:
        """The report as JSON."""
        return {
            "voice": self.voice,
            "words_a_minute": self.rate,
            "word_errors": self.word_errors,
            "control_word_errors": self.control_word_errors,
            "unknown": list(self.unknown),
            "sentences": [vars(one) | {"words": list(one.words)} for one in self.listened],
        }


def as_read(sentence: str) -> list[str]:
    """The words of a sentence, as read aloud: "12.4 volts" is twelve, point, four, volts."""
    spelled = re.sub(
        r"\d+(?:\.\d+)?", lambda found: f" {in_words(Decimal(found.group()))} ", sentence.lower()
    )
    return re.findall(r"[a-z]+(?:'[a-z]+)?", spelled)


def errors(said: Sequence[str], heard: Sequence[str]) -> int:
    """Least number of words to change, add or drop (Levenshtein)."""
    row = list(range(len(heard) + 1))
    for number, word in enumerate(said, start=1):
        following = [number]
        for place, other in enumerate(heard, start=1):
            following.append(min(row[place] + 1, following[-1] + 1, row[place - 1] + (word != other)))
        row = following
    return row[-1]


def longest_pause(samples: Samples, rate: int) -> float:
    """Longest silence inside speech, s; silence before the first and after the last sound does not count."""
    size = max(1, round(_FRAME_S * rate))
    frames = samples[: len(samples) // size * size].astype(np.float64).reshape(-1, size)
    if not frames.size:
        return 0.0
    level = np.sqrt(np.mean(frames**2, axis=1))
    loud = np.flatnonzero(level > np.max(level) * 10 ** (_PAUSE_DB / 20))
    return float(np.max(np.diff(loud), initial=1) - 1) * _FRAME_S


class WordListener:
    """PocketSphinx with the words of these sentences, each as likely as any other.

    Args:
        vocabulary: All words.
        lexicon: Our lexicon, for words that PocketSphinx lacks.

    Raises:
        GearProblem: PocketSphinx is not installed.
    """

    def __init__(self, vocabulary: Iterable[str], lexicon: Lexicon) -> None:
        library = pocketsphinx.library()
        self._decoder: Any = library.Decoder(
            hmm=library.get_model_path("en-us/en-us"),
            dict=library.get_model_path("en-us/cmudict-en-us.dict"),
            lm=None,
            loglevel="FATAL",
        )
        known: list[str] = []
        unknown: list[str] = []
        for word in sorted(set(vocabulary)):
            if self._decoder.lookup_word(word) is None:
                for number, phones in enumerate(_pronounced(word, lexicon), start=1):
                    entry = word if number == 1 else f"{word}({number})"
                    self._decoder.add_word(entry, " ".join(phones), update=False)
            (known if self._decoder.lookup_word(word) is not None else unknown).append(word)
        self.unknown = tuple(unknown)
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "words.lm"
            path.write_text(_unigrams(known), encoding="utf-8")
            self._decoder.add_lm_file("words", str(path))
        self._decoder.activate_search("words")

    def hear(self, samples: Samples, rate: int) -> list[str]:
        """The words heard."""
        speech = soxr.resample(samples, rate, RATE)
        edge = np.random.default_rng(1).normal(0, _FLOOR, round(_EDGE_S * RATE))
        whole = np.concatenate([edge, speech.astype(np.float64), edge]).astype(np.int16)
        self._decoder.start_utt()
        self._decoder.process_raw(whole.tobytes(), full_utt=True)
        self._decoder.end_utt()
        found = self._decoder.hyp()
        return str(found.hypstr).split() if found and found.hypstr else []


def _pronounced(word: str, lexicon: Lexicon) -> tuple[tuple[str, ...], ...]:
    try:
        return tuple(tuple(phones) for phones in lexicon.pronunciations(word))
    except KeyError:
        return ()


def _unigrams(words: Sequence[str]) -> str:
    """An ARPA language model in which every word, and the end, is equally likely after anything."""
    share = -math.log10(len(words) + 1)
    lines = ["\\data\\", f"ngram 1={len(words) + 2}", "", "\\1-grams:", "-99 <s>", f"{share:.4f} </s>"]
    return "\n".join([*lines, *(f"{share:.4f} {word}" for word in words), "", "\\end\\", ""])


def measure(
    sentences: Sequence[str],
    lexicon: Lexicon,
    voice: Voice,
    *,
    progress: Callable[[str], None] = lambda _text: None,
) -> ListeningReport:
    """Render every sentence and hear it.

    Args:
        sentences: The sentences to speak; at least one.
        lexicon: Our lexicon.
        voice: The assistant's voice.
        progress: Called with a line about the progress.

    Raises:
        GearProblem: PocketSphinx or the voice is missing, or there is no sentence.
    """
    if not sentences:
        raise GearProblem("There is nothing to listen to. Give procedures that say something.")
    read = {sentence: as_read(sentence) for sentence in sentences}
    listener = WordListener((word for words in read.values() for word in words), lexicon)
    report = ListeningReport(voice.voice_name, voice.rate_words_per_minute, unknown=listener.unknown)
    control = shutil.which("flite")
    for number, (sentence, words) in enumerate(read.items(), start=1):
        progress(f"listening: {number} of {len(read)}")
        judged = [word for word in words if word not in listener.unknown]
        speech = voice.render(sentence)
        heard = listener.hear(speech.samples, speech.rate)
        compared = None
        if control:
            compared = errors(judged, listener.hear(*_by_flite(control, sentence)))
        pause = longest_pause(speech.samples, speech.rate)
        report.listened.append(
            Listened(
                sentence,
                tuple(judged),
                " ".join(heard),
                errors(judged, heard),
                round(speech.duration_s, 3),
                round(pause, 3),
                compared,
            )
        )
    return report


def _by_flite(program: str, sentence: str) -> tuple[Samples, int]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "speech.wav"
        done = subprocess.run(
            [program, "-voice", CONTROL.partition(":")[2], "-t", sentence, "-o", str(path)],
            capture_output=True,
            check=False,
        )
        if done.returncode or not path.exists():
            raise GearProblem(f"flite could not say '{sentence}'. Install Debian's package flite again.")
        samples, rate = soundfile.read(path, dtype="int16")
    return samples, int(rate)
