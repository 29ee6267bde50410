"""The keys of a session: from the terminal, and from a number pad of its own."""

from __future__ import annotations

import functools
import sys
from typing import TYPE_CHECKING

from assistant.errors import GearProblem
from assistant.keys.pad import NumberPad

if TYPE_CHECKING:
    from contextlib import ExitStack

    from assistant.keys.device_pad import DevicePad
    from assistant.session.edges import GearNews
    from assistant.session.loop import Session

NUMBER_PAD = "number pad"
"""What the dialogue and the record call a pad of its own when it is lost."""


def open_pad(wanted: str | None, closing: ExitStack) -> DevicePad | None:
    """Take the number pad that is wanted; None if the terminal is to do.

    Args:
        wanted: The pad's name, a part of it, or its path; None for the terminal alone.
        closing: Gives the pad back.

    Raises:
        GearProblem: There is no such pad, or it cannot be read; or no keys can come from anywhere.
    """
    if wanted is None:
        if sys.stdin is None:
            raise GearProblem(
                "No keys can be read: standard input is closed. "
                "Start bay-assistant in a terminal, or send keys through a pipe."
            )
        return None
    if not sys.platform.startswith("linux"):
        raise GearProblem("Only Linux lets a number pad be read without the terminal. Run without --pad.")
    from assistant.keys.device_pad import DevicePad  # noqa: PLC0415  Linux only
    from assistant.keys.finding import InputDevices  # noqa: PLC0415

    devices = InputDevices()
    pad = DevicePad(devices.chosen(wanted), devices)
    closing.callback(pad.close)
    return pad


def open_keys(pad: DevicePad | None, session: Session, news: GearNews, closing: ExitStack) -> None:
    """Hand the keys of the terminal, and of the pad if there is one, to the session.

    With a pad, a terminal that ends is no loss; and a pad that is unplugged never closes a session, because it may
    come back.

    Args:
        pad: From `open_pad`.
        session: Gets the keys.
        news: Tells it of losses.
        closing: Gives the terminal back.

    Raises:
        GearProblem: The terminal cannot be read.
    """
    lost = functools.partial(news.lost, "keys") if pad is None else None
    if sys.stdin is not None:
        closing.callback(NumberPad(sys.stdin.fileno(), session.press, lost).close)
    if pad is not None:
        from assistant.keys.device_pad import PadTold  # noqa: PLC0415  Linux only

        told = PadTold(
            session.press,
            lost=functools.partial(news.lost, NUMBER_PAD),
            back=functools.partial(news.back, NUMBER_PAD),
            remark=session.tell,
        )
        pad.start(told)
