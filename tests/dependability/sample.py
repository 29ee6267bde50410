"""A short sealed session with a clip, a signed review and a later one, to be altered bit by bit."""

from __future__ import annotations

import shutil
from pathlib import Path

from sample_log import begin, record, ticking

from assistant.record import add_review


def short_session(parent: Path) -> Path:
    """Make it in a folder, in place of what was made there before; its name is always the same."""
    shutil.rmtree(parent / "sessions", ignore_errors=True)
    with begin(parent) as log:
        record(log)
        log.seal()
    now = ticking()
    add_review(
        log.folder, reviewer="J. Okoye", done="Mended the control wire.", found=("control-wire-open",),
        sign="Write-up as it was looked at.\n", now=now,
    )  # fmt: skip
    add_review(log.folder, reviewer="J. Okoye", remarks="Came back for the bill.", now=now)
    return log.folder
