"""The shop's findings on past cars: which reviews count, which do not, and that a session keeps what it used."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from sample_log import START
from shipped import shipped_library

from assistant.commands.bench.past_sessions import STORIES, make_up, played
from assistant.core.reasoning.odds import Findings
from assistant.core.values.entries import VerdictReached
from assistant.errors import FileProblem, RecordBroken
from assistant.loading.folder import FINDINGS_FILE, load_folder, load_library
from assistant.record import (
    Facts,
    SessionLog,
    add_review,
    history as history_module,
    read_session,
    replay,
    verify,
)
from assistant.record.course import Dated, follow
from assistant.record.header import REVIEWS_FILE
from assistant.record.history import History, ReviewedSession, Score, read_history
from assistant.record.index_file import INDEX_FILE
from assistant.record.reading import recorded_folder
from assistant.resources import directory
from assistant.writeup import write_text

PROCEDURES = directory("procedures")
TERMS = shipped_library().terms
CIRCUIT = "coil-with-external-driver"
SIGNED = {"reviewer": "J. Okoye", "sign": "the write-up\n"}


@pytest.fixture
def sessions(tmp_path: Path) -> list[Path]:
    """Five sealed sessions that ended with an open control wire; others between them are open."""
    make_up(tmp_path / "sessions", PROCEDURES, 13)
    return sorted(path for path in (tmp_path / "sessions").iterdir() if (path / "seal.json").exists())


def taught(sessions: list[Path]) -> History:
    """Return what they taught."""
    return read_history(sessions[0].parent, TERMS)


def test_only_signed_reviews_that_name_a_fault_count(sessions: list[Path]) -> None:
    """Not an unsigned one, and not one that leaves open what it was; nothing is left out silently."""
    add_review(sessions[0], found=("control-wire-open",), **SIGNED)
    add_review(sessions[1], reviewer="J. Okoye", found=("control-wire-open",))
    add_review(sessions[2], done="Customer took the car away.", **SIGNED)
    found = taught(sessions)
    assert [sessions[0].name] == [one.session for one in found.counted]
    assert () == found.left_out
    assert {CIRCUIT: {"control-wire-open": 1.0}} == found.findings().cars


def test_a_later_signed_review_amends_and_can_undo(sessions: list[Path]) -> None:
    """The last signed one counts; one that names nothing takes the car out; an unsigned remark changes nothing."""
    folder = sessions[0]
    add_review(folder, found=("control-wire-open",), **SIGNED)
    add_review(folder, reviewer="J. Okoye", found=("driver-dead",), remarks="not signed")
    assert {CIRCUIT: {"control-wire-open": 1.0}} == taught(sessions).findings().cars
    add_review(folder, found=("high-resistance-control-wire",), **SIGNED)
    assert {CIRCUIT: {"high-resistance-control-wire": 1.0}} == taught(sessions).findings().cars
    add_review(folder, remarks="It was not this car.", **SIGNED)
    assert History() == taught(sessions)


def test_a_car_with_two_faults_is_one_car(sessions: list[Path]) -> None:
    """Its count is shared; three thirds are a car again."""
    add_review(sessions[0], found=("control-wire-open", "driver-dead"), **SIGNED)
    for folder in sessions[1:4]:
        add_review(folder, found=("open-feed", "no-inputs", "driver-dead"), **SIGNED)
    (cars,) = taught(sessions).findings().cars.values()
    assert {
        "control-wire-open": 0.5,
        "driver-dead": 1.5,
        "open-feed": 1.0,
        "no-inputs": 1.0,
    } == pytest.approx(cars, abs=1e-5)


def _log(folder: Path) -> None:
    path = folder / "log.jsonl"
    path.write_bytes(path.read_bytes().replace(b'"blinking"', b'"blanking"', 1))


def _seal(folder: Path) -> None:
    path = folder / "seal.json"
    path.write_bytes(path.read_bytes().replace(b'"lines":', b'"lines": '))


def _review(folder: Path) -> None:
    path = folder / REVIEWS_FILE
    path.write_bytes(path.read_bytes().replace(b"control-wire-open", b"driver-dead"))


def _torn_review(folder: Path) -> None:
    path = folder / REVIEWS_FILE
    path.write_bytes(path.read_bytes()[:-10])


def _header(folder: Path) -> None:
    (folder / "session.json").write_bytes(b"{")


def _signed_writeup(folder: Path) -> None:
    (folder / "writeup-1.txt").write_text("another one\n", encoding="utf-8")


@pytest.mark.parametrize("alter", [_log, _seal, _review, _torn_review, _header, _signed_writeup])
@pytest.mark.parametrize("seen_before", [True, False])
def test_an_altered_record_is_named_and_does_not_count(
    sessions: list[Path], alter: object, seen_before: bool
) -> None:
    """Whether or not it was counted before: log, seal, reviews, header or the signed write-up."""
    for folder in sessions[:2]:
        add_review(folder, found=("control-wire-open",), **SIGNED)
    if seen_before:
        taught(sessions)
    alter(sessions[0])  # type: ignore[operator]
    found = taught(sessions)
    assert [sessions[1].name] == [one.session for one in found.counted]
    (sentence,) = found.left_out
    assert sentence.startswith(f"{sessions[0].name} does not count: ")


def test_a_review_that_was_changed_breaks_its_chain(sessions: list[Path]) -> None:
    """The finding of an earlier review cannot be changed under a later one."""
    add_review(sessions[0], found=("control-wire-open",), **SIGNED)
    add_review(sessions[0], remarks="Customer content.", **SIGNED)
    _review(sessions[0])
    found = taught(sessions)
    assert () == found.counted
    assert "reviews.jsonl:" in found.left_out[0]


def test_a_fault_that_is_not_known_any_more_is_named(sessions: list[Path]) -> None:
    """A finding under a name that terms.yaml does not have cannot be counted."""
    add_review(sessions[0], found=("flux",), **SIGNED)
    assert () == taught(sessions).counted
    assert "found 'flux', which is no fault of terms.yaml" in taught(sessions).left_out[0]


def test_how_often_a_verdict_was_right() -> None:
    """A verdict is right when it names a fault that was found; what was found instead is counted."""
    wire = ("control-wire-open",)
    counted = (
        ReviewedSession("a", wire, (CIRCUIT,), "wire", wire),
        ReviewedSession("b", wire, (CIRCUIT,), "wire", wire),
        ReviewedSession("c", ("driver-dead",), (CIRCUIT,), "wire", wire),
        ReviewedSession("d", wire, (), "other", ("open-feed",)),
        ReviewedSession("e", wire),
    )
    found = History(counted)
    assert {"other": Score(0, 1, {"control-wire-open": 1}), "wire": Score(2, 3, {"driver-dead": 1})} == (
        found.verdicts()
    )
    assert {"control-wire-open": Score(2, 4), "driver-dead": Score(0, 1)} == found.faults()
    assert {CIRCUIT: {"control-wire-open": 2.0, "driver-dead": 1.0}, "": {"control-wire-open": 2.0}} == (
        found.findings().cars
    )


def test_the_verdict_on_the_cause_is_the_last_that_names_a_fault() -> None:
    """A later verdict that names no fault, as after a repair, and a verdict that was withdrawn are not the cause."""
    library = load_library(PROCEDURES)
    entries = [
        VerdictReached("coil-control", "engine-speed-missing", affirmed=True),
        VerdictReached("coil-and-driver", "control-wire-open", affirmed=True),
        VerdictReached("coil-and-driver", "comes-and-goes", affirmed=True),
        VerdictReached("coil-and-driver", "primary-open", affirmed=False),
    ]
    course = follow(Dated(START, number, entry) for number, entry in enumerate(entries, start=1))
    faults = ("control-wire-open", "high-resistance-control-wire")
    assert ("control-wire-open", faults) == history_module._cause(course, library)
    assert ("", ()) == history_module._cause(follow(()), library)


def test_sessions_are_checked_once_and_again_when_they_change(
    sessions: list[Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The index keeps what a session taught; nothing is written where nobody reviewed anything."""
    assert History() == taught(sessions)
    assert not (sessions[0].parent / INDEX_FILE).exists()
    for folder in sessions[:3]:
        add_review(folder, found=("control-wire-open",), **SIGNED)
    first = taught(sessions)
    checked: list[str] = []

    def check(folder: Path) -> list[object]:
        checked.append(folder.name)
        return list(verify(folder))

    monkeypatch.setattr(history_module, "verify", check)
    assert first == taught(sessions)
    assert [] == checked
    add_review(sessions[1], found=("driver-dead",), **SIGNED)
    assert first != taught(sessions)
    assert [sessions[1].name] == checked


