"""Transcripts of voice notes: written behind a sealed record, chained to it, never in it."""

from __future__ import annotations

import json
import math
import shutil
import subprocess
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest
from hypothesis import given, strategies as st
from noted_session import HEARD, noted_session, transcript_of

from assistant.core.values.events import Clip
from assistant.errors import MALFORMED, RecordBroken
from assistant.record import read_session, transcripts, verify
from assistant.record.chained import row_of
from assistant.record.storage import canonical, sha256
from assistant.record.transcripts import (
    LONGEST,
    NOTHING_UNDERSTOOD,
    NoteSegment,
    add_transcripts,
    latest,
    notes_of,
    parse_transcript,
    read_transcripts,
)

if TYPE_CHECKING:
    from pathlib import Path

FILE = "notes.jsonl"
CLIP = Clip("clips/0001.flac", "ab" * 32, 1.0)
TONE = np.zeros(16_000, np.int16)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A sealed session with two notes, both written down."""
    folder = noted_session(tmp_path_factory.mktemp("noted"), TONE, TONE + 1)
    add_transcripts(folder, [transcript_of(clip) for clip in clips(folder)])
    return folder


@pytest.fixture
def session(made: Path, tmp_path: Path) -> Path:
    """A copy of it, to be spoilt."""
    return shutil.copytree(made, tmp_path / made.name)


def clips(folder: Path) -> list[Clip]:
    return notes_of(read_session(folder).lines)


def test_what_is_written_is_read_again_and_nothing_is_found(session: Path) -> None:
    """Every field survives, the lines are numbered, and a session with transcripts is intact."""
    first, second = read_transcripts(session)
    assert (1, 2) == (first.number, second.number)
    assert [clip.file for clip in clips(session)] == [first.clip, second.clip]
    assert first == replace(transcript_of(clips(session)[0]), previous=first.previous)
    assert first.words == HEARD
    assert [] == verify(session)


def test_the_sealed_record_stays_as_it_was(tmp_path: Path) -> None:
    """Writing transcripts adds one file and touches no other."""
    folder = noted_session(tmp_path, TONE)
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    add_transcripts(folder, [transcript_of(clips(folder)[0])])
    after = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    assert {folder / FILE} == set(after) - set(before)
    assert before == {path: after[path] for path in before}


def test_the_checksums_are_those_of_sha256sum(session: Path) -> None:
    """`sha256sum` of coreutils, an outside program, prints what the chain and the transcripts hold."""
    first, second = read_transcripts(session)

    def printed(command: str) -> str:
        done = subprocess.run(["sh", "-c", command], cwd=session, capture_output=True, text=True, check=True)
        return done.stdout.split()[0]

    assert first.previous == printed("sha256sum seal.json")
    assert second.previous == printed(f"sed -n 1p {FILE} | sha256sum")
    assert first.sound == printed(f"sha256sum {first.clip}")


def test_a_later_transcript_stands_instead_of_an_earlier_one(session: Path) -> None:
    """Nothing is erased; the last words of a note are the ones that are shown."""
    clip = clips(session)[0]
    add_transcripts(session, [transcript_of(clip, "Pin two is green.")])
    assert [HEARD, HEARD, "Pin two is green."] == [one.words for one in read_transcripts(session)]
    assert "Pin two is green." == latest(read_transcripts(session))[clip.file].words
    assert [] == verify(session)


def test_every_turned_bit_is_found(session: Path) -> None:
    """No bit of the file can be turned without a finding about it, as with every other file of a session."""
    path = session / FILE
    data = path.read_bytes()
    lines = read_session(session).lines
    for at in range(len(data)):
        for bit in (0, 5):
            path.write_bytes(data[:at] + bytes([data[at] ^ (1 << bit)]) + data[at + 1 :])
            assert transcripts.check(session, lines), (at, bit)


@pytest.mark.parametrize(
    ("spoil", "said"),
    [
        (lambda rows: rows[1:], "is numbered 2"),
        (lambda rows: [rows[0], rows[0]], "is numbered 1"),
        (lambda rows: [*rows, b"{}\n"], "cannot be understood"),
        (lambda rows: [rows[0], rows[1][:-1]], "cut short"),
        (lambda _rows: [], "cut short"),
    ],
)
def test_lines_that_were_taken_put_in_or_cut_are_found(session: Path, spoil: object, said: str) -> None:
    """The finding names the file and the line; reading refuses, and so does everything that reads."""
    path = session / FILE
    assert callable(spoil)
    path.write_bytes(b"".join(spoil(path.read_bytes().splitlines(keepends=True))))
    (finding,) = verify(session)
    assert finding.path == FILE
    assert said in finding.problem
    with pytest.raises(RecordBroken, match="transcripts"):
        read_transcripts(session)


def test_words_for_a_sound_that_is_no_note_are_found(session: Path) -> None:
    """A transcript fits a voice note of the log, and its very sound; the chain alone would not show it."""
    stray = replace(clips(session)[0], file="clips/0099.flac")
    other = replace(clips(session)[0], sha256="0" * 64)
    add_transcripts(session, [transcript_of(stray), transcript_of(other)])
    assert [3, 4] == [one.line for one in verify(session)]


def test_an_open_session_has_none(tmp_path: Path) -> None:
    """Words belong to a sealed record; beside an open one they are a finding."""
    folder = noted_session(tmp_path, TONE, seal=False)
    (folder / FILE).write_bytes(row_of(transcript_of(clips(folder)[0])))
    (finding,) = verify(folder)
    assert "seal.json is missing" in finding.problem


def test_a_link_in_its_place_is_not_followed(session: Path, tmp_path: Path) -> None:
    """As with every file of a session."""
    (session / FILE).rename(tmp_path / "aside")
    (session / FILE).symlink_to(tmp_path / "aside")
    assert [FILE] == [one.path for one in verify(session)]
    with pytest.raises(RecordBroken, match="is a link"):
        read_transcripts(session)


def test_only_the_owner_reads_it(session: Path) -> None:
    """It holds what people said."""
    assert 0o600 == (session / FILE).stat().st_mode & 0o777


def test_what_a_machine_did_not_understand_is_marked() -> None:
    """A piece that was not believed leaves a mark between the words, and a note without any says so."""
    known = NoteSegment(0.0, 1.0, "Pin two", -0.1, 0.0, 1.0)
    lost = replace(known, words="")
    note = replace(transcript_of(CLIP), segments=(known, lost, replace(known, words="is\n green.")))
    assert note.words == "Pin two (not understood) is green."
    assert replace(note, segments=(lost,)).words == NOTHING_UNDERSTOOD
    assert replace(note, segments=()).words == NOTHING_UNDERSTOOD


@given(st.binary(max_size=300))
def test_any_bytes_are_a_transcript_or_refused(data: bytes) -> None:
    """Nothing but a line that the program writes is read, whatever stands there."""
    with pytest.raises(MALFORMED):
        parse_transcript(data)


@given(st.text(max_size=60), st.floats(), st.text(max_size=20))
def test_a_line_is_read_as_it_was_written_or_refused(words: str, number: float, name: str) -> None:
    """Any words and names come back; numbers that are none are refused, and never written again in another way."""
    one = replace(transcript_of(CLIP), model=name, segments=(NoteSegment(0.0, 1.0, words, number, 0.0, 1.0),))
    try:
        row = row_of(one)
    except ValueError:
        assert not math.isfinite(number)
        return
    try:
        assert parse_transcript(row) == one
    except MALFORMED:
        assert any("\ud800" <= sign <= "\udfff" for sign in words + name)


def test_words_too_long_to_be_spoken_are_refused() -> None:
    """A line made by somebody else cannot fill pages: the words of a segment have a longest length."""
    one = replace(transcript_of(CLIP), segments=(NoteSegment(0.0, 1.0, "w" * (LONGEST + 1), 0.0, 0.0, 1.0),))
    with pytest.raises(TypeError, match="at most 2000"):
        parse_transcript(row_of(one))


def test_a_forged_line_of_other_kinds_is_refused() -> None:
    """Each value has its kind, also under a checksum that fits."""
    body = json.loads(row_of(transcript_of(CLIP)))
    del body["sha256"]
    for key in body:
        for value in (None, 1, -1.5, "x", [], {}, [{}], True):
            forged = {**body, key: value}
            row = canonical({**forged, "sha256": sha256(canonical(forged))})
            try:
                parse_transcript(row)
            except MALFORMED:
                continue
            assert (key, value) in (
                ("number", 1),
                ("segments", []),
                *((k, "x") for k in ("clip", "model", "program")),
            )
