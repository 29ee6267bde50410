"""Reads everything readable in a session folder, checks the chain of its log, and reports everything wrong.

The log is one JSON object a line, in ``log.jsonl`` and, after a refused write, in ``log-2.jsonl`` …
Each line holds the SHA-256 of the line before it with its newline; the first holds that of ``session.json``.
So ``sed -n 3p log.jsonl | sha256sum`` prints the ``previous`` of line 4.
The chain shows a line that was altered, added or removed. It is not a signature: anyone who rewrites every line
after an alteration can also rewrite the chain.

One line of a log may stand twice, byte for byte the same, before a line that closes or resumes the session. An
earlier version left that if it was interrupted between writing a line and noting it. The line counts once, and
the chain continues from the second as from the first.

A file that follows another may begin again at a line that was never confirmed in the earlier one.
The earlier file's part of it must then be the same bytes, up to the failed write.
"""

from __future__ import annotations

import contextlib
import gc
import json
import marshal
import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.core.values.codec import from_json
from assistant.core.values.decoding import remembering
from assistant.core.values.events import Action, Closed, Event, Resumed
from assistant.core.values.finding import Finding
from assistant.errors import MALFORMED, BayAssistantError, RecordProblem
from assistant.record.contents import read_inside
from assistant.record.header import HEADER_FILE, SEAL_FILE, Header, parse_header, parse_time
from assistant.record.recorded import Line, LogFile, Seal, log_name, log_names
from assistant.record.storage import canonical, read_problem, sha256

if TYPE_CHECKING:
    from datetime import datetime


_PARTS = {"number", "time", "event", "actions", "previous"}
_REMEMBERED = 2000
"""Largest number of different actions to remember while reading a session, one to two kB each."""


@dataclass
class Scan:
    """Everything readable in a session folder, and everything wrong with it.

    Attributes:
        tails: Unfinished last pieces, by log file.
        last: SHA-256 of the last line, or of the header if there is none.
        repeated: The line that stands twice: its number, and the file and row of the second copy; None if none does.
        action: Decodes an action, and each repeated one only once.
    """

    folder: Path
    header: Header | None = None
    lines: list[Line] = field(default_factory=list)
    logs: list[LogFile] = field(default_factory=list)
    tails: dict[str, bytes] = field(default_factory=dict)
    last: str = ""
    repeated: tuple[int, str, int] | None = None
    seal: Seal | None = None
    findings: list[Finding] = field(default_factory=list)
    action: Callable[[Any], Any] = field(
        default_factory=lambda: remembering(from_json, lambda data: marshal.dumps(data, 2), _REMEMBERED)
    )

    def report(self, path: str, line: int, problem: str, remedy: str = "") -> None:
        """Keep a finding."""
        self.findings.append(Finding(path, line, problem, remedy))


def check_folder(folder: Path) -> None:
    """Check that a folder is a session, by the names of its files.

    Raises:
        RecordProblem: It is not, or may not be read.
    """
    try:
        if not folder.is_dir():
            raise RecordProblem(
                f"{folder} is not a folder. A session is a folder with a {HEADER_FILE} in it."
            )
        (folder / HEADER_FILE).lstat()
        log_names(folder)
    except FileNotFoundError as error:
        raise RecordProblem(f"{folder} is not a session: it has no {HEADER_FILE}.") from error
    except OSError as error:
        raise read_problem(error, folder) from error


def scan_session(folder: Path, progress: Callable[[float, float], None] = lambda _done, _all: None) -> Scan:
    """Read everything readable in a session folder.

    `progress` is called with (done, total) bytes of the log.

    Raises:
        RecordProblem: The folder is not a session, or may not be read.
    """
    check_folder(folder)
    scan = Scan(folder)
    names = log_names(folder)
    header = read_inside(folder, HEADER_FILE)
    try:
        scan.header = parse_header(header, HEADER_FILE)
    except BayAssistantError as error:
        if not names:
            raise
        scan.report(HEADER_FILE, 0, str(error).rstrip("."), "Take the session from a copy")
    with _uncollected():
        _read_logs(scan, names, sha256(header), progress)
    if os.path.lexists(folder / SEAL_FILE):
        _read_seal(scan)
    return scan


