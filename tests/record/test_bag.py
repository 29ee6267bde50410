"""A bag with anything beside what its manifests name is not whole, and checking one never leads out of it."""

from __future__ import annotations

import os
import shutil
import zipfile
from pathlib import Path
from typing import TYPE_CHECKING

import bagit
import pytest
from recorded import OPEN_CONTROL_WIRE, folder, scripted

from assistant.cli import main
from assistant.commands import packing
from assistant.record import add_review, bag as bags

if TYPE_CHECKING:
    from collections.abc import Callable

ID = "2026-11-25-0802-k7f3"


@pytest.fixture(scope="module")
def packed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A bag of a reviewed session."""
    place = tmp_path_factory.mktemp("bag")
    session = folder(place / "sessions", scripted(*OPEN_CONTROL_WIRE))
    add_review(session, reviewer="J. Okoye", done="Spliced the wire.", sign="what was signed")
    packing.pack(session, place / "packed")
    return place / "packed"


@pytest.fixture
def bag(packed: Path, tmp_path: Path) -> Path:
    """A copy of it that a test may spoil."""
    return Path(shutil.copytree(packed, tmp_path / "bag"))


def problems(bag: Path) -> dict[str, str]:
    """Return the findings by path; each is one short line."""
    found = bags.check(bag)
    assert all(len(str(one)) < 400 and "\n" not in str(one) for one in found)
    return {one.path: one.problem for one in found}


def test_an_untouched_bag_is_whole(packed: Path) -> None:
    """Nothing is found in what was just packed."""
    assert {} == problems(packed)


@pytest.mark.parametrize(
    ("place", "target"),
    [
        ("data/up", ".."), ("up", ".."), ("data/self", "self"), (f"data/{ID}/clips/0001.flac", "/etc/hostname"),
        (f"data/{ID}/more", "/dev/zero"), ("data/write-up/extra.txt", "write-up.txt"), ("extra.txt", "/etc/hostname"),
    ],
)  # fmt: skip
def test_links_are_found_and_not_followed(bag: Path, place: str, target: str) -> None:
    """A link anywhere is one finding of one line, also one that leads up, to itself, or to a device."""
    (bag / place).parent.mkdir(exist_ok=True)
    (bag / place).symlink_to(target)
    assert {place: "this is a link, and a bag has none: what it leads to was not read"} == problems(bag)


@pytest.mark.parametrize("name", ["bagit.txt", "bag-info.txt", "manifest-sha256.txt", f"data/{ID}/log.jsonl"])
def test_a_link_to_the_very_same_bytes_is_found(bag: Path, tmp_path: Path, name: str) -> None:
    """Moved out of the bag and linked: the bag library would call it whole."""
    (bag / name).rename(tmp_path / "aside")
    (bag / name).symlink_to(tmp_path / "aside")
    assert {name} == set(problems(bag))
    assert 1 == main(["verify", str(bag)])


def test_a_folder_that_is_a_link_is_found(bag: Path, tmp_path: Path) -> None:
    """The whole payload moved out of the bag and linked is not looked into."""
    (bag / "data").rename(tmp_path / "aside")
    (bag / "data").symlink_to(tmp_path / "aside")
    assert {"data"} == set(problems(bag))


def test_a_pipe_does_not_hold_the_check_up(bag: Path) -> None:
    """A named pipe in place of a file, or beside one, is found at once."""
    os.mkfifo(bag / "data" / "pipe")
    assert {"data/pipe": "this is a named pipe, and a bag has only files"} == problems(bag)
    (bag / "data" / "pipe").unlink()
    (bag / "manifest-sha256.txt").unlink()
    os.mkfifo(bag / "manifest-sha256.txt")
    assert {"manifest-sha256.txt"} == set(problems(bag))


@pytest.mark.parametrize(
    "name", ["extra.txt", ".hidden", "data/extra.txt", f"data/{ID}/clips/0009.flac", "fetch.txt"]
)
def test_a_file_that_no_manifest_names_is_found(bag: Path, name: str) -> None:
    """In the payload and beside it, hidden or not."""
    (bag / name).parent.mkdir(exist_ok=True)
    (bag / name).write_text("x", encoding="utf-8")
    assert name in problems(bag)


@pytest.mark.parametrize("name", ["empty", "data/empty", "data/write-up/a/b", f"data/{ID}/work"])
def test_an_empty_folder_is_found(bag: Path, name: str) -> None:
    """A manifest names files only, so an empty folder is beside it."""
    (bag / name).mkdir(parents=True)
    assert name in problems(bag)
    assert 1 == main(["verify", str(bag)])


def test_a_bag_of_an_earlier_version_is_whole(bag: Path) -> None:
    """A session without sound was packed with its empty folder for sound."""
    (bag / "data" / ID / "clips").mkdir()
    assert {} == problems(bag)


@pytest.mark.parametrize(
    "path",
    [
        "../secret.txt", "data/../../secret.txt", "/etc/hostname", "~/.profile", "~root/x", "data//x", "data/./x",
        "data\\..\\x", "bagit.txt", "%2e%2e/x",
    ],
)  # fmt: skip
def test_a_manifest_cannot_point_out_of_the_bag(bag: Path, tmp_path: Path, path: str) -> None:
    """Steps upwards, the root, a home folder: the line is named, and nothing outside is read."""
    (tmp_path / "secret.txt").write_text("x", encoding="utf-8")
    manifest = bag / "manifest-sha256.txt"
    text = manifest.read_text(encoding="utf-8")
    manifest.write_text(f"{text}{'0' * 64}  {path}\n", encoding="utf-8")
    (finding,) = [one for one in bags.check(bag) if one.path == "manifest-sha256.txt"]
    assert len(text.splitlines()) + 1 == finding.line
    assert "is not the name of a file that this manifest can hold" in finding.problem


def test_entries_that_stand_twice_and_lines_that_are_none_are_found(bag: Path) -> None:
    """A name with two checksums could mean either; a line without one means nothing."""
    manifest = bag / "manifest-sha256.txt"
    lines = manifest.read_text(encoding="utf-8").splitlines()
    other = f"{'0' * 64}  {lines[0].split(maxsplit=1)[1]}"
    manifest.write_text("\n".join([*lines, other, "no checksum here"]) + "\n", encoding="utf-8")
    said = [(one.line, one.problem) for one in bags.check(bag) if one.path == "manifest-sha256.txt"]
    assert [len(lines) + 1, len(lines) + 2] == [line for line, _ in said]
    assert "stands here a second time" in said[0][1]
    assert "is no checksum with the name of a file" in said[1][1]


@pytest.mark.parametrize(
    "name", ["manifest-sha256.txt", "tagmanifest-sha256.txt", "bag-info.txt", "bagit.txt"]
)
@pytest.mark.parametrize("change", ["", "\xff\xfe", "x\n"])
def test_spoilt_tag_files_are_found(bag: Path, name: str, change: str) -> None:
    """Emptied, made into something else, or no text: a finding, never another error."""
    (bag / name).write_bytes(change.encode("latin-1"))
    assert problems(bag)


@pytest.mark.parametrize("name", ["manifest-sha256.txt", "tagmanifest-sha256.txt", "bag-info.txt"])
def test_a_missing_tag_file_is_found(bag: Path, name: str) -> None:
    """Also that of the files beside the payload, without which nothing would guard them."""
    (bag / name).unlink()
    assert name in problems(bag)


def test_a_manifest_of_another_kind_must_name_everything_too(bag: Path) -> None:
    """A second manifest that names less does not make the rest be passed over."""
    (bag / "manifest-md5.txt").write_text(f"{'0' * 32}  data/write-up/write-up.txt\n", encoding="utf-8")
    assert f"data/{ID}/log.jsonl" in problems(bag)


def test_two_sessions_in_one_bag_are_found(bag: Path) -> None:
    """Even where somebody made the manifests fit: pack puts one session into a bag."""
    shutil.copytree(bag / "data" / ID, bag / "data" / "2026-11-25-0802-aaaa")
    bagit.Bag(str(bag)).save(manifests=True)
    assert bagit.Bag(str(bag)).is_valid()
    assert problems(bag)["data"].startswith("the bag holds 2 sessions (2026-11-25-0802-aaaa, ")


def test_a_payload_that_is_not_what_pack_puts_in_is_found(bag: Path) -> None:
    """A file that was put in with manifests made to fit is still neither of the session nor a write-up."""
    (bag / "data" / "invoice.txt").write_text("x", encoding="utf-8")
    (bag / "data" / "write-up" / "other.html").write_text("x", encoding="utf-8")
    bagit.Bag(str(bag)).save(manifests=True)
    assert bagit.Bag(str(bag)).is_valid()
    assert {"data/invoice.txt", "data/write-up/other.html"} == set(problems(bag))


def test_a_spoilt_bag_is_told_in_few_lines(bag: Path) -> None:
    """A thousand files that were put in take a screen, not a book."""
    for number in range(1000):
        (bag / "data" / f"{number}.txt").touch()
    found = bags.check(bag)
    assert len(found) < 30
    assert any(one.problem.startswith("the same of 980 more") for one in found)


def test_a_zip_file_is_never_opened(packed: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The contents of a ZIP file do no harm: one that would write elsewhere or fill the disk is refused, and the
    message says to unpack it.
    """
    evil = tmp_path / "evil.zip"
    with zipfile.ZipFile(evil, "w", zipfile.ZIP_DEFLATED) as written:
        written.writestr("../outside.txt", "x")
        written.writestr("bag/data/big", bytes(10_000_000))
    assert 2 == main(["verify", str(evil)])
    assert "is unpacked first" in capsys.readouterr().err
    assert ["evil.zip"] == [path.name for path in tmp_path.iterdir()]


