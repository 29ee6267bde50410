"""What `gear --meter` shows."""

from __future__ import annotations

import json
import shutil
from decimal import Decimal
from pathlib import Path

import pytest
from fake_meter import Display, FakeMeter, with_modem_lines

from assistant.cli import main
from assistant.meter import trial
from assistant.meter.readings import Sample
from assistant.meter.trial import MeterTrial

NEEDED = pytest.mark.skipif(
    shutil.which("sigrok-cli") is None, reason="needs sigrok-cli; '.ci/setup test' installs it"
)


@NEEDED
def test_the_list_names_what_answers_and_how_to_name_the_rest(capsys: pytest.CaptureFixture[str]) -> None:
    """Sigrok's demo device answers everywhere; a serial meter's driver and port have to be given."""
    assert 0 == main(["gear", "--meter"])
    printed = capsys.readouterr().out
    assert "demo" in printed
    assert "DRIVER:conn=/dev/ttyUSB0" in printed
    assert 0 == main(["gear", "--meter", "--json"])
    assert "demo" in {one["spec"] for one in json.loads(capsys.readouterr().out)["devices"]}


def test_a_trial_shows_function_pace_and_value(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The meter on a pty is read: what it is on, its last values, and where it stands; in words and as JSON."""
    with_modem_lines(tmp_path, monkeypatch)
    with FakeMeter(tmp_path, every_s=0.1) as meter:
        meter.show(Display.volts(Decimal("12.34")))
        assert 0 == main(["gear", "--meter", meter.spec])
    printed = capsys.readouterr().out
    assert "The meter is on DC volts." in printed
    assert "It stands at 12.34 V." in printed


@NEEDED
@pytest.mark.parametrize(
    ("spec", "word"),
    [("no-such-driver", "Sigrok has no driver for"), ("va-va18b:conn=/dev/none", "No value came")],
)
def test_a_meter_that_gives_nothing_is_a_finding(
    spec: str, word: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit status 1, and a sentence that says what to look at."""
    assert 1 == main(["gear", "--meter", spec])
    assert word in capsys.readouterr().out


def test_without_the_program_it_names_the_package(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """One sentence with the package's name, and exit status 2."""
    monkeypatch.setenv("PATH", str(tmp_path))
    assert 2 == main(["gear", "--meter"])
    assert "apt install sigrok-cli" in capsys.readouterr().err


def test_what_does_not_stand_is_told() -> None:
    """Moving, held and over-range values are each told in words, also those that no test uses."""
    moving = tuple(Sample(0.3 * n, Decimal(n), "V", "voltage", Decimal(1), dc=True) for n in range(8))
    assert "does not stand still" in MeterTrial("x", moving, trial._stood(list(moving)), "").text()
    held = tuple(Sample(0.3 * n, Decimal(3), "V", "voltage", Decimal(1), hold=True) for n in range(8))
    assert "Its hold is on" in MeterTrial("x", held, None, "").text()
    over = tuple(Sample(0.3 * n, None, "megohm", "resistance") for n in range(12))
    assert "over its range" in MeterTrial("x", over, trial._stood(list(over)), "").text()
    other = (Sample(0.0, Decimal(50), "", "frequency", Decimal(1)),)
    assert "The meter is on hertz." in MeterTrial("x", other, None, "").text()
