"""Nasty values on the command line and in the environment: a sentence and an exit status, never a defect."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from hostile import RAW, SIGNS, call, commands

from assistant import resources
from assistant.commands.bench.past_sessions import make_up
from assistant.printing import in_line

SOUNDS = resources.directory("audio_fixtures")
QUICK = (
    "run",
    "writeup",
    "review",
    "pack",
    "picture",
    "verify",
    "replay",
    "sessions",
    "bench sessions",
    "bench speech",
)
"""Commands that begin at once; the others are tried with a few values each."""


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two sessions, one of them sealed."""
    parent = tmp_path_factory.mktemp("shop") / "sessions"
    make_up(parent, resources.directory("procedures"), 2)
    return parent


@pytest.fixture(autouse=True)
def _elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is written into the user's folders or the checkout."""
    monkeypatch.chdir(tmp_path)
    for name in ("XDG_STATE_HOME", "XDG_CACHE_HOME", "XDG_DATA_HOME"):
        monkeypatch.setenv(name, str(tmp_path / name))


@pytest.mark.parametrize("seed", range(1))
def test_made_up_command_lines_end_with_a_sentence(shop: Path, tmp_path: Path, seed: int) -> None:
    """Any value gives exit status 0, 1 or 2 within seconds, and nothing raw is printed."""
    (tmp_path / "out").mkdir()
    for arguments in commands(seed, 25, shop, tmp_path / "out", QUICK):
        ended = call(*arguments)
        assert "" == ended.fault(), ended


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("sessions", "--order=--"), "argument --order: '--' is no value"),
        (("run", "--complaint=--"), "argument --complaint: '--' is no value"),
        (("sessions", "--verdict", "--x"), "written as --verdict=-VALUE"),
        (("sessions", "--vin", "-5x"), "written as --vin=-VALUE"),
        (("sessions", "-x"), "written after --"),
        (("sessions", "--limit=-1"), "--limit: '-1' is not a whole number from 0 to 1000000000"),
        (("sessions", "--limit=" + "9" * 5000), "is not a whole number from 0 to 1000000000"),
        (("run", "--speech-rate=1e999"), "--speech-rate: '1e999' is not a whole number from 80 to 450"),
        (("run", "--speech-rate=79"), "--speech-rate: '79' is not a whole number from 80 to 450"),
        (("prove", "--systems=0"), "--systems: '0' is not a whole number from 1 to 100000"),
        (("prove", "--seed=-1"), "--seed: '-1' is not a whole number from 0 to 1000000000"),
        (("prove", "--misreading=nan"), "--misreading: 'nan' is not a share from 0 to 0.5"),
        (("bench", "sessions", "--count=1e9"), "--count: '1e9' is not a whole number from 0 to 100000"),
        (("bench", "speech", "--sentences=-1"), "--sentences: '-1' is not a whole number"),
        (("bench", "speech", "--speech-rate=0"), "--speech-rate: '0' is not a whole number from 80 to 450"),
        (("bench", "hearing", "--hours=inf"), "--hours: 'inf' is not a number of hours from 0 to 1000"),
        (("verify", "a\0b"), "a null character cannot be in it"),
        (("sessions", "--sessions=a\0b"), "a null character cannot be in it"),
        (("verify", "a" * 5000), "File name too long"),
        (("picture", "--procedure=coil-control", "--step=x", "--system=seed:" + "9" * 400), "no step"),
    ],
)  # fmt: skip
def test_a_wrong_value_is_named_with_what_would_be_right(arguments: tuple[str, ...], said: str) -> None:
    """The error names the option and its range, and is short whatever was given."""
    ended = call(*arguments)
    assert (2, "") == (ended.status, ended.fault())
    assert said in " ".join(ended.err.split())


@pytest.mark.parametrize("word", ["-x", "--", "--complaint=-x", "--vin=-", "--verdict=-no"])
def test_words_that_begin_with_a_dash_are_looked_for(shop: Path, word: str) -> None:
    """A search for words and values that begin with a dash is a search."""
    before = ["sessions", f"--sessions={shop}"]
    ended = call(*before, word) if "=" in word else call(*before, "--", word)
    assert "" == ended.fault()
    assert "usage" not in ended.err


