"""`bay-assistant review`: by options and at a terminal."""

from __future__ import annotations

import hashlib
import json
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from noted_session import HEARD, noted_session, transcript_of
from recorded import FACTS, OPEN_CONTROL_WIRE, folder, library, scripted

from assistant.cli import main
from assistant.commands.reviewing import ask
from assistant.errors import UsageProblem
from assistant.record import Facts, read_reviews, read_session, verify
from assistant.record.summaries import summarise
from assistant.record.transcripts import add_transcripts, notes_of
from assistant.writeup import drafted, write_html, write_json, write_text
from assistant.writeup.reviewing import WantedReview, fault_named, record_review

if TYPE_CHECKING:
    from collections.abc import Callable

OPTIONS = (
    "--done", "Spliced the control wire at the firewall.", "--found", "open control wire",
    "--part", "butt splice; 2; 3.10", "--labour", "wire repair; 0.8", "--remark", "Road test 12 miles.",
    "--by", "J. Okoye", "--sign",
)  # fmt: skip


@pytest.fixture
def session(tmp_path: Path) -> Path:
    """A sealed session with an open control wire."""
    return folder(tmp_path / "sessions", scripted(*OPEN_CONTROL_WIRE))


def test_a_review_by_options_is_kept_and_shown_in_every_form(
    session: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Work done, findings, parts, labour, remarks and the signature stand in text, page and JSON."""
    before = write_text(session)
    assert 0 == main(["review", str(session), *OPTIONS])
    assert "Review 1" in capsys.readouterr().out
    (review,) = read_reviews(session)
    assert ("control-wire-open",) == review.found
    assert review.signed is not None
    # what was signed is the write-up as it stood, kept as a file
    assert hashlib.sha256(before.encode()).hexdigest() == review.signed.writeup
    assert before == (session / "writeup-1.txt").read_text(encoding="utf-8")
    assert [] == verify(session)
    text = " ".join(write_text(session).split())
    for words in (
        "Done: Spliced the control wire at the firewall.", "Found at repair: open control wire.",
        "butt splice | ______________ | 2 | 3.10", "wire repair | 0.8 | ____", "Road test 12 miles.",
        "REVIEWED AND SIGNED BY J. OKOYE",
        review.signed.record, review.signed.writeup,
    ):  # fmt: skip
        assert words in text
    assert "Work done: ____" not in text
    page = write_html(session)
    body = json.loads(write_json(session))
    for words in ("Spliced the control wire at the firewall.", "butt splice", review.signed.writeup):
        assert words in page
        assert words in json.dumps(body)
    assert body["done"]["sources"] == [{"file": "reviews.jsonl", "at": "1"}]


def test_without_a_signature_the_repair_stays_recommended(session: Path) -> None:
    """A review that nobody signed is shown as such; the correction is still what the verdict recommends."""
    record_review(session, WantedReview(done="Nothing yet.", reviewer="J. Okoye"))
    made = drafted(session)[0]
    assert not made.done
    assert not made.signed
    assert ["Not signed"] == [one.signed for one in made.reviews]
    assert "Nothing yet." in write_text(session)


def test_an_amendment_is_shown_and_hides_nothing(session: Path) -> None:
    """The later review counts; the earlier one stays, struck out and labelled."""
    record_review(
        session, WantedReview("J. Okoye", "Replaced the coil.", ("shorted-primary",), ("splice",), sign=True)
    )
    record_review(
        session, WantedReview("J. Okoye", "Spliced the control wire.", ("control-wire-open",), sign=True)
    )
    made = drafted(session)[0]
    assert ("Spliced the control wire.", "open control wire") == (made.done.text, made.confirmed.text)
    assert [["amended by review 2"] * 2 + [""], ["", ""]] == [
        [said.amended for said in one.says] for one in made.reviews
    ]
    assert ["splice"] == [part.part for part in made.parts]
    page = write_html(session)
    assert "<del>Done: Replaced the coil.</del>" in page
    assert "<del>Found: shorted coil primary</del>" in page
    assert "<del>Part" not in page
    assert "Done: Replaced the coil. [AMENDED BY REVIEW 2]" in write_text(session)
    signed = read_reviews(session)[1].signed
    assert signed is not None
    assert "Replaced the coil." in (session / "writeup-2.txt").read_text(encoding="utf-8")


def test_the_write_ups_that_a_session_left_are_made_anew(session: Path) -> None:
    """Nobody finds an unsigned page beside a signed record."""
    for name in ("write-up.txt", "write-up.html"):
        (session / name).write_text("old", encoding="utf-8")
    record_review(session, WantedReview("J. Okoye", "Spliced the wire.", sign=True))
    for name in ("write-up.txt", "write-up.html"):
        assert "Spliced the wire." in (session / name).read_text(encoding="utf-8")


def test_without_options_and_without_a_terminal_the_draft_is_shown(
    session: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Looking does not write."""
    assert 0 == main(["review", str(session)])
    assert FACTS.complaint in capsys.readouterr().out
    assert () == read_reviews(session)


def test_faults_by_name_by_words_and_by_a_part_of_them() -> None:
    """A name of terms.yaml, its plain words with or without the brackets, or words that only one has."""
    known = library()
    for said in (
        "no-inputs",
        "No input to the driver",
        "no input to the driver (crank, cam or release signal)",
    ):
        assert "no-inputs" == fault_named(known, said)
    assert "weak-battery" == fault_named(known, "weak battery")
    with pytest.raises(UsageProblem, match=r"several faults.*control-wire-open.*control-wire-to-ground"):
        fault_named(known, "control wire")
    with pytest.raises(UsageProblem, match=r"There is no fault 'gremlins'\. Known are: coil-secondary"):
        fault_named(known, "gremlins")


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--found", "gremlins", "--by", "J. Okoye"), "There is no fault 'gremlins'"),
        (("--sign",), "signed with a name"),
        (("--part", "coil; 1; 80; 20; 3"), "up to four parts"),
        (("--labour", "; 2"), "do not leave the first one empty"),
    ],
)
def test_wrong_options_are_refused_and_nothing_is_written(
    session: Path, capsys: pytest.CaptureFixture[str], options: tuple[str, ...], says: str
) -> None:
    """A sentence, exit status 2, no review."""
    assert 2 == main(["review", str(session), *options])
    assert says in capsys.readouterr().err
    assert () == read_reviews(session)
    assert not (session / "writeup-1.txt").exists()


