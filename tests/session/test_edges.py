"""Gear of a live session: opened before it is needed, and its loss told to the session."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from typing import cast

import numpy as np
import pytest

from assistant.core.values.events import Event, GearBack, GearLost
from assistant.hearing.sound import Samples
from assistant.record.header import SpokenBy
from assistant.session.edges import GearNews, OpenedMicrophone, open_gear, open_voice
from assistant.session.loop import Session
from assistant.session.settings import Gear
from assistant.session.silent import NoSpeaker, NoVoice


class Told:
    """Stands in for a session: keeps what it is told."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self.closed: list[str] = []

    def happened(self, make: Callable[[float], Event]) -> None:
        self.events.append(make(1.0))

    def post(self, call: Callable[[], None]) -> None:
        call()

    def close(self, why: str) -> None:
        self.closed.append(why)


@pytest.mark.parametrize("keys_only", [False, True])
def test_a_session_by_keys_alone_ends_with_its_keys(keys_only: bool) -> None:
    """Other gear is lost and comes back; lost keys close a session that has no microphone."""
    news, session = GearNews(keys_only=keys_only), Told()
    news.lost("speaker", "before the session")
    news.session = cast("Session", session)
    news.lost("speaker", "unplugged")
    news.back("speaker")
    news.lost("keys", "the terminal is gone")
    lost, back = GearLost(1.0, "speaker", "unplugged"), GearBack(1.0, "speaker")
    if keys_only:
        assert session.events == [lost, back]
        assert session.closed == ["no more keys can come, and there is no microphone"]
    else:
        assert session.events == [lost, back, GearLost(1.0, "keys", "the terminal is gone")]
        assert session.closed == []


class Tap:
    """A source of sound that a test turns."""

    def start(
        self, deliver: Callable[[Samples], None], lost: Callable[[str], None], back: Callable[[], None]
    ) -> None:
        self.deliver, self.lost, self.back = deliver, lost, back

    def close(self) -> None:
        self.closed = True


def test_a_loss_before_anybody_listens_is_told_later() -> None:
    """Sound before the listener is dropped; a loss before it is told when it starts, unless it is over by then."""
    tap, heard, losses, backs = Tap(), list[int](), list[str](), list[str]()
    microphone = OpenedMicrophone(tap)
    tap.deliver(np.zeros(5, np.int16))
    tap.lost("muted")
    microphone.start(lambda samples: heard.append(samples.size), losses.append, lambda: backs.append("back"))
    assert (heard, losses) == ([], ["muted"])
    tap.back()
    tap.deliver(np.zeros(7, np.int16))
    assert (heard, backs) == ([7], ["back"])
    later = list[str]()
    again = OpenedMicrophone(tap)
    tap.lost("unplugged")
    tap.back()
    again.start(lambda _samples: None, later.append, lambda: None)
    assert later == []


def test_a_session_without_gear_opens_none() -> None:
    """Keys only and silent: stand-ins for voice and loudspeaker, and no microphone."""
    with ExitStack() as closing:
        gear = Gear(keys_only=True, silent=True)
        output, microphone = open_gear(gear, GearNews(keys_only=True), closing)
    assert isinstance(open_voice(gear, SpokenBy()), NoVoice)
    assert isinstance(output, NoSpeaker)
    assert microphone is None
