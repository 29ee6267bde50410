"""The folder of procedures in use: the shop's own one, or the bundled one; and the grammars that go with it."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from assistant import resources
from assistant.core.comparison.versions import GRAMMARS
from assistant.errors import UsageProblem
from assistant.places import expanded

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

VARIABLE = "BAY_ASSISTANT_PROCEDURES"
"""Environment variable that names the shop's folder."""

BUNDLED = "bundled"
"""Word for the bundled procedures, where a folder of one's own is set and not wanted."""


def shop_folder(given: Path | None = None, environment: Mapping[str, str] = os.environ) -> Path | None:
    """The shop's own folder of procedures; None if the bundled ones are used.

    The first that says something counts: the option, then the variable.
    The word `BUNDLED` in any of them stands for the bundled ones; a folder of that name is written ``./bundled``.

    Args:
        given: The value of ``--procedures``; None if it was not given.
        environment: The variables.

    Raises:
        UsageProblem: What the variable names is no folder, or cannot be a path.
    """
    sources = (
        ("--procedures", str(given or "")),
        (VARIABLE, environment.get(VARIABLE, "")),
    )
    source, named = next(((source, text) for source, text in sources if text), ("", BUNDLED))
    if named == BUNDLED:
        return None
    folder = expanded(named, source)
    if source != "--procedures" and not folder.is_dir():
        raise UsageProblem(
            f"{source} names {folder}, which is no folder. Put it right, or take the bundled procedures: "
            f"--procedures {BUNDLED}."
        )
    return folder


def procedures_in_use(given: Path | None = None, environment: Mapping[str, str] = os.environ) -> Path:
    """The shop's own folder of procedures, or the bundled one; arguments and errors as for `shop_folder`."""
    return shop_folder(given, environment) or resources.directory("procedures")


def grammars_in_use(given: Path | None, procedures: Path | None) -> Path:
    """The grammars that were named, else those that a folder of procedures has for itself, else the bundled ones.

    Args:
        given: The value of ``--grammars``; None if it was not given.
        procedures: The shop's own folder of procedures; None for the bundled one.
    """
    own = procedures / GRAMMARS if procedures is not None else None
    return given or (own if own is not None and own.is_dir() else resources.directory("grammars"))
