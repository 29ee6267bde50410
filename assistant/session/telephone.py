"""Says so when a Bluetooth headset that a session uses works as a telephone."""

from __future__ import annotations

import contextlib
import threading
from typing import TYPE_CHECKING

from assistant.errors import GearProblem
from assistant.speaking.sound_server import device_for, telephones

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import ExitStack

    from assistant.session.settings import Gear

SETTLED_S = 2.0
"""Time after the microphone was opened; until then a sound server may have made the headset a telephone, s."""

_UNUSED = ""
"""A device that the sound server does not know."""


def tell_of_telephones(wanted: Gear, tell: Callable[[str], None], closing: ExitStack) -> None:
    """Tell of each such headset, a moment from now, on another thread.

    Args:
        wanted: Microphone and loudspeaker, which are open.
        tell: Gets a sentence for the screen.
        closing: Ends the waiting.
    """

    def look() -> None:
        with contextlib.suppress(GearProblem):  # what cannot be used was refused before
            microphone = _UNUSED if wanted.keys_only else device_for(wanted.microphone, "input")
            loudspeaker = _UNUSED if wanted.silent else device_for(wanted.speaker, "output")
            for headset in telephones(microphone, loudspeaker):
                tell(headset.telephone_remark())

    if wanted.keys_only and wanted.silent:
        return
    waiting = threading.Timer(SETTLED_S, look)
    waiting.daemon = True
    waiting.start()
    closing.callback(waiting.cancel)
