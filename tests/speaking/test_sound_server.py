"""What the sound server's program says becomes sources and sinks, and a choice among them."""

from __future__ import annotations

import subprocess
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, strategies as st

from assistant.errors import GearProblem
from assistant.speaking import sound_server
from assistant.speaking.sound_server import ServerDevice, device_for, listed, telephones, understood

HEADSET = """\
Source #7
	State: SUSPENDED
	Name: bluez_input.00_11_22_33_44_55.0
	Description: Höhrer "blau"
	Driver: PipeWire
	Sample Specification: s16le 1ch 16000Hz
	Properties:
		device.api = "bluez5"
		api.bluez5.address = "00:11:22:33:44:55"
		api.bluez5.codec = "cvsd"
		api.bluez5.profile = "headset-head-unit"

Sink #8
	Name: desk
	Description: Desk
	Sample Specification: float32le 2ch 48000Hz
	Properties:
		device.string = "front:0"

Card #3
	Name: bluez_card.00_11_22_33_44_55
	Driver: module-bluez5-device.c
	Properties:
		api.bluez5.address = "00:11:22:33:44:55"
	Profiles:
		off: Off (sinks: 0, sources: 0, priority: 0, available: yes)
		a2dp-sink: High Fidelity Playback (A2DP Sink, codec SBC) (sinks: 1, sources: 0, priority: 18, available: yes)
		headset-head-unit: Headset Head Unit (HSP/HFP) (sinks: 1, sources: 1, priority: 1, available: yes)
	Active Profile: headset-head-unit
"""
"""The layout is that of `pactl` 16.1 with PipeWire's properties, from memory; `tests/live` asks a real PulseAudio."""

INFO = "Server Name: PulseAudio (on PipeWire 0.3.65)\nDefault Sink: desk\nDefault Source: nothing\n"


class Sounddevice:
    """Stands in for the module: it knows some names."""

    class PortAudioError(Exception):
        """As sounddevice's."""

    def __init__(self, *known: str) -> None:
        self._known = known

    def query_devices(self, wanted: str, kind: str) -> Any:
        if wanted not in self._known:
            raise ValueError(wanted)
        return {}


@pytest.fixture
def choose(monkeypatch: pytest.MonkeyPatch) -> Callable[..., Any]:
    """`device_for` on a machine with two sources that are no monitor, and one monitor."""
    devices = (
        ServerDevice("input", "usb_one", "USB Microphone"),
        ServerDevice("input", "usb_two", "Webcam"),
        ServerDevice("input", "desk.monitor", "Monitor of Desk", monitor=True),
        ServerDevice("output", "desk", "Desk", default=True),
    )
    monkeypatch.setattr(sound_server, "listed", lambda: devices)
    monkeypatch.delenv("PULSE_SOURCE", raising=False)
    monkeypatch.setenv("PULSE_SINK", "elsewhere")

    def chosen(wanted: str | None, kind: Any = "input", known: Sequence[str] = ("pulse", "hw:0")) -> Any:
        return device_for(wanted, kind, lambda: Sounddevice(*known))

    return chosen


@given(things=st.text() | st.text(alphabet='Sourceink #1\t\n:="Name'), about=st.text())
def test_any_answer_is_understood(things: str, about: str) -> None:
    """Whatever the program prints, there is no error, and every device has a name."""
    assert all(one.name and one.description for one in understood(things, about))


def test_a_headset_under_pipewire() -> None:
    """Name, description beyond ASCII, codec instead of the resampled rate, and the command for its card."""
    source, sink = understood(HEADSET, INFO)
    assert ("input", "bluez_input.00_11_22_33_44_55.0", 'Höhrer "blau"', 8000, 1, False) == (
        source.kind,
        source.name,
        source.description,
        source.rate,
        source.channels,
        source.default,
    )
    assert ("desk", 48000, 2, True) == (sink.name, sink.rate, sink.channels, sink.default)
    assert (True, False) == (source.telephone, sink.telephone)
    told = source.telephone_told()
    assert "above 4 kHz" in told
    assert "pactl set-card-profile bluez_card.00_11_22_33_44_55 a2dp-sink" in told
    assert "telephone band" in source.line()


