"""All attacks by name, in the order in which they are made.

Each is a module with `NAME`, `FULL` (tries of a full run), `QUICK` (tries of the ordinary test run) and
``attack(plan) -> Outcome``.
"""

from __future__ import annotations

from typing import Protocol

import kills
import sound_kills
from harness import Outcome, Plan


class Attack(Protocol):
    """What a module of an attack has."""

    NAME: str
    FULL: int
    QUICK: int

    def attack(self, plan: Plan) -> Outcome:
        """Make the tries."""


ATTACKS: dict[str, Attack] = {module.NAME: module for module in (kills, sound_kills)}
