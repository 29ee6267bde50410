"""`--json` means the same for every command, and only results go to standard output."""

from __future__ import annotations

import argparse
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from calling import SOUNDS, call

from assistant.cli import main
from assistant.commands import parser

pytestmark = pytest.mark.usefixtures("own_home")

WITHOUT = {
    "run": "it is led by a person, and its result is the record: `sessions`, `writeup` and `replay` have it",
    "demo": "the same",
    "completion": "its result is a script for a shell",
}
"""Commands without ``--json``, each with the reason."""

HELP = "print the result as one JSON document, and nothing else, on standard output"

KEY = re.compile("[a-z][a-z0-9_]*")

DATA_FOR_KEYS = {
    "technicians",
    "packages",
    "texts",
    "circuits",
    "faults",
    "verdicts",
    "observers",
    "ends",
    "limits",
}
"""Keys whose objects are keyed by names out of the data: a technician's initials, a package, a fault."""


def every_parser(
    of: argparse.ArgumentParser, name: str = ""
) -> Iterator[tuple[str, argparse.ArgumentParser]]:
    """All commands by their names, with those below others."""
    for action in of._actions:
        if isinstance(action, argparse._SubParsersAction):
            for word, below in action.choices.items():
                called = f"{name} {word}".strip()
                yield called, below
                yield from every_parser(below, called)


PARSERS = dict(every_parser(parser()))


@pytest.mark.parametrize("name", [name for name in PARSERS if name not in WITHOUT])
def test_every_command_has_the_same_option(name: str) -> None:
    """`--json` is a flag with the same words everywhere; it never takes a file."""
    found = [action for action in PARSERS[name]._actions if "--json" in action.option_strings]
    assert [HELP] == [action.help for action in found]
    assert [("json", 0, True)] == [(action.dest, action.nargs, action.const) for action in found]
    assert [["--json"]] == [action.option_strings for action in found]


@pytest.mark.parametrize("name", WITHOUT)
def test_a_command_without_it_is_named_with_the_reason(name: str) -> None:
    """The list of exceptions stays true."""
    assert not [action for action in PARSERS[name]._actions if "--json" in action.option_strings]


def test_the_option_counts_before_and_after_a_command_below() -> None:
    """`bench --json circuit` and `bench circuit --json` are the same, and without it nothing is JSON."""
    whole = parser()
    for words, wanted in (
        (["bench", "--json", "circuit"], True),
        (["bench", "circuit", "--json"], True),
        (["bench", "circuit"], False),
    ):
        assert wanted == whole.parse_args(words).json


def document(capsys: pytest.CaptureFixture[str], *arguments: object, status: int = 0) -> tuple[Any, str]:
    """The document that a command prints, and its standard error."""
    assert status == main([*map(str, arguments), "--json"])
    told = capsys.readouterr()
    return json.loads(told.out, parse_constant=_refuse), told.err


def _refuse(constant: str) -> None:
    pytest.fail(f"{constant} is not JSON (RFC 8259, section 6)")


def wrong_keys(value: Any, *, data: bool = False) -> list[str]:
    """Keys that are not in lower case without spaces, apart from names out of the data."""
    if isinstance(value, list):
        return [key for one in value for key in wrong_keys(one, data=data)]
    if not isinstance(value, dict):
        return []
    wrong = [] if data else [key for key in value if not KEY.fullmatch(key)]
    return wrong + [
        key for name, one in value.items() for key in wrong_keys(one, data=name in DATA_FOR_KEYS or data)
    ]


@pytest.mark.parametrize(
    "arguments",
    [
        ["procedures"],
        ["procedures", "spark-check"],
        ["licences"],
        ["licences", "soxr", "--texts"],
        ["settings"],
        ["settings", "--path"],
        ["settings", "--check"],
        ["settings", "--set", "shop.name", "Elm Street Garage"],
        ["learn", "--show"],
        ["learn", "--word", "she's lit", "--means", "lit"],
        ["learn", "--forget"],
        ["sessions"],
        ["sessions", "--odds"],
        ["sessions", "--expired", "--keep-days", "30"],
        ["prove", "battery-and-cranking", "--systems", "2", "--order"],
        ["picture", "--procedure", "coil-control", "--step", "feed-and-switched"],
    ],
    ids=" ".join,
)
def test_one_document_and_nothing_else(capsys: pytest.CaptureFixture[str], arguments: list[str]) -> None:
    """Standard output is one JSON document whose keys are words in lower case."""
    shown, _ = document(capsys, *arguments)
    assert [] == wrong_keys(shown)


