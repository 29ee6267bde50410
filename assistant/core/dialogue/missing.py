"""Gear that is lost or comes back, and noise: notes it, and returns the notice to give."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.core.values.entries import ModeChanged
from assistant.core.values.thresholds import OLD_RULES

if TYPE_CHECKING:
    from assistant.core.dialogue.talk import Talk
    from assistant.core.values.events import GearBack, GearLost, LevelChanged, NoiseChanged

TOO_LOUD = "Too loud to hear you. Use the keys."

_RECORD_MODES = {"record": "record moved", "disk": "disk nearly full"}

_LEFT_OUT = {"speaker": "sound off", "microphone": "keys only"}
"""Gear that a session can be started without, and how the record calls that."""

RECORD_NOTICES = {
    "record": "The record moved to another place. See the screen.",
    "disk": "The disk is nearly full. See the screen.",
}
"""Spoken notices if the record is in danger; the screen says where it continues."""

_NOTICES = {
    "microphone": "No microphone. Use the keys.",
    "keys": "No keys. Voice only.",
    "number pad": "No number pad. Plug it in again.",
    **RECORD_NOTICES,
}
"""Spoken notices if gear is lost."""


LEVEL = "good microphone level"
"""What is missing while the microphone's level is bad, as the board says it after "No"."""

BAD_LEVELS = {
    "quiet": "The microphone is too quiet.",
    "clipped": "The microphone is too loud.",
    "hum": "The microphone hums.",
}
"""What is wrong with a bad level, by the trouble that `LevelChanged` names."""

LEVELS = {trouble: f"{what} See the screen." for trouble, what in BAD_LEVELS.items()}
"""Spoken notices of a bad level."""


def leave_out(talk: Talk, left_out: tuple[str, ...]) -> None:
    """Note gear that the session is started without, ``speaker`` or ``microphone``: it is off, and nothing is lost."""
    for gear in left_out:
        talk.note(ModeChanged(_LEFT_OUT[gear], "as asked for"))
        talk.gear.lost[gear] = ""
    talk.gear.mute = "speaker" in left_out
    if "microphone" in left_out:
        talk.gear.deaf.add("microphone")


def lose(talk: Talk, event: GearLost) -> str:
    """Note that gear is lost; returns the notice to give, "" for a lost loudspeaker, which cannot give one."""
    gear = event.gear
    talk.note(ModeChanged(_RECORD_MODES.get(gear, f"{gear} lost"), event.why))
    if gear in RECORD_NOTICES:
        talk.said.message = event.why
    elif talk.limits.rules > OLD_RULES:
        # Kept out of the message, which the next one replaces: the loss of one thing must not hide that of another.
        talk.gear.lost.pop(gear, None)
        talk.gear.lost[gear] = event.why
        talk.said.message = ""
    else:
        talk.said.message = f"No {gear}: {event.why}"
    if gear == "microphone":
        talk.gear.deaf.add("microphone")
    if gear == "speaker":
        talk.gear.mute = True
        return ""
    return _NOTICES.get(gear, "No keys. Voice only.")


def find(talk: Talk, event: GearBack) -> str:
    """Note that gear works again; returns the notice to give."""
    talk.note(ModeChanged(f"{event.gear} back", "it works again"))
    talk.said.message = f"The {event.gear} is back."
    talk.gear.lost.pop(event.gear, None)
    talk.gear.deaf.discard(event.gear)
    if event.gear == "speaker":
        talk.gear.mute = False
    return talk.said.message


def change_level(talk: Talk, event: LevelChanged) -> None:
    """Note a bad level of the microphone, or that it is good again; a notice of a bad one is owed."""
    if not event.trouble:
        if talk.gear.lost.pop(LEVEL, None) is not None:
            talk.note(ModeChanged("microphone level good", event.why))
        if talk.said.owed in LEVELS.values():
            talk.said.owed = ""
        return
    talk.gear.lost[LEVEL] = event.why
    talk.note(ModeChanged(f"microphone level bad ({event.trouble})", event.why))
    talk.said.owed = talk.said.owed or LEVELS.get(event.trouble, "")


def grow_loud(talk: Talk, event: NoiseChanged) -> bool:
    """Note that it is too loud to hear; False if it was so before."""
    if "noise" in talk.gear.deaf:
        return False
    talk.gear.deaf.add("noise")
    talk.note(ModeChanged("keypad only", f"too loud to hear, noise {event.noise_db:.0f} dB"))
    talk.said.message = TOO_LOUD
    return True


def grow_quiet(talk: Talk, event: NoiseChanged) -> bool:
    """Note that it is quiet enough to hear; False if it was so before."""
    if "noise" not in talk.gear.deaf:
        return False
    talk.gear.deaf.discard("noise")
    talk.said.owed = ""
    talk.note(ModeChanged("voice again", f"noise {event.noise_db:.0f} dB"))
    talk.said.message = ""
    return True
