"""The voices by name: the neural one of our own, and those of eSpeak NG."""

from __future__ import annotations

from assistant.errors import GearProblem

HEART = "heart"
"""The neural voice of `assistant.speaking.neural`."""

ESPEAK = "gmw/en-us"
"""eSpeak NG's plain US-English voice; it also speaks the sentences that the neural voice cannot."""

DEFAULT_VOICE = HEART

_SHORT = {"espeak": ESPEAK}


def voice_named(name: str | None) -> str:
    """The whole name of a voice; that of the default for None.

    A name of eSpeak NG's own is checked only when the voice speaks, because only its library knows them all.

    Raises:
        GearProblem: No voice can have this name.
    """
    if name is None:
        return DEFAULT_VOICE
    whole = _SHORT.get(name, name)
    if whole != HEART and "/" not in whole:
        raise no_voice(name)
    return whole


def no_voice(name: str) -> GearProblem:
    """The refusal of a name, with the names that there are."""
    return GearProblem(
        f"There is no voice named '{name}'. There are '{HEART}', 'espeak' ({ESPEAK}) and eSpeak NG's others by "
        f"their own names, such as '{ESPEAK}+f3'."
    )
