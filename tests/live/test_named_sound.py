"""Sources and sinks by their names on a real sound server, and a headset that works as a telephone."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from bay import ELSEWHERE, LOUDSPEAKER, MICROPHONE, Bay, Terminal

from assistant.speaking.sound_server import listed

HEADSET = "bluez_input.00_11_22_33_44_55.0"


@pytest.fixture
def server(bay: Bay, monkeypatch: pytest.MonkeyPatch) -> Bay:
    """This process asks the bay's server, too."""
    for name in ("PULSE_SERVER", "PULSE_RUNTIME_PATH", "HOME", "XDG_RUNTIME_DIR"):
        monkeypatch.setenv(name, bay.environment[name])
    return bay


def headset(bay: Bay, rate: int, properties: str) -> None:
    """A Bluetooth headset's microphone, as the server's own Bluetooth module describes it; it hears the bay."""
    bay.pactl(
        "load-module",
        "module-remap-source",
        f"master={MICROPHONE}.monitor",
        f"source_name={HEADSET}",
        f"rate={rate}",
        "channels=1",
        f"source_properties=\"device.description='Blue Headset' {properties}\"",
    )


def gear(bay: Bay, *arguments: str) -> Any:
    """The report of `gear`."""
    done = subprocess.run(
        [sys.executable, "-m", "assistant", "gear", "--json", *arguments],
        env=bay.environment,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    return json.loads(done.stdout)


def test_the_servers_names_are_those_that_pactl_gives(server: Bay) -> None:
    """Names, descriptions, rates, the defaults and what is a monitor. Outside check: PulseAudio's own `pactl`."""
    server.pactl("set-default-sink", LOUDSPEAKER)
    known = listed()
    for kind, what in (("input", "sources"), ("output", "sinks")):
        told = [line.split("\t") for line in server.pactl("list", "short", what).splitlines()]
        assert {(name, shape.split()[2], shape.split()[1]) for _, name, _, shape, *_ in told} == {
            (one.name, f"{one.rate}Hz", f"{one.channels}ch") for one in known if one.kind == kind
        }
    assert [LOUDSPEAKER] == [one.name for one in known if one.kind == "output" and one.default]
    assert {f"{name}.monitor" for name in (MICROPHONE, LOUDSPEAKER, ELSEWHERE)} == {
        one.name for one in known if one.monitor
    }
    server.kill_server()
    assert () == listed()


def test_named_source_and_sink_are_used(bay: Bay) -> None:
    """`gear` lists them, hears the source that is named by a part of its description, and speaks into the sink named.

    The variables of the environment choose others.
    """
    environment = bay.environment
    environment |= {"PULSE_SOURCE": f"{ELSEWHERE}.monitor", "PULSE_SINK": LOUDSPEAKER}
    headset(bay, 48000, "")
    bay.record()
    with (bay.folder / "elsewhere.raw").open("wb") as out:
        recording = subprocess.Popen(
            ["parec", f"--device={ELSEWHERE}.monitor", "--rate=16000", "--channels=1", "--format=s16le"],
            env=environment,
            stdout=out,
        )
    report = gear(bay, "--microphone", "blue head", "--loudspeaker", ELSEWHERE, "--say")
    recording.terminate()
    recording.wait(timeout=10)
    spoken = np.fromfile(bay.folder / "elsewhere.raw", np.int16)
    assert np.abs(spoken.astype(int)).max(initial=0) > 1000
    assert np.abs(bay.recorded().astype(int)).max(initial=0) < 100
    items = {item["name"]: item for item in report["items"]}
    assert items["microphone"]["able"], items["microphone"]["text"]
    assert items["loudspeaker"]["able"], items["loudspeaker"]["text"]
    assert {"kind": "source", "name": HEADSET}.items() <= next(
        one for one in report["server"] if one["name"] == HEADSET
    ).items()


def test_a_wrong_name_is_answered_with_the_names(bay: Bay) -> None:
    """What the server has is said in the refusal, and the other device is not searched in vain."""
    report = gear(bay, "--microphone", "nonesuch", "--loudspeaker", "elsewhere")
    items = {item["name"]: item for item in report["items"]}
    assert not items["microphone"]["able"]
    assert re.search(rf"no microphone 'nonesuch'.*{MICROPHONE}.monitor", items["microphone"]["text"])
    assert items["loudspeaker"]["able"], items["loudspeaker"]["text"]


@pytest.mark.parametrize(
    ("rate", "properties", "words"),
    [
        (8000, "device.api=bluez bluetooth.protocol=headset_head_unit", "above 4 kHz"),
        (16000, "device.api=bluez5 api.bluez5.profile=headset-head-unit", "16 kHz. That is wide enough"),
        (
            48000,
            "device.api=bluez5 api.bluez5.profile=headset-head-unit api.bluez5.codec=cvsd",
            "above 4 kHz",
        ),
    ],
)
def test_a_headset_as_a_telephone_is_told(bay: Bay, rate: int, properties: str, words: str) -> None:
    """PulseAudio and PipeWire describe it differently; `gear` says what it means and what to do, and stays able."""
    headset(bay, rate, properties)
    report = gear(bay, "--microphone", HEADSET)
    items = {item["name"]: item for item in report["items"]}
    assert words in items["headset"]["text"]
    assert "--microphone" in items["headset"]["text"]
    assert report["able"]
    assert [HEADSET] == [one["name"] for one in report["server"] if one["telephone"]]
    assert "headset" not in {item["name"] for item in gear(bay)["items"]}


def test_a_session_says_so_on_its_screen(bay: Bay, terminal: Callable[..., Terminal], tmp_path: Path) -> None:
    """A session with such a headset, chosen by the server as its default, says it once."""
    headset(bay, 8000, "device.api=bluez")
    bay.pactl("set-default-source", HEADSET)
    del bay.environment["PULSE_SOURCE"]
    program = terminal("run", "no-start", "--silent", "--plain", "--sessions", str(tmp_path / "sessions"))
    program.wait_for("'Blue Headset' works as a telephone")
    program.press("qq")
    assert 0 == program.ended()
    assert 1 == program.text.count("works as a telephone")
