"""A wheel built from the checkout works on its own: it carries grammars, procedures, model and fixtures."""

from __future__ import annotations

import hashlib
import json
import os
import subprocess
import sys
import zipfile
from email import message_from_string
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
DATA = ("grammars", "procedures", "audio_fixtures")


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built with the tools that are installed; nothing is fetched."""
    folder = tmp_path_factory.mktemp("wheel")
    offline = ("--quiet", "--no-deps", "--no-build-isolation", "--no-index", "--disable-pip-version-check")
    built = subprocess.run(
        [sys.executable, "-m", "pip", "wheel", *offline, "--wheel-dir", str(folder), str(ROOT)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )
    assert 0 == built.returncode, built.stderr
    (path,) = folder.glob("bay_assistant-*.whl")
    return path


@pytest.fixture(scope="module")
def installed(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder into which the wheel was unpacked, which is how a wheel is installed (PEP 427)."""
    folder = tmp_path_factory.mktemp("installed")
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)
    return folder


def python(installed: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Python away from the checkout, with the unpacked wheel before everything else."""
    return subprocess.run(
        [sys.executable, *arguments],
        cwd=installed.parent,
        env={**os.environ, "PYTHONPATH": str(installed)},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


def test_a_wheel_finds_its_own_files(installed: Path) -> None:
    """Package, grammars, procedures, fixtures and model all lie in the installed folder, none in the checkout."""
    code = (
        "import json, assistant.resources as r;"
        f"print(json.dumps([r.__file__, str(r.bundled_model()), *(str(r.directory(n)) for n in {DATA!r})]))"
    )
    done = python(installed, "-c", code)
    assert (0, "") == (done.returncode, done.stderr)
    for place in json.loads(done.stdout):
        assert Path(place).is_relative_to(installed)
        assert Path(place).exists()


@pytest.mark.parametrize("name", [*DATA, "assistant"])
def test_a_wheel_carries_every_file_of_the_checkout(installed: Path, name: str) -> None:
    """Each file that belongs to the repository is in the wheel, byte for byte."""
    listed = subprocess.run(["git", "ls-files", "-z", name], cwd=ROOT, capture_output=True, check=False)
    if listed.returncode:
        pytest.skip("not a git checkout, so nobody knows which files belong to it")
    files = [Path(os.fsdecode(file)) for file in listed.stdout.split(b"\0") if file]
    assert files
    parent = installed if name == "assistant" else installed / "assistant" / "_installed"
    for file in files:
        if file.suffix == ".1":  # the man page has its own place in a wheel
            continue
        assert (ROOT / file).read_bytes() == (parent / file).read_bytes(), file


def test_a_wheel_lints_clean_and_hears(installed: Path) -> None:
    """Away from the checkout, the lint has no finding and the bundled model hears a bundled sound."""
    done = python(installed, "-m", "assistant", "lint")
    assert (0, "") == (done.returncode, done.stderr)
    assert "no finding" in done.stdout
    sound = installed / "assistant" / "_installed" / "audio_fixtures" / "feed-lit.flac"
    step = ("--procedure", "ground-switched-load", "--step", "feed")
    done = python(installed, "-m", "assistant", "hear", *step, str(sound))
    assert (0, "") == (done.returncode, done.stderr)
    assert {"outcome": "lit", "place": "feed"} == json.loads(done.stdout)["result"]


def digests(folder: Path) -> dict[str, str]:
    """SHA-256 of every file in the folder, what Python compiles for itself aside."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.suffix != ".pyc"
    }


def test_nothing_is_written_into_an_installed_program(installed: Path, tmp_path: Path) -> None:
    """Each command that writes beside the procedures refuses, names the way to a copy, and changes no file.

    The same command works in a copy, which an installed program makes.
    """
    before = digests(installed)
    inside = installed / "assistant" / "_installed"
    sample = ("--procedure", "coil-control", "--step", "feed-and-switched")
    for words in (
        ("lint", "--write-schema"),
        ("lint", "--write-likelihoods"),
        ("lint", "--write-schema", "--procedures", str(inside / "procedures")),
        ("procedures", "--copy", str(inside / "shop")),
        ("procedures", "--update", str(inside / "procedures")),
        ("picture", *sample, "--out", str(inside / "procedures" / "step.svg")),
        ("demo", "--out", str(inside / "demo")),
        ("run", "--keys-only", "--silent", "--plain", "--sessions", str(inside / "sessions")),
        ("picture", *sample, "--png", str(inside / "procedures" / "step.png")),
    ):
        done = python(installed, "-m", "assistant", *words)
        assert (2, 1) == (done.returncode, done.stderr.count("bay-assistant: ")), words
        assert "bay-assistant procedures --copy DIR" in done.stderr, words
    for words in (
        ("-m", "assistant.speaking.neural.packing", str(tmp_path)),
        (str(inside / "audio_fixtures" / "make_fixtures.py"),),
        ("-m", "assistant.acoustic.calibrate", str(tmp_path), "--trials", str(tmp_path)),
    ):
        done = python(installed, *words)
        assert 2 == done.returncode, done.stderr
        assert "nothing is written there" in done.stderr, words
    assert before == digests(installed)
    shop = tmp_path / "shop"
    assert 0 == python(installed, "-m", "assistant", "procedures", "--copy", str(shop)).returncode
    (shop / "procedure.schema.json").unlink()
    done = python(installed, "-m", "assistant", "lint", "--write-schema", "--procedures", str(shop))
    assert 0 == done.returncode, done.stderr
    assert (inside / "procedures" / "procedure.schema.json").read_bytes() == (
        shop / "procedure.schema.json"
    ).read_bytes()
    assert before == digests(installed)


def test_a_wheel_says_what_it_is(wheel: Path, installed: Path) -> None:
    """Name, version, Python, licence and the console script; no tests inside."""
    (about,) = installed.glob("bay_assistant-*.dist-info")
    metadata = message_from_string((about / "METADATA").read_text(encoding="utf-8"))
    version = python(installed, "-m", "assistant", "--version").stdout.split()
    assert ["bay-assistant", metadata["Version"]] == version
    assert ("bay-assistant", ">=3.11") == (metadata["Name"], metadata["Requires-Python"])
    assert "Apache-2.0" == metadata["License-Expression"]
    assert "bay-assistant = assistant.cli:program" in (about / "entry_points.txt").read_text(encoding="utf-8")
    assert (about / "licenses" / "LICENSE").is_file()
    assert "hibari-tts 0.2.1" in (about / "licenses/assistant/speaking/neural/NOTICE").read_text(
        encoding="utf-8"
    )
    names = zipfile.ZipFile(wheel).namelist()
    data = about.name.replace(".dist-info", ".data")
    assert {"assistant", about.name, data} == {Path(name).parts[0] for name in names}
    # What pip, pipx and Debian's man expect: share/man/man1 below the prefix of the environment.
    assert [f"{data}/data/share/man/man1/bay-assistant.1"] == [name for name in names if name.endswith(".1")]
