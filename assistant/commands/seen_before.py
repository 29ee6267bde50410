"""What an earlier session of the same order or car knows: proposed in one line by `run`, never taken silently.

Only facts that stay with the car; what is measured, the complaint and the odometer are of their own day.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from assistant.errors import BayAssistantError
from assistant.printing import in_line
from assistant.record.index import find_sessions
from assistant.record.searching import Wanted

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from assistant.record import Facts

OF_THE_CAR = {
    "vin": "VIN {}",
    "vehicle": "{}",
    "cylinders": "{} cylinders",
    "crank_longest": "cranks {} s at most",
    "crank_rest": "waits {} s between cranks",
}
"""The facts that stay with a car, in the words of the question."""

_YES = ("y", "yes")


def known_before(facts: Facts, parent: Path) -> tuple[Facts, str]:
    """The facts with those that earlier sessions of the same VIN, or else the same order, add; and the day of the
    latest of these sessions.

    Nothing is added ("" for the day) if neither is given, nothing is missing, or the sessions tell of several cars.

    Args:
        facts: The facts of the new session.
        parent: Folder of all sessions; it need not exist.
    """
    if not (facts.vin or facts.order):
        return facts, ""
    wanted = Wanted(vin=facts.vin) if facts.vin else Wanted(order=facts.order)
    try:
        found = [one for one in find_sessions(parent, wanted).summaries if not one.problem and one.day]
    except BayAssistantError:
        return facts, ""  # a session begins without what a damaged folder would tell
    if len({one.facts.vin for one in found if one.facts.vin}) > 1:
        return facts, ""
    known = {name: next(filter(None, (getattr(one.facts, name) for one in found)), "") for name in OF_THE_CAR}
    added = {name: value for name, value in known.items() if value and not getattr(facts, name)}
    return (replace(facts, **added), str(found[0].day)) if added else (facts, "")


def proposed(facts: Facts, parent: Path, typed: Callable[[str], str | None]) -> Facts:
    """The facts with those of an earlier session, if the person says that it is the same car.

    Args:
        facts: The facts of the new session.
        parent: Folder of all sessions.
        typed: Shows a question and gives the answer; None at the end of the input.
    """
    more, day = known_before(facts, parent)
    if not day:
        return facts
    added = [
        words.format(getattr(more, name))
        for name, words in OF_THE_CAR.items()
        if getattr(more, name) != getattr(facts, name)
    ]
    which = f"VIN {facts.vin}" if facts.vin else f"Order {facts.order}"
    answer = typed(in_line(f"{which} was here on {day}: {', '.join(added)}. The same car? (y/n) "))
    return more if (answer or "").strip().casefold() in _YES else facts
