"""Speech leaves the loudspeaker, or the clock, or goes onto the track."""

from __future__ import annotations

import sys
import threading
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from tones import RATE, Ended, tone

from assistant.errors import GearProblem
from assistant.speaking import player as player_module
from assistant.speaking.player import Player
from assistant.speaking.portaudio import load_sounddevice
from assistant.speaking.speech import SpokenSound

if TYPE_CHECKING:
    from collections.abc import Iterator

BLOCK = 80  # 10 ms


class FakeDevice:
    """Stands in for the module sounddevice: blocks are pulled by the test."""

    class PortAudioError(Exception):
        """As sounddevice has it."""

    def __init__(self, channels: int = 2) -> None:
        self.channels = channels
        self.streams: list[SimpleNamespace] = []
        self.present = True

    def query_devices(self, _device: object, _kind: str) -> dict[str, float]:
        """The abilities of the device."""
        if not self.present:
            raise self.PortAudioError("Error querying device -1")
        return {"default_samplerate": float(RATE), "max_output_channels": self.channels}

    def RawOutputStream(self, **options: Any) -> SimpleNamespace:  # noqa: N802  (sounddevice's own name)
        """A stream that records how it was opened."""
        stream = SimpleNamespace(active=True, latency=0.0, options=options, closed=False)
        stream.start = lambda: None
        stream.abort = lambda: setattr(stream, "active", False)
        stream.close = lambda: setattr(stream, "closed", True)
        self.streams.append(stream)
        return stream

    def pull(self, blocks: int = 1) -> np.ndarray[Any, np.dtype[np.int16]]:
        """The next blocks, shape (frames, channels)."""
        pulled = []
        for _ in range(blocks):
            out = bytearray(2 * BLOCK * self.channels)
            when = SimpleNamespace(outputBufferDacTime=0.0, currentTime=0.0)
            self.streams[-1].options["callback"](memoryview(out), BLOCK, when, None)
            pulled.append(np.frombuffer(bytes(out), np.int16).reshape(-1, self.channels))
        return np.concatenate(pulled)


@pytest.fixture
def device() -> FakeDevice:
    """A stereo device that plays what a test pulls."""
    return FakeDevice()


@pytest.fixture
def player(device: FakeDevice) -> Iterator[Player]:
    """A player on that device."""
    made = Player(sounddevice=device)
    yield made
    made.close()


def test_every_sample_is_played_once_on_both_channels(device: FakeDevice, player: Player) -> None:
    """Speech comes out whole, silence before and after, and its end is reported as not cut."""
    ended = Ended()
    assert not device.pull().any()
    speech = SpokenSound(np.arange(1, 201, dtype=np.int16), RATE, "count")
    player.play(speech, ended)
    out = device.pull(4)
    assert list(range(1, 201)) + [0] * 120 == list(out[:, 0])
    assert np.array_equal(out[:, 0], out[:, 1])
    assert ended.wait() == [False]


def test_blocks_are_small_and_follow_the_device(device: FakeDevice, player: Player) -> None:
    """The device is opened at its own rate with blocks of 10 ms, so that speech starts and stops quickly."""
    options = device.streams[0].options
    assert tuple(options[name] for name in ("samplerate", "blocksize", "channels", "dtype")) == (
        RATE,
        BLOCK,
        2,
        "int16",
    )


def test_other_rates_are_converted(device: FakeDevice, player: Player) -> None:
    """Speech at another rate lasts as long as it should."""
    ended = Ended()
    player.play(tone(0.1, 22050), ended)
    out = device.pull(20)
    last = int(np.flatnonzero(np.abs(out[:, 0]) > 5000)[-1])
    assert abs(0.1 * RATE - last) < 20
    assert ended.wait() == [False]


def test_cut_is_silent_after_one_block(device: FakeDevice, player: Player) -> None:
    """After a cut one block fades to nothing and silence follows; the report says cut, once."""
    ended = Ended()
    player.play(tone(5.0), ended)
    device.pull(3)
    player.cut()
    fade, after = device.pull(), device.pull(50)
    assert (bool(fade[0, 0] == 10000), int(fade[-1, 0]), bool(after.any())) == (True, 0, False)
    player.cut()
    assert ended.wait() == [True]


def test_new_speech_cuts_the_old(device: FakeDevice, player: Player) -> None:
    """The old speech is reported as cut, the new one is what is heard from the next block on."""
    old, new = Ended(), Ended()
    player.play(tone(5.0), old)
    device.pull()
    player.play(SpokenSound(np.full(BLOCK, 77, np.int16), RATE, "new"), new)
    assert {77} == set(device.pull()[:, 0].tolist())
    assert (old.wait(), new.wait()) == ([True], [False])


def test_end_waits_for_the_device(
    device: FakeDevice, player: Player, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While the last samples are still in the device, speech has not ended, and can still be cut."""
    device.streams[0].latency = 60.0
    ended = Ended()
    player.play(tone(0.01), ended)
    device.pull(3)
    assert ended.cuts == []
    player.cut()
    assert ended.wait() == [True]


def test_close_reports_and_gives_back(device: FakeDevice) -> None:
    """Closing ends what is being said; a second close does nothing."""
    ended = Ended()
    player = Player(sounddevice=device)
    player.play(tone(5.0), ended)
    player.close()
    player.close()
    assert (ended.wait(), device.streams[0].closed) == ([True], True)


def test_mono_device() -> None:
    """A loudspeaker with one channel gets one."""
    device = FakeDevice(channels=1)
    player = Player(sounddevice=device)
    player.play(tone(0.01), Ended())
    assert device.pull().shape == (BLOCK, 1)
    player.close()


def test_lost_device_is_reported_and_found_again(device: FakeDevice, monkeypatch: pytest.MonkeyPatch) -> None:
    """Losing the device ends speech as cut, speech meanwhile is cut too, and coming back is reported."""
    monkeypatch.setattr(player_module, "_TRY_AGAIN_S", 0.01)
    lost: list[str] = []
    gone, back = threading.Event(), threading.Event()

    def on_lost(why: str) -> None:
        lost.append(why)
        gone.set()

    player = Player(sounddevice=device, on_gear_lost=on_lost, on_gear_back=back.set)
    during, meanwhile, after = Ended(), Ended(), Ended()
    player.play(tone(5.0), during)
    device.pull()
    device.present = False
    device.streams[0].active = False
    assert during.wait() == [True]
    assert gone.wait(timeout=30)
    player.play(tone(0.01), meanwhile)
    assert meanwhile.wait() == [True]
    device.present = True
    while not back.wait(timeout=0.01):
        device.pull()
    player.play(tone(0.01), after)
    device.pull(3)
    assert after.wait() == [False]
    assert lost == ["The loudspeaker stopped working. Check its plug and cable."]
    player.close()


def test_no_loudspeaker_is_a_plain_sentence(device: FakeDevice) -> None:
    """A device that is not there is named, with what to do."""
    device.present = False
    with pytest.raises(GearProblem, match=r"no loudspeaker 'bench' that can be used .*Plug one in"):
        Player("bench", sounddevice=device)


def test_missing_portaudio_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without PortAudio the sentence holds the command that installs it."""

    def no_library(_name: str) -> None:
        raise OSError("PortAudio library not found")

    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr("importlib.import_module", no_library)
    with pytest.raises(GearProblem, match="apt install libportaudio2"):
        load_sounddevice()