def test_the_record_as_documents(capsys: pytest.CaptureFixture[str], session: Path, tmp_path: Path) -> None:
    """Each command about a session prints one document and names the session alike; files are told beside it."""
    where = ("--sessions", session.parent)
    (listed,), _ = document(capsys, "sessions", *where)
    assert session.name == listed["session"]
    assert [] == document(capsys, "verify", session)[0]
    replayed, _ = document(capsys, "replay", session, "--show")
    assert (session.name, []) == (replayed["session"], replayed["differences"])
    assert any("12.5" in line for line in replayed["dialogue"])
    written, _ = document(capsys, "writeup", session)
    assert session.name in json.dumps(written)
    reviewed, _ = document(capsys, "review", session, "--done", "Cleaned the ground.", "--by", "Jo", "--sign")
    assert {"session": session.name, "review": 1, "signed_by": "Jo"} == reviewed
    bag = tmp_path / "order.zip"
    packed, said = document(capsys, "pack", session, "--out", bag)
    assert (session.name, [str(bag)]) == (packed["session"], packed["written"])
    assert f"Written: {bag}" in said
    for shown in (listed, replayed, reviewed, packed):
        assert [] == wrong_keys(shown)


def test_a_finding_changes_the_status_and_not_the_form(
    capsys: pytest.CaptureFixture[str], session: Path
) -> None:
    """A broken record is exit status 1, and still one document."""
    (session / "clips").mkdir(exist_ok=True)
    (session / "stray.txt").write_text("stray", encoding="utf-8")
    (session / "header.json").write_text("{}", encoding="utf-8")
    found, _ = document(capsys, "verify", session, status=1)
    assert found
    assert {"path", "line", "problem", "remedy"} == set(found[0])


def test_an_error_is_no_document(capsys: pytest.CaptureFixture[str]) -> None:
    """What cannot be done is a sentence on standard error, exit status 2, and nothing on standard output."""
    assert 2 == main(["verify", "nonesuch", "--json"])
    told = capsys.readouterr()
    assert "" == told.out
    assert told.err.startswith("bay-assistant: ")


def test_sound_files_are_one_list(capsys: pytest.CaptureFixture[str]) -> None:
    """`hear --json` prints a list; without it each file has its line as soon as it is heard."""
    files = sorted(SOUNDS.rglob("*.flac"))[:2]
    heard, _ = document(capsys, "hear", "--grammar", "lamp", *files)
    assert [str(file) for file in files] == [one["file"] for one in heard]
    assert 0 == main(["hear", "--grammar", "lamp", *map(str, files)])
    lines = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    assert [one["words"] for one in heard] == [one["words"] for one in lines]


@pytest.mark.parametrize(
    "arguments",
    [["learn"], ["review", "SESSION"], ["sessions", "--expired", "--keep-days", "9", "--delete"]],
    ids=["learn", "review", "sessions"],
)
def test_what_asks_a_person_refuses_it(
    capsys: pytest.CaptureFixture[str], recorded: Path, arguments: list[str]
) -> None:
    """A program is never asked: one sentence says what to give instead."""
    words = [str(recorded) if word == "SESSION" else word for word in arguments]
    assert 2 == main([*words, "--json"])
    told = capsys.readouterr()
    assert ("", True) == (told.out, "--json" in told.err or "JSON" in told.err)


def test_written_files_are_told_beside_the_result(recorded: Path, procedures: Path, tmp_path: Path) -> None:
    """Standard output stays empty where the result is a file; "Written:" is on standard error."""
    for arguments, file in (
        (["writeup", recorded, "--html", "--out", tmp_path / "page.html"], tmp_path / "page.html"),
        (["lint", "--write-schema", "--procedures", procedures], procedures / "procedure.schema.json"),
        (
            [
                "picture",
                "--procedure",
                "coil-control",
                "--step",
                "feed-and-switched",
                "--out",
                tmp_path / "a.svg",
            ],
            tmp_path / "a.svg",
        ),
        (["settings", "--set", "shop.name", "Elm"], None),
    ):
        done = call(*arguments)
        assert (0, "") == (done.returncode, done.stdout)
        assert done.stderr.startswith(f"Written: {file}" if file else "Written: ")
        assert file is None or file.is_file()
