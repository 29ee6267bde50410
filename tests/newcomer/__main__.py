"""README's commands as a newcomer types them: ``sudo .venv/bin/python tests/newcomer``; prints a table."""

from __future__ import annotations

import argparse
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))

from roots import (
    RELEASES,
    USER,
    apart,
    disk_mb,
    fetched_mb,
    make_root,
    mounts_below,
    packages_in,
    run_in,
    why_not,
)

from assistant import __version__
from assistant.benchmarks import machine

ROOT = Path(__file__).resolve().parents[2]

PIPX = (
    "sudo apt-get update -qq && "
    "sudo apt-get install -y -qq --no-install-recommends pipx libportaudio2 libatomic1"
)
"""README's command for Debian and its kin, which asks nothing."""

FEW = (
    "tests/hearing/test_recogniser.py",
    "tests/hearing/test_whole.py",
    "tests/speaking/test_voice.py",
    "tests/speaking/test_driver.py",
)
"""Tests of the recogniser on recorded speech and of the voice: they try the libraries in the wheels on a processor."""

WHEEL = f"bay_assistant-{__version__}-py3-none-any.whl"

WAYS = ("readme", "pipx", "uv", "few", "tests")
"""Ways to install: README's first command; a wheel with pipx, or with uv; set-up and `FEW`; README's test command."""


@dataclass(frozen=True)
class Row:
    """One way in one root: what it cost, and whether the demo's write-up is there."""

    release: str
    account: str
    way: str
    python: str
    status: int
    setup_s: float
    demo_processor_s: float
    fetched_mb: float
    disk_mb: float
    packages: tuple[str, ...]
    write_up: bool

    def line(self) -> str:
        """A row of the table in this room's README."""
        told = "there" if self.write_up else "**missing**"
        figures = (
            f"{self.setup_s:.0f} | {self.demo_processor_s:.1f} | {self.fetched_mb:.0f} | {self.disk_mb:.0f}"
        )
        return (
            f"| {self.release}, Python {self.python} | {self.way} | {self.account} | {self.status} | {figures} | "
            f"{len(self.packages)} | {told} |"
        )


HEAD = (
    "| system | way | account | exit status | set-up, s | demo, processor s | packages, MB | disk, MB | "
    "packages | write-up |\n|---|---|---|---|---|---|---|---|---|---|"
)


def commands_of(readme: str) -> dict[str, str]:
    """README's two commands by the way that they belong to.

    Raises:
        ValueError: README has no block of shell, or no marked one.
    """
    first = re.search(r"^```sh\n(.*?)\n```$", readme, re.MULTILINE | re.DOTALL)
    marked = re.search(r"<!-- the test command -->\n```sh\n(.*?)\n```$", readme, re.MULTILINE | re.DOTALL)
    if first is None or marked is None:
        raise ValueError("README.md has no block of shell, or none after <!-- the test command -->.")
    return {"readme": first[1], "tests": marked[1]}


def parts_of(way: str, readme: str) -> list[str]:
    """The lines that a person types, one after another while they succeed; the last one is the program's own.

    README's are cut at ``&&``, which means the same, so that each part has its own figures.
    """
    if way in ("readme", "tests"):
        return commands_of(readme)[way].split(" && ")
    if way == "few":
        installed = ".venv/bin/pip install --quiet pytest pytest-xdist hypothesis"
        return ["bash .ci/setup", installed, f".venv/bin/python -m pytest -q -n 0 {' '.join(FEW)}"]
    first = [*PIPX.split(" && ")]
    ways = {"pipx": [f"pipx install ./{WHEEL}"], "uv": ["pipx install uv", f"uv tool install ./{WHEEL}"]}
    return [*first, *ways[way], "bay-assistant demo"]


