"""`gear` on made-up devices: a microphone that cannot be used is never called able."""

from __future__ import annotations

import re
import threading
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from assistant.commands import gear_check
from assistant.errors import GearProblem
from assistant.hearing import microphone
from assistant.speaking.sound_server import ServerDevice
from assistant.speaking.synthesiser import Rendered

NOISE = np.tile(np.array([30, -20, 10, -10], np.int16), 128)


class Sounddevice:
    """Stands in for the module: one input device that gives the same block again and again, or nothing."""

    class PortAudioError(Exception):
        """As sounddevice's."""

    def __init__(self, block: Any, rate: int = 16000) -> None:
        self.block, self.rate = block, rate

    def query_devices(self, device: object, kind: str) -> Any:
        return {"default_samplerate": float(self.rate)}

    def check_input_settings(self, **settings: Any) -> None:
        if settings["samplerate"] != self.rate:
            raise self.PortAudioError("Invalid sample rate")

    def RawInputStream(self, callback: Callable[..., None], **settings: Any) -> Any:  # noqa: N802
        def start() -> None:
            for _ in range(120 if self.block is not None else 0):
                callback(self.block.tobytes(), len(self.block), None, None)

        stream = SimpleNamespace(active=True, start=threading.Thread(target=start, daemon=True).start)
        stream.abort = stream.close = lambda: None
        return stream


def looked_at(block: Any, rate: int = 16000) -> str:
    return gear_check._microphone(Sounddevice(block, rate), None, seconds=gear_check.GLANCE_S)


def test_a_microphone_with_noise_is_able() -> None:
    """The level of the bay is told."""
    assert "voice will be used" in looked_at(NOISE)


@pytest.mark.parametrize("rate", [16000, 48000])
def test_a_muted_microphone_is_not_able_and_says_what_to_do(rate: int) -> None:
    """Exact silence is a finding, also from a device whose sound is resampled; it says what to do."""
    with pytest.raises(GearProblem, match="nothing but silence: it is muted") as problem:
        looked_at(np.zeros(512 * rate // 16000, np.int16), rate)
    for way in ("Unmute", "--microphone", "PULSE_SOURCE", "--keys-only"):
        assert way in str(problem.value)


def test_a_microphone_that_stands_still_is_not_able(monkeypatch: pytest.MonkeyPatch) -> None:
    """A suspended source opens and never delivers: a finding, within a bounded time."""
    monkeypatch.setattr(microphone, "GLANCE_WAIT_S", 0.05)
    with pytest.raises(GearProblem, match="no sound arrives"):
        looked_at(None)


def test_the_file_for_messages_of_the_sound_system_is_named(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """`gear` says where they go while the board is drawn, and when they cannot be kept."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    assert f"go to {tmp_path}/bay-assistant/sound.log" in gear_check._sound_log()
    (tmp_path / "bay-assistant").write_text("a file where the folder should be", encoding="utf-8")
    assert "dropped" in gear_check._sound_log()


@pytest.mark.parametrize("name", ["heart", "gmw/en-us"])
def test_a_voice_is_told_with_its_level_length_and_time(name: str) -> None:
    """Each voice renders the sentence anew; its peak is that of every sentence."""
    said = gear_check._voice(name, 175)
    assert re.fullmatch(
        rf"{name}: \d\.\d s of speech at -\d\d\.\d dBFS RMS, peak -1\.0 dBFS; loaded in \d+ ms, rendered in \d+ ms\.",
        said,
    )


def test_a_voice_that_another_one_stands_in_for_is_not_able(monkeypatch: pytest.MonkeyPatch) -> None:
    """A session would go on in the other voice; `gear` says that the chosen one does not work, and why."""

    def broken(*_arguments: object, **_options: object) -> Rendered:
        return Rendered(np.ones(9, np.int16), 22050, "gmw/en-us", "The network is damaged.")

    monkeypatch.setattr(gear_check.SYNTHESISER, "render", broken)
    item = gear_check._tried("voice", lambda: gear_check._voice("heart", 175))
    assert not item.able
    assert "'heart' cannot speak, so 'gmw/en-us' does: The network is damaged." in item.text


def test_sources_sinks_and_pads_are_listed() -> None:
    """A line each under a title that says which option takes the name; the same in JSON; empty lists have no title."""
    server = (
        ServerDevice("input", "usb_one", "USB Microphone", 48000, 1, default=True),
        ServerDevice("output", "desk", "Desk", 44100, 2),
    )
    report = gear_check.GearReport(
        (), ("0: pulse (32 in, 32 out)",), server, ("'Bay Pad' (/dev/input/event3)",)
    )
    said = report.text()
    for title, line in (
        ("Sources of the sound server, for --microphone:", "  * usb_one: USB Microphone (48 kHz, mono)"),
        ("Sinks of the sound server, for --loudspeaker:", "    desk: Desk (44.1 kHz, 2 channels)"),
        ("Sound devices, for both:", "  0: pulse (32 in, 32 out)"),
        ("Number pads, for run --pad:", "  'Bay Pad' (/dev/input/event3)"),
    ):
        assert f"\n{title}\n{line}\n" in said
    told = report.to_json()
    assert [("source", "usb_one"), ("sink", "desk")] == [(one["kind"], one["name"]) for one in told["server"]]
    assert ["'Bay Pad' (/dev/input/event3)"] == told["pads"]
    assert ":" not in gear_check.GearReport(()).text()


@pytest.mark.parametrize("held", [True, False])
def test_whether_the_machine_can_be_kept_awake_is_told(monkeypatch: pytest.MonkeyPatch, held: bool) -> None:
    """It is a finding, with what to do instead, but no reason not to run a session."""
    monkeypatch.setattr(gear_check.Awake, "held_after", lambda _self, _seconds: held)
    able, text = gear_check._awake()
    assert held == able
    assert ("stays lit" if held else "turn sleep and the dark screen off") in text
