"""Opens microphone and loudspeaker for a session, and tells the session when they are lost and back."""

from __future__ import annotations

import functools
import threading
from typing import TYPE_CHECKING

from assistant.core.values.events import GearBack, GearLost
from assistant.session.silent import NoSpeaker, NoVoice
from assistant.speaking import DEFAULT_RATE
from assistant.speaking.naming import HEART
from assistant.speaking.played import PlayedSound
from assistant.speaking.player import Player
from assistant.speaking.sound_server import device_for
from assistant.speaking.voice import Voice

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import ExitStack

    from assistant.hearing.listener import SoundSource
    from assistant.hearing.sound import Samples
    from assistant.record.header import SpokenBy
    from assistant.session.loop import Session
    from assistant.session.settings import Gear
    from assistant.speaking.output import Output


class GearNews:
    """Tells the session that gear was lost or is back; says nothing before there is a session.

    Args:
        keys_only: There is no microphone, so a session without keys cannot go on.

    Attributes:
        session: The session; None before there is one.
    """

    def __init__(self, *, keys_only: bool) -> None:
        self.session: Session | None = None
        self._keys_only = keys_only

    def lost(self, gear: str, why: str) -> None:
        """This gear stopped working; safe from any thread."""
        session = self.session
        if session is None:
            return
        if gear == "keys" and self._keys_only:
            session.post(lambda: session.close("no more keys can come, and there is no microphone"))
        else:
            session.happened(functools.partial(GearLost, gear=gear, why=why))

    def back(self, gear: str) -> None:
        """This gear works again; safe from any thread."""
        if self.session is not None:
            self.session.happened(functools.partial(GearBack, gear=gear))


class OpenedMicrophone:
    """A microphone that opens before anything listens, so that a missing one is refused before a session is made.

    Attributes:
        played: What the loudspeaker was given, for a microphone that listens meanwhile; else None.
        beside: Also gets all of its sound, whatever the listener does with it; returns at once.
    """

    def __init__(self, source: SoundSource, played: PlayedSound | None = None) -> None:
        self._source = source
        self.played = played
        self._listener: tuple[Callable[[Samples], None], Callable[[str], None], Callable[[], None]] | None = (
            None
        )
        self._why: str | None = None
        self._telling = threading.Lock()
        self.beside: Callable[[Samples], None] | None = None
        source.start(self._deliver, self._lost, self._back)

    def start(
        self,
        deliver: Callable[[Samples], None],
        lost: Callable[[str], None],
        back: Callable[[], None],
    ) -> None:
        """Send its sound there from now on; report a loss that came before."""
        with self._telling:
            self._listener = (deliver, lost, back)
            if self._why is not None:
                lost(self._why)

    def _deliver(self, samples: Samples) -> None:
        if self._listener is not None:
            self._listener[0](samples)
        if self.beside is not None:
            self.beside(samples)

    def _lost(self, why: str) -> None:
        with self._telling:
            self._why = why
            if self._listener is not None:
                self._listener[1](why)

    def _back(self) -> None:
        with self._telling:
            self._why = None
            if self._listener is not None:
                self._listener[2]()

    def close(self) -> None:
        """Give the device back."""
        self._source.close()


def _played(wanted: Gear) -> PlayedSound | None:
    """The sound that the loudspeaker plays, kept only if the microphone listens at the same time and may hear it."""
    if not wanted.headset or wanted.silent or wanted.keys_only:
        return None
    from assistant.hearing.sound import RATE  # noqa: PLC0415  a session by keys needs none of it

    return PlayedSound(RATE)


def open_gear(wanted: Gear, news: GearNews, closing: ExitStack) -> tuple[Output, OpenedMicrophone | None]:
    """Open loudspeaker and microphone, each unless the session does without.

    Args:
        wanted: Which ones.
        news: Tells the session when one is lost or back.
        closing: Closes them at the end.

    Returns:
        The output of speech, and the microphone (None for a session by keys alone).

    Raises:
        GearProblem: One of them cannot be opened.
    """
    output: Output = NoSpeaker()
    player: Player | None = None
    played = _played(wanted)
    if not wanted.silent:
        output = player = Player(
            device_for(wanted.speaker, "output"),
            on_gear_lost=lambda why: news.lost("speaker", why),
            on_gear_back=lambda: news.back("speaker"),
            on_played=played.hand_over if played is not None else None,
        )
    closing.callback(output.close)
    microphone = None
    if not wanted.keys_only:
        from assistant.hearing.microphone import Microphone  # noqa: PLC0415  a session by keys needs none of it

        microphone = OpenedMicrophone(
            Microphone(
                device_for(wanted.microphone, "input"),
                own_voice=lambda: player is not None and player.speaking,
            ),
            played,
        )
        closing.callback(microphone.close)
    return output, microphone


def open_voice(wanted: Gear, before: SpokenBy) -> Voice:
    """The voice that is wanted, or as before; one that speaks by eSpeak NG has proved that it can.

    Args:
        wanted: The gear of the session.
        before: The voice of the session that is resumed.

    Raises:
        GearProblem: There is no such voice.
    """
    if wanted.silent:
        return NoVoice()
    voice = Voice(wanted.speech_rate or before.rate or DEFAULT_RATE, wanted.voice or before.voice or None)
    if voice.voice_name != HEART:
        voice.render("Ready.")
    return voice
