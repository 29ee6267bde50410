"""The driver of the neural voice, through pyttsx3's own engine."""

from __future__ import annotations

import wave
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import pyttsx3
from pyttsx3.engine import Engine

from assistant.speaking import driver
from assistant.speaking.neural.network import HeartNetwork
from assistant.speaking.output import OnFinished
from assistant.speaking.speech import SpokenSound


class Loudspeaker:
    """Remembers what it plays; each utterance ends when a test lets it, or at once."""

    def __init__(self, *, at_once: bool = True) -> None:
        self.played: list[SpokenSound] = []
        self.ends: list[OnFinished] = []
        self.cuts = 0
        self.at_once = at_once

    def play(self, speech: SpokenSound, on_finished: OnFinished) -> None:
        self.played.append(speech)
        self.ends.append(on_finished)
        if self.at_once:
            on_finished(False)

    def cut(self) -> None:
        self.cuts += 1
        self.ends[-1](True)

    def close(self) -> None:
        pass


@pytest.fixture
def engine() -> Iterator[Engine]:
    """An engine with our driver, found by its name."""
    driver.register()
    return Engine("heart")


def told(engine: Engine) -> list[tuple[str, Any]]:
    """What the engine will report, in order."""
    found: list[tuple[str, Any]] = []
    for topic in ("started-utterance", "started-word", "finished-utterance", "error"):
        engine.connect(topic, lambda topic=topic, **values: found.append((topic, values)))
    return found


def with_loudspeaker(engine: Engine, loudspeaker: Loudspeaker) -> Engine:
    """The same engine, speaking there."""
    engine.proxy._driver._open = lambda: loudspeaker
    return engine


def test_pyttsx3_finds_the_voice_by_its_name() -> None:
    """``pyttsx3.init`` needs nothing but the name."""
    driver.register()
    engine = pyttsx3.init("heart")
    assert str(engine) == "heart"
    assert [voice.id for voice in engine.getProperty("voices")] == ["heart"]


def test_a_file_holds_the_sound_of_the_network(engine: Engine, tmp_path: Path) -> None:
    """`save_to_file` writes exactly what the network says, after all commands before it."""
    path = tmp_path / "said.wav"
    engine.save_to_file("Key off.", str(path), "first")
    engine.save_to_file("Key on.", str(tmp_path / "other.wav"))
    found = told(engine)
    engine.runAndWait()
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getsampwidth(), file.getframerate()) == (1, 2, HeartNetwork.rate)
        samples = np.frombuffer(file.readframes(file.getnframes()), "<i2")
    assert np.array_equal(driver.speak("Key off.")[0], samples)
    assert (tmp_path / "other.wav").stat().st_size > 10_000
    assert [topic for topic, _ in found] == 2 * [
        *("started-utterance", "started-word", "started-word", "finished-utterance")
    ]
    assert found[0][1] == {"name": "first"}
    assert [(one["location"], one["length"]) for topic, one in found if topic == "started-word"][:2] == [
        *((0, 3), (4, 4))
    ]
    assert found[3][1] == {"name": "first", "completed": True}
    assert not engine.isBusy()


def test_say_speaks_on_the_loudspeaker(engine: Engine) -> None:
    """`say` plays the whole text and reports its words and its end."""
    loudspeaker = Loudspeaker()
    with_loudspeaker(engine, loudspeaker).say("Key off. Wait.")
    found = told(engine)
    engine.runAndWait()
    assert [speech.text for speech in loudspeaker.played] == ["Key off. Wait."]
    words = [one for topic, one in found if topic == "started-word"]
    assert [(one["location"], one["length"]) for one in words] == [(0, 3), (4, 4), (9, 5)]
    assert found[-1] == ("finished-utterance", {"name": None, "completed": True})


