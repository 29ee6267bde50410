"""Conditions that a record must keep after any attack.

Judged against what the program printed: the keys and sentences that a person saw are confirmed, so they are in
the record, in their order, once; the record has at most one event more than the person saw.
"""

from __future__ import annotations

import io
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from assistant.core.dialogue.runner import Runner
from assistant.core.values.events import Heard, KeyPressed, NoMatch, Resumed, Say
from assistant.keys.pad import decode
from assistant.loading.folder import load_folder
from assistant.record import SessionLog, read_session, verify
from assistant.record.header import HEADER_FILE, PROCEDURES
from assistant.record.summaries import summarise
from assistant.screen.terminal import LineScreen
from assistant.writeup import write_json, write_text

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from harness import Try

    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge
    from assistant.record import RecordedSession

_LINE = re.compile(r"^(?:\x1b[=>])?[0-9]{2,}:[0-9]{2}\.[0-9]  (SAYS |KEY  |HEARD)  (.*)$", re.MULTILINE)
_libraries: dict[tuple[tuple[str, str], ...], tuple[Library, Knowledge | None]] = {}


@dataclass(frozen=True)
class Printed:
    """Return what a person saw in the running dialogue: sentences, keys, words heard; whole lines only."""

    says: tuple[str, ...]
    keys: tuple[str, ...]
    heard: tuple[str, ...]


def printed(out: bytes) -> Printed:
    """Read a running dialogue; a last line without its end was not shown whole and does not count."""
    whole = out[: out.rfind(b"\n") + 1].decode("utf-8", "replace").replace("\r\n", "\n")
    found = [(kind.strip(), text) for kind, text in _LINE.findall(whole)]
    return Printed(
        *(tuple(text for kind, text in found if kind == name) for name in ("SAYS", "KEY", "HEARD"))
    )


def session_folders(parent: Path) -> list[Path]:
    """The sessions in a folder, by name."""
    if not parent.is_dir():
        return []
    return sorted(
        entry for entry in parent.iterdir() if (entry / HEADER_FILE).is_file() and entry.name[0] != "."
    )


def unfinished(parent: Path) -> list[str]:
    """The remains of a program that was killed while it made a session."""
    return (
        sorted(entry.name for entry in parent.iterdir() if entry.name.startswith("."))
        if parent.is_dir()
        else []
    )


def library_of(session: RecordedSession) -> tuple[Library, Knowledge | None]:
    """The procedures of a session and what they are weighed with; the same ones are read once only."""
    key = tuple(sorted(session.header.procedures.items()))
    if key not in _libraries:
        assert session.folder is not None
        _libraries[key] = load_folder(session.folder / PROCEDURES)
    return _libraries[key]


def judge_dialogue(
    tried: Try,
    session: RecordedSession,
    out: bytes,
    sent: bytes | None,
    before: int = 0,
    *,
    all_read: bool = True,
) -> None:
    """Every printed line is in the record, in order and once, and the record has at most one event more.

    Args:
        tried: The try.
        session: What was recorded.
        out: What the program printed.
        sent: All bytes of keys that were sent to it; None when they are not known.
        before: How many lines the record had before this run of the program.
        all_read: Whether all that it printed could be read; what is still in a terminal goes with it.
    """
    shown = printed(out)
    lines = session.lines[before:]
    says = [_as_printed(action.text) for line in lines for action in line.actions if isinstance(action, Say)]
    keys = [line.event.key for line in lines if isinstance(line.event, KeyPressed)]
    heard = [line for line in lines if isinstance(line.event, Heard | NoMatch)]
    tried.counts["sentences"] += len(shown.says)
    _is_beginning(tried, "sentence", shown.says, says, most=_most_said(lines) if all_read else len(says))
    _is_beginning(tried, "key", shown.keys, keys, most=1 if all_read else len(keys))
    tried.check(
        len(shown.heard) <= len(heard) <= len(shown.heard) + 1,
        f"{len(shown.heard)} utterances were shown as heard, {len(heard)} are in the record",
    )
    if sent is not None:
        pressed = list(decode(sent)[0])
        tried.check(keys == pressed[: len(keys)], "the keys of the record are not those that were pressed")


