"""The folder of procedures in use: the shop's own one, or the bundled one; and the grammars that go with it."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

from assistant import resources
from assistant.core.comparison.versions import GRAMMARS
from assistant.errors import UsageProblem
from assistant.places import expanded, settings_file
from assistant.preferences.known import KNOWN

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

VARIABLE = KNOWN["procedures"].variable
"""Environment variable that names the shop's folder."""

BUNDLED = "bundled"
"""Word for the bundled procedures, where a folder of one's own is set and not wanted."""


def shop_folder(
    given: Path | None = None, environment: Mapping[str, str] = os.environ, *, heeding: bool = True
) -> Path | None:
    """The shop's own folder of procedures; None if the bundled ones are used.

    The first that says something counts: the option, then the variable, then the file of settings.
    The word `BUNDLED` in the first two stands for the bundled ones; a folder of that name is written ``./bundled``.

    Args:
        given: The value of ``--procedures``; None if it was not given.
        environment: The variables.
        heeding: Whether the file of settings counts.

    Raises:
        UsageProblem: What the variable or the settings name is no folder, or cannot be a path.
        FileProblem: The settings do not tell it because of a mistake.
    """
    option = str(given or "")
    if option:
        return None if option == BUNDLED else expanded(option, "--procedures")
    source, named = VARIABLE, environment.get(VARIABLE, "")
    if not named and heeding:
        source, named = _setting()
    if named in ("", BUNDLED):
        return None
    folder = expanded(named, source)
    if not folder.is_dir():
        raise UsageProblem(
            f"{source} names {folder}, which is no folder. Put it right, or take the bundled procedures: "
            f"--procedures {BUNDLED}."
        )
    return folder


def _setting() -> tuple[str, str]:
    """Place and value in the file of settings; two empty texts without one."""
    if not settings_file().exists():
        return "", ""
    from assistant.preferences import keeping  # noqa: PLC0415  most machines have no such file

    written = keeping.load()
    written.check_key("procedures")
    value = str(written.values.get("procedures", ""))
    return (f"{written.path}:{written.lines['procedures']}", value) if value else ("", "")


def procedures_in_use(
    given: Path | None = None, environment: Mapping[str, str] = os.environ, *, heeding: bool = True
) -> Path:
    """The shop's own folder of procedures, or the bundled one; arguments and errors as for `shop_folder`."""
    return shop_folder(given, environment, heeding=heeding) or resources.directory("procedures")


def grammars_in_use(given: Path | None, procedures: Path | None) -> Path:
    """The grammars that were named, else those that a folder of procedures has for itself, else the bundled ones.

    Args:
        given: The value of ``--grammars``; None if it was not given.
        procedures: The shop's own folder of procedures; None for the bundled one.
    """
    own = procedures / GRAMMARS if procedures is not None else None
    return given or (own if own is not None and own.is_dir() else resources.directory("grammars"))
