"""The demonstration: the bundled scenario through the real recogniser, and what a broken one says."""

from __future__ import annotations

import contextlib
import io
import json
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from assistant import demo, resources
from assistant.cli import main
from assistant.core.values.entries import (
    Entry,
    ModeChanged,
    Remark,
    ResultTaken,
    ResultUndone,
    VerdictReached,
)
from assistant.core.values.events import Heard, NoMatch, Note, NoteRecorded
from assistant.errors import FileProblem, UsageProblem
from assistant.record import RecordedSession, read_session, verify
from assistant.record.replaying import replay

SOUNDS = resources.directory("audio_fixtures")


@dataclass(frozen=True)
class Played:
    """The results of a run of the demo."""

    folder: Path
    status: int
    shown: str
    session: RecordedSession

    @property
    def entries(self) -> list[Entry]:
        """Everything that was entered into the record."""
        actions = [action for line in self.session.lines for action in line.actions]
        return [action.entry for action in actions if isinstance(action, Note)]


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Played:
    folder = tmp_path_factory.mktemp("demo") / "new" / "folder"
    shown = io.StringIO()
    with contextlib.redirect_stdout(shown):
        status = demo.run(folder)
    (session,) = (folder / "sessions").iterdir()
    return Played(folder, status, shown.getvalue(), read_session(session))


def test_every_turn_is_reached(played: Played) -> None:
    """Exit 0: the dialogue took the way of the scenario to its end, and the session was closed by voice."""
    assert 0 == played.status
    assert played.session.sealed is not None
    assert "not reached" not in played.shown


def test_at_least_twelve_spoken_answers_are_heard_or_refused(played: Played) -> None:
    """They went through the real recogniser: each has a clip and a noise level; one is a remark that is refused."""
    events = [line.event for line in played.session.lines]
    spoken = [event for event in events if isinstance(event, Heard | NoMatch)]
    assert len(spoken) >= 12
    assert all(event.clip is not None and event.noise_db is not None for event in spoken)
    plays = [turn.play for turn in demo.read_scenario(SOUNDS / demo.SCENARIO).turns if turn.play]
    words = {clip["file"]: clip["words"] for clip in manifest()}
    assert len([event for event in spoken if isinstance(event, Heard)]) >= 12
    assert {event.words for event in spoken if isinstance(event, Heard)} <= {
        words[play.name] for play in plays
    }


def manifest() -> list[dict[str, Any]]:
    """Return what each fixture holds."""
    clips: list[dict[str, Any]] = json.loads((SOUNDS / "manifest.json").read_text(encoding="utf-8"))["clips"]
    return clips


def test_a_wrong_place_a_remark_and_a_correction_change_no_result(played: Played) -> None:
    """The wrong place is caught, the remark is not understood, the correction takes a result back."""
    remarks = [entry.kind for entry in played.entries if isinstance(entry, Remark)]
    assert "wrong place" in remarks
    assert "not understood" in remarks
    undone = [entry.number for entry in played.entries if isinstance(entry, ResultUndone)]
    taken = {entry.number: entry for entry in played.entries if isinstance(entry, ResultTaken)}
    assert ["feed-dark"] == [taken[number].outcome for number in undone]
    after = [entry for entry in taken.values() if entry.step == taken[undone[0]].step]
    assert ["feed-dark", "switched-dark"] == [entry.outcome for entry in after]


def test_in_a_loud_passage_keys_take_over_and_voice_comes_back(played: Played) -> None:
    """Words said in the noise give no result; nines come by keys; "over range" by voice follows."""
    modes = [entry.mode for entry in played.entries if isinstance(entry, ModeChanged)]
    assert modes.index("keypad only") < modes.index("voice again")
    numbers = [
        (entry.value, entry.unit, entry.how, entry.confirmed)
        for entry in played.entries
        if isinstance(entry, ResultTaken) and (entry.value is not None or entry.outcome == "open")
    ]
    assert [
        (Decimal("9.8"), "V", "voice", "affirmed"),
        (None, None, "keypad", "affirmed"),
        (None, None, "voice", "affirmed"),
    ] == numbers
    assert "Too loud to hear you. Use the keys." in played.shown


