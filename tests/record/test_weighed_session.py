"""A whole session, played by keys, in which two results do not fit: noticed, recorded, replayed, written up."""

from __future__ import annotations

import json
import shutil
from html import unescape
from pathlib import Path

import pytest
from sample_log import FACTS, START

from assistant.cli import main
from assistant.core.values.entries import DOUBTED, Remark, ResultTaken, ResultUndone, VerdictReached
from assistant.core.values.events import Note, Say
from assistant.core.values.thresholds import NO_LIMIT, OLD_RULES
from assistant.errors import FileProblem, RecordBroken
from assistant.loading.folder import LIKELIHOODS_FILE, load_folder
from assistant.record import SessionLog, read_session, replay, verify
from assistant.record.header import Header, parse_header
from assistant.record.reading import recorded_folder
from assistant.record.recorded import RecordedSession
from assistant.record.replaying import other_likelihoods
from assistant.resources import directory

ASKED = {"when": ["asking"]}
READY = {"when": ["acknowledging"], "keys": ["enter"]}
AFFIRM = {"when": ["reading back"], "keys": ["enter"]}
OVER_RANGE = [*["9"] * 7, "enter"]
TURNS = [
    READY,
    {**ASKED, "keys": ["2"]},  # the light in the coil's place: dark
    {"when": ["inquiring"], "keys": ["plus"]},  # the meter's leads were not measured
    {**ASKED, "keys": OVER_RANGE},  # the control wire
    AFFIRM,
    {**ASKED, "keys": ["0", "point", "1", "enter"]},  # its ohms with the leads swapped: a slip
    AFFIRM,
    {**ASKED, "keys": ["why"]},
    {**ASKED, "keys": OVER_RANGE},  # the control wire once more
    AFFIRM,
    {"when": ["reading back"], "keys": ["minus"]},  # the ohms of before: no
    {**ASKED, "keys": OVER_RANGE},
    AFFIRM,
    {**ASKED, "keys": ["1"]},  # the light at the driver: blinking
    AFFIRM,
    {"when": ["concluding"], "keys": ["why"]},
    {"when": ["concluding"], "keys": ["close"]},
]


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("weighed")
    scenario = {"procedure": "coil-and-driver", "facts": {"order": "DEMO-2"}, "turns": TURNS}
    (folder / "scenario.json").write_text(json.dumps(scenario), encoding="utf-8")
    assert main(["demo", "--script", str(folder / "scenario.json"), "--out", str(folder / "out")]) == 0
    return folder / "out"


@pytest.fixture
def session(out: Path) -> RecordedSession:
    (folder,) = (out / "sessions").iterdir()
    return read_session(folder)


def test_the_contradiction_is_spoken_once_and_recorded(session: RecordedSession) -> None:
    """Both results are named; the doubtful one is taken back as asked again; the second answer counts."""
    actions = [action for line in session.lines for action in line.actions]
    said = [action.text for action in actions if isinstance(action, Say) and "don't match" in action.text]
    (text,) = said
    assert "Control wire: over range. Control wire: 0.1 ohms." in text
    assert "Repeat: ohmmeter, control wire, coil and module unplugged." in text
    noted = [action.entry for action in actions if isinstance(action, Note)]
    undone = [entry for entry in noted if isinstance(entry, ResultUndone)]
    # The doubtful one, and the reading that came after it, which is offered again at its step.
    assert {entry.step for entry in undone} == {"wire-ohms", "wire-ohms-again"}
    assert [entry.step for entry in undone if entry.how == DOUBTED] == ["wire-ohms"]
    swapped = [entry for entry in noted if isinstance(entry, ResultTaken) and entry.step == "wire-ohms-again"]
    assert [entry.outcome for entry in swapped] == ["sound", "open"]
    remarked = [entry.kind for entry in noted if isinstance(entry, Remark)]
    assert remarked == ["does not fit", "read-back denied"]
    (verdict,) = [entry.verdict for entry in noted if isinstance(entry, VerdictReached)]
    assert verdict == "control-wire-open"


