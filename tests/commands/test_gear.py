"""`gear` and `run` where the library for sound is missing."""

from __future__ import annotations

import importlib
import json
from pathlib import Path

import pytest
from calling import assert_clear, call, lacking, without_portaudio

from assistant.packages import ATOMIC, installing
from assistant.speaking.portaudio import load_sounddevice

pytestmark = pytest.mark.usefixtures("own_home")


def test_lacking_it_says_what_to_install(tmp_path: Path) -> None:
    """`run` names the Debian package, exits 2, and makes no session; `gear` says the same as a finding."""
    environment = without_portaudio(tmp_path / "lacking")
    done = call("run", "--sessions", tmp_path / "sessions", environment=environment)
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert "apt install libportaudio2" in done.stderr
    assert "'bay-assistant run --keys-only' works" in done.stderr
    assert not (tmp_path / "sessions").exists()
    done = call("gear", "--json", environment=environment)
    assert 1 == done.returncode
    report = json.loads(done.stdout)
    assert report["able"] is False
    assert "apt install libportaudio2" in {i["name"]: i["text"] for i in report["items"]}["sound"]
    assert [True, True] == [i["able"] for i in report["items"] if i["name"] in ("model", "voice")]


def test_without_libatomic_it_says_what_to_install(tmp_path: Path) -> None:
    """Where the recogniser's library cannot be loaded, `run` and `gear` name the system's package; `run` exits 2."""
    environment = lacking(
        tmp_path / "shim",
        "vosk",
        "cannot load library 'libvosk.so': libatomic.so.1: cannot open shared object file: No such file or directory",
    )
    done = call("run", "--silent", "--sessions", tmp_path / "sessions", environment=environment)
    assert 2 == done.returncode
    assert_clear(done.stderr)
    assert installing(ATOMIC) in done.stderr
    assert not (tmp_path / "sessions").exists()
    items = json.loads(call("gear", "--json", environment=environment).stdout)["items"]
    assert installing(ATOMIC) in {item["name"]: item["text"] for item in items}["model"]


def test_a_failing_import_of_sounddevice_is_a_missing_portaudio(monkeypatch: pytest.MonkeyPatch) -> None:
    """The error that sounddevice raises without its library becomes the sentence with the package's name."""

    def fail(name: str) -> None:
        raise OSError("PortAudio library not found")

    monkeypatch.setattr(importlib, "import_module", fail)
    with pytest.raises(Exception, match="apt install libportaudio2") as caught:
        load_sounddevice()
    assert "GearProblem" == type(caught.value).__name__