def test_stop_ends_the_sentence_and_forgets_the_others(engine: Engine) -> None:
    """What is being said is cut and reported as not completed; what waits is not said."""
    loudspeaker = Loudspeaker(at_once=False)
    with_loudspeaker(engine, loudspeaker).say("Key off.")
    engine.say("Key on.")
    found = told(engine)
    engine.connect("started-word", lambda **_: engine.stop())
    engine.runAndWait()
    assert (len(loudspeaker.played), loudspeaker.cuts) == (1, 1)
    assert found[-1] == ("finished-utterance", {"name": None, "completed": False})


def test_a_loop_of_ones_own_drives_it_step_by_step(engine: Engine, tmp_path: Path) -> None:
    """With an outside loop `iterate` carries out what waits, and nothing happens between two calls."""
    engine.startLoop(useDriverLoop=False)
    engine.save_to_file("Key off.", str(tmp_path / "said.wav"))
    assert not (tmp_path / "said.wav").exists()
    for _ in range(3):
        engine.iterate()
    assert (tmp_path / "said.wav").exists()
    engine.endLoop()
    with pytest.raises(RuntimeError, match="not started"):
        engine.iterate()


def test_properties_are_set_clipped_and_refused(engine: Engine) -> None:
    """Rate and volume keep to what the voice can, and what it cannot be is an error of that command."""
    found = told(engine)
    for name, value in (("rate", 120), ("volume", 0.5), ("voice", "heart")):
        engine.setProperty(name, value)
    engine.runAndWait()
    assert [engine.getProperty(name) for name in ("rate", "volume", "voice")] == [120, 0.5, "heart"]
    engine.setProperty("rate", 10_000)
    engine.setProperty("volume", -1)
    engine.runAndWait()
    assert [engine.getProperty(name) for name in ("rate", "volume")] == [driver.FASTEST, 0.0]
    assert found == []
    for name, value in (("voice", "nobody"), ("rate", "fast"), ("pitch", 3)):
        engine.setProperty(name, value)
    engine.runAndWait()
    assert [type(one["exception"]) for _, one in found] == [ValueError, ValueError, KeyError]
    with pytest.raises(KeyError, match="unknown property pitch"):
        engine.getProperty("pitch")


def test_rate_and_volume_are_heard(engine: Engine, tmp_path: Path) -> None:
    """Slower is longer, and half the volume is half the height."""

    def spoken(**properties: float) -> Any:
        for name, value in properties.items():
            engine.setProperty(name, value)
        engine.save_to_file("Watch the lamp.", str(tmp_path / "said.wav"))
        engine.runAndWait()
        with wave.open(str(tmp_path / "said.wav")) as file:
            return np.frombuffer(file.readframes(file.getnframes()), "<i2").astype(int)

    usual, soft, slow = spoken(rate=175), spoken(volume=0.5), spoken(rate=100, volume=1.0)
    assert np.max(np.abs(usual - 2 * soft)) <= 2
    assert len(slow) > 1.3 * len(usual)


def test_a_word_without_pronunciation_is_an_error_and_not_silence(engine: Engine, tmp_path: Path) -> None:
    """The command fails with the words by name, its utterance is not completed, and the next one is spoken."""
    engine.save_to_file("Zzvorp.", str(tmp_path / "bad.wav"))
    engine.save_to_file("Key off.", str(tmp_path / "good.wav"))
    found = told(engine)
    engine.runAndWait()
    (problem,) = [one["exception"] for topic, one in found if topic == "error"]
    assert problem.words == ("Zzvorp",)
    assert [one["completed"] for topic, one in found if topic == "finished-utterance"] == [False, True]
    assert (tmp_path / "good.wav").exists()
    assert not (tmp_path / "bad.wav").exists()


def test_speed_follows_the_rate() -> None:
    """More words a minute never mean a slower network, and all speeds are ones that it can do."""
    speeds = [driver.speed_for(rate) for rate in range(60, 500)]
    assert speeds == sorted(speeds)
    assert (speeds[0], speeds[-1]) == (0.5, 2.0)