# --- pack -----------------------------------------------------------------------------------------


def link_clips(session: Path, aside: Path) -> None:
    (session / "clips").rename(aside)
    (session / "clips").symlink_to(aside)


def put_wave(session: Path, _aside: Path) -> None:
    (session / "clips" / "0001.wav").write_bytes(b"RIFF")


def put_link(session: Path, _aside: Path) -> None:
    (session / "notes.txt").symlink_to("/etc/hostname")


def put_up(session: Path, _aside: Path) -> None:
    (session / "up").symlink_to("..")


def put_hidden(session: Path, _aside: Path) -> None:
    (session / ".secret").write_text("x", encoding="utf-8")


def put_pipe(session: Path, _aside: Path) -> None:
    os.mkfifo(session / "clips" / "0009.flac")


@pytest.mark.parametrize("spoil", [link_clips, put_wave, put_link, put_up, put_hidden, put_pipe])
def test_what_is_no_part_of_a_session_is_not_packed(
    tmp_path: Path, spoil: Callable[[Path, Path], None], capsys: pytest.CaptureFixture[str]
) -> None:
    """Pack refuses in one line, verify names it, and nothing is left where the bag would have been."""
    session = folder(tmp_path / "sessions", scripted(*OPEN_CONTROL_WIRE))
    spoil(session, tmp_path / "aside")
    assert 1 == main(["verify", str(session)])
    capsys.readouterr()
    assert 1 == main(["pack", str(session), "--out", str(tmp_path / "bag.zip")])
    said = capsys.readouterr().err
    assert "is not packed" in said
    assert 1 == len(said.splitlines())
    assert not [path for path in tmp_path.iterdir() if "bag" in path.name]


