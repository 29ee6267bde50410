"""The assistant's mouth: says texts, and has the next ones ready."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from assistant.core.values.result import GrammarRequest
    from assistant.session.foresight import Foresight
    from assistant.speaking.output import Output
    from assistant.speaking.voice import Voice


class Mouth:
    """Says texts: renders them and plays them.

    Args:
        voice: Renders speech.
        output: Plays it.
        foresight: Has what may be said next rendered ahead; None if nothing is.
        beside_ears: The microphone does not hear it, so that the session listens while it speaks.
    """

    def __init__(
        self, voice: Voice, output: Output, foresight: Foresight | None = None, *, beside_ears: bool = False
    ) -> None:
        self.beside_ears = beside_ears
        self._voice = voice
        self._output = output
        self._foresight = foresight

    def say(self, text: str, on_finished: Callable[[bool], None]) -> None:
        """Say this now, cutting what is being said; ``on_finished(cut)`` is called once, on any thread.

        Raises:
            GearProblem: The text cannot be rendered; nothing is called.
        """
        self._output.play(self._voice.render(text), on_finished)

    def cut(self) -> None:
        """Be quiet at once."""
        self._output.cut()

    def moved(
        self, now: float, speaking: int | None, request: GrammarRequest | None, timers: Iterable[str]
    ) -> None:
        """The dialogue has moved on; arguments as for `Foresight.moved`."""
        if self._foresight is not None:
            self._foresight.moved(now, speaking, request, timers)

    def look_ahead(self) -> bool:
        """Find and render a little of what may be said next; False if nothing is left to find."""
        return self._foresight is not None and self._foresight.look()
