"""Fills options that were not given from the environment and the settings."""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from assistant import places
from assistant.errors import UsageProblem
from assistant.preferences import keeping
from assistant.preferences.kinds import WholePath
from assistant.preferences.reading import SettingsFile
from assistant.preferences.resolving import ComesFrom, Resolved, resolve_all

if TYPE_CHECKING:
    import argparse

LAMPS = {"bulb": "filament", "led": "led"}
"""The kinds of lamp as the settings call them, with the names of the terms."""

_FOUND_ELSEWHERE = ("sessions", "procedures")
"""Folders that every command needs: `sessions_folder` and `shop_folder` read their settings themselves."""

_KEPT_BY_THE_SESSION = ("voice", "speech-rate", "technician")
"""What a resumed session knows by itself."""


@dataclass(frozen=True)
class Settled:
    """All settings with their values, and the technicians.

    Attributes:
        found: The settings by key.
        people: Names of technicians by their initials.
    """

    found: dict[str, Resolved]
    people: dict[str, str]

    def text(self, key: str) -> str:
        """A value as text; "" if there is none."""
        value = self.found[key].value
        return "" if value is None or value is False else str(value)

    def name_of(self, technician: str) -> str:
        """The name that belongs to these initials, in capitals or small letters; else what was given."""
        given = " ".join(technician.split())
        return {key.casefold(): name for key, name in self.people.items()}.get(given.casefold(), technician)

    def lamp(self) -> tuple[str, str]:
        """Kind of the test lamp by the terms' name, and its current in A; "" where it is not set."""
        return LAMPS.get(self.text("lamp.kind"), ""), self.text("lamp.current")


def settle(options: argparse.Namespace, *, resumed: bool = False) -> Settled:
    """Fill every option that was not given; a flag is then true or false.

    Args:
        options: The parsed options, which are changed; ``no_settings`` among them leaves the file out.
        resumed: Whether the session that goes on keeps its own voice and technician.

    Raises:
        FileProblem: The settings have a mistake.
        UsageProblem: A variable has a wrong value, or options about the board contradict each other.
    """
    written = SettingsFile("") if getattr(options, "no_settings", False) else keeping.load()
    written.check()
    settled = Settled(resolve_all(vars(options), os.environ, written), written.people())
    board = hasattr(options, "board")
    address = board and _board_was_meant(options)
    for key, one in settled.found.items():
        dest = one.setting.dest
        if not hasattr(options, dest or "-") or key in _FOUND_ELSEWHERE:
            continue
        if one.origin is ComesFrom.OPTION or (resumed and key in _KEPT_BY_THE_SESSION):
            continue
        says = one.origin is not ComesFrom.DEFAULT or one.value is False
        if says and getattr(options, dest) is None:
            setattr(options, dest, _value(one))
    if address and not options.board:
        raise UsageProblem("--board-address and --board-port belong to a board. Add --board.")
    return settled


def _value(one: Resolved) -> Any:
    if isinstance(one.setting.kind, WholePath):
        return places.expanded(str(one.value), one.place)
    return one.value


def _board_was_meant(options: argparse.Namespace) -> bool:
    """Turn the board on if an option means one; whether an option belongs to one that is on."""
    means = [name for name in ("watch", "cert") if getattr(options, f"board_{name}")]
    if options.board is False and means:
        raise UsageProblem(f"--no-board and --board-{means[0]} exclude each other. Leave one of them out.")
    if options.board is None and means:
        options.board = True
    return bool(options.board_address or options.board_port)