def test_an_open_or_an_altered_session_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Neither is looked at as if it could be signed."""
    opened = folder(tmp_path / "open", scripted("lit"), seal=False)
    assert 2 == main(["review", str(opened), *OPTIONS])
    assert "is not sealed: it can still go on" in capsys.readouterr().err
    altered = folder(tmp_path / "altered", scripted(*OPEN_CONTROL_WIRE))
    log = altered / "log.jsonl"
    log.write_bytes(log.read_bytes().replace(b'"steady"', b'"dark"', 1))
    for options in ((), OPTIONS):
        assert 1 == main(["review", str(altered), *options])
        assert "not what was recorded" in capsys.readouterr().err
    assert 2 == main(["review", str(tmp_path), *OPTIONS])
    assert "is not a session" in capsys.readouterr().err


def answers(*given: str) -> Callable[[str], str]:
    """A person at a terminal; asks for more than that fail."""
    left = iter(given)
    return lambda _question: next(left)


def test_at_a_terminal_everything_is_asked(session: Path) -> None:
    """A wrong fault is said and asked again; `?` lists them; lines come until an empty one."""
    told: list[str] = []
    wanted = ask(
        session,
        WantedReview(),
        answers(
            "Spliced the wire.", "?", "gremlins", "open control wire", "", "C103, pin 4", "P0351, P2300",
            "splice; 2; ; BS-16", "a;b;c;d;e", "", "wiring; 0.8", "", "no-such.jpg", "", "", "J. Okoye", "y",
        ),
        told.append,
    )  # fmt: skip
    assert (
        WantedReview(
            "J. Okoye",
            "Spliced the wire.",
            ("control-wire-open",),
            ("splice; 2; ; BS-16",),
            ("wiring; 0.8",),
            "",
            sign=True,
            codes=("P0351", "P2300"),
            location="C103, pin 4",
        )
        == wanted
    )
    assert any("  weak-battery: " in words for words in told)
    assert any("There is no fault 'gremlins'" in words for words in told)
    assert any("up to four parts" in words for words in told)
    assert any("The photo no-such.jpg cannot be read" in words for words in told)


def test_a_vin_that_nobody_said_is_typed_at_the_review(tmp_path: Path) -> None:
    """It is checked as everywhere, fills its box once the review is signed, and a later review amends it."""
    place = folder(tmp_path / "sessions", scripted(*OPEN_CONTROL_WIRE), Facts(order="4711"))
    with pytest.raises(UsageProblem, match="check digit"):
        record_review(place, WantedReview(vin="1M8GDM9A1KP042788"))
    told: list[str] = []
    given = ["", "", "1M8GDM9A1KP042788", "1m8gdm9a xkp042788", *[""] * 6, "J. Okoye", "y"]
    wanted = ask(place, WantedReview(), answers(*given), told.append)
    assert "1M8GDM9AXKP042788" == wanted.vin
    assert any("at least one character was misread" in words.lower() for words in told)
    record_review(place, wanted)
    assert "1M8GDM9AXKP042788" == drafted(place)[0].box("VIN")
    assert '"vin":' in (place / "reviews.jsonl").read_text(encoding="utf-8")
    assert "VIN? " not in asked(place)
    record_review(place, WantedReview("J. Okoye", vin="11111111111111111", sign=True))
    made = drafted(place)[0]
    assert "11111111111111111" == made.box("VIN")
    assert [("VIN", "amended by review 2")] == [(one.about, one.amended) for one in made.reviews[0].says]
    assert [] == verify(place)
    assert "11111111111111111" == summarise(place).facts.vin  # 'sessions --vin' finds it


def asked(place: Path) -> list[str]:
    """All questions of a review at a terminal, answered with Enter."""
    questions: list[str] = []

    def question(words: str) -> str:
        questions.append(words)
        return ""

    ask(place, WantedReview(), question, lambda _words: None)
    return questions


def test_at_a_terminal_nothing_is_kept_without_a_yes(session: Path) -> None:
    """Not signed and not to be kept: nothing."""
    wanted = ask(
        session,
        WantedReview(),
        answers("Looked.", "", "", "", "", "", "", "", "J. Okoye", "n", "n"),
        lambda _words: None,
    )
    assert not wanted.says_something()
    assert not ask(session, WantedReview(), answers(*[""] * 9), lambda _words: None).says_something()


def test_a_terminal_that_is_closed_keeps_nothing(session: Path) -> None:
    """End of input in the middle of the questions is no answer."""
    script = (
        "import sys, io\n"
        "sys.stdin.isatty = sys.stdout.isatty = lambda: True\n"
        "from assistant.cli import main\n"
        f"sys.exit(main(['review', {str(session)!r}]))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], input="Spliced.\n", capture_output=True, text=True, check=False
    )
    assert (0, "") == (done.returncode, done.stderr)
    assert "No review was kept." in done.stdout
    assert () == read_reviews(session)


@pytest.mark.parametrize(
    ("answer", "kept"), [("Pin three is green.", "Pin three is green."), ("y", HEARD), ("", "")]
)
def test_a_person_is_asked_about_words_that_a_machine_wrote(answer: str, kept: str, tmp_path: Path) -> None:
    """Each note that nobody checked is read out as it stands; "y" affirms it, words correct it, Enter leaves it."""
    folder = noted_session(tmp_path, np.zeros(16_000, np.int16))
    add_transcripts(folder, [transcript_of(notes_of(read_session(folder).lines)[0])])
    asked: list[str] = []

    def question(text: str) -> str:
        asked.append(text)
        return answer if text.startswith("Voice note") else ""

    wanted = ask(folder, WantedReview(reviewer="J. Okoye", sign=True), question, lambda _: None)
    assert 1 == sum(f"Transcribed by machine, not checked: {HEARD}" in one for one in asked)
    record_review(folder, wanted)
    notes = read_reviews(folder)[0].details.notes
    assert ([kept] if kept else []) == [one.words for one in notes]
    asked.clear()
    ask(folder, WantedReview(reviewer="J. Okoye", sign=True), question, lambda _: None)
    assert bool(kept) != any(one.startswith("Voice note") for one in asked)
