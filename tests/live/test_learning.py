"""`bay-assistant learn` on a real (virtual) microphone and loudspeaker, in a real (pseudo) terminal."""

from __future__ import annotations

import json
import re
import stat
import termios
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import soundfile

from assistant.speaking.voice import Voice

if TYPE_CHECKING:
    from bay import Bay, Terminal

CTRL_C = "\x03"
GEAR = ("--microphone", "pulse", "--speaker", "pulse")


def test_ctrl_c_before_anything_was_said_changes_nothing(
    bay: Bay, terminal: Callable[..., Terminal], tmp_path: Path
) -> None:
    """The word that the assistant speaks is cut off, the sentence says that nothing was changed, and exit is 1."""
    bay.environment["XDG_CONFIG_HOME"] = str(tmp_path / "config")
    program = terminal("learn", *GEAR, ignoring=True)
    before = termios.tcgetattr(program.keyboard)
    program.wait_for(r"Say: [a-z' ]+\.")
    program.press(CTRL_C)
    program.wait_for("Too few words were said: 0, and it takes 6. Nothing was changed.")
    assert program.ended() == 1
    assert "Traceback" not in program.text
    assert termios.tcgetattr(program.keyboard)[3] == before[3]
    assert not (tmp_path / "config" / "bay-assistant").exists()


def test_a_lesson_is_learnt_from_though_ctrl_c_ends_it(
    bay: Bay, terminal: Callable[..., Terminal], tmp_path: Path
) -> None:
    """Spoken words are heard, Ctrl-C loses none of them, the terminal is as before, and no sound is left.

    So it is even if whoever started the program had SIGINT ignored.
    """
    bay.environment["XDG_CONFIG_HOME"] = str(tmp_path / "config")
    program = terminal("learn", "--technician", "Sam", "--speech-rate", "260", *GEAR, ignoring=True)
    before = termios.tcgetattr(program.keyboard)
    voice = Voice(200)
    program.wait_for("Half of the words teach")
    for _ in range(7):
        asked = program.wait_for(r"Say: [a-z' ]+\.")
        words = re.sub(r"\s+", " ", asked.removeprefix("Say: ").rstrip("."))
        said = voice.render(f"{words}.")
        file = tmp_path / "said.wav"
        soundfile.write(file, said.samples, said.rate)
        begun = program._from
        for _ in range(10):  # on a busy machine the assistant may still speak
            program.read(1.5)
            bay.play(file)
            program.read(1.2)
            if "HEARD" in program.text[begun:]:
                break
        program.wait_for(r"HEARD")
    program.press(CTRL_C)
    program.wait_for("ended early; what was said so far counts")
    program.wait_for("The sound was not kept", 120)
    assert program.ended() == 0
    assert termios.tcgetattr(program.keyboard)[3] == before[3]
    (file,) = (tmp_path / "config" / "bay-assistant" / "voices").iterdir()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    body = json.loads(file.read_bytes())
    assert body["technician"] == "Sam"
    assert sum(of for _, of in body["scores"].values()) >= 7
    assert sum(right for right, _ in body["scores"].values()) >= 5
    shown = terminal("learn", "--show")
    shown.wait_for("Voice: Sam")
    assert shown.ended() == 0
    gone = terminal("learn", "--forget")
    gone.wait_for("Everything learnt about Sam has been thrown away")
    assert gone.ended() == 0
    assert not file.exists()
