"""The scenario of a demonstration: an invented job, and the words and keys of the person in it."""

from __future__ import annotations

import dataclasses
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assistant import files
from assistant.core.dialogue.states import State
from assistant.errors import FileProblem
from assistant.record import Facts

SCENARIO = "demo.json"
"""Name of the bundled scenario, beside the sounds that it plays."""

THINKS_S = 0.8
"""Pause of the played person before an answer, s, unless a turn gives another."""

LONGEST_THOUGHT_S = 600.0
"""Longest time before a turn that a scenario may give, s: ten minutes, as long as the longest sound file."""

_KEYS = ("point", "minus", "plus", "star", "slash", "enter", "erase", "stop", "note", "close", "why")


@dataclass(frozen=True)
class PlayedTurn:
    """One thing that the played person does.

    Attributes:
        when: States of the dialogue in which it is done.
        after_s: Pause after the assistant has begun to listen, s.
        play: Sound for the microphone; None for a turn with keys.
        keys: Keys that are pressed.
        once: The person does not repeat these words if the assistant talks over them; other turns are repeated.
    """

    when: frozenset[State]
    after_s: float
    play: Path | None
    keys: tuple[str, ...]
    once: bool


@dataclass(frozen=True)
class Scenario:
    """An invented job, and the turns of the person in it."""

    procedure: str
    facts: Facts
    turns: tuple[PlayedTurn, ...]


def read_scenario(path: Path) -> Scenario:
    """A scenario from its JSON file; sounds are looked for beside it.

    Raises:
        FileProblem: It is not JSON, or a part is missing or unknown.
    """
    try:
        data = json.loads(files.read_text(path, files.SETTINGS))
    except OSError as error:
        raise FileProblem(path, 0, f"the scenario cannot be read ({error.strerror})") from error
    except (ValueError, RecursionError) as error:
        raise FileProblem(
            path, getattr(error, "lineno", 0), "this is not JSON", "Write one object"
        ) from error
    if not isinstance(data, dict) or not set(data) - {"about"} == {"procedure", "facts", "turns"}:
        raise FileProblem(
            path,
            0,
            "the scenario is not an object with procedure, facts and turns",
            "Give these, and nothing else but about",
        )
    facts, known = data["facts"], [part.name for part in dataclasses.fields(Facts)]
    if not isinstance(facts, dict) or not all(
        name in known and isinstance(text, str) for name, text in facts.items()
    ):
        raise FileProblem(
            path, 0, "the facts are not as they should be", f"They are texts: {', '.join(known)}"
        )
    if not isinstance(data["turns"], list):
        raise FileProblem(path, 0, "the turns are not a list", "Write them as [ {…}, {…} ]")
    turns = tuple(_turn(path, number, item) for number, item in enumerate(data["turns"], start=1))
    return Scenario(str(data["procedure"]), Facts(**facts), turns)


def _turn(path: Path, number: int, item: Any) -> PlayedTurn:
    if (
        not isinstance(item, dict)
        or set(item) - {"when", "after_s", "play", "keys", "once"}
        or "when" not in item
        or ("play" in item) == ("keys" in item)
    ):
        raise FileProblem(
            path,
            0,
            f"turn {number} needs 'when' and either 'play' or 'keys'",
            "Nothing else but after_s and once",
        )
    for name in ("when", "keys"):
        if not isinstance(item.get(name, []), list):
            raise FileProblem(path, 0, f"turn {number}: '{name}' is not a list", "Write it as [ …, … ]")
    try:
        when = frozenset(State(name) for name in item["when"])
    except ValueError as error:
        known = ", ".join(state.value for state in State)
        raise FileProblem(path, 0, f"turn {number}: {error}", f"States are: {known}") from error
    after_s = item.get("after_s", THINKS_S)
    if (
        isinstance(after_s, bool)
        or not isinstance(after_s, int | float)
        or not 0 <= after_s < LONGEST_THOUGHT_S
    ):
        raise FileProblem(
            path, 0, f"turn {number} has after_s {after_s!r}", f"Seconds from 0 to {LONGEST_THOUGHT_S:g}"
        )
    keys = tuple(str(key) for key in item.get("keys", ()))
    for key in keys:
        if key not in _KEYS and not (len(key) == 1 and key.isdigit()):
            raise FileProblem(
                path, 0, f"turn {number} has the key '{key}'", f"Keys are digits and {', '.join(_KEYS)}"
            )
    play = path.parent / str(item["play"]) if "play" in item else None
    if play is not None and not play.is_file():
        raise FileProblem(path, 0, f"turn {number} plays '{item['play']}', which is not there")
    return PlayedTurn(when, float(after_s), play, keys, item.get("once") is True)