def test_why_was_answered_in_the_middle_and_at_the_end(session: RecordedSession) -> None:
    """By key: the likeliest fault with its reasons, two at most, before and after the verdict."""
    said = [action.text for line in session.lines for action in line.actions if isinstance(action, Say)]
    reasons = [text for text in said if text.startswith("Most likely now:")]
    assert len(reasons) == 2
    assert reasons[1].startswith("Most likely now: open control wire")
    # The first of the two ohms was taken back, as doubted, and the other with it: only the light speaks there.
    assert [text.count("That points away from:") for text in reasons] == [1, 2]


def test_it_verifies_and_replays(session: RecordedSession) -> None:
    """The copied likelihoods are part of the record: the same events give the same doubts again."""
    assert session.folder is not None
    assert verify(session.folder) == []
    assert replay(session.folder) == []
    _, knowledge = recorded_folder(session)
    assert knowledge is not None
    assert session.header.likelihoods == knowledge.version != ""


def test_the_write_up_says_what_remains_and_why(out: Path) -> None:
    """Text and page: the chances, the reasons by number of test, the version, and that it is a model."""
    for suffix in (".txt", ".html"):
        text = " ".join(unescape((out / f"write-up{suffix}").read_text(encoding="utf-8")).split())
        assert "no bench measurement behind it" in text.lower()
        assert "Among the faults of the catalogue, one at a time: open control wire" in text
        assert "speaks for the first of these" in text
        assert "Does not fit: These don't match." in text
        assert "asked again, because it did not fit" in text.lower()


def test_a_replay_with_another_table_says_so(
    session: RecordedSession,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    """The recorded table is used; the command names both versions when the program has another one."""
    assert session.folder is not None
    assert other_likelihoods(session, load_folder(directory("procedures"))[1]) == ""
    folder = tmp_path / "procedures"
    shutil.copytree(directory("procedures"), folder)
    body = json.loads((folder / LIKELIHOODS_FILE).read_text(encoding="utf-8"))
    body["version"] = "another"
    (folder / LIKELIHOODS_FILE).write_text(json.dumps(body), encoding="utf-8")
    monkeypatch.setattr("assistant.resources.directory", lambda _name: folder)
    assert main(["replay", str(session.folder)]) == 0
    shown = capsys.readouterr()
    assert f"weighed with likelihoods {session.header.likelihoods}" in shown.err
    assert "this program has likelihoods another" in shown.err
    assert "give the same actions again" in shown.out


def test_an_altered_table_is_found_out(session: RecordedSession, tmp_path: Path) -> None:
    """A session is not replayed with likelihoods that were not its own."""
    assert session.folder is not None
    copy = tmp_path / session.folder.name
    shutil.copytree(session.folder, copy)
    path = copy / "procedures" / LIKELIHOODS_FILE
    path.write_text(path.read_text(encoding="utf-8").replace("c8", "c7", 1), encoding="utf-8")
    with pytest.raises(RecordBroken, match=r"likelihoods\.json was altered"):
        replay(copy)
    assert any(LIKELIHOODS_FILE in finding.path for finding in verify(copy))


def test_a_session_of_before_has_no_likelihoods() -> None:
    """An older header is read: nothing was weighed, and nothing is weighed in its replay."""
    body = json.loads(Header("x", START, "0.1.0").to_bytes())
    del body["likelihoods"]
    for name in (
        "misreading",
        "key_slip",
        "doubt_from",
        "mention_from",
        "weighed_results",
        "part_from",
        "rules",
    ):
        del body["thresholds"][name]
    header = parse_header(json.dumps(body).encode(), "session.json")
    assert ("", NO_LIMIT) == (header.likelihoods, header.thresholds.weighed_results)
    assert (0.0, OLD_RULES) == (header.thresholds.part_from, header.thresholds.rules)
    body["thresholds"]["stop_from"] = 0.15
    del body["thresholds"]["by_kind"]
    header = parse_header(json.dumps(body).encode(), "session.json")
    assert () == header.thresholds.by_kind


def test_a_damaged_table_begins_no_session(tmp_path: Path) -> None:
    """It is refused with its remedy before a folder is made."""
    shutil.copytree(directory("procedures"), tmp_path / "procedures")
    (tmp_path / "procedures" / LIKELIHOODS_FILE).write_text("{", encoding="utf-8")
    with pytest.raises(FileProblem, match="write-likelihoods"):
        SessionLog.create(tmp_path / "sessions", FACTS, tmp_path / "procedures")
    assert not list((tmp_path / "sessions").iterdir())