@pytest.mark.parametrize(
    ("folder", "said"),
    [
        ("~nobody-here/x", "no home folder of '~nobody-here' is known"),
        ("/nowhere/at/all", "No sessions in /nowhere/at/all."),
        ("/dev/null", "/dev/null is a device."),
        ("/dev/zero/x", "No sessions in"),
        ("a" * 5000, "File name too long"),
        (SIGNS.replace("\udcff", ""), "No sessions in a\\x1b[2J"),
    ],
)
def test_a_folder_of_sessions_that_cannot_be_one(
    monkeypatch: pytest.MonkeyPatch, folder: str, said: str
) -> None:
    """The folder that the environment names is used as it is, or said to be wrong."""
    monkeypatch.setenv("BAY_ASSISTANT_SESSIONS", folder)
    ended = call("sessions")
    assert "" == ended.fault()
    assert said in ended.out + ended.err


def test_without_a_home_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    """When the system does not know the home folder, the message says how to name one."""
    monkeypatch.delenv("XDG_DATA_HOME")
    monkeypatch.delenv("HOME", raising=False)
    monkeypatch.setattr("pwd.getpwuid", _no_home)
    ended = call("sessions")
    assert (2, "") == (ended.status, ended.fault())
    assert "Set HOME to a folder" in ended.err


def _no_home(_number: int) -> None:
    raise KeyError


def test_a_working_folder_that_is_gone(tmp_path: Path) -> None:
    """Started in a folder that was removed, every command says so or does its work."""
    gone = tmp_path / "gone"
    for arguments in (["sessions", "--sessions", "x"], ["verify", "last"]):
        gone.mkdir()
        code = (
            f"import os, sys; os.chdir({str(gone)!r}); os.rmdir({str(gone)!r})\n"
            "from assistant.cli import main; sys.exit(main())"
        )
        ended = subprocess.run(
            [sys.executable, "-c", code, *arguments],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
            env={**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2])},
        )
        assert ended.returncode in (0, 2), ended
        assert "defect" not in ended.stderr
        assert "Traceback" not in ended.stderr


KINDS = {
    "pipe": "a named pipe",
    "device": "a device",
    "socket": "a socket",
    "folder": "a folder",
}


def in_place(path: Path, kind: str) -> None:
    """Something else in place of a file."""
    path.unlink(missing_ok=True)
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        path.symlink_to("/dev/zero")
    elif kind == "folder":
        path.mkdir()
    else:
        here = Path.cwd()
        os.chdir(path.parent)  # the name of a socket has room for a hundred signs
        with socket.socket(socket.AF_UNIX) as made:
            made.bind(path.name)
        os.chdir(here)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", ["no-start.yaml", "lamp.jsgf"])
def test_something_else_in_place_of_a_procedure_or_grammar(tmp_path: Path, name: str, kind: str) -> None:
    """A pipe, device, socket or folder is refused at once, by its name and for what it is."""
    option = "grammars" if name.endswith(("jsgf", "txt")) else "procedures"
    folder = Path(shutil.copytree(resources.directory(option), tmp_path / option))
    in_place(folder / name, kind)
    ended = call("lint", f"--{option}={folder}", seconds=30)
    assert (2, "") == (ended.status, ended.fault())
    assert name in ended.err
    assert KINDS[kind] in ended.err


@pytest.mark.parametrize("kind", KINDS)
def test_something_else_in_place_of_what_other_commands_read(tmp_path: Path, kind: str) -> None:
    """The same of a manifest of `bench hearing`, of a scenario, and of a file that is to be heard."""
    in_place(tmp_path / "thing", kind)
    for arguments in (
        ("bench", "hearing", "--only=x", "--manifest=thing"),
        ("demo", "--script=thing"),
        ("hear", "--grammar=lamp", "thing"),
    ):
        ended = call(*arguments)
        assert (2, "") == (ended.status, ended.fault()), ended
        assert any(word in ended.err for word in (KINDS[kind], "a device or a pipe"))


