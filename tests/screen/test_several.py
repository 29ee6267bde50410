"""Several screens show the same session."""

from __future__ import annotations

import inspect
from typing import Any

from assistant.core.values.board import Board
from assistant.screen.several import SeveralScreens
from assistant.screen.terminal import Screen


class Noted:
    """A screen that notes what it was asked to show."""

    def __init__(self) -> None:
        self.calls: list[tuple[Any, ...]] = []

    def __getattr__(self, name: str) -> Any:
        return lambda *given, **named: self.calls.append((name, given, tuple(named.items())))


def test_each_screen_is_shown_everything_in_the_same_order() -> None:
    """What a session shows on its terminal is on the board as well, and the other way round."""
    first, second = Noted(), Noted()
    both = SeveralScreens(first, second)  # type: ignore[arg-type]
    both.show(Board(headline="FEED SIDE"), 1.0)
    both.level(-30.0)  # type: ignore[arg-type]
    both.says("Crank it.", 2.0)
    both.heard("feed lit", 3.0, understood=False)
    both.key("enter", 4.0)
    both.notice("Sound off.", 5.0)
    both.redraw()
    both.close()
    asked = [name for name, _ in inspect.getmembers(Screen, inspect.isfunction) if not name.startswith("_")]
    assert sorted(asked) == sorted(name for name, *_ in first.calls)
    assert first.calls == second.calls
