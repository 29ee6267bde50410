"""What a technician was told today: read from the sessions of the day, and heard in short afterwards."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from recorded import START, library
from sample_log import ticking

from assistant import resources
from assistant.core.values.entries import CautionGiven
from assistant.core.values.events import Began, ToldToday, TypedFact
from assistant.record import Facts, SessionLog
from assistant.record.told import told_on
from assistant.rehearsal.dialogue import Dialogue

if TYPE_CHECKING:
    from pathlib import Path


def session(
    parent: Path,
    technician: str,
    procedure: str = "coil-control",
    at: datetime = START,
    *,
    cranks: bool = False,
) -> Dialogue:
    """A session of that day up to its first question, or past its first crank; its record lies in the folder."""
    facts = Facts(technician=technician)
    talk = Dialogue(library())
    talk.send(Began(0.0, procedure, facts.typed(), told_on(at.date(), parent)))
    talk.listen()
    talk.ready()
    if cranks:
        talk.key("enter")
        talk.wait(3)
        talk.key("1", "1", "enter")
    with SessionLog.create(parent, facts, resources.directory("procedures"), now=ticking(at)) as log:
        for event, actions in zip(talk.events, talk.actions, strict=True):
            log.append(event, actions)
    return talk


def forms(talk: Dialogue) -> set[str]:
    """The forms in which cautions were given."""
    return {entry.form for entry in talk.entries if isinstance(entry, CautionGiven)}


def test_who_signs_in_again_today_hears_short_forms(tmp_path: Path) -> None:
    """The second session of the day is told in short, one of another technician or another day in full."""
    assert forms(session(tmp_path, "JD", cranks=True)) == {"full"}
    (told,) = told_on(START.date(), tmp_path)
    assert told.technician == "JD"
    assert {"before-work", "secondary", "cranking"} <= set(told.cautions)
    assert set(told.acknowledged) >= {"before-work", "secondary", "cranking"}
    assert told.cranking
    later = START + timedelta(hours=3)
    again = session(tmp_path, "JD", at=later)
    assert forms(again) == {"short"}
    assert "Say cranking" not in again.last
    assert forms(session(tmp_path, "KL", at=later + timedelta(minutes=1))) == {"full"}
    assert forms(session(tmp_path, "JD", at=later + timedelta(days=1))) == {"full"}


def test_what_several_sessions_told_counts_together(tmp_path: Path) -> None:
    """Cautions of two procedures on the same day are known after both; the sessions of two people stay apart."""
    session(tmp_path, "JD")
    session(tmp_path, "JD", "after-repair", START + timedelta(hours=1))
    session(tmp_path, "KL", at=START + timedelta(hours=2))
    told = {one.technician: one for one in told_on(START.date(), tmp_path)}
    assert {"hot-parts", "cranking"} <= set(told["JD"].cautions)
    assert "hot-parts" not in told["KL"].cautions


def test_a_session_that_is_damaged_or_nobodys_spares_nobody_anything(tmp_path: Path) -> None:
    """Without a technician, or with a record that cannot be read, everything is told in full again."""
    assert told_on(START.date(), tmp_path / "none") == ()
    session(tmp_path, "")
    assert told_on(START.date(), tmp_path) == ()
    session(tmp_path, "JD", at=START + timedelta(hours=1))
    (folder,) = [one for one in tmp_path.iterdir() if "-0902-" in one.name]
    (folder / "log.jsonl").write_bytes(b"{}\n")
    assert told_on(START.date(), tmp_path) == ()
    assert told_on(date(2020, 1, 1), tmp_path) == ()


def test_a_session_that_was_told_today_replays(tmp_path: Path) -> None:
    """What was told is part of the first event, so the same events give the same short forms again."""
    told = ToldToday("JD", ("before-work", "secondary", "cranking"), ("before-work", "secondary", "cranking"))
    talk = Dialogue(library())
    talk.send(Began(0.0, "coil-control", (TypedFact("technician", "JD"),), (told,)))
    talk.listen()
    again = Dialogue(library())
    for event, actions in zip(talk.events, talk.actions, strict=True):
        assert again.runner.receive(event) == actions