def test_what_is_put_in_while_packing_is_not_handed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the check and the copying somebody puts in a file and a link: only what the record names is copied."""
    session = folder(tmp_path / "sessions", scripted(*OPEN_CONTROL_WIRE))
    checked = packing.refuse_altered

    def late(which: Path, consequence: str) -> None:
        checked(which, consequence)
        if which == session:
            put_link(session, tmp_path)
            put_hidden(session, tmp_path)
            (session / "write-up.txt").symlink_to("/etc/hostname")

    monkeypatch.setattr(packing, "refuse_altered", late)
    packing.pack(session, tmp_path / "bag")
    assert {} == problems(tmp_path / "bag")
    names = {path.name for path in (tmp_path / "bag" / "data" / ID).iterdir()}
    assert {"session.json", "log.jsonl", "seal.json", "reviews-head.json", "procedures"} == names


def test_a_file_that_is_altered_while_packing_is_not_handed_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The copy is checked once more before it becomes a bag."""
    session = folder(tmp_path / "sessions", scripted(*OPEN_CONTROL_WIRE))
    checked = packing.refuse_altered

    def late(which: Path, consequence: str) -> None:
        checked(which, consequence)
        if which == session:
            with (session / "procedures" / "terms.yaml").open("ab") as file:
                file.write(b"# more\n")

    monkeypatch.setattr(packing, "refuse_altered", late)
    with pytest.raises(packing.RecordBroken, match="was altered while it was being packed"):
        packing.pack(session, tmp_path / "bag")
    assert ["sessions"] == [path.name for path in tmp_path.iterdir()]


def test_a_bag_is_not_made_in_the_session_or_over_a_link(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A bag inside the session would be a stray in it; a link at its place leads somewhere else."""
    session = folder(tmp_path / "sessions", scripted(*OPEN_CONTROL_WIRE))
    (tmp_path / "there.zip").symlink_to(tmp_path / "nowhere")
    for out, says in (
        (session / "bag", "is in the session itself"),
        (tmp_path / "there.zip", "already exists"),
    ):
        assert 2 == main(["pack", str(session), "--out", str(out)])
        assert says in capsys.readouterr().err
    assert 0 == main(["verify", str(session)])


def test_pack_says_what_it_hands_over(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Voices with number and length, the customer's data, names in reviews: before somebody else has them."""
    import numpy as np  # noqa: PLC0415
    from recorded import FACTS  # noqa: PLC0415

    from assistant.core.values.entries import VoiceNoteTaken  # noqa: PLC0415
    from assistant.core.values.events import Note, NoteRecorded  # noqa: PLC0415
    from assistant.record import SessionLog  # noqa: PLC0415
    from assistant.resources import directory  # noqa: PLC0415

    with SessionLog.create(tmp_path / "sessions", FACTS, directory("procedures")) as log:
        for _ in range(2):
            clip = log.keep_clip(np.zeros(40 * 16_000, np.int16))
            log.append(NoteRecorded(1.0, clip), (Note(VoiceNoteTaken(clip.file, clip.duration_s, "", "")),))
        log.seal()
    add_review(log.folder, reviewer="J. Okoye", done="Spliced the wire.", sign="x")
    assert 0 == main(["pack", str(log.folder), "--out", str(tmp_path / "bag.zip")])
    said = capsys.readouterr().out
    for part in (
        "2 voice recordings, 1 min 20 s, ", f"VIN {FACTS.vin}", f"Repair order {FACTS.order}",
        f"Technician {FACTS.technician}", "the customer's complaint", "1 review, signed by J. Okoye",
    ):  # fmt: skip
        assert part in said
    assert len(said.splitlines()) <= 10