# --- a session keeps what it used -----------------------------------------------------------------


def recorded(parent: Path, findings: Findings | None) -> Path:
    """A played and sealed session that was given these findings."""
    with SessionLog.create(parent, Facts(), PROCEDURES, findings=findings) as log:
        for event, actions in played(*load_folder(log.procedures), STORIES[0]):
            log.append(event, actions)
        log.seal()
    return log.folder


def test_a_session_is_replayed_with_the_findings_that_it_used(tmp_path: Path) -> None:
    """They stand in its folder with their checksum in its header, whatever the shop finds later."""
    findings = Findings({CIRCUIT: {"control-wire-open": 3.0}})
    folder = recorded(tmp_path / "sessions", findings)
    session = read_session(folder)
    assert FINDINGS_FILE in session.header.procedures
    _, knowledge = recorded_folder(session)
    assert knowledge is not None
    assert findings == knowledge.odds.findings
    assert [] == replay(folder)
    assert [] == verify(folder)
    text = " ".join(write_text(folder).split())
    assert "taken for 20 cars: 3 findings of this shop, from signed reviews." in text


def test_a_session_without_findings_has_no_such_file(tmp_path: Path) -> None:
    """As sessions of before: nothing counted, nothing kept, and it replays."""
    for number, findings in enumerate((None, Findings())):
        folder = recorded(tmp_path / str(number), findings)
        assert not (folder / "procedures" / FINDINGS_FILE).exists()
        assert "of this shop" not in write_text(folder)
        assert [] == replay(folder)


def test_altered_findings_of_a_session_are_found_out(tmp_path: Path) -> None:
    """The counts of a session cannot be changed, taken out or put in afterwards."""
    folder = recorded(tmp_path / "sessions", Findings({CIRCUIT: {"control-wire-open": 3.0}}))
    path = folder / "procedures" / FINDINGS_FILE
    path.write_bytes(path.read_bytes().replace(b"3.0", b"9.0"))
    assert any(FINDINGS_FILE in finding.path for finding in verify(folder))
    with pytest.raises(RecordBroken, match="altered"):
        replay(folder)
    other = recorded(tmp_path / "others", None)
    shutil.copy(path, other / "procedures" / FINDINGS_FILE)
    with pytest.raises(RecordBroken, match="put in after"):
        replay(other)


def test_damaged_findings_stop_a_library(tmp_path: Path) -> None:
    """Numbers that cannot be read are not passed over."""
    shutil.copytree(PROCEDURES, tmp_path / "p")
    (tmp_path / "p" / FINDINGS_FILE).write_text(json.dumps({"format": "other"}), encoding="utf-8")
    with pytest.raises(FileProblem, match=r"findings\.json: these are not the findings"):
        load_folder(tmp_path / "p")
