"""Reviews: written behind a sealed record, chained to it, never erased."""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import subprocess
import tempfile
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import given, settings, strategies as st
from sample_log import begin, record

from assistant.errors import BayAssistantError, RecordBroken, RecordProblem, UsageProblem
from assistant.record import (
    Labour,
    Part,
    Review,
    SessionLog,
    add_review,
    find_sessions,
    new_review,
    read_reviews,
    review_head,
    verify,
)
from assistant.record.photos import NewPhoto
from assistant.record.storage import canonical
from assistant.record.verifying import remarks

if TYPE_CHECKING:
    from collections.abc import Iterator

NOON = datetime(2026, 11, 26, 12, 0, tzinfo=UTC)


def sealed(parent: Path, name: str = "seal") -> Path:
    """A small sealed session."""
    with begin(parent, name) as log:
        record(log)
        log.seal()
    return log.folder


def reviewed(folder: Path) -> tuple[Review, Review]:
    """One signed review and one that amends it."""
    first = add_review(
        folder,
        reviewer="J. Okoye",
        done="Control wire mended.",
        found=("control-wire-open",),
        parts=(Part("butt splice", "1"),),
        labour=(Labour("diagnosis", "0.6", "60.00"),),
        sign="the write-up\n",
        now=lambda: NOON,
    )
    second = add_review(folder, reviewer="J. Okoye", remarks="Customer called at noon.", now=lambda: NOON)
    return first, second


def test_what_is_written_is_read_again(tmp_path: Path) -> None:
    """Every field of a review survives, and the second stands behind the first."""
    folder = sealed(tmp_path)
    written = reviewed(folder)
    assert written == read_reviews(folder)
    assert [1, 2] == [review.number for review in written]
    assert ("control-wire-open",) == written[0].found
    assert (Labour("diagnosis", "0.6", "60.00"),) == written[0].labour
    assert written[1].signed is None
    assert [] == verify(folder)


def test_a_session_that_nobody_reviewed_has_none(tmp_path: Path) -> None:
    """No file, no reviews, no finding."""
    assert () == read_reviews(sealed(tmp_path))


def test_the_checksums_are_those_of_sha256sum(tmp_path: Path) -> None:
    """`sha256sum` of coreutils, an outside program, prints what the chain and the signature hold."""
    folder = sealed(tmp_path)
    first, second = reviewed(folder)

    def printed(command: str) -> str:
        done = subprocess.run(["sh", "-c", command], cwd=folder, capture_output=True, text=True, check=True)
        return done.stdout.split()[0]

    assert first.signed is not None
    assert first.previous == first.signed.record == printed("sha256sum seal.json")
    assert first.signed.writeup == printed("sha256sum writeup-1.txt")
    assert second.previous == printed("sed -n 1p reviews.jsonl | sha256sum")


def test_an_open_session_is_not_reviewed(tmp_path: Path) -> None:
    """It can still go on; the sentence says how to close it."""
    with begin(tmp_path, "open") as log:
        record(log)
    with pytest.raises(RecordProblem, match=r"is not sealed.*--resume"):
        add_review(log.folder, reviewer="J. Okoye", done="Nothing.")
    assert not (log.folder / "reviews.jsonl").exists()


def test_an_altered_record_is_not_reviewed(tmp_path: Path) -> None:
    """Nobody puts a name under what was not recorded; nothing is written."""
    folder = sealed(tmp_path)
    log = folder / "log.jsonl"
    log.write_bytes(log.read_bytes().replace(b'"lit"', b'"dim"', 1))
    with pytest.raises(RecordBroken, match="not what was recorded, so it is not reviewed"):
        add_review(folder, reviewer="J. Okoye", sign="text")
    assert not (folder / "reviews.jsonl").exists()
    assert not (folder / "writeup-1.txt").exists()


def test_what_is_not_a_session_is_not_reviewed(tmp_path: Path) -> None:
    """A folder of something else gives a sentence."""
    with pytest.raises(RecordProblem, match="is not a session"):
        add_review(tmp_path, reviewer="J. Okoye", done="Nothing.")


def test_a_signature_needs_a_name_and_a_review_says_something(tmp_path: Path) -> None:
    """Neither an empty review nor one signed by nobody is kept."""
    folder = sealed(tmp_path)
    with pytest.raises(UsageProblem, match="signed with a name"):
        add_review(folder, reviewer="  ", sign="text")
    with pytest.raises(UsageProblem, match="says nothing"):
        add_review(folder, reviewer="J. Okoye")
    assert () == read_reviews(folder)


@pytest.fixture(scope="module")
def kept() -> Iterator[Path]:
    """A session with two reviews."""
    parent = Path(tempfile.mkdtemp())
    folder = sealed(parent)
    reviewed(folder)
    yield folder
    shutil.rmtree(parent)


