"""Stand-ins for gear that a session does without: no microphone, no loudspeaker."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from assistant.speaking.speech import SpokenSound
from assistant.speaking.voice import Voice

if TYPE_CHECKING:
    from collections.abc import Callable

    from assistant.core.values.result import GrammarRequest
    from assistant.session.settings import Gear


def silent_remarks(gear: Gear) -> tuple[str, ...]:
    """What the screen says first where a session by keys has to do without speech."""
    return (f"Nothing is spoken, so read the screen. {gear.why_silent}",) if gear.why_silent else ()


class NoEars:
    """A session without a microphone: keys only."""

    def listen(self, request: GrammarRequest) -> None:
        """There is nothing to listen with."""

    def pause(self) -> None:
        """Nothing to pause."""

    def record_note(self, longest_s: float) -> None:
        """Nothing to record with."""

    def end_note(self) -> None:
        """Nothing to end."""

    def close(self) -> None:
        """Nothing to give back."""


class NoVoice(Voice):
    """Renders nothing: for a session without a loudspeaker."""

    prepares = False

    def render(self, text: str) -> SpokenSound:
        """An empty utterance."""
        return SpokenSound(np.zeros(0, np.int16), 16000, text)


class NoSpeaker:
    """Plays nothing; every utterance has ended at once."""

    def play(self, speech: SpokenSound, on_finished: Callable[[bool], None]) -> None:  # noqa: ARG002
        """There is nothing to wait for."""
        on_finished(False)

    def cut(self) -> None:
        """Nothing is being said."""

    def close(self) -> None:
        """Nothing to give back."""
