"""Captures of a clamp through the real sigrok-cli."""

from __future__ import annotations

import queue
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import soundfile
from ramp_captures import CIRCUIT, MEASURED, Clamp, captured

from assistant.circuit.catalogue import mechanism_named
from assistant.circuit.parameters import Systems
from assistant.circuit.tracing import trace
from assistant.errors import GearProblem, UsageProblem
from assistant.meter.clamp_capture import ClampCapture, FileCapture, from_file
from assistant.meter.dwells import CurrentCapture
from assistant.meter.readings import MeterTrouble
from assistant.meter.shapes import classified

pytestmark = pytest.mark.skipif(
    shutil.which("sigrok-cli") is None, reason="needs sigrok-cli; '.ci/setup test' installs it"
)

PATIENCE_S = 30


@pytest.mark.parametrize(("fault", "outcome"), [("none", "slow-ramp"), ("shorted-primary", "at-once")])
def test_a_file_of_sigrok_is_read_and_judged(tmp_path: Path, fault: str, outcome: str) -> None:
    """A ramp that sigrok-cli itself kept in its format (from 32-bit samples, volts of a 10 mV/A clamp) is the same."""
    current = trace(CIRCUIT, mechanism_named(CIRCUIT, fault), MEASURED, Systems.typical())
    capture = captured(current, Clamp(), np.random.default_rng(1), seconds=1.0)
    soundfile.write(tmp_path / "ramp.wav", capture.ampere / 100, int(capture.rate), subtype="FLOAT")
    kept = tmp_path / "ramp.sr"
    subprocess.run(
        [
            "sigrok-cli",
            "--input-format=wav",
            f"--input-file={tmp_path / 'ramp.wav'}",
            f"--output-file={kept}",
        ],
        check=True,
    )
    found = from_file(kept, ampere_per_volt=100.0)
    assert capture.rate == found.rate
    assert np.allclose(capture.ampere, found.ampere, atol=1e-3)
    assert outcome == classified(found).outcome


def test_a_file_that_is_none_is_told(tmp_path: Path) -> None:
    """What sigrok cannot read is a problem of the file, in words."""
    (tmp_path / "none.sr").write_bytes(b"nothing")
    with pytest.raises(GearProblem, match="holds no capture"):
        from_file(tmp_path / "none.sr")


def test_a_live_capture_ends_when_it_is_told(tmp_path: Path) -> None:
    """The demo device is captured until cranking ends, and what came is delivered once."""
    told: queue.Queue[CurrentCapture | MeterTrouble] = queue.Queue()
    with ClampCapture("demo", ampere_per_volt=1.0) as capture:
        capture.start(told.put)
        with pytest.raises(queue.Empty):
            told.get(timeout=1.0)
        capture.finish()
        found = told.get(timeout=PATIENCE_S)
    assert isinstance(found, CurrentCapture)
    assert 20000.0 == found.rate
    assert {-10.0, 10.0} == set(found.ampere)
    assert told.empty()


def test_one_channel_of_several_is_captured_without_gaps() -> None:
    """Of a device with more channels every sample of the chosen one comes: the sine of the demo device has no leap."""
    told: queue.Queue[CurrentCapture | MeterTrouble] = queue.Queue()
    spec = "demo:analog_channels=2:logic_channels=1"
    with ClampCapture(spec, channel="A1", ampere_per_volt=1.0, longest_s=0.3) as capture:
        capture.start(told.put)
        found = told.get(timeout=PATIENCE_S)
    assert isinstance(found, CurrentCapture)
    assert (20000.0, 6000) == (found.rate, len(found.ampere))
    assert float(np.max(np.abs(np.diff(found.ampere)))) < 10.0


def test_several_channels_are_no_capture() -> None:
    """Nobody knows on which of them the clamp is, so it is said that one has to be named."""
    told: queue.Queue[CurrentCapture | MeterTrouble] = queue.Queue()
    with ClampCapture("demo:analog_channels=2:logic_channels=0", longest_s=0.1) as capture:
        capture.start(told.put)
        found = told.get(timeout=PATIENCE_S)
    assert isinstance(found, MeterTrouble)
    assert "several channels" in found.why


def test_a_device_that_is_not_there_is_told() -> None:
    """Trouble is delivered instead of a capture."""
    told: queue.Queue[CurrentCapture | MeterTrouble] = queue.Queue()
    with ClampCapture("hantek-dso:conn=99.99") as capture:
        capture.start(told.put)
        found = told.get(timeout=PATIENCE_S)
    assert isinstance(found, MeterTrouble)
    assert "gone" == found.kind


def test_a_channel_is_no_way_to_another_option() -> None:
    """What is no name of a channel is refused."""
    with pytest.raises(UsageProblem, match="names no channel"):
        ClampCapture("demo", channel="A0 --set")


def test_a_file_stands_in_for_a_clamp_and_is_read_when_the_crank_ends(tmp_path: Path) -> None:
    """What is wrong with it is delivered as trouble then, and nothing comes before."""
    (tmp_path / "none.sr").write_bytes(b"nothing")
    told: queue.Queue[CurrentCapture | MeterTrouble] = queue.Queue()
    with FileCapture(tmp_path / "none.sr") as capture:
        capture.start(told.put)
        assert told.empty()
        capture.finish()
        found = told.get(timeout=PATIENCE_S)
    assert isinstance(found, MeterTrouble)
    assert "holds no capture" in found.why