@contextlib.contextmanager
def _uncollected() -> Iterator[None]:
    """Pause garbage collection: everything read is kept, and collecting takes a quarter of the time."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if enabled:
            gc.enable()


def _read_logs(
    scan: Scan, names: list[str], header_hash: str, progress: Callable[[float, float], None]
) -> None:
    contents = {name: read_inside(scan.folder, name) for name in names}
    if names != [log_name(position) for position in range(1, len(names) + 1)]:
        scan.report("log.jsonl", 0, "a file of the log is missing", "Take the session from a copy")
    before = [header_hash]  # before[n] is the hash of line n; the header's stands in for line 0
    raw: list[bytes] = []
    done, whole = 0, sum(map(len, contents.values()))
    for name in names:
        rows, tail = _split(contents[name])
        for row, data in enumerate(rows, start=1):
            done += len(data)
            progress(done, whole)
            body, fault = _body(data)
            number = body.get("number") if body else None
            if row == 1 and name != names[0]:
                _join(scan, (name, contents[name]), number, raw, before)
            if row > 1 and scan.repeated is None and data == raw[-1]:
                scan.repeated = (len(raw), name, row)
                continue
            if body is None:
                scan.report(name, row, fault, "Take the session from a copy")
            elif number != len(raw) + 1:
                scan.report(
                    name, row, f"this should be line {len(raw) + 1} of the session, but it says {number}",
                    "Lines were put in or taken out",
                )  # fmt: skip
            elif body["previous"] != before[-1]:
                earlier = f"line {len(raw)}" if raw else HEADER_FILE
                scan.report(
                    name, row, f"the chain is broken: {earlier} is not what this line was written after",
                    f"Either {earlier} or this line was altered",
                )  # fmt: skip
            else:
                _keep(scan, name, row, body)
            raw.append(data)
            before.append(sha256(data))
        if tail:
            scan.tails[name] = tail
        scan.logs.append(LogFile(name, sha256(contents[name]), len(rows)))
    scan.last = before[-1]
    _check_repeated(scan)


def _check_repeated(scan: Scan) -> None:
    """Accept a repeated line only if the session was closed or resumed after it, as an interrupt leaves it."""
    if scan.repeated is None:
        return
    number, name, row = scan.repeated
    after = next((line.event for line in scan.lines if line.number == number + 1), None)
    if after is not None and not isinstance(after, Closed | Resumed):
        scan.report(
            name, row, f"line {number} of the session stands here once more", "Lines were put in or taken out"
        )


def _join(scan: Scan, file: tuple[str, bytes], number: Any, raw: list[bytes], before: list[str]) -> None:
    """Continue in the next file, which may begin again at a line that was not confirmed in the earlier one."""
    name, content = file
    left = b""
    if isinstance(number, int) and 1 <= number <= len(raw):
        left = b"".join(raw[number - 1 :])
        del raw[number - 1 :], before[number:]
        scan.lines = [line for line in scan.lines if line.number < number]
    left += b"".join(scan.tails.values())
    scan.tails.clear()
    if not content.startswith(left):
        scan.report(
            name, 1, "this file does not go on where the one before it ends", "Take the session from a copy"
        )


def _keep(scan: Scan, name: str, row: int, body: dict[str, Any]) -> None:
    try:
        event = from_json(body["event"])
        actions = tuple(scan.action(action) for action in body["actions"])
        moment = parse_time(body["time"])
    except MALFORMED as error:
        scan.report(name, row, f"this line cannot be understood: {error}", "Use the version that recorded it")
        return
    if isinstance(event, Event) and all(isinstance(action, Action) for action in actions):
        scan.lines.append(Line(body["number"], moment, event, actions, name, row))
    else:
        scan.report(name, row, "this line holds no event, or no actions", "Use the version that recorded it")


def _split(content: bytes) -> tuple[list[bytes], bytes]:
    """The whole lines with their newlines, and the piece after the last newline."""
    *rows, tail = content.split(b"\n")
    return [row + b"\n" for row in rows], tail


def _body(data: bytes) -> tuple[dict[str, Any] | None, str]:
    """The object of one line, or its mistake."""
    try:
        body = json.loads(data)
    except (ValueError, RecursionError):
        return None, "this line is not JSON"
    if not isinstance(body, dict) or set(body) != _PARTS:
        return None, "this line has not the parts of a log line"
    try:
        same = canonical(body) == data
    except ValueError:
        same = False
    return (body, "") if same else (None, "this line is not written as the program writes it")


def _read_seal(scan: Scan) -> None:
    remedy = "Take the session from a copy"
    try:
        data = read_inside(scan.folder, SEAL_FILE)
        body = json.loads(data)
        own = body.pop("sha256")
        whole = own == sha256(canonical(body)) and canonical({**body, "sha256": own}) == data
        seal = Seal(parse_time(body["sealed"]), body["lines"], body["last"], body["files"])
    except RecordProblem as error:
        scan.report(SEAL_FILE, 0, str(error).rstrip("."), remedy)
        return
    except MALFORMED as error:
        scan.report(SEAL_FILE, 0, f"the seal is damaged: {error}", remedy)
        return
    if not whole:
        scan.report(SEAL_FILE, 0, "the seal is damaged: it does not fit its own checksum", remedy)
        return
    scan.seal = seal
    if seal.last != scan.last or seal.lines != len(scan.lines):
        scan.report(
            SEAL_FILE, 0, f"the session was sealed with {seal.lines} lines; the log holds others now",
            "Lines were altered, put in or taken out",
        )  # fmt: skip


def seal_bytes(sealed: datetime, lines: int, last: str, files: Mapping[str, str], head: str = "") -> bytes:
    """The contents of `SEAL_FILE`, with its own checksum, which shows an alteration.

    `head` is the name of the reviews' head, which the seal then says exists.
    """
    body: dict[str, Any] = {
        "sealed": sealed.isoformat(timespec="milliseconds"),
        "lines": lines,
        "last": last,
        "files": dict(sorted(files.items())),
    }
    if head:
        body["head"] = head
    return canonical({**body, "sha256": sha256(canonical(body))})
