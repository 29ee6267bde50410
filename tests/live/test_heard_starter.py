"""`bay-assistant run` hears a starter through a real (virtual) microphone, and reads sigrok's demo meter."""

from __future__ import annotations

import json
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile
from bay import Bay, Terminal

from assistant.core.values.entries import CrankHeard, CrankKind
from assistant.core.values.events import Began, Note
from assistant.core.values.perceived import CrankSound, StarterHeard
from assistant.core.values.witness import Witness
from assistant.hearing_bench.starter.ranges import DEVELOPING
from assistant.hearing_bench.starter.scenes import WantedScene, made_scene
from assistant.record import read_session, verify
from assistant.record.replaying import replay

Start = Callable[..., Terminal]
RATE = 16000


def crank_sound(folder: Path) -> Path:
    """A made-up car that is cranked twice for four seconds in a bay, 20 dB over the rest, as a sound file.

    The microphone was quiet before: the ear needs some seconds of the bay's noise, and hears the second crank surely.
    """
    wish = WantedScene(30.0, 2, 20.0, ("bay",), talking=False, crank_s=(4.0, 4.0))
    scene = made_scene(wish, DEVELOPING, np.random.default_rng(1), None)
    file = folder / "crank.wav"
    soundfile.write(file, scene.samples, RATE)
    return file


def wait_for_record(sessions: Path, wanted: Callable[[dict[str, object]], bool], seconds: float) -> None:
    """Wait until the record has an event like this."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        (folder,) = sessions.iterdir()
        lines = (folder / "log.jsonl").read_text(encoding="utf-8").splitlines()
        if any(wanted(json.loads(line)) for line in lines if line.endswith("}")):
            return
        time.sleep(0.2)
    raise AssertionError("it never came into the record")


def test_a_starter_that_is_heard_starts_the_crank_timer(bay: Bay, terminal: Start, tmp_path: Path) -> None:
    """Nobody says "cranking now": the board counts, the record has the crank with its source, and it plays again."""
    sessions = tmp_path / "sessions"
    gear = ("--microphone", "pulse", "--silent", "--plain", "--sessions", str(sessions))
    program = terminal("run", "battery-and-cranking", *gear, "--cylinders", "4")
    program.wait_for("Press Enter", 60)
    program.press("\r")
    program.wait_for("How many volts|Key the volts", 30)
    program.press("12.5\r")
    program.wait_for("Right|Yes or no", 30)
    program.press("\r")
    program.wait_for("engine and fans will turn", 30)
    program.press("\r")
    program.wait_for("Crank it", 30)
    bay.play(crank_sound(tmp_path))

    def cranking(line: dict[str, object]) -> bool:
        return '"mode": "cranking"' in json.dumps(line)

    wait_for_record(sessions, cranking, 20)
    wait_for_record(sessions, lambda line: "CrankHeard" in json.dumps(line), 20)
    program.press("q")
    program.wait_for("Standing by", 30)
    program.press("q")
    program.wait_for("Write-up: ", 30)
    assert 0 == program.ended()

    (folder,) = sessions.iterdir()
    session = read_session(folder)
    events = [line.event for line in session.lines]
    assert [(Witness.EAR,)] == [event.witnesses for event in events if isinstance(event, Began)]
    heard = [event.phase for event in events if isinstance(event, StarterHeard)]
    assert CrankSound.BEGINS in heard
    assert CrankSound.ENDS in heard
    notes = [action.entry for line in session.lines for action in line.actions if isinstance(action, Note)]
    cranked = [one for one in notes if isinstance(one, CrankHeard)]
    assert any(1.0 < one.seconds < 5.0 and one.what is CrankKind.STEP for one in cranked)
    assert [] == verify(folder)
    assert [] == replay(folder)
    assert "by ear" in (folder / "write-up.txt").read_text(encoding="utf-8")