@pytest.mark.parametrize(
    ("device", "telephone"),
    [
        (ServerDevice("input", "a", "A", bluetooth=True, rate=8000, channels=1), True),
        (ServerDevice("input", "a", "A", bluetooth=True, rate=16000, channels=1), True),
        (ServerDevice("input", "a", "A", bluetooth=False, rate=8000, channels=1), False),
        (ServerDevice("output", "a", "A", bluetooth=True, rate=48000, profile="a2dp-sink"), False),
        (ServerDevice("output", "a", "A", bluetooth=True, rate=48000, profile="handsfree_head_unit"), True),
        (ServerDevice("input", "a", "A", bluetooth=True, rate=8000, channels=1, monitor=True), False),
    ],
)
def test_what_counts_as_a_telephone(device: ServerDevice, telephone: bool) -> None:
    """Its profile, or one channel of 8 or 16 kHz, of a Bluetooth device that is no monitor."""
    assert telephone == device.telephone


def test_no_server_offers_no_names(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """No program, one that fails, one that hangs: no names, and no error."""
    monkeypatch.setenv("PATH", str(tmp_path))
    assert () == listed()

    def hung(_arguments: Sequence[str]) -> str:
        raise subprocess.TimeoutExpired("pactl", 3.0)

    assert () == listed(hung)
    program = tmp_path / "pactl"
    program.write_text("#!/bin/sh\necho no >&2; exit 1\n", encoding="utf-8")
    program.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:/bin:/usr/bin")
    assert () == listed()
    program.write_text("#!/bin/sh\nexec sleep 60\n", encoding="utf-8")
    monkeypatch.setattr(sound_server, "ANSWER_S", 0.2)
    assert () == listed()


@pytest.mark.parametrize("wanted", ["usb_one", "USB_ONE", "usb microphone", "microphone"])
def test_a_source_is_taken_by_name_description_or_part(choose: Callable[..., Any], wanted: str) -> None:
    """The server's device of PortAudio is used, and the server told which source by the variable of this process."""
    assert "pulse" == choose(wanted)
    assert "usb_one" == sound_server.os.environ["PULSE_SOURCE"]


@pytest.mark.parametrize("wanted", [None, "3", "hw:0"])
def test_what_portaudio_knows_stays_as_it_was(choose: Callable[..., Any], wanted: str | None) -> None:
    """No name, a number, PortAudio's own name: taken as before, and the environment is not touched."""
    assert (int(wanted) if wanted == "3" else wanted) == choose(wanted)
    assert "PULSE_SOURCE" not in sound_server.os.environ


def test_a_name_that_is_not_there_or_not_clear_is_refused(choose: Callable[..., Any]) -> None:
    """The refusal says which names there are, and a monitor is taken only if nothing else fits."""
    with pytest.raises(GearProblem, match="no microphone 'nonesuch'") as problem:
        choose("nonesuch")
    assert "usb_one, usb_two, desk.monitor" in str(problem.value)
    with pytest.raises(GearProblem, match="'usb' could be each of these; name one in full: usb_one, usb_two"):
        choose("usb")
    assert "pulse" == choose("desk")
    assert "desk.monitor" == sound_server.os.environ["PULSE_SOURCE"]
    assert "pulse" == choose("desk", "output")
    assert "desk" == sound_server.os.environ["PULSE_SINK"]


def test_the_missing_plug_in_is_named(choose: Callable[..., Any]) -> None:
    """Without ALSA's plug-in PortAudio does not know the server: the package is said."""
    with pytest.raises(GearProblem, match="libasound2-plugins"):
        choose("usb_one", known=())


def test_without_a_server_a_name_is_portaudios(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no server answers, a name goes to PortAudio as it is, which refuses it in its own words."""
    monkeypatch.setattr(sound_server, "listed", tuple)
    assert "nonesuch" == device_for("nonesuch", "input", Sounddevice)


def test_only_a_headset_in_use_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """The one that is chosen by the variable, else the default; source and sink of one headset count once."""
    known = [
        ServerDevice(kind, name, "Blue", 8000, 1, default=default, bluetooth=True)
        for kind, name, default in (("input", "a", True), ("output", "b", True), ("input", "c", False))
    ]
    monkeypatch.setattr(sound_server, "listed", lambda: known)
    monkeypatch.delenv("PULSE_SINK", raising=False)
    monkeypatch.setenv("PULSE_SOURCE", "c")
    assert {"Blue"} == {one.description for one in telephones("pulse", None)}
    assert 1 == len(telephones("pulse", None))
    assert () == telephones("hw:0", 3)
    monkeypatch.setenv("PULSE_SOURCE", "elsewhere")
    assert () == telephones(None, "")
