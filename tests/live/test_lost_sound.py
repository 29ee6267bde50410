"""Sound is lost in mid-session, in a real terminal: it is noticed in time, said, shown, and comes back.

Each bound is the one that a technician was promised; what was measured stands in `tests/dependability`.
"""

from __future__ import annotations

import re
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from bay import ELSEWHERE, LOUDSPEAKER, MICROPHONE, Bay
from window import Window, events, settled, speaking, wait_for_event

NOTICED_S = 5.0
"""Within this a session that listens has noticed that it is deaf."""

BACK_S = 15.0
"""Within this the return is noticed: what is being said must end first, and a device opened again."""

UNDERRUN = "ALSA lib pcm.c:8545:(snd_pcm_recover) underrun occurred\n"


@pytest.fixture
def window(bay: Bay, tmp_path: Path) -> Iterator[Window]:
    """A window of 100 by 30."""
    made = Window(bay, tmp_path / "tmux")
    yield made
    made.close()


@pytest.fixture
def sessions(window: Window, tmp_path: Path) -> Path:
    """A session by voice that has spoken its caution, waits for "ready", and listens."""
    folder = tmp_path / "sessions"
    window.start(
        "run",
        "battery-and-cranking",
        "--microphone",
        "pulse",
        "--speaker",
        "pulse",
        "--speech-rate",
        "260",
        "--sessions",
        str(folder),
        "--order",
        "T-1",
        "--complaint",
        "cranks, does not start",
    )
    wait_for_event(folder, "SpeechFinished", seconds=60)
    time.sleep(1.5)
    return folder


def own_stream(bay: Bay) -> str:
    """Number of the stream on which the program records."""
    return bay.pactl("list", "short", "source-outputs").splitlines()[-1].split()[0]


def lose(bay: Bay, how: str) -> None:
    """Make the microphone deaf in one of the ways in which that happens."""
    match how:
        case "mute":
            bay.pactl("set-source-mute", f"{MICROPHONE}.monitor", "1")
        case "move":
            bay.pactl("move-source-output", own_stream(bay), f"{ELSEWHERE}.monitor")
        case "own voice":
            bay.pactl("move-source-output", own_stream(bay), f"{LOUDSPEAKER}.monitor")
        case "suspend":
            bay.pactl("suspend-sink", MICROPHONE, "1")
        case _:
            bay.kill_server()


def give_back(bay: Bay, how: str) -> None:
    """Undo it. A stream that was moved finds its own way when it is opened again."""
    match how:
        case "mute":
            bay.pactl("set-source-mute", f"{MICROPHONE}.monitor", "0")
        case "suspend":
            bay.pactl("suspend-sink", MICROPHONE, "0")
        case "kill":
            bay.start_server()
        case _:
            pass


def spoken_out(sessions: Path, seconds: float = 20.0) -> None:
    """Wait until nothing is being said any more, and a little longer: then a microphone is listened to."""
    end = time.monotonic() + seconds
    while time.monotonic() < end and speaking(sessions):
        time.sleep(0.1)
    time.sleep(1.2)


def test_a_deaf_ear_is_noticed_said_and_shown_and_comes_back(
    bay: Bay, window: Window, sessions: Path
) -> None:
    """Within five seconds each kind of loss is in the record and on the screen, with the keys; then the return is."""
    for number, how in enumerate(("mute", "suspend", "move", "own voice", "kill"), start=1):
        lose(bay, how)
        noticed_s = wait_for_event(sessions, "GearLost", number, gear="microphone")
        assert noticed_s < NOTICED_S, how
        if how not in ("move", "own voice"):  # these may be back before one has looked
            assert noticed_s + window.wait_for("No microphone", 2.0) < NOTICED_S, how
            shown, expected = settled(window, sessions)
            assert expected == shown
            assert "CAN'T HEAR YOU. USE THE KEYS." in " ".join(shown)
        give_back(bay, how)
        back_s = wait_for_event(sessions, "GearBack", number, seconds=BACK_S + 1, gear="microphone")
        assert back_s < BACK_S, how
        if how == "kill":
            wait_for_event(sessions, "GearBack", seconds=BACK_S, gear="speaker")
        window.wait_for("is back", 3.0)
        shown, expected = settled(window, sessions)
        assert expected == shown
        spoken_out(sessions)


def test_what_a_library_writes_never_reaches_the_board(
    bay: Bay, window: Window, sessions: Path, tmp_path: Path
) -> None:
    """The sound server killed: its messages are in the private file, the board is whole, as after a resize."""
    log = tmp_path / ".local" / "state" / "bay-assistant" / "sound.log"
    bay.kill_server()
    wait_for_event(sessions, "GearLost", gear="speaker")
    wait_for_event(sessions, "GearLost", gear="microphone")
    time.sleep(3.0)  # the devices are opened again, in vain and with messages
    shown, expected = settled(window, sessions)
    assert expected == shown
    assert re.search("ALSA|Expression", log.read_text(errors="replace"))
    assert 0o600 == stat.S_IMODE(log.stat().st_mode)
    window.resize(80, 24)
    shown, expected = settled(window, sessions)
    assert expected == shown
    # A loaded machine may have had an underrun before the board was drawn; nothing may be added to that.
    before = window.tmux("capture-pane", "-p", "-a").count("ALSA")
    window.press("q")
    window.press("q")
    window.wait_for("ended: 0", 30)
    assert "Write-up:" in " ".join(window.shows())
    assert before == " ".join(window.shows()).count("ALSA")


def test_a_line_written_across_the_board_does_not_stay(window: Window, sessions: Path) -> None:
    """Another program writes to the same terminal, as a message to all users does: soon the board is whole."""
    with Path(window.terminal()).open("w", encoding="utf-8") as terminal:
        terminal.write("\r\n\n" + UNDERRUN.replace("\n", "\r\n") * 3)
    window.wait_for("underrun", 2.0)
    shown, expected = settled(window, sessions, seconds=7.0)
    assert expected == shown
    assert not [event for event in events(sessions) if event["type"] == "GearLost"]


def test_gear_calls_a_muted_or_suspended_microphone_not_usable(bay: Bay) -> None:
    """Without `--say` too: a finding (1) with what to do; a microphone with noise is usable (0)."""

    def gear() -> tuple[int, str]:
        command = [sys.executable, "-m", "assistant", "gear", "--microphone", "pulse", "--speaker", "pulse"]
        done = subprocess.run(
            command, env=bay.environment, capture_output=True, text=True, check=False, timeout=60
        )
        (line,) = re.findall("^(?:ok|NOT) +microphone .*", done.stdout, re.MULTILINE)
        return done.returncode, line

    code, line = gear()
    assert 0 == code
    assert "voice will be used" in line
    lose(bay, "mute")
    code, line = gear()
    assert 1 == code
    assert "muted" in line
    assert "--keys-only" in line
    give_back(bay, "mute")
    lose(bay, "suspend")
    code, line = gear()
    assert 1 == code
    assert "suspended" in line