def test_a_voice_note_is_kept(played: Played) -> None:
    """Free speech after the verdict is in the record as sound."""
    (note,) = [line.event for line in played.session.lines if isinstance(line.event, NoteRecorded)]
    assert note.clip.duration_s > 2.0
    assert played.session.folder is not None
    assert (played.session.folder / note.clip.file).is_file()


def test_the_session_is_sound_and_plays_again(played: Played) -> None:
    """It verifies, and its events give the same actions again; the command line says so too."""
    assert played.session.folder is not None
    assert [] == verify(played.session.folder)
    assert [] == replay(played.session.folder)
    assert 0 == main(["verify", str(played.session.folder)])
    assert 0 == main(["replay", str(played.session.folder)])


def test_both_voices_are_on_one_time_line(played: Played) -> None:
    """As long as the session; each side is heard where it speaks, and each is louder in its own channel."""
    samples, rate = soundfile.read(played.folder / "both-voices.flac", dtype="float32")
    last = played.session.lines[-1].event.at
    assert (len(samples), 2) == samples.shape
    assert len(samples) / rate == pytest.approx(last, abs=1.0)
    assistant_first = samples[: 5 * rate]  # the assistant speaks first, and alone
    left, right = np.sqrt(np.mean(assistant_first**2, axis=0))
    assert left > 2 * right > 0
    ready = next(line.event for line in played.session.lines if isinstance(line.event, Heard))
    assert ready.clip is not None
    technician = samples[round((ready.at - ready.clip.duration_s) * rate) : round((ready.at - 0.2) * rate)]
    left, right = np.sqrt(np.mean(technician**2, axis=0))
    assert right > 2 * left > 0
    assert float(np.max(np.abs(samples))) > 0.1


def test_the_write_up_names_the_verdict(played: Played) -> None:
    """Both forms hold the verdict's words, the number, and the result that was taken back as such."""
    (verdict,) = [entry.verdict for entry in played.entries if isinstance(entry, VerdictReached)]
    assert "primary-open" == verdict
    text = (played.folder / "write-up.txt").read_text(encoding="utf-8")
    page = (played.folder / "write-up.html").read_text(encoding="utf-8")
    assert "The coil's primary is open." in text
    assert "primary is open" in page
    for form in (text, page):
        assert "DEMO-1" in form
        assert "9.8 V" in form.replace("\N{NO-BREAK SPACE}", " ").replace("&nbsp;", " ")
    assert "TAKEN BACK" in text


def test_the_dialogue_is_shown_as_it_is_kept(played: Played) -> None:
    """The output printed while it happens stands in dialogue.txt, and every sentence of it is in the record."""
    dialogue = (played.folder / "dialogue.txt").read_text(encoding="utf-8")
    assert played.shown.startswith(dialogue)
    for kind in ("SAYS", "HEARD", "KEY", "TEST", "NOISE"):
        assert kind in dialogue


# --- scenarios that are wrong ---------------------------------------------------------------------

GOOD: dict[str, Any] = {
    "procedure": "battery-and-cranking",
    "facts": {"order": "X-1"},
    "turns": [
        {"when": ["acknowledging"], "keys": ["enter"]},
        {"when": ["asking"], "keys": ["1", "2", "point", "5", "enter"]},
        {"when": ["reading back"], "keys": ["enter"]},
    ],
}


def written(folder: Path, scenario: Any) -> Path:
    """A scenario in a file."""
    path = folder / "scenario.json"
    path.write_text(scenario if isinstance(scenario, str) else json.dumps(scenario), encoding="utf-8")
    return path


