"""Files put into a sealed session, taken out of it, or made into links, pipes and folders: each is a finding."""

from __future__ import annotations

import os
import shutil
import socket
from typing import TYPE_CHECKING

from driving import command, spoils
from harness import Attack, Outcome, Plan, Try, run_tries
from sample import short_session

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

NAME = "put in, taken out, replaced"

_PLACES = ("", "clips", "procedures")
_NAMES = (
    "stray.txt", "0002.wav", "0009.flac", ".hidden", "log-2.jsonl", "log.torn", "reviews.jsonl.bak",
    "writeup-9.txt",
    "a b\x1b[31m\u202egnp.exe", "extra.yaml", "findings.json",
)  # fmt: skip


def _put_file(path: Path) -> None:
    path.write_bytes(b"not recorded\n")


def _put_link(path: Path) -> None:
    path.symlink_to("/etc/hostname")


def _put_link_up(path: Path) -> None:
    path.symlink_to("..")


def _put_loop(path: Path) -> None:
    path.symlink_to(path.name)


def _put_pipe(path: Path) -> None:
    os.mkfifo(path)


def _put_folder(path: Path) -> None:
    path.mkdir()
    (path / "inside.txt").write_bytes(b"not recorded\n")


def _put_socket(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as made:
        here = os.open(path.parent, os.O_RDONLY)
        try:  # the whole path may be longer than a socket's name may be
            made.bind(f"/proc/self/fd/{here}/{path.name}")
        finally:
            os.close(here)


_KINDS: tuple[Callable[[Path], None], ...] = (
    _put_file, _put_link, _put_link_up, _put_loop, _put_pipe, _put_folder, _put_socket,
)  # fmt: skip


def _replace_by_copy_link(path: Path) -> None:
    """A link to the very same bytes elsewhere."""
    aside = path.parents[2] / f"aside-{path.name}"
    shutil.copyfile(path, aside)
    path.unlink()
    path.symlink_to(aside)


def _replace_by_pipe(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


def _replace_by_folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


def _empty(path: Path) -> None:
    path.write_bytes(b"")


def _lengthen(path: Path) -> None:
    with path.open("ab") as file:
        file.write(b"\n")


def _device(path: Path) -> None:
    path.unlink()
    path.symlink_to("/dev/zero")


_REPLACED: tuple[Callable[[Path], None], ...] = (
    lambda path: path.unlink(), _replace_by_copy_link, _replace_by_pipe, _replace_by_folder, _empty, _lengthen, _device,
)  # fmt: skip


def _alterations(folder: Path) -> list[tuple[str, Callable[[Path], None]]]:
    """Each alteration with the path that it is done to, inside the session."""
    found = [
        (f"{place}/{name}".lstrip("/"), kind)
        for place in _PLACES
        for name in _NAMES
        for kind in _KINDS
        if not (folder / place / name).exists()
    ]
    files = [str(path.relative_to(folder)) for path in sorted(folder.rglob("*")) if path.is_file()]
    return found + [(name, kind) for name in files for kind in _REPLACED]


def _all(plan: Plan) -> Outcome:
    made = plan.workdir / "altered-session"
    shutil.rmtree(made, ignore_errors=True)
    made.mkdir(parents=True)
    alterations = _alterations(short_session(made))
    step = max(1, len(alterations) // plan.tries)

    def one(tried: Try) -> None:
        name, kind = alterations[tried.number]
        folder = short_session(tried.folder)
        kind(folder / name)
        ran = command(["verify", str(folder)], tried.folder, longest_s=15.0)
        what = f"{getattr(kind, '__name__', '').strip('_<>')} {name!r}"
        for spoilt in spoils(ran):
            tried.wrong(f"{what}: {spoilt}")
        tried.check(ran.status in (1, 2), f"{what}: verify ends with {ran.status}: {ran.out[-120:]!r}")
        tried.check(
            b"\x1b" not in ran.out + ran.errors and "\u202e".encode() not in ran.out + ran.errors,
            f"{what}: control signs are printed as they are",
        )

    return run_tries(NAME, one, plan, only=range(plan.first, len(alterations), step), processes=True)


ATTACKS = (Attack(NAME, 300, 6, _all),)
