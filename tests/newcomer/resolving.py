"""What the wheel requires on other systems, resolved without them: ``.venv/bin/python tests/newcomer/resolving.py``.

uv (``pip install uv``) resolves for a system and a Python that need not be here, from wheels only, and writes which
files of the index fit (pylock.toml, PEP 751) with their sizes. That says that a complete set of wheels exists; it does
not say that the program runs there.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
import tomllib
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]

PLATFORMS = {
    "Linux x86_64": "x86_64-manylinux_2_35",
    "Linux aarch64": "aarch64-manylinux_2_35",
    "macOS arm64": "aarch64-apple-darwin",
    "macOS x86_64": "x86_64-apple-darwin",
    "Windows amd64": "x86_64-pc-windows-msvc",
}
"""Systems by uv's names. Debian 12, and Raspberry Pi OS made from it, has glibc 2.36, so wheels up to 2.35 fit."""

PYTHONS = ("3.11", "3.12", "3.13", "3.14")

EXTRAS = ("", "pdf", "board", "picture", "dictation")
"""What a technician may want besides the program itself (""); the other extras are for developers."""

SOURCES = ("srt",)
"""Packages that the index has only as source. They are pure Python, and pip makes their wheel anywhere."""


@dataclass(frozen=True)
class Set:
    """A complete set of packages for a system, or why there is none.

    Attributes:
        vosk: Version of the recogniser; "" if there is no set.
        count: Number of packages.
        mb: Size of the files to fetch, MB; the largest file counts where several fit.
        problem: What the resolver says if there is no set.
    """

    vosk: str = ""
    count: int = 0
    mb: float = 0.0
    problem: str = ""


def read_lock(text: str) -> Set:
    """The set that a pylock.toml describes.

    Raises:
        ValueError: A package other than `SOURCES` has no wheel that fits.
    """
    packages: list[dict[str, Any]] = tomllib.loads(text).get("packages", [])
    total = 0
    for package in packages:
        wheels = package.get("wheels", [])
        if not wheels and package["name"] not in SOURCES:
            raise ValueError(f"{package['name']} has no wheel that fits.")
        total += max(file["size"] for file in wheels or [package["sdist"]])
    vosk = next((package["version"] for package in packages if package["name"] == "vosk"), "")
    return Set(vosk, len(packages), total / 1e6)


def resolved(uv: str, platform: str, python: str, extra: str) -> Set:
    """The newest set of packages that fits a system, of the Python and extra that are named."""
    command = [uv, "pip", "compile", "--quiet", "--no-header", "--format", "pylock.toml"]
    command += [
        "--python-platform",
        PLATFORMS[platform],
        "--python-version",
        python,
        "--only-binary",
        ":all:",
    ]
    for source in SOURCES:
        command += ["--no-binary", source]
    if extra:
        command += ["--extra", extra]
    with tempfile.TemporaryDirectory(prefix="resolving-") as folder:
        lock = Path(folder) / "pylock.toml"
        done = subprocess.run(
            [*command, str(ROOT / "pyproject.toml"), "-o", str(lock)],
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode:
            return Set(problem=" ".join(done.stderr.split())[:600])
        try:
            return read_lock(lock.read_text(encoding="utf-8"))
        except ValueError as error:
            return Set(problem=str(error))


def table(found: dict[tuple[str, str, str], Set]) -> str:
    """A row for each system and Python: which vosk, and MB and number of packages without and with each extra."""
    names = [f"with `{extra}`" if extra else "the program" for extra in EXTRAS]
    lines = [f"| system | Python | vosk | {' | '.join(names)} |", "|---" * (3 + len(EXTRAS)) + "|"]
    for platform, python, extra in found:
        if extra:
            continue
        sets = [found[platform, python, one] for one in EXTRAS]
        cells = ["**none**" if one.problem else f"{one.mb:.0f} MB, {one.count}" for one in sets]
        lines.append(f"| {platform} | {python} | {sets[0].vosk or 'none'} | {' | '.join(cells)} |")
    return "\n".join(lines)


def main() -> int:
    """Resolve everything and print the table; exit status 1 when a set is missing, 2 without uv."""
    uv = shutil.which("uv") or shutil.which("uv", path=str(Path(sys.executable).parent))
    if uv is None:
        print("Skipped: uv is not installed (pip install uv).", file=sys.stderr)
        return 2
    keys = [(platform, python, extra) for platform in PLATFORMS for python in PYTHONS for extra in EXTRAS]
    found = {}
    for number, key in enumerate(keys, start=1):
        found[key] = resolved(uv, *key)
        print(f"\r{number} of {len(keys)}", end="", file=sys.stderr, flush=True)
    print(f"\n{datetime.now().astimezone().date().isoformat()}\n", file=sys.stderr)
    print(table(found))
    missing = {key: one.problem for key, one in found.items() if one.problem}
    for key, problem in missing.items():
        print(f"\n{', '.join(filter(None, key))}: {problem}")
    return int(bool(missing))


if __name__ == "__main__":
    sys.exit(main())
