"""Rendering ahead, in the background."""

from __future__ import annotations

import gc
import threading
import weakref

from assistant.errors import GearProblem
from assistant.speaking.preparing import Preparing


def test_what_was_asked_for_before_is_dropped() -> None:
    """When the step moves on, only the text in work is finished; the others give way to the new ones."""
    rendered: list[str] = []
    begun, go_on = threading.Event(), threading.Event()

    def render(text: str) -> None:
        begun.set()
        assert go_on.wait(timeout=20)
        rendered.append(text)

    preparing = Preparing(render)
    stale = preparing.ask(["one", "two", "three"])
    assert begun.wait(timeout=20)
    fresh = preparing.ask(["four", "five", "four"])
    assert stale.result(timeout=20) is False
    go_on.set()
    assert fresh.result(timeout=20) is True
    assert rendered == ["one", "four", "five"]


def test_a_text_that_cannot_be_rendered_holds_up_no_other() -> None:
    """Its problem is told to whoever needs it, not here."""
    rendered: list[str] = []

    def render(text: str) -> None:
        if text == "bad":
            raise GearProblem("No.")
        rendered.append(text)

    preparing = Preparing(render)
    assert preparing.ask(["bad", "good"]).result(timeout=20)
    assert preparing.ask([]).result(timeout=20)
    assert rendered == ["good"]


def test_nothing_stays_behind_when_all_is_rendered() -> None:
    """A voice that is not used any more, and the sound it holds, can go: no thread keeps it."""

    class Holder:
        def render(self, _text: str) -> None:
            pass

    holder = Holder()
    gone = weakref.ref(holder)
    preparing = Preparing(holder.render)
    assert preparing.ask(["one"]).result(timeout=20)
    for thread in threading.enumerate():
        if thread.name == "voice-prepare":
            thread.join(timeout=20)
    del holder, preparing
    gc.collect()
    assert gone() is None
