"""The settings of a live session, as the command line gives them."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from assistant.core.values.witness import Witness
from assistant.record import Facts
from assistant.record.header import Shop


@dataclass(frozen=True)
class BoardOptions:
    """How a session serves its board.

    Attributes:
        watch: There is a second address for those who only watch.
        certificate: PEM file with a certificate and its key; None for plain HTTP.
        address: Name or address under which tablets reach this machine; "" for the one of its network.
        port: Port; 0 for the usual one, or a free one if that is taken.
    """

    watch: bool = False
    certificate: Path | None = None
    address: str = ""
    port: int = 0


@dataclass(frozen=True)
class Perceiving:
    """What perceives in place of the technician.

    Attributes:
        meter: Meter that reports by itself, as sigrok names its driver; None for none.
        clamp_scope: Clamp on a scope that captures the ramp of a current, as `ClampSpec` reads it; None for none.
        hear_starter: The microphone listens for the starter, too.
    """

    meter: str | None = None
    clamp_scope: str | None = None
    hear_starter: bool = True


@dataclass(frozen=True)
class Gear:
    """Microphone, loudspeaker, screen and keys.

    Attributes:
        microphone: Input device; None for the system's.
        speaker: Output device; None for the system's.
        headset: Listen while speaking.
        keys_only: No microphone.
        silent: No loudspeaker.
        plain: A line for each thing said instead of a drawn screen.
        voice: Name of the voice; None for that of the session that is resumed, or the default.
        speech_rate: Speaking rate, words a minute; None as for the voice.
        pad: Number pad that is read without the terminal, as it was named; None for the terminal alone.
        why_silent: Why there is no loudspeaker though nobody asked for that; "" otherwise.
        perceiving: What perceives in place of the technician.
    """

    microphone: str | None = None
    speaker: str | None = None
    headset: bool = False
    keys_only: bool = False
    silent: bool = False
    plain: bool = False
    voice: str | None = None
    speech_rate: int | None = None
    pad: str | None = None
    why_silent: str = ""
    perceiving: Perceiving = field(default_factory=Perceiving)

    def left_out(self) -> tuple[str, ...]:
        """Gear that the session is started without on purpose."""
        return (*(("speaker",) if self.silent else ()), *(("microphone",) if self.keys_only else ()))

    def witnesses(self) -> tuple[Witness, ...]:
        """What perceives in place of the technician."""
        there = self.perceiving
        ear = (Witness.EAR,) if there.hear_starter and not self.keys_only else ()
        meter = (Witness.METER,) if there.meter else ()
        return (*ear, *meter, *((Witness.CLAMP,) if there.clamp_scope else ()))


@dataclass(frozen=True)
class Folders:
    """Folders that replace the bundled ones; None for a bundled one.

    Attributes:
        procedures: Procedures.
        grammars: Grammars.
        model: The recogniser's model; None for the usual search.
    """

    procedures: Path | None = None
    grammars: Path | None = None
    model: Path | None = None


@dataclass(frozen=True)
class Settings:
    """The session that is wanted.

    Attributes:
        procedure: Procedure to start with.
        facts: Facts about the job that were typed.
        sessions: Folder of the sessions.
        resume: Session to go on with: its folder, its name, or ``last``; None for a new one.
        history: Count the findings of past sessions in the odds.
        gear: Microphone, loudspeaker and screen.
        folders: Other folders than the bundled ones.
        board: How the session's board is served; None for none.
        shop: The shop, from its settings.
        initials: The technician as typed, under whom a voice may have been learnt before the name was set.
    """

    procedure: str
    facts: Facts
    sessions: Path
    resume: str | None = None
    history: bool = True
    gear: Gear = field(default_factory=Gear)
    folders: Folders = field(default_factory=Folders)
    board: BoardOptions | None = None
    shop: Shop = field(default_factory=Shop)
    initials: str = ""
