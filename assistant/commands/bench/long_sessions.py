"""The costs of a very long session: memory while it lasts, reading it back, resuming it, writing it up.

A benchmark (``bay-assistant bench long``), not a test; the sessions are made up (`assistant.rehearsal.endurance`).
If the system has a folder in memory (``/dev/shm``), they are written there, so that the disk is not measured.
"""

from __future__ import annotations

import tempfile
import time
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.benchmarks import resident_mb
from assistant.core.dialogue.runner import Runner
from assistant.loading.folder import load_folder
from assistant.record import Facts, SessionLog
from assistant.record.reading import read_session
from assistant.record.replaying import replay
from assistant.record.summaries import list_sessions
from assistant.record.verifying import verify
from assistant.rehearsal.endurance import Day, LongSession

if TYPE_CHECKING:
    from collections.abc import Callable

LINES = 30_000
"""Number of lines of a long session: eight hours with an event every second."""

ANSWERS = 20_000
"""Answers over which memory is watched."""

WARM = 1_000
"""Number of answers before the first look at memory."""

ANSWERS_S, LINES_S = 2.3, 0.56
"""Times, s, on one processor core in 2026: of a thousand answers, and of a thousand lines with all that is done with
them but the PDF."""

PDF_S = 2.2
"""The time, s, that the PDF of a thousand lines takes there, measured with 3000 lines."""

_PDF = "write-up, PDF"

_SHARES = {
    "recording": 0.26,
    "read, and feed the dialogue (resume)": 0.13,
    "write-up, text and page": 0.23,
    "write-up, JSON": 0.12,
    "verify": 0.06,
    "replay": 0.18,
    "list it, from the record": 0.02,
}
"""Shares of the time of a session, in order, measured in the same way; the PDF comes after them."""

_SHARED = Path("/dev/shm")  # noqa: S108  a folder in memory; a fresh one is made inside it


@dataclass(frozen=True)
class LongFigure:
    """A figure: its name, its goal ("" for none), and the words of its result."""

    name: str
    limit: str
    value: str


def parts(*, lines: int, answers: int = ANSWERS, pdf: bool = False) -> dict[str, float]:
    """The parts of the work as `measure` tells them, each with about its time, s."""
    steps = {step: share * LINES_S for step, share in _SHARES.items()} | ({_PDF: PDF_S} if pdf else {})
    days = {f"{day}: {step}": time_s * lines / 1000 for day in Day for step, time_s in steps.items()}
    return {"memory": ANSWERS_S * answers / 1000, **days}


def measure(
    procedures: Path,
    *,
    lines: int = LINES,
    answers: int = ANSWERS,
    pdf: bool = False,
    progress: Callable[[str], None] = lambda _text: None,
) -> list[LongFigure]:
    """Take all figures; some two minutes, with the PDF longer.

    Args:
        procedures: Folder of the procedures.
        lines: Lines of each session.
        answers: Answers over which memory is watched.
        pdf: Also make the PDF.
        progress: Called with the name of each part of `parts` when it begins, and with what is done of the first.

    Raises:
        RecordProblem: The sessions cannot be written.
    """
    with tempfile.TemporaryDirectory(
        prefix="bay-assistant-bench-", dir=_SHARED if _SHARED.is_dir() else None
    ) as name:
        parent = Path(name)
        figures = [_memory(parent / "memory", procedures, answers, progress)]
        for day in Day:
            progress(f"{day}: recording")
            folder, taken = record(parent / day, procedures, day, lines)

            def tell(step: str, day: Day = day) -> None:
                progress(f"{day}: {step}")

            figures += _session(folder, f"{day}, {lines} lines, {taken} answers", pdf=pdf, tell=tell)
        return figures


def record(parent: Path, procedures: Path, day: Day, lines: int) -> tuple[Path, int]:
    """Record a long session; returns its folder and the number of its results.

    Raises:
        RecordProblem: It cannot be written.
    """
    with SessionLog.create(parent, Facts(order="4711"), procedures) as log:
        long = LongSession(*load_folder(log.procedures), log, day, thresholds=log.header.thresholds)
        long.begin()
        while log.lines < lines:
            long.act()
        return log.folder, long.answers


def _memory(parent: Path, procedures: Path, answers: int, progress: Callable[[str], None]) -> LongFigure:
    """Resident memory of dialogue, loop and record, by keys alone, from `WARM` answers on."""
    with SessionLog.create(parent, Facts(order="4711"), procedures) as log:
        long = LongSession(*load_folder(log.procedures), log, Day.KEYS, thresholds=log.header.thresholds)
        long.begin()
        first = highest = last = 0.0
        while long.answers < answers:
            before = long.answers
            long.act()
            if before == long.answers or long.answers % 100:
                continue
            progress(f"memory: {long.answers} of {answers} answers are done")
            if long.answers >= WARM:
                last = resident_mb()
                first = first or last
                highest = max(highest, last)
        return LongFigure(
            f"memory over {answers} answers ({log.lines} lines), from {WARM} on: growth, and highest",
            "10 MB",
            f"{last - first:.1f} MB ({first:.1f} to {last:.1f}), {highest:.1f} MB",
        )


def _session(folder: Path, about: str, *, pdf: bool, tell: Callable[[str], None]) -> list[LongFigure]:
    from assistant import writeup  # noqa: PLC0415  as a session does it, when it has ended

    found = []

    def timed(name: str, limit: str, *calls: Callable[[], object]) -> None:
        tell(name)
        elapsed, used = time.perf_counter(), time.process_time()
        for call in calls:
            call()
        took, cpu = time.perf_counter() - elapsed, time.process_time() - used
        found.append(LongFigure(f"{about}: {name}", limit, f"{took:.1f} s ({cpu:.1f} s of the processor)"))

    timed("read, and feed the dialogue (resume)", "3 s", lambda: resumed(folder))
    timed(
        "write-up, text and page",
        "10 s",
        lambda: writeup.write_text(folder),
        lambda: writeup.write_html(folder),
    )
    timed("write-up, JSON", "", lambda: writeup.write_json(folder))
    timed("verify", "", lambda: verify(folder))
    timed("replay", "", lambda: replay(folder))
    timed("list it, from the record", "", lambda: list_sessions(folder.parent))
    if pdf:
        timed(_PDF, "", lambda: writeup.write_pdf(folder))
    return found


def resumed(folder: Path) -> Runner:
    """The dialogue of a recorded session at the point where it stopped, as ``run --resume`` restores it."""
    session = read_session(folder)
    runner = Runner(*load_folder(folder / "procedures"), session.header.thresholds)
    for line in session.lines:
        runner.recall(line.event)
    return runner
