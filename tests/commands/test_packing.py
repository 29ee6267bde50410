"""`bay-assistant pack`: a bag that others can check, with everything in it."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path

import bagit
import jsonschema
import pytest
from recorded import FACTS, OPEN_CONTROL_WIRE, folder, scripted

from assistant.cli import main
from assistant.commands import packing
from assistant.errors import UsageProblem
from assistant.record import add_review, read_reviews, verify


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A reviewed session, and the bag that it was packed into."""
    place = tmp_path_factory.mktemp("pack")
    session = folder(place / "sessions", scripted(*OPEN_CONTROL_WIRE))
    add_review(session, reviewer="J. Okoye", done="Spliced the wire.", sign="what was signed")
    (session / "clips" / ".0001.flac.part").write_text(
        "a piece of a file that was being written", encoding="utf-8"
    )
    bag = place / "order 4711"
    assert "" == packing.pack(session, bag).left_out
    return session, bag


@pytest.fixture
def bag(kept: tuple[Path, Path], tmp_path: Path) -> Path:
    """A copy of the bag that a test may spoil."""
    return Path(shutil.copytree(kept[1], tmp_path / "bag"))


def test_bagit_and_sha256sum_find_it_whole(kept: tuple[Path, Path]) -> None:
    """The library of the standard's keepers validates it, and coreutils check every file of the payload."""
    bag = kept[1]
    assert bagit.Bag(str(bag)).validate()
    done = subprocess.run(
        ["sha256sum", "--check", "--strict", "--quiet", "manifest-sha256.txt"],
        cwd=bag, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert (0, "") == (done.returncode, done.stdout)
    listed = {line.split(maxsplit=1)[1] for line in (bag / "manifest-sha256.txt").read_text().splitlines()}
    assert {str(path.relative_to(bag)) for path in (bag / "data").rglob("*") if path.is_file()} == listed


def test_it_holds_record_reviews_procedures_and_all_forms(kept: tuple[Path, Path]) -> None:
    """The session byte by byte, and text, page, PDF and JSON with its schema; no half-written file."""
    session, bag = kept
    copy = bag / "data" / session.name
    files = {
        path.relative_to(session) for path in session.rglob("*") if path.is_file() and path.name[0] != "."
    }
    assert files == {path.relative_to(copy) for path in copy.rglob("*") if path.is_file()}
    assert all((session / name).read_bytes() == (copy / name).read_bytes() for name in files)
    assert [] == verify(copy)
    assert read_reviews(session) == read_reviews(copy)
    forms = bag / "data" / "write-up"
    assert {"write-up.txt", "write-up.html", "write-up.pdf", "write-up.json", "writeup.schema.json"} == {
        path.name for path in forms.iterdir()
    }
    body = json.loads((forms / "write-up.json").read_text(encoding="utf-8"))
    jsonschema.validate(body, json.loads((forms / "writeup.schema.json").read_text(encoding="utf-8")))
    assert (forms / "write-up.pdf").read_bytes().startswith(b"%PDF-")
    assert "Spliced the wire." in (forms / "write-up.txt").read_text(encoding="utf-8")


def test_bag_info_says_what_it_is(kept: tuple[Path, Path]) -> None:
    """Order, identification number, session and the record's checksum can be read without opening the record."""
    info = bagit.Bag(str(kept[1])).info
    assert (FACTS.order, FACTS.vin) == (info["Repair-Order"], info["Vehicle-Identification-Number"])
    assert kept[0].name == info["External-Identifier"]
    assert read_reviews(kept[0])[0].signed.record == info["Record-SHA256"]  # type: ignore[union-attr]
    assert info["Write-Up-State"].startswith("Reviewed and signed by J. Okoye")


def test_the_page_in_the_bag_leads_to_its_sound(tmp_path: Path) -> None:
    """The links of the packed page fit the place where it lies."""
    import numpy as np  # noqa: PLC0415

    from assistant.core.values.entries import VoiceNoteTaken  # noqa: PLC0415
    from assistant.core.values.events import Note, NoteRecorded  # noqa: PLC0415
    from assistant.record import SessionLog  # noqa: PLC0415
    from assistant.resources import directory  # noqa: PLC0415

    with SessionLog.create(tmp_path / "sessions", FACTS, directory("procedures")) as log:
        clip = log.keep_clip(np.zeros(1600, np.int16))
        log.append(NoteRecorded(1.0, clip), (Note(VoiceNoteTaken(clip.file, clip.duration_s, "", "")),))
        log.seal()
    packing.pack(log.folder, tmp_path / "bag")
    page = (tmp_path / "bag" / "data" / "write-up" / "write-up.html").read_text(encoding="utf-8")
    link = f"../{log.folder.name}/clips/0001.flac"
    assert f'<audio controls preload="none" aria-label="clips/0001.flac" src="{link}">' in page
    assert (tmp_path / "bag" / "data" / "write-up" / link).resolve().is_file()


def test_a_zip_file_holds_one_folder_that_is_a_bag(kept: tuple[Path, Path], tmp_path: Path) -> None:
    """Packed, unpacked by another program, and found whole; by `verify` of this one, too."""
    out = tmp_path / "order-4711.zip"
    assert 0 == main(["pack", str(kept[0]), "--out", str(out)])
    with zipfile.ZipFile(out) as packed:
        assert {"order-4711"} == {name.partition("/")[0] for name in packed.namelist()}
        packed.extractall(tmp_path / "other")
    unpacked = tmp_path / "other" / "order-4711"
    assert bagit.Bag(str(unpacked)).validate()
    assert 0 == main(["verify", str(unpacked)])
    assert 0 == main(["verify", str(unpacked / "data" / kept[0].name)])
    assert ["order-4711.zip", "other"] == sorted(path.name for path in tmp_path.iterdir())


@pytest.mark.parametrize(
    "name", ["log.jsonl", "session.json", "seal.json", "reviews.jsonl", "procedures/terms.yaml"]
)
def test_a_packed_record_that_was_altered_by_hand_is_found(
    bag: Path, kept: tuple[Path, Path], name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """By any BagIt tool; and where somebody made the bag's manifests fit again, still by the record's own chain."""
    path = bag / "data" / kept[0].name / name
    path.write_bytes(path.read_bytes().replace(b"o", b"0", 1))
    assert not bagit.Bag(str(bag)).is_valid()
    assert 1 == main(["verify", str(bag)])
    assert f"data/{kept[0].name}/{name}" in capsys.readouterr().out
    bagit.Bag(str(bag)).save(manifests=True)
    assert bagit.Bag(str(bag)).is_valid()
    assert 1 == main(["verify", str(bag)])


def test_a_file_that_was_taken_out_or_put_in_is_found(bag: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Neither a missing page nor an added one passes."""
    (bag / "data" / "write-up" / "write-up.pdf").unlink()
    (bag / "data" / "write-up" / "other.txt").write_text("x", encoding="utf-8")
    assert 1 == main(["verify", str(bag)])
    said = capsys.readouterr().out
    assert "write-up.pdf" in said
    assert "other.txt" in said


def test_what_cannot_be_packed_is_said_and_leaves_nothing(
    kept: tuple[Path, Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """No session, an open one, an altered one; a place that is taken, one that is not there."""
    session = kept[0]
    opened = folder(tmp_path / "open", scripted("lit"), seal=False)
    altered = folder(tmp_path / "altered", scripted(*OPEN_CONTROL_WIRE))
    log = altered / "log.jsonl"
    log.write_bytes(log.read_bytes().replace(b'"steady"', b'"dark"', 1))
    taken = tmp_path / "taken.zip"
    taken.write_text("mine", encoding="utf-8")
    before = sorted(path.name for path in tmp_path.iterdir())
    for which, out, status, says in (
        (tmp_path, tmp_path / "bag", 2, "is not a session"),
        (opened, tmp_path / "bag", 2, "is not sealed"),
        (altered, tmp_path / "bag", 1, "is not what was recorded, so it is not packed"),
        (session, taken, 2, "already exists"),
        (session, tmp_path / "nowhere" / "bag", 2, "does not exist"),
    ):
        assert status == main(["pack", str(which), "--out", str(out)])
        assert says in capsys.readouterr().err
    assert before == sorted(path.name for path in tmp_path.iterdir())
    assert "mine" == taken.read_text(encoding="utf-8")


def test_without_a_pdf_the_rest_is_packed_and_it_is_said(
    kept: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A shop without the typesetter can hand over all the same."""

    def missing(_folder: Path) -> bytes:
        raise UsageProblem("WeasyPrint is missing.")

    monkeypatch.setattr(packing, "write_pdf", missing)
    assert packing.pack(kept[0], tmp_path / "bag").left_out.startswith("The PDF was left out.")
    assert bagit.Bag(str(tmp_path / "bag")).validate()


def test_a_session_starts_without_any_of_this() -> None:
    """Packing, reviewing and the write-up's typesetter are loaded when they are asked for, not before."""
    done = subprocess.run(
        [
            sys.executable,
            "-c",
            (
                "import sys, assistant.session.live, assistant.cli\n"
                "late = ('bagit', 'weasyprint', 'assistant.writeup')\n"
                "late += ('assistant.commands.packing', 'assistant.commands.reviewing')\n"
                "print([name for name in late if name in sys.modules])"
            ),
        ],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "[]\n" == done.stdout


def test_a_packed_file_in_place_of_a_session_is_told_to_be_unpacked(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever names the ZIP file of a hand-over hears what to do with it."""
    packed = tmp_path / "job.zip"
    packed.write_bytes(b"PK")
    assert 2 == main(["verify", str(packed), "--sessions", str(tmp_path)])
    assert "is unpacked first" in capsys.readouterr().err
