"""PortAudio, through sounddevice: loaded when live sound is first needed, so that all else works without it."""

from __future__ import annotations

import contextlib
import importlib
import re
from typing import Any

from assistant.errors import GearProblem
from assistant.packages import PORTAUDIO, installing


def no_portaudio() -> str:
    """The sentence for a machine without PortAudio, with the package's name on this system."""
    return f"PortAudio, which plays and records sound, is not installed. {installing(PORTAUDIO)}."


def there_is_portaudio() -> bool:
    """Whether live sound can be loaded."""
    try:
        load_sounddevice()
    except GearProblem:
        return False
    return True


def load_sounddevice() -> Any:
    """The module sounddevice, loaded when live sound is first needed.

    Raises:
        GearProblem: It or the system library under it is missing; says what to install.
    """
    try:
        return importlib.import_module("sounddevice")
    except OSError as error:
        raise GearProblem(f"{no_portaudio()} Without it, 'bay-assistant run --keys-only' works.") from error
    except ImportError as error:
        raise GearProblem(f"Live sound cannot be loaded: {error}. Install bay-assistant again.") from error


def device_named(name: str | None) -> str | int | None:
    """A sound device as it was named on the command line: by its number when it is one."""
    return int(name) if name is not None and name.isdigit() else name


def shut(stream: Any) -> None:
    """Give a stream back, whatever state it is in."""
    with contextlib.suppress(Exception):
        stream.abort()
    with contextlib.suppress(Exception):
        stream.close()


def why_not(error: BaseException, device: str | int | None) -> str:
    """Why a device cannot be used, in words of ours: PortAudio's own are for who programs it.

    Args:
        error: From sounddevice.
        device: The device that was wanted; None for the system's default.
    """
    words = " ".join(str(part) for part in error.args if isinstance(part, str))
    for sign, why in _REASONS.items():
        if sign in words:
            return why
    if device is None and "querying device" in words:
        return "the system names none, or its sound server does not run"
    if "querying device" in words or "matching" in words:
        return "nothing is called so"
    number = _NUMBER.search(words)
    return f"the system refuses it, error {number[1]}" if number else "the system refuses it"


_NUMBER = re.compile(r"PaErrorCode (-\d+)")

_REASONS = {
    "-9985": "another program uses it, or it was unplugged",  # paDeviceUnavailable
    "Device unavailable": "another program uses it, or it was unplugged",
    "-9996": "it is not there",  # paInvalidDevice
    "-9997": "it takes no sound at a usual rate",  # paInvalidSampleRate
    "Invalid sample rate": "it takes no sound at a usual rate",
    "-9998": "it has no channel for this",  # paInvalidChannelCount
    "Multiple": "several devices have this in their names; name one in full or by its number",
}
"""Reasons by the numbers of ``portaudio.h`` (`PaErrorCode`), and by words of PortAudio and sounddevice."""
