"""The newcomer's script takes README's own commands, says why it cannot run, and leaves nothing behind."""

from __future__ import annotations

import contextlib
import os
import re
import runpy
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest
import roots
from roots import RELEASES, apart, archive_of, mounts_below, run_in, why_not

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = Path(__file__).with_name("__main__.py")
ARCHIVE = "https://archive.example/debian"


@pytest.fixture(scope="module")
def script() -> dict[str, Any]:
    """What the script defines."""
    return runpy.run_path(str(SCRIPT), run_name="newcomer")


def test_the_commands_are_readmes(script: dict[str, Any]) -> None:
    """Both commands stand in README as they are run, and the demo's is the first block of shell in it."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    found = script["commands_of"](readme)
    for command in found.values():
        assert f"```sh\n{command}\n```" in readme
    assert found["readme"].endswith("bay-assistant demo")
    assert found["tests"].endswith("pytest")


def test_the_parts_of_a_command_are_the_whole_of_it(script: dict[str, Any]) -> None:
    """Cut at && nothing of README's command is lost or changed."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for way, command in script["commands_of"](readme).items():
        assert command == " && ".join(script["parts_of"](way, readme))


def test_what_pipx_needs_is_what_readme_says(script: dict[str, Any]) -> None:
    """The packages of README's row for Debian and its kin are those that the script installs."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    row = next(line for line in readme.splitlines() if line.startswith("| Debian"))
    said = re.search(r"sudo apt install ([^`]+)`", row)
    assert said is not None
    asked = [word for word in script["PIPX"].split(" install ")[1].split() if not word.startswith("-")]
    assert said[1].split() == asked


def test_the_few_tests_are_there(script: dict[str, Any]) -> None:
    """The tests that try another processor are files of this project."""
    assert [] == [name for name in script["FEW"] if not (ROOT / name).is_file()]


def test_a_readme_without_commands_is_an_error(script: dict[str, Any]) -> None:
    """When README's blocks move, the script says so instead of running nothing."""
    with pytest.raises(ValueError, match=r"README\.md has no block of shell"):
        script["commands_of"]("# bay-assistant\n")


