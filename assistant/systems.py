"""The systems that the program runs on: Linux, and macOS as far as it can be told without one. Windows is refused.

This module must be importable on every system, so it imports nothing that only some of them have.
"""

from __future__ import annotations

_WINDOWS = (
    "bay-assistant does not run on Windows, because its record needs locks, private files and folders written through "
    "to the disk as only Linux and macOS have them: use it on one of those."
)


def refusal(platform: str) -> str:
    """Why the program does not run here, in one sentence; "" where it does.

    Args:
        platform: As `sys.platform`.
    """
    return _WINDOWS if platform == "win32" else ""
