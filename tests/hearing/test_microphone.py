"""The microphone with a stand-in for PortAudio: what it delivers, and what is said when it is gone."""

from __future__ import annotations

import threading
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from assistant.errors import GearProblem
from assistant.hearing import microphone
from assistant.hearing.microphone import LOST, SILENT, Microphone, list_devices

if TYPE_CHECKING:
    from assistant.hearing.sound import Samples


NOISE = np.tile(np.array([3, -2, 1, -1], np.int16), 128)
"""The least that a real microphone gives."""


class PortAudioError(Exception):
    """As sounddevice's."""


class Sounddevice:
    """Stands in for the module: one input device that can be pulled out."""

    PortAudioError = PortAudioError

    def __init__(self, rate: int = 16000) -> None:
        self.rate = rate
        self.plugged = True
        self.streams: list[Any] = []

    def query_devices(self, device: object = None, kind: str | None = None) -> Any:
        about = {
            "name": "headset",
            "index": 1,
            "default_samplerate": float(self.rate),
            "max_input_channels": 1,
        }
        if kind is None and device is None:
            return [{"name": "speaker", "index": 0, "max_input_channels": 0}, about]
        if not self.plugged or device == "absent":
            raise PortAudioError("Error querying device -1")
        return about

    def check_input_settings(self, **settings: Any) -> None:
        if settings["samplerate"] != self.rate:
            raise PortAudioError("Invalid sample rate")

    def RawInputStream(self, **settings: Any) -> Any:  # noqa: N802  the module's name
        if not self.plugged:
            raise PortAudioError("Device unavailable")
        stream = SimpleNamespace(active=True, settings=settings, start=lambda: None)
        stream.abort = stream.close = lambda: setattr(stream, "active", False)
        stream.say = lambda block: settings["callback"](block.tobytes(), len(block), None, None)
        self.streams.append(stream)
        return stream


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """No test waits for seconds."""
    monkeypatch.setattr(microphone, "TRY_AGAIN_S", 0.02)
    monkeypatch.setattr(microphone, "_LOOK_S", 0.01)


def test_blocks_are_delivered() -> None:
    """Every block arrives as int16 with the same samples."""
    module, got = Sounddevice(), []
    mic = Microphone(sounddevice=module)
    mic.start(got.append, lambda _why: None, lambda: None)
    block = np.arange(-256, 256, dtype=np.int16)
    module.streams[0].say(block)
    mic.close()
    module.streams[0].say(block)
    assert 1 == len(got)
    assert block.tolist() == got[0].tolist()


def test_a_device_of_another_rate_is_resampled() -> None:
    """A device that only knows 48 kHz gives 16 kHz all the same."""
    module, got = Sounddevice(48000), []
    mic = Microphone(sounddevice=module)
    mic.start(got.append, lambda _why: None, lambda: None)
    for _ in range(50):
        module.streams[0].say(np.zeros(1536, np.int16))
    mic.close()
    assert pytest.approx(50 * 512, abs=1024) == sum(samples.size for samples in got)
    assert np.int16 == got[-1].dtype


@pytest.mark.usefixtures("quick")
def test_unplugged_and_plugged_in_again() -> None:
    """The loss is told once with a reason, the return once, and sound flows again."""
    module, lost, back = Sounddevice(), [], threading.Event()
    gone, heard = threading.Event(), threading.Event()

    def lose(why: str) -> None:
        lost.append(why)
        gone.set()

    def deliver(_samples: Samples) -> None:
        heard.set()

    mic = Microphone(sounddevice=module)
    mic.start(deliver, lose, back.set)
    module.plugged = False
    module.streams[0].active = False
    assert gone.wait(5)
    module.plugged = True
    for _ in range(500):
        if len(module.streams) > 1:
            module.streams[-1].say(NOISE)
        if back.wait(0.01):
            break
    mic.close()
    assert [LOST] == lost
    assert back.is_set()
    assert heard.is_set()


@pytest.mark.parametrize("device", [None, "absent"])
def test_no_microphone_is_a_sentence(device: str | None) -> None:
    """No device at all, or none of that name, says what to do."""
    module = Sounddevice()
    module.plugged = device is not None
    with pytest.raises(GearProblem, match=r"There is no microphone.*Plug one in"):
        Microphone(device, sounddevice=module).start(print, print, print)


def test_missing_portaudio_names_the_package(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without the system library the error says exactly what to install."""

    def missing(_name: str) -> None:
        raise OSError("PortAudio library not found")

    monkeypatch.setattr("assistant.speaking.portaudio.importlib.import_module", missing)
    with pytest.raises(GearProblem, match="apt install libportaudio2"):
        Microphone()
    with pytest.raises(GearProblem, match="apt install libportaudio2"):
        list_devices()


def test_only_inputs_are_listed() -> None:
    """The list holds input devices by number, the default one marked."""
    assert ["* 1: headset (1 in)"] == list_devices(Sounddevice())


def feed_until(done: threading.Event, module: Sounddevice, block: Any, most: int = 500) -> None:
    """Let the stream that was opened last give this block, a thousand times as fast as a device."""
    for _ in range(most):
        module.streams[-1].say(block)
        if done.wait(0.005):
            return


@pytest.mark.usefixtures("quick")
def test_muted_is_a_loss_and_unmuted_a_return() -> None:
    """Exact silence is told as a loss with its own reason; opened again and silent it is not back, with sound it is."""
    module, lost, back = Sounddevice(), [], threading.Event()
    gone = threading.Event()

    def lose(why: str) -> None:
        lost.append(why)
        gone.set()

    mic = Microphone(sounddevice=module)
    mic.start(lambda _samples: None, lose, back.set)
    feed_until(gone, module, np.zeros(512, np.int16))
    assert [SILENT] == lost
    feed_until(back, module, np.zeros(512, np.int16), 40)
    assert not back.is_set()
    assert len(module.streams) > 1
    feed_until(back, module, NOISE)
    mic.close()
    assert back.is_set()
    assert [SILENT] == lost


@pytest.mark.usefixtures("quick")
def test_a_voice_that_is_our_own_does_not_bring_it_back() -> None:
    """Sound that comes while the loudspeaker speaks is not taken for a microphone that works again."""
    module, back, gone = Sounddevice(), threading.Event(), threading.Event()
    mic = Microphone(sounddevice=module, own_voice=gone.is_set)
    mic.start(lambda _samples: None, lambda _why: gone.set(), back.set)
    feed_until(gone, module, np.zeros(512, np.int16))
    feed_until(back, module, NOISE, 60)
    mic.close()
    assert not back.is_set()