def _most_said(lines: Iterable[object]) -> int:
    return max((sum(isinstance(a, Say) for a in line.actions) for line in lines), default=0)  # type: ignore[attr-defined]


def _is_beginning(tried: Try, what: str, shown: tuple[str, ...], recorded: list[str], *, most: int) -> None:
    if list(shown) != recorded[: len(shown)]:
        at = next(
            (n for n, pair in enumerate(zip(shown, recorded, strict=False)) if pair[0] != pair[1]), None
        )
        if at is None:
            tried.wrong(f"{len(shown)} {what}s were shown, only {len(recorded)} are in the record: LOST")
        else:
            tried.wrong(f"{what} {at + 1} was shown as {shown[at]!r} and recorded as {recorded[at]!r}")
    elif len(recorded) > len(shown) + most:
        tried.wrong(f"{len(shown)} {what}s were shown, but {len(recorded)} are in the record: DOUBLED?")


def _as_printed(text: str) -> str:
    stream = io.StringIO()
    LineScreen(stream).says(text, 0.0)
    return stream.getvalue()[len("00:00.0  SAYS   ") : -1]


def judge_record(tried: Try, folder: Path, *, may_be_torn: bool) -> RecordedSession | None:
    """The record can be read, its chain holds, nothing but a torn last line is wrong with it.

    Returns:
        What was recorded; None when it cannot be read.
    """
    findings = [str(finding) for finding in verify(folder)]
    if may_be_torn:
        findings = [finding for finding in findings if "cut short" not in finding]
    for finding in findings:
        tried.wrong(f"verify: {finding}")
    if findings:
        return None
    return read_session(folder)


def judge_step(tried: Try, session: RecordedSession) -> Runner:
    """Fed with the recorded events a fresh dialogue does what it did; it stands where the entries say.

    Returns:
        The dialogue, ready to go on.
    """
    runner = Runner(*library_of(session), session.header.thresholds)
    for line in session.lines:
        if runner.receive(line.event) != line.actions:
            tried.wrong(f"replay: line {line.number} causes other actions than were recorded")
    if session.folder is not None:
        told = summarise(session.folder)
        step = "" if told.verdict else runner.position[1]
        tried.check(
            told.stopped in ("", step) or bool(told.verdict),
            f"the dialogue stands at {step!r}, the entries say {told.stopped!r}",
        )
    return runner


def judge_going_on(tried: Try, folder: Path) -> None:
    """Resumed in this process: at the right step, with every line; then closed, sealed, whole, written up."""
    before = read_session(folder)
    runner = judge_step(tried, before)
    position = runner.position
    last = max((line.event.at for line in before.lines), default=0.0)
    with SessionLog.resume(folder) as log:
        assert log.recorded is not None
        tried.check(log.recorded.lines == before.lines, "resuming reads other lines than are there")
        events = [Resumed(last + 1), *(KeyPressed(last + 2 + n, "close") for n in range(3))]
        for event in events:
            log.append(event, runner.receive(event))
            if event is events[0] and position[0]:
                tried.check(runner.position == position, f"resumed at {runner.position}, was at {position}")
        log.seal()
    for finding in verify(folder):
        tried.wrong(f"verify after going on: {finding}")
    after = read_session(folder)
    tried.check(after.lines[: len(before.lines)] == before.lines, "going on changed earlier lines")
    tried.check(len(after.lines) == len(before.lines) + len(events), "lines were lost or doubled in going on")
    judge_write_up(tried, folder)
    tried.counts["resumed"] += 1


def judge_write_up(tried: Try, folder: Path) -> None:
    """It can be written up, as text and as JSON."""
    tried.check(bool(write_text(folder).strip()), "the write-up is empty")
    write_json(folder)
