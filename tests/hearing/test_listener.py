"""An ear on a thread of its own: orders and sound in their order, and failures that become lost gear."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator

import numpy as np
import pytest
from heard_sounds import GRAMMARS, LAMP, noise, sound

from assistant.core.values.events import (
    Clip,
    Event,
    GearBack,
    GearLost,
    Heard,
    Interrupted,
)
from assistant.core.values.result import GrammarRequest
from assistant.hearing.ear import Ear, Make, Reports
from assistant.hearing.listener import Listener
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing.sound import RATE, Samples


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    return Recogniser(find_model())


class Tap:
    """A source that a test turns."""

    def __init__(self) -> None:
        self.closed = False

    def start(
        self, deliver: Callable[[Samples], None], lost: Callable[[str], None], back: Callable[[], None]
    ) -> None:
        self.deliver, self.lost, self.back = deliver, lost, back

    def close(self) -> None:
        self.closed = True


class Waiting:
    """Keeps events and lets a test wait for their number."""

    def __init__(self) -> None:
        self.events: list[Event] = []
        self._condition = threading.Condition()

    def happened(self, make: Make) -> None:
        with self._condition:
            self.events.append(make(0.0))
            self._condition.notify_all()

    def wait_for(self, count: int) -> list[Event]:
        with self._condition:
            assert self._condition.wait_for(lambda: len(self.events) >= count, timeout=20)
            return list(self.events)


Threaded = tuple[Listener, Tap, Waiting]


@pytest.fixture
def threaded(recogniser: Recogniser) -> Iterator[Threaded]:
    tap, waiting = Tap(), Waiting()
    reports = Reports(waiting.happened, keep_clip=lambda samples: Clip("x", "", samples.size / RATE))
    listener = Listener(Ear(recogniser, GRAMMARS.request, reports), tap, waiting.happened)
    yield listener, tap, waiting
    listener.close()
    assert tap.closed


def test_orders_and_sound_keep_their_order(threaded: Threaded) -> None:
    """Words said before the pause are heard although the thread is late; later ones are not."""
    listener, tap, waiting = threaded
    listener.listen(LAMP)
    tap.deliver(np.concatenate([sound("feed-lit"), noise(1.0, -40)]))
    listener.pause()
    tap.deliver(sound("dark"))
    listener.listen(LAMP)
    tap.deliver(sound("say-again"))
    words = [event.words for event in waiting.wait_for(2) if isinstance(event, Heard)]
    assert ["feed lit", "say again"] == words


def test_a_lost_microphone_is_told_and_listening_goes_on_after(threaded: Threaded) -> None:
    """GearLost, then GearBack; half an utterance from before is no answer, the next one is heard."""
    listener, tap, waiting = threaded
    listener.listen(LAMP)
    tap.deliver(sound("dark")[: round(0.9 * RATE)])
    tap.lost("Its plug is out.")
    tap.back()
    listener.listen(LAMP)
    tap.deliver(np.concatenate([noise(1.0, -40), sound("dark")]))
    lost, back, half, heard = waiting.wait_for(4)
    assert isinstance(half, Interrupted)
    assert GearLost(0.0, "microphone", "Its plug is out.") == lost
    assert GearBack(0.0, "microphone") == back
    assert isinstance(heard, Heard)


def test_a_failure_becomes_gear_lost(threaded: Threaded, monkeypatch: pytest.MonkeyPatch) -> None:
    """An exception in sound processing is told in a sentence, recovered from twice, and then hearing stays off."""
    listener, tap, waiting = threaded

    def broken(samples: Samples) -> None:
        raise ZeroDivisionError("no chunk")

    monkeypatch.setattr(listener._ear, "feed", broken)
    listener.listen(LAMP)
    for _ in range(6):
        tap.deliver(np.zeros(512, np.int16))
    told = waiting.wait_for(5)
    listener.close()
    assert [GearLost, GearBack, GearLost, GearBack, GearLost] == [type(event) for event in waiting.events]
    assert all("ZeroDivisionError" in event.why for event in told if isinstance(event, GearLost))


def test_a_request_that_cannot_be_heard_is_gear_lost(threaded: Threaded) -> None:
    """An outcome for which there is no phrase does not end the thread."""
    listener, tap, waiting = threaded
    listener.listen(GrammarRequest(outcomes=("purple",)))
    listener.listen(LAMP)
    tap.deliver(np.concatenate([sound("dark"), noise(1.0, -40)]))
    lost, _back, heard = waiting.wait_for(3)
    assert isinstance(lost, GearLost)
    assert "purple" in lost.why
    assert isinstance(heard, Heard)
