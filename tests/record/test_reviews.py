"""Reviews: written behind a sealed record, chained to it, never erased."""

from __future__ import annotations

import hashlib
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
from assistant.record import Labour, Part, Review, add_review, read_reviews, verify

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
@settings(max_examples=60, deadline=None)
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
@settings(max_examples=60, deadline=None)
def test_no_bytes_give_a_traceback(kept: Path, rest: bytes) -> None:
    """Whatever stands in the file, it is read or refused with a sentence."""
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
    """What was signed is kept as it was seen."""
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
