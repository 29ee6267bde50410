"""The program behind the meter, when it misbehaves; a script stands in for it, because the real one does not."""

from __future__ import annotations

import os
import queue
from pathlib import Path

import pytest

from assistant.errors import GearProblem
from assistant.meter.meter import Meter
from assistant.meter.readings import MeterReading, MeterTrouble
from assistant.meter.sigrok import PROGRAM, Running, program, scan

PATIENCE_S = 30


@pytest.fixture
def acting(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder that comes first where programs are looked for."""
    monkeypatch.setenv("PATH", f"{tmp_path}{os.pathsep}{os.environ['PATH']}")
    return tmp_path


def act(folder: Path, script: str) -> None:
    """Let this script stand in for the program."""
    path = folder / PROGRAM
    path.write_text(f"#!/bin/sh\n{script}\n", encoding="utf-8")
    path.chmod(0o755)


def alive(pid: int) -> bool:
    """Whether a process still runs."""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    return True


def test_the_program_that_will_not_end_is_ended(acting: Path) -> None:
    """One that ignores the request to end is killed, and nothing is left behind."""
    act(acting, f"trap '' TERM\necho $$ > {acting}/pid\necho 'P1: 1.0 V'\nwhile :; do sleep 1; done")
    with Running(["--continuous"]) as running:
        while running.read(1.0) == b"":
            pass
        pid = int((acting / "pid").read_text(encoding="utf-8"))
        assert alive(pid)
    assert not alive(pid)
    running.close()


def test_garbage_and_an_endless_line_do_not_stop_readings(acting: Path) -> None:
    """After random bytes and a megabyte without an end, values are read as before."""
    act(
        acting,
        "head -c 1000000 /dev/zero | tr '\\0' 'x'\nhead -c 20000 /dev/urandom\n"
        "while :; do echo\necho 'P1: 12.34 V DC'\nsleep 0.1\ndone",
    )
    told: queue.Queue[MeterReading | MeterTrouble] = queue.Queue()
    with Meter("demo") as meter:
        meter.expect(("V",), ac=False)
        meter.start(told.put)
        found = told.get(timeout=PATIENCE_S)
    assert isinstance(found, MeterReading)
    assert "12.34" == str(found.value)


def test_only_the_main_display_is_read(acting: Path) -> None:
    """A device with several displays gives the values of the first one, and never a mix."""
    act(
        acting, "while :; do echo 'P1: 12.34 V DC'; echo 'P2: 50.0 Hz'; echo 'P3: 7.00 V DC'; sleep 0.1; done"
    )
    told: queue.Queue[MeterReading | MeterTrouble] = queue.Queue()
    with Meter("demo") as meter:
        meter.expect(("V",), ac=False)
        meter.start(told.put)
        found = told.get(timeout=PATIENCE_S)
    assert isinstance(found, MeterReading)
    assert {"12.34"} == {str(one.value) for one in found.samples}


def test_a_program_that_dies_is_started_again_and_told_once(acting: Path) -> None:
    """One that ends after each value makes one "gone", then "back" when it stays."""
    act(
        acting,
        f"if [ -e {acting}/stay ]; then while :; do echo 'P1: 12.34 V DC'; sleep 0.1; done; fi\n"
        f"echo x >> {acting}/starts",
    )
    told: queue.Queue[MeterReading | MeterTrouble] = queue.Queue()
    with Meter("demo") as meter:
        meter.start(told.put)
        first = told.get(timeout=PATIENCE_S)
        while (acting / "starts").read_text(encoding="utf-8").count("x") < 3:
            with pytest.raises(queue.Empty):
                told.get(timeout=0.2)
        (acting / "stay").touch()
        second = told.get(timeout=PATIENCE_S)
    assert isinstance(first, MeterTrouble)
    assert isinstance(second, MeterTrouble)
    assert ("gone", "back") == (first.kind, second.kind)


def test_a_list_with_anything_in_it_is_printed_harmlessly(acting: Path) -> None:
    """Names of devices come from their makers and may hold any bytes."""
    act(acting, "printf 'The following devices were found:\\ndemo - a \\033[2J device\\n\\377\\n'")
    devices, ports = scan()
    assert ["demo"] == [one.spec for one in devices]
    assert "\x1b" not in devices[0].told
    assert [] == ports


def test_a_program_that_may_not_be_run_is_told(acting: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither a missing program nor a broken one is a traceback."""
    (acting / PROGRAM).write_bytes(b"\x7fELF nothing")
    (acting / PROGRAM).chmod(0o755)
    with pytest.raises(GearProblem, match="cannot be started"):
        Running(["--continuous"])
    monkeypatch.setenv("PATH", "")
    with pytest.raises(GearProblem, match="not installed"):
        program()


def test_it_ends_by_the_usual_signal(acting: Path) -> None:
    """The program is asked to end before it is killed, so it can give the port back."""
    act(acting, f"trap 'echo asked > {acting}/asked; exit 0' TERM\necho ready\nwhile :; do sleep 0.05; done")
    with Running(["--continuous"]) as running:
        while running.read(1.0) == b"":
            pass
    assert (acting / "asked").exists()