@pytest.mark.parametrize("missing", ["debootstrap", "unshare", "chroot", "git"])
def test_a_missing_tool_is_the_reason(missing: str, tmp_path: Path) -> None:
    """Without a tool that it needs the script ends in good order and names the tool."""
    for tool in {"debootstrap", "unshare", "chroot", "git"} - {missing}:
        (tmp_path / tool).symlink_to("/bin/true")
    done = subprocess.run(
        [sys.executable, str(SCRIPT)],
        env={**os.environ, "PATH": str(tmp_path), "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    assert (0, f"Skipped: {missing} is not installed.\n", "") == (done.returncode, done.stdout, done.stderr)


def test_another_account_is_the_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    """Making devices and changing the root needs the account root."""
    monkeypatch.setattr(shutil, "which", lambda tool: f"/usr/bin/{tool}")
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    assert "Skipped: debootstrap needs root, and this is another account." == why_not()


def test_a_missing_emulator_is_the_reason(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A root of another processor needs QEMU's user emulation, and the package is named."""
    if why := why_not():
        pytest.skip(why)
    monkeypatch.setattr(roots, "EMULATORS", tmp_path)
    assert "Skipped: qemu-user-static is not installed, which runs programs for arm64." == why_not("arm64")


LISTED = (
    "[ -e /proc/sys/fs/binfmt_misc/status ] || mount -t binfmt_misc binfmt_misc /proc/sys/fs/binfmt_misc; "
    "cd /proc/sys/fs/binfmt_misc && grep -s flags newcomer-* /dev/null"
)
"""Prints the entries that commands in emulated roots have now, a line each; others may be at work on this machine."""


def test_the_kernel_knows_an_emulator_only_while_a_command_runs() -> None:
    """The emulator is open to roots that lack it (F) and lets sudo become root (C); afterwards it is not there."""
    if why := why_not("arm64"):
        pytest.skip(why)
    before, in_it, after = (
        set(subprocess.run(command, capture_output=True, text=True, check=False).stdout.splitlines())
        for command in ([*apart(processor), "sh", "-c", LISTED] for processor in ("", "arm64", ""))
    )
    (own,) = in_it - before
    assert {"F", "C"} <= set(own.rpartition(" ")[2])
    assert own not in after


def test_two_commands_at_once_have_an_emulator_each() -> None:
    """One that ends takes nothing from one that goes on, and the status of each is its own."""
    if why := why_not("arm64"):
        pytest.skip(why)
    with subprocess.Popen(
        [*apart("arm64"), "sh", "-c", f"{LISTED}; echo; read go; {LISTED}; exit 3"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as first:
        second = subprocess.run([*apart("arm64"), "true"], check=False)
        told, _ = first.communicate("go\n")
    assert (3, 0) == (first.returncode, second.returncode)
    had, has = (set(part.split("\n")) - {""} for part in told.split("\n\n"))
    assert had & has


@pytest.mark.parametrize(
    ("sources", "archive"),
    [
        ("", "http://deb.debian.org/debian"),
        (
            "deb [signed-by=/k.gpg] http://archive.example/debian bookworm main",
            "http://archive.example/debian",
        ),
        (
            f"Types: deb\nURIs: {ARCHIVE}/\nSuites: bookworm",
            ARCHIVE,
        ),
        ("deb http://archive.example/debian-security bookworm main", "http://deb.debian.org/debian"),
        ("# deb http://archive.example/debian bookworm main", "http://deb.debian.org/debian"),
    ],
)
def test_the_archive_is_the_one_of_this_machine(sources: str, archive: str) -> None:
    """The two formats of sources.list(5) name it; the security archive is another, and comments say nothing."""
    assert archive == archive_of(RELEASES["trixie"], sources)


def test_mounts_are_found_below_a_folder_only() -> None:
    """Of the lines of proc(5) those count whose place lies in the folder, not those whose name begins alike."""
    table = "proc /a/tree/proc proc rw 0 0\ntmpfs /a/tree2 tmpfs rw 0 0\n/dev/x / ext4 rw 0 0\n"
    assert ["/a/tree/proc"] == mounts_below(Path("/a/tree"), table)


@pytest.fixture
def small_root(tmp_path: Path) -> Path:
    """A root with a shell and cat, and the libraries that they need."""
    if why := why_not():
        pytest.skip(why)
    for folder in ("proc", "dev", "bin", "root"):
        (tmp_path / folder).mkdir()
    for name in ("sh", "bash", "cat"):
        program = Path(shutil.which(name) or "")
        shutil.copy(program, tmp_path / "bin" / name)
        needed = subprocess.run(["ldd", str(program)], capture_output=True, text=True, check=True).stdout
        for library in re.findall(r"(/\S+)", needed):
            place = tmp_path / library[1:]
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(library, place)
    return tmp_path


def inside(root: Path) -> list[str]:
    """Processes whose root is this folder, by proc(5)."""
    found = []
    for one in Path("/proc").glob("[0-9]*/root"):
        with contextlib.suppress(OSError):
            if one.readlink() == root:
                found.append(one.parent.name)
    return found


def test_nothing_of_a_command_in_a_root_stays_mounted(small_root: Path) -> None:
    """The real namespaces: a program in a root sees its own /proc, and afterwards no mount is there."""
    seen = run_in(small_root, "root", "/root", "cat /proc/mounts; exit 3")
    assert 3 == seen.status, seen.said
    assert "proc" in seen.said
    assert [] == mounts_below(small_root, Path("/proc/self/mounts").read_text(encoding="utf-8"))


def test_an_interrupted_command_leaves_neither_a_mount_nor_a_process(small_root: Path) -> None:
    """A signal to the script ends what it had begun in the root."""
    os.mkfifo(small_root / "endless")
    code = f"from roots import *; run_in(Path({str(small_root)!r}), 'root', '/root', 'cat /endless')"
    with subprocess.Popen(
        [sys.executable, "-c", code], cwd=SCRIPT.parent, stderr=subprocess.DEVNULL
    ) as script:
        until = time.monotonic() + 60
        while not inside(small_root) and time.monotonic() < until:
            time.sleep(0.05)
        assert inside(small_root)
        script.send_signal(signal.SIGINT)
        script.wait(timeout=60)
        while inside(small_root) and time.monotonic() < until:
            time.sleep(0.05)
    assert [] == inside(small_root)
    assert [] == mounts_below(small_root, Path("/proc/self/mounts").read_text(encoding="utf-8"))
