"""PortAudio, through sounddevice: loaded when live sound is first needed, so that all else works without it."""

from __future__ import annotations

import contextlib
import importlib
from typing import Any

from assistant.errors import GearProblem
from assistant.packages import PORTAUDIO, installing


def no_portaudio() -> str:
    """The sentence for a machine without PortAudio, with the package's name on this system."""
    return f"PortAudio, which plays and records sound, is not installed. {installing(PORTAUDIO)}."


def load_sounddevice() -> Any:
    """The module sounddevice, loaded when live sound is first needed.

    Raises:
        GearProblem: It or the system library under it is missing; says what to install.
    """
    try:
        return importlib.import_module("sounddevice")
    except OSError as error:
        raise GearProblem(no_portaudio()) from error
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


def told(error: BaseException) -> str:
    """The library's own words about an error."""
    return " ".join(str(part) for part in error.args if isinstance(part, str)) or type(error).__name__
