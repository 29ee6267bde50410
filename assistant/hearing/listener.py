"""Listening: an `Ear` on a thread of its own.

Sound and orders go through one queue in the order in which they happened: what was said before "pause" is heard,
what comes after is not.

A half-duplex session pauses the listener while the assistant speaks, so it never hears itself. With a headset it
listens meanwhile, and `assistant.hearing.own_voice` keeps the two apart.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from typing import TYPE_CHECKING, Protocol

from assistant.core.values.events import GearBack, GearLost
from assistant.errors import BayAssistantError

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.values.result import GrammarRequest
    from assistant.hearing.ear import Ear, Make
    from assistant.hearing.sound import Samples


class SoundSource(Protocol):
    """A source of sound: the microphone, or a stand-in."""

    def start(
        self,
        deliver: Callable[[Samples], None],
        lost: Callable[[str], None],
        back: Callable[[], None],
    ) -> None:
        """Begin; the three are then called on threads of the source and return at once.

        Raises:
            GearProblem: It cannot be opened.
        """

    def close(self) -> None:
        """Give the device back."""


_FAILURES = 3
"""So many failures of sound processing in one session are taken for accidents; then hearing stays off."""


class Listener:
    """An `Ear` on a thread of its own.

    Every failure in it becomes `GearLost`; the session goes on by keys.
    After `GearBack` it waits for a new request.

    Args:
        ear: The ear.
        source: The source of its sound.
        happened: Something for the dialogue, as in `Reports`.
        came: Called on the source's thread with the number of samples of each piece of sound.

    Raises:
        GearProblem: The source cannot be opened.
    """

    def __init__(
        self,
        ear: Ear,
        source: SoundSource,
        happened: Callable[[Make], None],
        came: Callable[[int], None] = lambda _count: None,
    ) -> None:
        self._came = came
        self._ear = ear
        self._source = source
        self._happened = happened
        self._orders: queue.SimpleQueue[Callable[[], None] | None] = queue.SimpleQueue()
        self._failures = 0
        self._thread = threading.Thread(target=self._run, name="listener", daemon=True)
        source.start(self._deliver, self._source_lost, self._source_back)
        self._thread.start()

    def listen(self, request: GrammarRequest) -> None:
        """Hear this from now on; anything half heard before is forgotten."""
        self._orders.put(lambda: self._ear.listen(request))

    def pause(self) -> None:
        """Hear nothing until told to; sound that comes from now on is dropped."""
        self._orders.put(self._ear.pause)

    def record_note(self, longest_s: float) -> None:
        """Keep free speech as sound."""
        self._orders.put(lambda: self._ear.record_note(longest_s))

    def end_note(self) -> None:
        """End the note now."""
        self._orders.put(self._ear.end_note)

    def close(self) -> None:
        """Give the microphone back and end the thread; safe to call twice."""
        with contextlib.suppress(Exception):
            self._source.close()
        self._orders.put(None)
        if self._thread is not threading.current_thread():
            self._thread.join(timeout=2.0)

    # --- from other threads ---

    def _deliver(self, samples: Samples) -> None:
        self._came(samples.size)
        self._orders.put(lambda: self._ear.feed(samples))

    def _source_lost(self, why: str) -> None:
        self._happened(lambda at: GearLost(at, "microphone", why))
        self._orders.put(self._ear.pause)

    def _source_back(self) -> None:
        self._happened(lambda at: GearBack(at, "microphone"))

    # --- on the thread ---

    def _run(self) -> None:
        while (order := self._orders.get()) is not None:
            if self._failures >= _FAILURES:
                continue
            try:
                order()
            except Exception as error:  # noqa: BLE001  hearing must never take the session down
                self._failed(error)

    def _failed(self, error: Exception) -> None:
        self._failures += 1
        if isinstance(error, BayAssistantError):
            why = str(error)
        else:
            why = f"Hearing failed ({type(error).__name__}: {error}). Use the keys."
        with contextlib.suppress(Exception):
            self._ear.pause()
        self._happened(lambda at: GearLost(at, "microphone", why))
        if self._failures < _FAILURES:
            self._happened(lambda at: GearBack(at, "microphone"))
