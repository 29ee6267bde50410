"""Mutated records and bags: findings or a clean refusal, never a defect, never a hang,
nothing unpacked or followed.

A record is also altered by somebody who knows how it is made: the chain and the seal are written anew, so that
what is read is whole, and wrong.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import shutil
import zipfile
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import TYPE_CHECKING, Any

from driving import command, random_keys, spoils
from harness import Attack, Hung, Outcome, Plan, Try, run_tries
from mutating import mutated_bytes, mutated_tree, raw_signs, same_kind, within
from sample import short_session

from assistant import cli, resources
from assistant.commands import packing
from assistant.core.dialogue.runner import Runner
from assistant.core.values.events import Began, Closed, KeyPressed
from assistant.errors import BayAssistantError
from assistant.keys.pad import decode
from assistant.loading.folder import load_folder
from assistant.record import Facts, SessionLog, list_sessions, read_session, replay, verify
from assistant.record.reviews import read_reviews
from assistant.record.storage import canonical, sha256
from assistant.writeup import write_html, write_json, write_text

if TYPE_CHECKING:
    import random
    from collections.abc import Callable

RECORDS = "mutated records"
FORGED = "forged records, chain made anew"
BAGS = "mutated bags and ZIP files"

LONGEST_S = 30.0
_ZONE = timezone(timedelta(hours=-5))


def real_session(parent: Path, rng: random.Random, keys: int = 40, *, seal: bool = True) -> Path:
    """A session with the bundled procedures, played by keys on a made clock."""
    log = SessionLog.create(
        parent,
        Facts(order="4711", complaint="cranks, no start", technician="R. Alvarez"),
        resources.directory("procedures"),
        now=lambda: datetime(2026, 11, 28, 9, 0, tzinfo=_ZONE),
    )
    with log:
        runner = Runner(*load_folder(log.procedures), log.header.thresholds)
        pressed = decode(random_keys(rng, keys))[0]
        events = [Began(0.0, "no-start"), *(KeyPressed(1.0 + at, key) for at, key in enumerate(pressed))]
        for event in [*events, Closed(900.0, "test")]:
            log.append(event, runner.receive(event))
        if seal:
            log.seal()
    return log.folder


# --- records ------------------------------------------------------------------------------------------


def _use_in_every_way(tried: Try, folder: Path) -> None:
    """All that reads a session, in turn: each gives something or one error for a person."""
    ways: dict[str, Callable[[], Any]] = {
        "verify": lambda: verify(folder),
        "read": lambda: read_session(folder),
        "reviews": lambda: read_reviews(folder),
        "replay": lambda: replay(folder),
        "write-up": lambda: write_text(folder),
        "page": lambda: write_html(folder),
        "json": lambda: write_json(folder),
        "sessions": lambda: list_sessions(folder.parent),
        "resume": lambda: SessionLog.resume(folder).close(),
    }
    for name, way in ways.items():
        try:
            with within(LONGEST_S):
                given = way()
        except BayAssistantError as error:
            tried.counts["refusals"] += 1
            signs = raw_signs(str(error))
            tried.check(not signs, f"{name}: the error shows {signs} as it is: {str(error)[:200]!r}")
        except (Hung, Exception) as error:  # noqa: BLE001  that is what is looked for
            tried.wrong(f"{name}: {type(error).__name__}: {str(error)[:200]}")
        else:
            if name == "write-up":
                tried.check(not raw_signs(given), f"the write-up shows {raw_signs(given)} as it is")
            if name == "verify":
                tried.counts["with findings"] += bool(given)
                signs = raw_signs("".join(map(str, given)).replace("\n", ""))
                tried.check(not signs, f"a finding shows {signs} as it is")


def _records(tried: Try) -> None:
    rng = tried.rng
    folder = (
        short_session(tried.folder) if rng.random() < 0.5 else real_session(tried.folder / "sessions", rng)
    )
    files = [
        path for path in sorted(folder.rglob("*")) if path.is_file() and path.suffix in (".json", ".jsonl")
    ]
    path = rng.choice([*[file for file in files if file.parent == folder], rng.choice(files)])
    path.write_bytes(mutated_bytes(rng, path.read_bytes()))
    if rng.random() < 0.4:
        (folder / "seal.json").unlink(missing_ok=True)
    _use_in_every_way(tried, folder)
    if rng.random() < 0.02:
        _by_the_program(tried, folder)


def _forged(tried: Try) -> None:
    rng = tried.rng
    folder = real_session(tried.folder / "sessions", rng, seal=False)
    header = json.loads((folder / "session.json").read_bytes())
    lines = [json.loads(row) for row in (folder / "log.jsonl").read_bytes().splitlines()]
    for _ in range(rng.randint(1, 3)):
        part = header["facts"] if rng.random() < 0.1 else header if rng.random() < 0.1 else rng.choice(lines)
        if rng.random() < 0.85:
            same_kind(rng, part["event"] if "event" in part and rng.random() < 0.5 else part)
        else:
            mutated_tree(rng, part, 1)
    _write(folder, header, lines)
    _use_in_every_way(tried, folder)
    if rng.random() < 0.03:
        _by_the_program(tried, folder)


def _write(folder: Path, header: Any, lines: list[Any]) -> None:
    """Write header and log as the program would, with a chain that holds."""
    data = json.dumps(header, ensure_ascii=True, indent=2).encode() + b"\n"
    (folder / "session.json").write_bytes(data)
    previous, rows = sha256(data), []
    for line in lines:
        if isinstance(line, dict) and "previous" in line:
            line["previous"] = previous
        try:
            row = canonical(line)
        except ValueError:  # a value that is no number: written as Python would
            row = json.dumps(line, separators=(",", ":")).encode() + b"\n"
        rows.append(row)
        previous = sha256(row)
    (folder / "log.jsonl").write_bytes(b"".join(rows))


def _by_the_program(tried: Try, folder: Path) -> None:
    tried.counts["by the program"] += 1
    for arguments in (
        ["verify", str(folder)],
        ["sessions", "--sessions", str(folder.parent)],
        ["replay", "--show", str(folder)],
        ["writeup", str(folder)],
        ["run", "--keys-only", "--silent", "--plain", "--resume", str(folder)],
    ):
        ran = command(arguments, tried.folder, keys=b"1\r  qqq")
        for spoilt in spoils(ran):
            tried.wrong(f"{arguments[0]}: {spoilt}")
        signs = raw_signs(ran.out + ran.errors)
        tried.check(not signs, f"{arguments[0]} prints {signs} as it is")


# --- bags ---------------------------------------------------------------------------------------------


def _manifest_line(text: str) -> Callable[[Path], None]:
    def add(bag: Path) -> None:
        with (bag / "manifest-sha256.txt").open("a", encoding="utf-8", errors="surrogateescape") as file:
            file.write(text)

    add.__name__ = f"manifest line {text[:30]!r}"
    return add


_SUM = "0" * 64


def _link_out(bag: Path) -> None:
    (bag / "data" / "up").symlink_to("..")


def _link_file(bag: Path) -> None:
    (bag / "data" / "passwd").symlink_to("/etc/passwd")


def _link_top(bag: Path) -> None:
    (bag / "extra").symlink_to("/etc")


def _stray_top(bag: Path) -> None:
    (bag / "run-me.sh").write_text("echo\n", encoding="utf-8")


def _stray_folder(bag: Path) -> None:
    (bag / "beside").mkdir()
    (bag / "beside" / "x").write_text("x", encoding="utf-8")


def _stray_data(bag: Path) -> None:
    (bag / "data" / "a\x1b[31m\u202eb.txt").write_text("x", encoding="utf-8")


def _pipe(bag: Path) -> None:
    os.mkfifo(bag / "data" / "pipe")


def _pipe_top(bag: Path) -> None:
    (bag / "bag-info.txt").unlink()
    os.mkfifo(bag / "bag-info.txt")


def _fetch(bag: Path) -> None:
    (bag / "fetch.txt").write_text("file:///etc/passwd 10 data/passwd\n", encoding="utf-8")


def _no_manifest(bag: Path) -> None:
    (bag / "manifest-sha256.txt").unlink()


def _no_tag_manifest(bag: Path) -> None:
    (bag / "tagmanifest-sha256.txt").unlink()


def _weak_manifest(bag: Path) -> None:
    (bag / "manifest-sha256.txt").rename(bag / "manifest-md5.txt")


def _no_session(bag: Path) -> None:
    shutil.rmtree(next(path for path in (bag / "data").iterdir() if (path / "session.json").is_file()))


def _two_sessions(bag: Path) -> None:
    one = next(path for path in (bag / "data").iterdir() if (path / "session.json").is_file())
    shutil.copytree(one, one.with_name("another"))


def _declared(text: bytes) -> Callable[[Path], None]:
    def declare(bag: Path) -> None:
        (bag / "bagit.txt").write_bytes(text)

    declare.__name__ = f"bagit.txt {text[:30]!r}"
    return declare


_EVIL: tuple[Callable[[Path], None], ...] = (
    _link_out, _link_file, _link_top, _stray_top, _stray_folder, _stray_data, _pipe, _pipe_top, _fetch,
    _no_manifest, _weak_manifest,
    _no_tag_manifest, _no_session, _two_sessions,
    _manifest_line(f"{_SUM}  data/../../../../etc/passwd\n"), _manifest_line(f"{_SUM}  /etc/passwd\n"),
    _manifest_line(f"{_SUM}  ../../x\n"), _manifest_line(f"{_SUM}  data/\x1b[2J\u202e\n"),
    _manifest_line(f"{_SUM}  ~root/x\n"),
    _manifest_line("not a line\n"), _manifest_line(f"{_SUM}\n"), _manifest_line(f"{_SUM}  data/%0Ax\n"),
    _manifest_line("\udcff\udcfe\n"),
    _manifest_line(f"{_SUM}  data/write-up/write-up.txt\n"), _manifest_line(f"{_SUM}  data/x\n" * 20_000),
    _declared(b""), _declared(b"BagIt-Version: 0.97\nTag-File-Character-Encoding: utf-7\n"),
    _declared(b"BagIt-Version: 9.9\nTag-File-Character-Encoding: UTF-8\n"), _declared(b"\xff\xfe"),
    _declared(b"BagIt-Version: 1.0\nTag-File-Character-Encoding: \x1b[31m\n"), _declared(b"x" * 1_000_000),
)  # fmt: skip


def _zip_bomb(path: Path) -> None:
    """300 kB that unpack to 300 MB."""
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as made:
        made.writestr("bag/bagit.txt", "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
        made.writestr("bag/data/zeros", b"\0" * 300_000_000)


_OUTSIDE = "/var/tmp/escaped-from-a-bag.txt"  # noqa: S108  no such file is ever to be made


def _zip_traversal(path: Path) -> None:
    with zipfile.ZipFile(path, "w") as made:
        for name in (
            "../../escaped.txt",
            _OUTSIDE,
            "bag/../../escaped.txt",
            "bag/\x1b[2J\u202e.txt",
        ):
            made.writestr(name, b"x")


def _zip_link(path: Path) -> None:
    link = zipfile.ZipInfo("bag/data/up")
    link.external_attr = 0o120777 << 16
    with zipfile.ZipFile(path, "w") as made:
        made.writestr("bag/bagit.txt", "BagIt-Version: 1.0\nTag-File-Character-Encoding: UTF-8\n")
        made.writestr(link, "../../..")
        made.writestr("bag/data/up/escaped.txt", b"x")


def _zip_twice(path: Path) -> None:
    import warnings  # noqa: PLC0415

    with zipfile.ZipFile(path, "w") as made, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for text in ("BagIt-Version: 1.0\n", "BagIt-Version: 0.97\n"):
            made.writestr("bag/bagit.txt", text)


def _zip_rubbish(path: Path) -> None:
    path.write_bytes(b"PK\x03\x04" + b"\0" * 100)


_ZIPS = (_zip_bomb, _zip_traversal, _zip_link, _zip_twice, _zip_rubbish)
_MEMORY = 3 * 2**30
"""Address space that a command may have when it is given a ZIP bomb, bytes."""


def _bags(plan: Plan) -> Outcome:
    made = plan.workdir / "whole-bag"
    shutil.rmtree(made, ignore_errors=True)
    (made / "sessions").mkdir(parents=True)
    import random  # noqa: PLC0415

    whole = made / "bag"
    packing.pack(real_session(made / "sessions", random.Random(plan.seed)), whole)  # noqa: S311

    def one(tried: Try) -> None:
        if tried.number < len(_ZIPS):
            _zip(tried, _ZIPS[tried.number])
            return
        bag = tried.folder / "bag"
        shutil.copytree(whole, bag, symlinks=True)
        evil = tried.number - len(_ZIPS)
        if evil < len(_EVIL):
            _EVIL[evil](bag)
            _judge_bag(tried, bag, _EVIL[evil].__name__, by_the_program=True)
        else:
            files = [path for path in sorted(bag.rglob("*")) if path.is_file()]
            top = [path for path in files if path.parent == bag]
            path = tried.rng.choice(top if tried.rng.random() < 0.7 else files)
            before = path.read_bytes()
            path.write_bytes(mutated_bytes(tried.rng, before))
            if path.read_bytes() != before:
                _judge_bag(
                    tried, bag, f"mutated {path.relative_to(bag)}", by_the_program=tried.rng.random() < 0.03
                )

    return run_tries(BAGS, one, plan, processes=True)


def _judge_bag(tried: Try, bag: Path, what: str, *, by_the_program: bool) -> None:
    if not by_the_program:
        shown = io.StringIO()
        with within(LONGEST_S), contextlib.redirect_stdout(shown), contextlib.redirect_stderr(shown):
            status = cli.main(["verify", str(bag)])
        tried.check(status in (1, 2), f"{what}: verify ends with {status}")
        tried.check("This is a defect" not in shown.getvalue(), f"{what}: {shown.getvalue()[-200:]!r}")
        signs = raw_signs(shown.getvalue())
        tried.check(not signs, f"{what}: verify prints {signs} as it is")
        return
    ran = command(["verify", str(bag)], tried.folder, longest_s=20.0, limit=_MEMORY)
    tried.counts["by the program"] += 1
    for spoilt in spoils(ran):
        tried.wrong(f"{what}: {spoilt}")
    tried.check(ran.status in (1, 2), f"{what}: verify ends with {ran.status}: {ran.out[-120:]!r}")
    signs = raw_signs(ran.out + ran.errors)
    tried.check(not signs, f"{what}: verify prints {signs} as it is")
    tried.check(
        len(ran.out + ran.errors) < 200_000, f"{what}: verify prints {len(ran.out + ran.errors)} bytes"
    )


def _zip(tried: Try, make: Callable[[Path], None]) -> None:
    """A ZIP file is not unpacked by anything: whatever takes a path refuses it, and writes nothing."""
    path = tried.folder / "order.zip"
    make(path)
    before = sorted(tried.folder.rglob("*"))
    for arguments in (
        ["verify", str(path)],
        ["replay", str(path)],
        ["writeup", str(path)],
        ["sessions", "--sessions", str(path)],
    ):
        ran = command(arguments, tried.folder, longest_s=20.0, limit=_MEMORY)
        tried.counts["by the program"] += 1
        for spoilt in spoils(ran):
            tried.wrong(f"{make.__name__}, {arguments[0]}: {spoilt}")
        tried.check(ran.status in (1, 2), f"{make.__name__}, {arguments[0]} ends with {ran.status}")
        tried.check(
            not raw_signs(ran.out + ran.errors), f"{make.__name__}, {arguments[0]} prints signs as they are"
        )
    tried.check(sorted(tried.folder.rglob("*")) == before, f"{make.__name__}: something was unpacked")
    tried.check(
        not Path(_OUTSIDE).exists(),
        f"{make.__name__}: something was unpacked in /var/tmp",
    )


ATTACKS = (
    Attack(RECORDS, 800, 4, lambda plan: run_tries(RECORDS, _records, plan, processes=True)),
    Attack(FORGED, 800, 3, lambda plan: run_tries(FORGED, _forged, plan, processes=True)),
    Attack(BAGS, 300, 3, _bags),
)
