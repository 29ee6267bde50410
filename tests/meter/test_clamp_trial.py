"""What `gear --clamp-scope` shows."""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant.cli import main
from assistant.meter.clamp_capture import Collected
from assistant.meter.clamp_trial import ClampTrial
from assistant.meter.dwells import CurrentCapture, dwells

NEEDED = pytest.mark.skipif(
    shutil.which("sigrok-cli") is None, reason="needs sigrok-cli; '.ci/setup test' installs it"
)
TWO = "demo:analog_channels=2:logic_channels=1"


@NEEDED
def test_a_trial_shows_channel_unit_rate_and_level(capsys: pytest.CaptureFixture[str]) -> None:
    """Sigrok's demo device, its second channel: what it gives, in words and as JSON."""
    assert 0 == main(["gear", "--clamp-scope", f"{TWO}:channel=A1:mv-per-a=100"])
    printed = capsys.readouterr().out
    assert "Channel A1 measures volts. The clamp's 100 mV per ampere make amperes of it." in printed
    assert "It gives 20,000 samples a second: 20,000 in 1.00 s." in printed
    assert "Idle level " in printed
    assert 0 == main(["gear", "--clamp-scope", f"{TWO}:channel=A1", "--json"])
    told = json.loads(capsys.readouterr().out)
    assert (True, ["A1"], "V", 10.0) == (told["able"], told["channels"], told["unit"], told["mv_per_a"])
    assert (20000.0, 20000, 1.0) == (told["rate_hz"], told["samples"], told["duration_s"])


@NEEDED
@pytest.mark.parametrize(
    ("spec", "words"),
    [
        ("no-such-driver", "Sigrok has no such driver"),
        ("hantek-dso:conn=99.99", "Sigrok says: No devices found. Check its cable"),
        ("demo:channel=CH9", "unknown channel 'CH9'"),
        (TWO, f"It has several channels (A0, A1). Name the clamp's: {TWO}:channel=A0"),
        ("none.sr", "Name a file of sigrok"),
    ],
)
def test_a_clamp_that_gives_nothing_is_a_finding(
    spec: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit status 1, the reason, and what to do."""
    assert 1 == main(["gear", "--clamp-scope", spec])
    assert words in capsys.readouterr().out
    assert 1 == main(["gear", "--clamp-scope", spec, "--json"])
    assert words in json.loads(capsys.readouterr().out)["reason"]


@NEEDED
def test_a_file_of_sigrok_is_tried_like_a_clamp(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that sigrok-cli made of 0.0123 V with a noise of 0.5 mV: 1.23 A and 0.05 A at 10 mV per ampere."""
    volts = np.random.default_rng(1).normal(0.0123, 0.0005, 20000)
    soundfile.write(tmp_path / "idle.wav", volts, 20000, subtype="FLOAT")
    made = ["sigrok-cli", "--input-format=wav", f"--input-file={tmp_path / 'idle.wav'}"]
    subprocess.run([*made, f"--output-file={tmp_path / 'idle.sr'}"], check=True)
    assert 0 == main(["gear", "--clamp-scope", str(tmp_path / "idle.sr")])
    printed = capsys.readouterr().out
    assert "Idle level 1.23 A; noise 0.05 A, one sample." in printed
    assert "zero it" in printed


def test_a_malformed_spec_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    """Wrong use: exit status 2 and a sentence that says what would be right."""
    assert 2 == main(["gear", "--clamp-scope", "demo:mv-per-a=none"])
    assert "mv-per-a=100" in capsys.readouterr().err


def test_without_the_program_it_names_the_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One sentence with the package's name, and exit status 2."""
    monkeypatch.setenv("PATH", str(tmp_path))
    assert 2 == main(["gear", "--clamp-scope", "demo"])
    assert "apt install sigrok-cli" in capsys.readouterr().err


def trial(capture: CurrentCapture, unit: str = "V") -> ClampTrial:
    """A trial of this capture."""
    found = Collected(capture, unit, ("CH1",), capture.rate, "")
    return ClampTrial("x:channel=CH1", 10.0, found, dwells(capture))


def test_what_is_wrong_with_an_idle_clamp_is_told() -> None:
    """A level that is no zero, noise that hides small currents, a rate too slow for a ramp; of a good one nothing."""
    chance = np.random.default_rng(1)
    good = CurrentCapture(chance.normal(0.02, 0.05, 20000), 20000.0)
    assert 3 == len(trial(good).text().splitlines())
    assert "No scale is needed" in trial(good, "A").text()
    assert "zero it" in trial(replace(good, ampere=good.ampere + 3.0)).text()
    assert "lost in this noise" in trial(replace(good, ampere=chance.normal(0.0, 3.0, 20000))).text()
    assert "too slow to see a ramp" in trial(replace(good, rate=1000.0)).text()


def test_a_device_that_names_no_rate_is_told() -> None:
    """A meter that is taken for a scope gives values, and nobody can say when they were taken."""
    found = Collected(None, "V", ("P1",), 0.0, "")
    assert "how many samples it takes" in ClampTrial("x", 10.0, found, None).text()
