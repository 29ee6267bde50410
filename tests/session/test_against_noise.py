"""The voice becomes stronger with the noise that the ear measures: the real ear, dialogue and voice in made noise."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from shipped import shipped_folder

from assistant import resources
from assistant.core.dialogue.runner import Runner
from assistant.core.values.events import Action, Clip, Event, Heard
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.baynoise import bay_noise
from assistant.hearing.ear import Ear, Reports
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing.sound import RATE, Samples
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.screen.terminal import LineScreen
from assistant.session.against_noise import FALLS_AFTER, RISES_AFTER, AgainstNoise
from assistant.session.loop import Session
from assistant.speaking.output import NullPlayer
from assistant.speaking.shaping import LEVELS, UNKNOWN, shaped
from assistant.speaking.speech import resample
from assistant.speaking.voice import Voice

LIBRARY, KNOWLEDGE = shipped_folder()
GRAMMARS = GrammarSet.load(resources.directory("grammars"))
SPEECH_DB = DEFAULT_THRESHOLDS.speech_level_db
QUIET, LOUD = SPEECH_DB - 40.0, SPEECH_DB - 5.0
REPORT_S = 10 * 512 / RATE


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    return Recogniser(find_model())


@pytest.fixture
def voice(tmp_path: Path) -> Voice:
    return Voice(cache_folder=tmp_path)


def made_noise(kind: str, seconds: float, level_db: float) -> Samples:
    made = 32768 * 10 ** (level_db / 20) * bay_noise(kind, seconds, RATE, seed=4)
    return np.asarray(np.clip(np.rint(made), -32768, 32767), dtype=np.int16)


class EarByHand:
    """The ears of a session: a real ear that is fed by hand; counts the reports of the level."""

    def __init__(self, ear: Ear) -> None:
        self._ear = ear

    def listen(self, request: GrammarRequest) -> None:
        self._ear.listen(request)

    def pause(self) -> None:
        self._ear.pause()

    def record_note(self, longest_s: float) -> None:
        self._ear.record_note(longest_s)

    def end_note(self) -> None:
        self._ear.end_note()

    def close(self) -> None:
        """There is no device."""


class NoisyBay:
    """A session on a clock that goes with the sound at its microphone."""

    def __init__(self, recogniser: Recogniser, voice: Voice, *, headset: bool = False) -> None:
        self.now = 0.0
        self.voice = voice
        self.reports = 0
        self.levels: list[int] = []
        self.player = NullPlayer(lambda: self.now)
        self.session = Session(
            runner=Runner(LIBRARY, KNOWLEDGE, DEFAULT_THRESHOLDS),
            log=self,
            voice=voice,
            output=self.player,
            screen=LineScreen(io.StringIO()),
            now=lambda: self.now,
            headset=headset,
        )
        self._against = AgainstNoise(voice, headset=headset)
        self.ear = Ear(
            recogniser,
            GRAMMARS.request,
            Reports(
                happened=self.session.happened,
                keep_clip=lambda samples: Clip("x.flac", "", samples.size / RATE),
                level=self._metered,
            ),
        )
        self.session.ears = EarByHand(self.ear)
        self.session.begin("coil-control")

    def _metered(self, _noise_db: float, _level_db: float) -> None:
        self.reports += 1
        self._against.measured(self.ear.margin_db)
        self.levels.append(self.voice.level)

    def append(self, _event: Event, _actions: tuple[Action, ...]) -> None:
        """Keep no record."""

    def hear(self, samples: Samples) -> None:
        """So much goes by at the microphone."""
        for start in range(0, samples.size, 512):
            self.ear.feed(samples[start : start + 512])
            self.now += 512 / RATE
            self.player.tick()
            self.session.drain()

    def speak_out(self, level_db: float) -> None:
        """The assistant says all that it has to say, and its microphone hears it, in noise of this level."""
        while self.player.due is not None:
            seconds = self.player.due - self.now + 512 / RATE
            self.hear(made_noise("pink", seconds, level_db))


@pytest.mark.parametrize(("margin_db", "level"), [(40.0, 0), (23.5, 1), (15.0, 2), (5.0, 3), (-5.0, 3)])
@pytest.mark.parametrize("kind", ["pink", "fans"])
def test_the_level_follows_the_noise(
    recogniser: Recogniser, voice: Voice, kind: str, margin_db: float, level: int
) -> None:
    """From a quiet bay to one where nobody is heard, the voice is shaped as much as the noise asks for."""
    bay = NoisyBay(recogniser, voice)
    assert voice.level == UNKNOWN
    bay.speak_out(QUIET)
    bay.hear(made_noise(kind, 15.0, SPEECH_DB - margin_db))
    assert voice.level == level


def test_what_is_said_next_is_shaped(recogniser: Recogniser, voice: Voice) -> None:
    """The next sentence, rendered before or not, is the plain one, shaped at the level of the noise."""
    plain = voice.render("Hold the lamp on the pin.").samples
    bay = NoisyBay(recogniser, voice)
    bay.speak_out(LOUD)
    bay.hear(made_noise("pink", 6.0, LOUD))
    after = voice.render("Hold the lamp on the pin.")
    assert voice.level == LEVELS[-1]
    assert np.array_equal(after.samples, shaped(plain, after.rate, LEVELS[-1]))


def test_the_own_voice_is_no_noise(recogniser: Recogniser, voice: Voice) -> None:
    """While the assistant speaks nothing is measured, however loud it is at the microphone."""
    bay = NoisyBay(recogniser, voice)
    bay.speak_out(QUIET)
    bay.hear(made_noise("pink", 15.0, QUIET))
    assert voice.level == 0
    bay.session.take(Heard(bay.now, "ready", Result(control=Control.READY), 0.99))
    assert bay.player.due is not None
    before = bay.reports
    own = voice.render("Caution: hot exhaust, radiator and bulb.")
    bay.hear(resample(own.samples, own.rate, RATE)[: round((bay.player.due - bay.now) * RATE) - 1024])
    assert bay.reports == before
    assert voice.level == 0


def test_a_burst_changes_nothing_and_a_rest_is_waited_for(recogniser: Recogniser, voice: Voice) -> None:
    """Noise counts after three seconds, and quiet after ten: a wrench that comes and goes makes no level hop."""
    bay = NoisyBay(recogniser, voice)
    bay.speak_out(QUIET)
    bay.hear(made_noise("pink", 15.0, QUIET))
    assert voice.level == 0
    for _ in range(4):
        bay.hear(made_noise("pink", 0.15, LOUD))
        bay.hear(made_noise("pink", 6.0, QUIET))
    assert set(bay.levels[-60:]) == {0}
    bay.hear(made_noise("pink", 6.0, LOUD))
    assert voice.level == LEVELS[-1]
    for _ in range(4):
        bay.hear(made_noise("pink", 5.0, QUIET))
        bay.hear(made_noise("pink", 2.0, LOUD))
    assert voice.level == LEVELS[-1]
    bay.hear(made_noise("pink", (FALLS_AFTER + RISES_AFTER) * REPORT_S + 5.0, QUIET))
    assert voice.level == 0


def test_a_headset_leaves_the_voice_alone(recogniser: Recogniser, voice: Voice) -> None:
    """In a headset the noise is outside; shaping would only make the voice sharp."""
    bay = NoisyBay(recogniser, voice, headset=True)
    assert voice.level == 0
    bay.hear(made_noise("pink", 15.0, LOUD))
    assert bay.reports > 0
    assert voice.level == 0


def test_without_a_measurement_the_level_stays_in_the_middle(voice: Voice) -> None:
    """A session by keys alone knows nothing of the noise: neither plain, which fails in noise, nor full."""
    against = AgainstNoise(voice, headset=False)
    for _ in range(100):
        against.measured(None)
    assert voice.level == UNKNOWN
    assert LEVELS[0] < UNKNOWN < LEVELS[-1]