def test_a_pipe_on_standard_input_is_no_sound_file() -> None:
    """`hear /dev/stdin` with a pipe is refused with a sentence, and does not wait for the pipe."""
    ended = subprocess.run(
        [sys.executable, "-m", "assistant", "hear", "--grammar=lamp", "/dev/stdin"],
        stdin=subprocess.PIPE,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        cwd=Path(__file__).resolve().parents[2],
    )
    assert 2 == ended.returncode
    assert "a device or a pipe" in ended.stderr


def test_an_infinite_prior_is_named_with_file_and_line(tmp_path: Path) -> None:
    """Odds of 1e999 are an error of that line, in every command that weighs."""
    folder = Path(shutil.copytree(resources.directory("procedures"), tmp_path / "procedures"))
    lines = (folder / "odds.yaml").read_text(encoding="utf-8").split("\n")
    at = lines.index("prior:") + 1
    lines[at] = lines[at].partition(":")[0] + ": 1e999"
    (folder / "odds.yaml").write_text("\n".join(lines), encoding="utf-8")
    for arguments in (
        ("lint",),
        ("prove", "no-start", "--systems=1", "--order"),
        ("run", "--keys-only", "--silent"),
    ):
        ended = call(*arguments, f"--procedures={folder}")
        assert (2, "") == (ended.status, ended.fault())
        assert f"{folder / 'odds.yaml'}:{at + 1}: " in ended.err


@pytest.mark.parametrize(
    "arguments",
    [
        ("sessions", f"--vin={SIGNS}"),
        ("run", f"--vin={SIGNS}"),
        ("run", f"--odometer={SIGNS}"),
        ("run", SIGNS),
        ("verify", SIGNS),
        ("writeup", SIGNS),
        ("sessions", f"--verdict={SIGNS}"),
        ("sessions", f"--on={SIGNS}"),
        ("sessions", f"--limit={SIGNS}"),
        (SIGNS,),
        ("hear", "--grammar=lamp", f"--model={SIGNS}", "x"),
        ("hear", f"--grammar={SIGNS}", "x"),
        ("lint", f"--procedures={SIGNS}"),
        ("gear", f"--model={SIGNS}"),
        ("picture", f"--procedure={SIGNS}", "--step=x"),
    ],
    ids=lambda value: value[0][:8] + (value[1][:7] if len(value) > 1 else ""),
)
def test_what_is_given_is_repeated_escaped(arguments: tuple[str, ...]) -> None:
    """An error that repeats an argument shows its control signs as escapes."""
    ended = call(*arguments)
    assert "" == ended.fault()
    assert "\\x1b" in ended.out + ended.err or "\\u001b" in ended.out


def test_names_in_a_record_are_shown_escaped(shop: Path, tmp_path: Path) -> None:
    """Names of folders and files, and of a bag's, are foreign: `sessions` and `verify` show them escaped."""
    name = "evil\x1b]0;x\x07\u202e\n2020"
    parent = tmp_path / "more"
    shutil.copytree(
        next(folder for folder in shop.iterdir() if (folder / "seal.json").is_file()), parent / name
    )
    (parent / name / "procedures" / f"{name}.yaml").write_text("x", encoding="utf-8")
    (parent / "damaged\x1b[2J").mkdir()
    (parent / "damaged\x1b[2J" / "session.json").write_text('{"format": "\x9b31m"', encoding="utf-8")
    for arguments in (
        ("sessions",),
        ("sessions", "--json"),
        ("verify", name),
        ("writeup", name),
        ("replay", name),
    ):
        ended = call(*arguments, f"--sessions={parent}")
        assert "" == ended.fault(), ended
    shown = call("verify", name, f"--sessions={parent}")
    assert in_line(name) in shown.out
    assert set() == set(shown.out) & RAW