@given(st.data())
@settings(max_examples=60)
def test_any_altered_byte_of_the_reviews_is_found(kept: Path, data: st.DataObject) -> None:
    """Every byte is under a checksum, also in the last line, which nothing follows."""
    path = kept / "reviews.jsonl"
    before = path.read_bytes()
    place = data.draw(st.integers(0, len(before) - 1))
    changed = data.draw(st.integers(0, 255).filter(lambda value: value != before[place]))
    path.write_bytes(before[:place] + bytes([changed]) + before[place + 1 :])
    try:
        with pytest.raises(RecordBroken, match=r"reviews\.jsonl"):
            read_reviews(kept)
        assert "reviews.jsonl" in [finding.path for finding in verify(kept)]
    finally:
        path.write_bytes(before)


@given(st.binary(max_size=200))
@settings(max_examples=60)
def test_no_bytes_give_a_traceback(kept: Path, rest: bytes) -> None:
    """Any file is read or refused with a sentence."""
    path = kept / "reviews.jsonl"
    before = path.read_bytes()
    path.write_bytes(before + rest)
    try:
        read_reviews(kept)
    except BayAssistantError:
        pass
    finally:
        path.write_bytes(before)


def test_a_signed_writeup_that_was_altered_or_is_missing_is_found(kept: Path) -> None:
    """The signed text is kept as it was seen."""
    path = kept / "writeup-1.txt"
    before = path.read_bytes()
    assert hashlib.sha256(before).hexdigest() == read_reviews(kept)[0].signed.writeup  # type: ignore[union-attr]
    try:
        path.write_bytes(b"another")
        assert ["writeup-1.txt"] == [finding.path for finding in verify(kept)]
        path.unlink()
        assert ["writeup-1.txt"] == [finding.path for finding in verify(kept)]
    finally:
        path.write_bytes(before)


def without(folder: Path, *names: str) -> list[str]:
    """Paths that verify finds when these files are gone; they are put back."""
    kept_bytes = {name: (folder / name).read_bytes() for name in names}
    for name in names:
        (folder / name).unlink()
    try:
        return [finding.path for finding in verify(folder)]
    finally:
        for name, data in kept_bytes.items():
            (folder / name).write_bytes(data)


def test_removed_reviews_are_missed(kept: Path) -> None:
    """The reviews, their head, or a signed write-up: whichever is taken out, it is found; so are reviews and head."""
    assert ["reviews.jsonl"] == without(kept, "reviews.jsonl")
    assert ["reviews-head.json"] == without(kept, "reviews-head.json")
    assert ["writeup-1.txt"] == without(kept, "writeup-1.txt")
    assert ["reviews-head.json"] == without(kept, "reviews.jsonl", "reviews-head.json")
    assert ["reviews-head.json"] == without(kept, "reviews.jsonl", "reviews-head.json", "writeup-1.txt")
    assert ["reviews.jsonl"] == without(kept, "reviews.jsonl", "writeup-1.txt")
    (kept / "reviews.jsonl").rename(kept.parent / "aside")
    try:
        with pytest.raises(RecordBroken, match=r"2 reviews were written, and none is left"):
            read_reviews(kept)
    finally:
        (kept.parent / "aside").rename(kept / "reviews.jsonl")


def test_a_last_review_that_was_cut_off_is_missed(kept: Path) -> None:
    """Lines from the end leave a chain that holds; the head shows it."""
    path = kept / "reviews.jsonl"
    before = path.read_bytes()
    try:
        path.write_bytes(before.splitlines(keepends=True)[0])
        (finding,) = verify(kept)
        assert ("reviews.jsonl", 2) == (finding.path, finding.line)
        assert finding.problem == "2 reviews were written, and only 1 are left"
    finally:
        path.write_bytes(before)


@given(st.data())
@settings(max_examples=60)
def test_any_altered_byte_of_the_head_is_found(kept: Path, data: st.DataObject) -> None:
    """The head is under its own checksum, and written in one way only."""
    path = kept / "reviews-head.json"
    before = path.read_bytes()
    place = data.draw(st.integers(0, len(before) - 1))
    changed = data.draw(st.integers(0, 255).filter(lambda value: value != before[place]))
    path.write_bytes(before[:place] + bytes([changed]) + before[place + 1 :])
    try:
        assert ["reviews-head.json"] == [finding.path for finding in verify(kept)]
    finally:
        path.write_bytes(before)


def unhead(folder: Path) -> None:
    """Make a sealed session one that an earlier version sealed, which wrote no head and no word of one."""
    (folder / "reviews-head.json").unlink()
    body = json.loads((folder / "seal.json").read_bytes())
    del body["sha256"], body["head"]
    own = hashlib.sha256(canonical(body)).hexdigest()
    (folder / "seal.json").write_bytes(canonical({**body, "sha256": own}))


def as_earlier(folder: Path, count: int) -> None:
    """Write reviews as the earlier version did: without a head, and without a word of one."""
    previous = (folder / "seal.json").read_bytes()
    rows = []
    for number in range(1, count + 1):
        body = {
            "number": number, "time": NOON.isoformat(timespec="milliseconds"), "reviewer": "J. Okoye",
            "done": f"Work {number}.", "found": [], "parts": [], "labour": [], "remarks": "", "signed": None,
            "previous": hashlib.sha256(previous).hexdigest(),
        }  # fmt: skip
        row = canonical({**body, "sha256": hashlib.sha256(canonical(body)).hexdigest()})
        rows.append(row)
        previous = row
    (folder / "reviews.jsonl").write_bytes(b"".join(rows))


