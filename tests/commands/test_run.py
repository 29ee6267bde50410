"""`run` with what it cannot use: one clear sentence, exit status 2, and no session is left behind."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from calling import KEYS_ONLY, ROOT, Refused, assert_clear, call, without_portaudio

from assistant import resources
from assistant.packages import PORTAUDIO, installing
from assistant.record import SessionLog, verify

pytestmark = pytest.mark.usefixtures("own_home")


def test_an_unknown_procedure_is_refused_with_the_known_ones(refused: Refused, tmp_path: Path) -> None:
    """The names that would be right, and no session folder."""
    said = refused("run", "nonesuch", *KEYS_ONLY, "--sessions", tmp_path / "sessions")
    assert "'nonesuch'" in said
    assert "coil-control" in said
    assert not (tmp_path / "sessions").exists()


@pytest.mark.parametrize("part", ["am/final.mdl", "conf/mfcc.conf", "graph/phones/word_boundary.int"])
def test_a_model_with_a_file_missing_or_empty_is_refused(refused: Refused, model: Path, part: str) -> None:
    """The missing or empty file is named, before the recogniser could abort over it."""
    (model / part).unlink()
    assert part in refused("run", "--silent", "--model", model)
    (model / part).touch()
    said = refused("demo", "--model", model, "--out", model.parent / "demo")
    assert part in said
    assert "empty" in said
    assert not (model.parent / "demo" / "sessions").exists()


def test_a_file_is_no_model(refused: Refused, tmp_path: Path) -> None:
    """A packed model, not yet unpacked, is refused with what to do."""
    packed = tmp_path / "model.zip"
    packed.write_bytes(b"PK")
    assert "Unpack" in refused("run", "--silent", "--model", packed)


def test_keys_and_screen_alone_need_no_portaudio(tmp_path: Path) -> None:
    """A session with keys only and without speech runs where there is no sound library at all."""
    environment = without_portaudio(tmp_path / "lacking")
    done = call("run", *KEYS_ONLY, "--sessions", tmp_path / "sessions", environment=environment)
    assert (0, "") == (done.returncode, done.stderr)
    assert 1 == len(list((tmp_path / "sessions").iterdir()))


def test_a_session_by_keys_is_silent_without_portaudio(tmp_path: Path) -> None:
    """`run --keys-only` works without the sound library, and says once what is not spoken and what to install."""
    environment = without_portaudio(tmp_path / "lacking")
    done = call("run", "--keys-only", "--plain", "--sessions", tmp_path / "s", environment=environment)
    assert (0, "") == (done.returncode, done.stderr)
    assert 1 == done.stdout.count("Nothing is spoken, so read the screen. PortAudio")
    assert installing(PORTAUDIO) in done.stdout
    assert 1 == len(list((tmp_path / "s").iterdir()))


@pytest.mark.parametrize("arguments", [("--silent",), ("--keys-only",)])
def test_a_device_that_is_not_there_is_refused_before_a_session_is_made(
    tmp_path: Path, arguments: tuple[str, ...]
) -> None:
    """No such microphone or loudspeaker: one sentence that says what to do, exit 2, no session folder."""
    done = call(
        "run", *arguments, "--microphone", "nonesuch", "--speaker", "nonesuch", "--sessions", tmp_path / "s"
    )
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert ("microphone" if "--silent" in arguments else "loudspeaker") in done.stderr.lower()
    assert not (tmp_path / "s").exists()


def test_closed_standard_input_is_refused_before_a_session_is_made(tmp_path: Path) -> None:
    """Without any standard input no key can come: said at once, and no session folder is left."""
    done = subprocess.run(
        [
            "sh",
            "-c",
            'exec "$0" -m assistant run "$@" <&-',
            sys.executable,
            *KEYS_ONLY,
            "--sessions",
            tmp_path / "sessions",
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert "keys" in done.stderr
    assert not (tmp_path / "sessions").exists()


def test_what_cannot_be_resumed_is_refused(refused: Refused, session: Path, tmp_path: Path) -> None:
    """Nothing to go on with, no such session, a sealed one: each is said, and the sealed one is unchanged."""
    where = ("--sessions", session.parent)
    for name, words in (
        ("last", "no interrupted session"),
        ("nonesuch", "nonesuch"),
        (session, "sealed"),
    ):
        done = call("run", *KEYS_ONLY, "--resume", name, *where)
        assert 2 == done.returncode
        assert_clear(done.stderr)
        assert words in done.stderr
    assert [] == verify(session)


def test_a_session_in_use_is_refused(tmp_path: Path) -> None:
    """Two programs never write one session."""
    from assistant.record import Facts  # noqa: PLC0415

    with SessionLog.create(tmp_path, Facts(), resources.directory("procedures")) as log:
        done = call("run", *KEYS_ONLY, "--resume", log.folder)
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert "in use" in done.stderr


@pytest.mark.parametrize(
    ("vin", "words"),
    [
        ("1M8GDM9A1KP042788", "give X"),
        ("1M8GDM9AXKP04278", "has 16"),
        ("1M8GDM9AXKPO42788", "may be the digit 0"),
    ],
)
def test_a_wrong_vin_says_what_would_be_right(refused: Refused, tmp_path: Path, vin: str, words: str) -> None:
    """Check digit of 49 CFR 565 with the one that fits, length, and letters that no VIN has; no session is made.

    1M8GDM9AXKP042788 is the worked example that is commonly given for the check digit, from memory.
    """
    said = refused("run", *KEYS_ONLY, "--vin", vin, "--sessions", tmp_path / "sessions")
    assert words in said
    assert not (tmp_path / "sessions").exists()