def tried(base: Path, release: str, account: str, way: str, wheel: Path) -> Row:
    """Try a way in a copy of a fresh root."""
    with tempfile.TemporaryDirectory(prefix="newcomer-") as folder:
        root = Path(folder) / "root"
        subprocess.run(["cp", "-a", "--reflink=auto", str(base), str(root)], check=True)
        home = "root" if account == "root" else f"home/{account}"
        clone = root / home / "bay-assistant"
        subprocess.run(["git", "clone", "--quiet", "--no-hardlinks", str(ROOT), str(clone)], check=True)
        shutil.copy(wheel, clone / WHEEL)
        processor = RELEASES[release].processor
        owned = ["chroot", str(root), "chown", "-R", f"{account}:", f"/{home}/bay-assistant"]
        subprocess.run([*apart(processor), *owned], check=True)
        before = packages_in(root), fetched_mb(root), disk_mb(root)
        setup, status, spent, python = 0.0, 0, 0.0, "?"
        parts = parts_of(way, (clone / "README.md").read_text(encoding="utf-8"))
        for part in parts:
            ended = run_in(root, account, f"/{home}/bay-assistant", part, processor)
            print(f"{release} {account} {way}: {part}: {ended.status}, {ended.wall_s:.1f} s", file=sys.stderr)
            status, spent = ended.status, ended.processor_s
            setup += 0.0 if part is parts[-1] else ended.wall_s
            if status or (way in ("few", "tests") and part is parts[-1]):
                print(ended.said[-4000:], file=sys.stderr)
            if status:
                break
        version = run_in(root, account, "/", "python3 --version", processor).said.split()
        python = version[-1] if version else python
        write_up = way in ("few", "tests") or (clone / "demo-session" / "write-up.txt").is_file()
        left = mounts_below(Path(folder), Path("/proc/self/mounts").read_text(encoding="utf-8"))
        if left:
            raise SystemExit(f"Mounts were left behind: {', '.join(left)}.")
        return Row(
            RELEASES[release].name, account, way, python, status, setup, spent,
            fetched_mb(root) - before[1], disk_mb(root) - before[2],
            tuple(sorted(packages_in(root) - before[0])), write_up,
        )  # fmt: skip


def main(arguments: list[str] | None = None) -> int:
    """Try the ways that are asked for; exit status 1 when one failed, 0 when they could not be tried at all."""
    options = _parser().parse_args(arguments)
    for number in (signal.SIGTERM, signal.SIGHUP):
        signal.signal(
            number, lambda number, _frame: sys.exit(128 + number)
        )  # so that the folders are taken away
    if why := why_not():
        print(why)
        return 0
    rows = []
    with tempfile.TemporaryDirectory(prefix="newcomer-") as folder:
        built = [
            sys.executable,
            "-m",
            "pip",
            "wheel",
            "--quiet",
            "--no-deps",
            "--wheel-dir",
            folder,
            str(ROOT),
        ]
        subprocess.run(built, check=True, env={**os.environ, "PIP_DISABLE_PIP_VERSION_CHECK": "1"})
        for release in options.release or ("bookworm", "trixie"):
            base = Path(folder) / release
            if why := why_not(RELEASES[release].processor):
                print(why)
                continue
            try:
                make_root(RELEASES[release], base)
            except subprocess.CalledProcessError as error:
                print(f"Skipped: no root of {release} could be made. {str(error.output)[-500:]}")
                continue
            rows += [
                tried(base, release, account, way, Path(folder) / WHEEL)
                for way in options.way or ("readme",)
                for account in options.account or ("root", USER)
            ]
            shutil.rmtree(base)
    print(f"{machine()}\n\n{HEAD}")
    for row in rows:
        print(row.line())
    for row in rows:
        print(f"\n{row.release}, {row.account}, {row.way}: {' '.join(row.packages) or 'no package'}")
    return int(any(row.status or not row.write_up for row in rows))


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="tests/newcomer", description=__doc__)
    parser.add_argument(
        "--release", action="append", choices=RELEASES, help="default: bookworm and trixie; arm64 is emulated"
    )
    parser.add_argument("--way", action="append", choices=WAYS, help="default: readme")
    parser.add_argument("--account", action="append", choices=("root", USER), help="default: both")
    return parser


if __name__ == "__main__":
    sys.exit(main())
