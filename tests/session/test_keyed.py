"""The keys of a session: from the terminal, and from a number pad of its own."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from contextlib import ExitStack
from types import SimpleNamespace
from typing import cast

import pytest

from assistant.core.values.events import Event, GearBack, GearLost
from assistant.errors import GearProblem
from assistant.keys.device_pad import DevicePad, PadTold
from assistant.session.edges import GearNews
from assistant.session.keyed import NUMBER_PAD, open_keys, open_pad
from assistant.session.loop import Session


class Told:
    """Stands in for a session: keeps what it is told."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self.keys: list[str] = []
        self.remarks: list[str] = []
        self.closed: list[str] = []

    def press(self, key: str) -> None:
        self.keys.append(key)

    def tell(self, text: str) -> None:
        self.remarks.append(text)

    def happened(self, make: Callable[[float], Event]) -> None:
        self.events.append(make(1.0))

    def post(self, call: Callable[[], None]) -> None:
        call()

    def close(self, why: str) -> None:
        self.closed.append(why)


class Pad:
    """Stands in for a pad: a test calls what it reports."""

    def start(self, told: PadTold) -> None:
        self.told = told


@pytest.fixture
def piped(monkeypatch: pytest.MonkeyPatch) -> int:
    """Standard input is a pipe; its other end."""
    reading, writing = os.pipe()
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(fileno=lambda: reading))
    return writing


@pytest.mark.parametrize("stdin", [True, False])
def test_a_pad_that_is_unplugged_does_not_close_a_session_by_keys(
    piped: int, monkeypatch: pytest.MonkeyPatch, stdin: bool
) -> None:
    """With a pad, neither its loss nor the end of the terminal closes the session; what it presses and says arrives."""
    if not stdin:
        monkeypatch.setattr(sys, "stdin", None)
    session, news, pad = Told(), GearNews(keys_only=True), Pad()
    news.session = cast("Session", session)
    with ExitStack() as closing:
        open_keys(cast("DevicePad", pad), cast("Session", session), news, closing)
        os.close(piped)
        pad.told.post("7")
        pad.told.lost("unplugged")
        pad.told.remark("no leave")
        pad.told.back()
    assert (["7"], ["no leave"], []) == (session.keys, session.remarks, session.closed)
    assert [GearLost(1.0, NUMBER_PAD, "unplugged"), GearBack(1.0, NUMBER_PAD)] == session.events


def test_without_a_pad_the_terminal_is_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """No standard input is refused without a pad; a pad is looked for on Linux only."""
    with ExitStack() as closing:
        assert open_pad(None, closing) is None
        monkeypatch.setattr(sys, "stdin", None)
        with pytest.raises(GearProblem, match="standard input is closed"):
            open_pad(None, closing)
        monkeypatch.setattr(sys, "platform", "darwin")
        with pytest.raises(GearProblem, match="Only Linux"):
            open_pad("pad", closing)