def test_reviews_of_an_earlier_version_are_whole_and_are_gone_on_with(tmp_path: Path) -> None:
    """They verify without a head; the next review makes one, which counts all of them and cannot go."""
    folder = sealed(tmp_path)
    unhead(folder)
    assert [] == verify(folder)
    as_earlier(folder, 2)
    assert [] == verify(folder)
    assert ["", ""] == [review.head for review in read_reviews(folder)]
    add_review(folder, reviewer="J. Okoye", done="Work 3.", now=lambda: NOON)
    assert [] == verify(folder)
    assert [1, 2, 3] == [review.number for review in read_reviews(folder)]
    assert ["reviews-head.json"] == without(folder, "reviews-head.json")
    assert ["reviews.jsonl"] == without(folder, "reviews.jsonl")


@pytest.mark.parametrize("sign", [None, "the write-up\n"])
@pytest.mark.parametrize("before", [0, 1])
def test_a_review_that_was_stopped_at_any_write_does_not_break_the_session(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, before: int, sign: str | None
) -> None:
    """After whichever write the program is killed: the session verifies, and the next review heals what is left."""
    write = new_review.write_file
    photos = (NewPhoto(b"one", "jpg", "pin"), NewPhoto(b"two", "png", "wire"))
    for stop in range(1, 8):
        folder = sealed(tmp_path, f"s{stop}{before}")
        for _ in range(before):
            before_it = photos[:1]
            add_review(
                folder, reviewer="J. Okoye", done="Before.", photos=before_it, sign=sign, now=lambda: NOON
            )
        left = [stop]

        def writes(path: Path, data: bytes, left: list[int] = left) -> None:
            left[0] -= 1
            if left[0] < 0:
                raise KeyboardInterrupt
            write(path, data)

        with monkeypatch.context() as patched:
            patched.setattr(new_review, "write_file", writes)
            patched.setattr(review_head, "write_file", writes)
            try:
                add_review(
                    folder,
                    reviewer="J. Okoye",
                    done="Stopped.",
                    photos=photos,
                    sign="begun\n",
                    now=lambda: NOON,
                )
                stopped = False
            except KeyboardInterrupt:
                stopped = True
        assert [] == verify(folder), stop
        there = read_reviews(folder)
        add_review(folder, reviewer="J. Okoye", done="After.", sign=sign, now=lambda: NOON)
        assert [] == verify(folder)
        assert [] == remarks(folder)
        assert [*there] == [*read_reviews(folder)][:-1]
        assert stopped or "Stopped." == there[-1].done
        kept = {photo.file for review in there for photo in review.details.photos}
        assert kept == {path.name for path in folder.glob("photo-*")}


def test_reviews_that_are_gone_without_a_trace_are_told_by_the_list(tmp_path: Path) -> None:
    """The index still knows of them: the session is listed as damaged until they are back."""
    folder = sealed(tmp_path)
    unhead(folder)
    add_review(folder, reviewer="J. Okoye", remarks="Nobody signed this.", now=lambda: NOON)
    (one,) = find_sessions(folder.parent).summaries
    assert ("unsigned", "") == (one.review, one.problem)
    gone = {name: (folder / name).read_bytes() for name in ("reviews.jsonl", "reviews-head.json")}
    for name in gone:
        (folder / name).unlink()
    for _ in range(2):
        assert [] == verify(folder)  # in the folder alone there is no trace of them
        (one,) = find_sessions(folder.parent).summaries
        assert "It was reviewed, and its reviews are gone." in one.problem
        os.utime(folder / "seal.json", (1, 1))
    for name, data in gone.items():
        (folder / name).write_bytes(data)
    (one,) = find_sessions(folder.parent).summaries
    assert ("unsigned", "") == (one.review, one.problem)


def test_a_sealing_that_was_stopped_before_the_seal_does_not_break_the_session(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The head of a session without a seal counts nothing; the session goes on and is sealed once more."""
    with begin(tmp_path) as log:
        record(log, 4)
        write = review_head.write_file

        def stopped(path: Path, data: bytes) -> None:
            if path.name == "seal.json":
                raise KeyboardInterrupt
            write(path, data)

        with monkeypatch.context() as patched:
            patched.setattr(review_head, "write_file", stopped)
            with pytest.raises(KeyboardInterrupt):
                log.seal()
    assert (log.folder / "reviews-head.json").exists()
    assert [] == verify(log.folder)
    with SessionLog.resume(log.folder) as again:
        again.seal()
    assert [] == verify(log.folder)
    add_review(log.folder, reviewer="J. Okoye", done="Mended.", now=lambda: NOON)
    assert [] == verify(log.folder)


def test_a_seal_without_the_head_that_it_names_is_found(tmp_path: Path) -> None:
    """Also where nobody has reviewed the session yet, so that removing everything of a review shows."""
    folder = sealed(tmp_path)
    assert ["reviews-head.json"] == without(folder, "reviews-head.json")
