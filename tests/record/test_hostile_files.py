"""One damaged session neither hangs, hides nor stops the others, whatever stands in place of its files."""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from assistant import files, resources
from assistant.commands.bench.past_sessions import make_up
from assistant.errors import BayAssistantError, RecordProblem
from assistant.loading.folder import load_library
from assistant.record import find_sessions, list_sessions, read_session, verify
from assistant.record.history import read_history
from assistant.record.index_file import INDEX_FILE
from assistant.record.storage import read_file
from assistant.record.summaries import newest_session, session_named

NESTED = b"[" * 200_000
ABSURD = (
    b"1e999",
    b"-1e999",
    b"NaN",
    b"9" * 5000,
    b"1e400",
    b"null",
    b"[]",
    b"{}",
    b'"\\ud800"',
    b"true",
    b"-1",
)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three sessions: two sealed, one open; the newest sealed one has reviews of its own where a test writes them."""
    parent = tmp_path_factory.mktemp("shop") / "sessions"
    make_up(parent, resources.directory("procedures"), 3)
    return parent


@pytest.fixture
def shop(made: Path, tmp_path: Path) -> Path:
    """A copy of them to damage."""
    return Path(shutil.copytree(made, tmp_path / "sessions"))


@pytest.fixture(autouse=True)
def _within_a_while() -> Iterator[None]:
    """Nothing here may wait for ever."""

    def late(_number: int, _frame: object) -> None:
        raise AssertionError("this did not end within 20 s")

    before = signal.signal(signal.SIGALRM, late)
    signal.alarm(20)
    yield
    signal.alarm(0)
    signal.signal(signal.SIGALRM, before)


def replace(path: Path, by: str) -> None:
    """Put something else in the place of a file."""
    if path.is_dir() and not path.is_symlink():
        shutil.rmtree(path)
    else:
        path.unlink(missing_ok=True)
    if by == "pipe":
        os.mkfifo(path)
    elif by == "folder":
        path.mkdir()
    elif by == "socket":
        here = Path.cwd()
        os.chdir(path.parent)  # the name of a socket has room for a hundred signs
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(path.name)
        os.chdir(here)
    elif by == "nested":
        path.write_bytes(NESTED + b"\n")
    elif by == "noise":
        path.write_bytes(bytes(range(256)) * 40)
    elif by == "loop":
        path.symlink_to(path.name)
    elif by == "huge":
        with path.open("wb") as file:
            file.truncate(files.RECORD + 1)
    else:
        path.symlink_to(by)


def check_the_others(shop: Path, damaged: Path) -> None:
    """Every way to look at past sessions ends, names the damaged one and has the others."""
    others = {folder.name for folder in shop.iterdir() if folder.is_dir()} - {damaged.name}
    for found in (
        list_sessions(shop),
        list(find_sessions(shop).summaries),
        list(find_sessions(shop).summaries),
    ):
        assert others | {damaged.name} == {one.folder.name for one in found}
        assert all(not one.problem for one in found if one.folder != damaged)
        line = next(one for one in found if one.folder.name == damaged.name).line()
        assert "\n" not in line
    terms = load_library(resources.directory("procedures")).terms
    history = read_history(shop, terms)
    assert all(damaged.name in sentence for sentence in history.left_out)
    assert newest_session(shop) is not None
    assert session_named(shop, "last", unsealed=True).name in others | {damaged.name}


BYS = ("pipe", "folder", "socket", "/dev/zero", "nested", "loop", "/nowhere/at/all", "huge")


@pytest.mark.parametrize("by", BYS)
@pytest.mark.parametrize("name", ["session.json", "log.jsonl", "seal.json", "reviews.jsonl", "procedures"])
def test_something_else_in_place_of_a_file(shop: Path, name: str, by: str) -> None:
    """A pipe, a device, a folder, a socket, a dangling link or garbage as a session's file damages that one only."""
    damaged = min(shop.iterdir())
    replace(damaged / name, by)
    check_the_others(shop, damaged)
    try:
        findings = verify(damaged)
    except BayAssistantError as problem:
        assert damaged.name in str(problem) or name in str(problem)
    else:
        nothing = by in ("loop", "/nowhere/at/all")  # as if it were not there
        assert findings or (nothing and name in ("seal.json", "reviews.jsonl"))


