"""Sessions that earlier versions recorded: they verify, replay, resume and can be written up.

`old_sessions/` holds the folders as they were left, packed: `reviewed` is sealed and has a signed review, `unsealed`
was cut off in the middle with results taken back and skipped, `spoken` was heard by the recogniser and has its clips.
"""

from __future__ import annotations

import tarfile
from dataclasses import replace
from pathlib import Path

import pytest

from assistant.cli import main
from assistant.core.dialogue.runner import Runner
from assistant.core.values.entries import ModeChanged, ResultTaken, ResultUndone
from assistant.core.values.events import Action, Event, Note, Say
from assistant.record import SessionLog, read_session
from assistant.record.reading import recorded_folder, recorded_library
from assistant.record.replaying import replay
from assistant.writeup import write_forms, write_json, write_text

KEPT = Path(__file__).parent / "old_sessions"
NAMES = sorted(path.name.partition(".")[0] for path in KEPT.glob("*.tar.gz"))


@pytest.fixture
def old(tmp_path: Path, request: pytest.FixtureRequest) -> Path:
    """The folder of the session that a test asks for by its name, unpacked."""
    with tarfile.open(KEPT / f"{request.param}.tar.gz") as packed:
        packed.extractall(tmp_path, filter="data")
    return next(path for path in tmp_path.iterdir() if path.is_dir())


def test_there_are_sessions_of_earlier_versions() -> None:
    """Three kinds of session are kept: sealed and reviewed, cut off, and spoken."""
    assert {"reviewed", "spoken", "unsealed"} <= set(NAMES)


@pytest.mark.parametrize("old", NAMES, indirect=True)
def test_an_old_session_verifies(old: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Its hash chain, seal, reviews and clips are as they were recorded."""
    assert 0 == main(["verify", str(old)])
    assert "chain unbroken, clips as recorded" in capsys.readouterr().out


@pytest.mark.parametrize("old", NAMES, indirect=True)
def test_an_old_session_replays(old: Path) -> None:
    """Its events give the recorded decisions again; the words may be today's."""
    assert [] == replay(old)


@pytest.mark.parametrize("old", ["unsealed"], indirect=True)
def test_another_decision_about_an_old_session_is_found(old: Path) -> None:
    """Other words do not count at a session of an earlier version; one more entry of the record does."""

    class Otherwise(Runner):
        """A dialogue that says other words, and may note one entry too many."""

        noting = False

        def receive(self, event: Event) -> tuple[Action, ...]:
            """Act as usual, in capitals."""
            acts = tuple(
                replace(act, text=act.text.upper()) if isinstance(act, Say) else act
                for act in super().receive(event)
            )
            return (*acts, Note(ModeChanged("odd", ""))) if self.noting else acts

    class Noting(Otherwise):
        """The same, with the entry."""

        noting = True

    assert [] == replay(old, Otherwise)
    assert len(read_session(old).lines) == len(replay(old, Noting))


@pytest.mark.parametrize("old", NAMES, indirect=True)
def test_an_old_session_is_written_up(old: Path) -> None:
    """The write-up names the session, and the step of every result that stands."""
    session = read_session(old)
    library = recorded_library(session)
    text = write_text(old)
    assert session.header.id in text
    entries = [act.entry for line in session.lines for act in line.actions if isinstance(act, Note)]
    undone = {entry.number for entry in entries if isinstance(entry, ResultUndone)}
    standing = [one for one in entries if isinstance(one, ResultTaken) and one.number not in undone]
    assert standing
    for taken in standing:
        assert library.procedures[taken.procedure].title in text


@pytest.mark.parametrize("old", ["spoken"], indirect=True)
def test_no_sign_of_the_recogniser_is_shown(old: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Speech that was nothing to the recogniser is in this record as "[unk]"; dialogue and write-ups say it plainly."""
    assert "[unk]" in (old / "log.jsonl").read_text(encoding="utf-8")
    assert 0 == main(["replay", "--show", str(old)])
    shown = capsys.readouterr().out
    assert "(speech) (not understood)" in " ".join(shown.split())
    for text in (shown, *dict(write_forms(old)).values(), write_json(old)):
        assert "unk]" not in text


@pytest.mark.parametrize("old", ["unsealed"], indirect=True)
def test_an_old_session_is_resumed_where_it_was(old: Path) -> None:
    """The dialogue comes back to the step at which the session was cut off, and the log takes further lines."""
    session = read_session(old)
    dialogue = Runner(*recorded_folder(session), session.header.thresholds)
    for line in session.lines:
        dialogue.recall(line.event)
    assert dialogue.position == ("after-repair", "putting-back")
    with SessionLog.resume(old) as log:
        assert log.recorded is not None
        assert len(log.recorded.lines) == len(session.lines)
