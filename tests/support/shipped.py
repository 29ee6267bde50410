"""The shipped procedures, read once for all tests of a process: they are frozen values."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

from assistant.loading.folder import load_folder
from assistant.resources import directory

if TYPE_CHECKING:
    from assistant.core.library.library import Library
    from assistant.core.reasoning.knowledge import Knowledge


@cache
def shipped_folder() -> tuple[Library, Knowledge | None]:
    """The procedures, and what their results are weighed with."""
    return load_folder(directory("procedures"))


def shipped_library() -> Library:
    """The procedures."""
    return shipped_folder()[0]