@pytest.mark.parametrize("value", ABSURD, ids=lambda value: value[:8].decode())
def test_absurd_values_anywhere_in_a_record(shop: Path, value: bytes) -> None:
    """An absurd number or a wrong type in place of any value of header, seal or a line of the log is damage."""
    damaged = min(shop.iterdir())
    for name in ("session.json", "seal.json", "log.jsonl"):
        path = damaged / name
        whole = path.read_bytes()
        every = list(places(json.loads(whole.splitlines()[0] if name == "log.jsonl" else whole)))
        for at in every[ABSURD.index(value) % 6 :: 6] + every[-1:]:
            path.write_bytes(put(whole, name, at, value))
            line = next(one for one in list_sessions(shop) if one.folder == damaged).line()
            assert "\n" not in line
            try:
                assert verify(damaged) or path.read_bytes() == whole
            except BayAssistantError as problem:
                assert str(problem)
            try:
                read_session(damaged)
            except BayAssistantError as problem:
                assert str(problem)
        path.write_bytes(whole)
    check_the_others(shop, damaged)


def places(body: object, before: tuple[object, ...] = ()) -> Iterator[tuple[object, ...]]:
    """The way to every value of a JSON text, the whole of it last."""
    if isinstance(body, dict):
        for key, value in body.items():
            yield from places(value, (*before, key))
    elif isinstance(body, list):
        for index, value in enumerate(body[:3]):
            yield from places(value, (*before, index))
    yield before


def put(whole: bytes, name: str, at: tuple[object, ...], value: bytes) -> bytes:
    """The file with another value at a place of its first JSON text."""
    first, rest = (whole.split(b"\n", 1)) if name == "log.jsonl" else (whole, b"")
    mark = "here-it-is"
    body = json.loads(first)
    if at:
        inner = body
        for key in at[:-1]:
            inner = inner[key]
        inner[at[-1]] = mark
    else:
        body = mark
    text = json.dumps(body, ensure_ascii=False, separators=(",", ":")).encode("utf-8", "surrogatepass")
    return text.replace(f'"{mark}"'.encode(), value) + (b"\n" + rest if name == "log.jsonl" else b"\n")


@pytest.mark.parametrize("by", BYS)
@pytest.mark.parametrize("name", [INDEX_FILE, f"{INDEX_FILE}-journal"])
def test_something_else_in_place_of_the_index(shop: Path, name: str, by: str) -> None:
    """The sessions are found whatever stands in place of the index, and a message says when it cannot be used."""
    find_sessions(shop)
    replace(shop / name, by)
    found = find_sessions(shop)
    assert 3 == len(found.summaries)
    assert all("\n" not in notice for notice in found.notices)


def test_a_folder_without_a_header_is_named(shop: Path) -> None:
    """A session whose header was lost is listed as damaged, not left out."""
    damaged = min(shop.iterdir())
    (damaged / "session.json").unlink()
    check_the_others(shop, damaged)
    assert next(one for one in list_sessions(shop) if one.folder == damaged).problem


@pytest.mark.parametrize(
    ("make", "said"),
    [
        (os.mkfifo, "a named pipe"),
        (os.mkdir, "a folder"),
        (lambda path: path.symlink_to("/dev/zero"), "a device"),
        (lambda path: replace(path, "huge"), f"{files.RECORD}"),
    ],
)
def test_only_a_file_of_a_bounded_size_is_read(
    tmp_path: Path, make: Callable[[Path], None], said: str
) -> None:
    """`read_file` says at once what stands in place of a file, or how large a file may be."""
    make(tmp_path / "a")
    with pytest.raises(RecordProblem, match=said):
        read_file(tmp_path / "a")


def test_a_log_of_a_long_session_is_read(tmp_path: Path) -> None:
    """The bound leaves room for a session of 30,000 lines several times over."""
    path = tmp_path / "log.jsonl"
    with path.open("wb") as file:
        file.truncate(80 << 20)
    assert 80 << 20 == len(read_file(path))
    assert files.RECORD >= 4 * (80 << 20)


def test_a_name_with_a_null_character_is_an_error_of_the_record(tmp_path: Path) -> None:
    """A record can name a file with a null character; that is said, not raised as something else."""
    with pytest.raises(RecordProblem, match="null character"):
        read_file(tmp_path / "a\0b")