def test_a_scenario_that_just_ends_leaves_an_open_session(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """When the person says nothing more, the session is left open with its result; every turn was reached: exit 0."""
    assert 0 == main(["demo", "--script", str(written(tmp_path, GOOD)), "--out", str(tmp_path / "out")])
    (folder,) = (tmp_path / "out" / "sessions").iterdir()
    assert read_session(folder).sealed is None
    assert [] == verify(folder)
    assert "12.5 V" in (tmp_path / "out" / "write-up.txt").read_text(encoding="utf-8")


def test_turns_that_are_not_reached_are_a_finding(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A turn for a state that never comes: said, and exit 1."""
    scenario = {**GOOD, "turns": [*GOOD["turns"], {"when": ["noting"], "keys": ["enter"]}]}
    assert 1 == main(["demo", "--script", str(written(tmp_path, scenario)), "--out", str(tmp_path / "out")])
    assert "not reached" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("scenario", "words"),
    [
        ('{"procedure": "coil-control",\n nonsense', r"scenario\.json:2: this is not JSON"),
        ([], "procedure, facts and turns"),
        ({"procedure": "coil-control", "facts": {}}, "procedure, facts and turns"),
        ({**GOOD, "facts": {"colour": "red"}}, "complaint"),
        ({**GOOD, "facts": {"order": 5}}, "texts"),
        ({**GOOD, "turns": {}}, "not a list"),
        ({**GOOD, "turns": [5]}, "turn 1 needs 'when'"),
        ({**GOOD, "turns": [{"keys": ["1"]}]}, "turn 1 needs 'when'"),
        ({**GOOD, "turns": [{"when": ["asking"]}]}, "either 'play' or 'keys'"),
        ({**GOOD, "turns": [{"when": ["asking"], "keys": ["1"], "play": "ready.flac"}]}, "either"),
        ({**GOOD, "turns": [{"when": ["dancing"], "keys": ["1"]}]}, "States are: .*asking"),
        ({**GOOD, "turns": [{"when": "asking", "keys": ["1"]}]}, "'when' is not a list"),
        ({**GOOD, "turns": [{"when": ["asking"], "keys": "12"}]}, "'keys' is not a list"),
        ({**GOOD, "turns": [{"when": ["asking"], "keys": ["twelve"]}]}, "Keys are digits and .*enter"),
        ({**GOOD, "turns": [{"when": ["asking"], "keys": ["1"], "after_s": "soon"}]}, "Seconds from 0"),
        ({**GOOD, "turns": [{"when": ["asking"], "keys": ["1"], "after_s": -1}]}, "Seconds from 0"),
        ({**GOOD, "turns": [{"when": ["asking"], "play": "nothing.flac"}]}, "'nothing.flac', which is not there"),
    ],
)  # fmt: skip
def test_a_broken_scenario_says_what_is_wrong(tmp_path: Path, scenario: Any, words: str) -> None:
    """The file, the turn, and what would be right."""
    path = written(tmp_path, scenario)
    with pytest.raises(FileProblem, match=words) as caught:
        demo.read_scenario(path)
    assert str(path) in str(caught.value)


def test_a_scenario_of_no_procedure_or_without_a_file_is_refused(tmp_path: Path) -> None:
    """The known procedures are named; nothing is left in the folder."""
    with pytest.raises(UsageProblem, match=r"Known are: .*coil-control"):
        demo.run(tmp_path / "out", script=written(tmp_path, {**GOOD, "procedure": "nonesuch"}))
    with pytest.raises(FileProblem, match="cannot be read"):
        demo.run(tmp_path / "out", script=tmp_path / "none.json")
    assert not (tmp_path / "out").exists()


def test_a_result_that_cannot_be_written_is_said(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A folder in the place of the write-up: a sentence, exit 2, and the session itself is kept."""
    out = tmp_path / "out"
    (out / "write-up.txt").mkdir(parents=True)
    assert 2 == main(["demo", "--script", str(written(tmp_path, GOOD)), "--out", str(out)])
    said = capsys.readouterr().err
    assert "The demo cannot write" in said
    assert "Traceback" not in said
    (folder,) = (out / "sessions").iterdir()
    assert [] == verify(folder)
