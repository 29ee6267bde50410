"""Opens what perceives in place of the technician in a live session."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.session.witnessing import MeterWatch, NoWatch, StarterWatch, Watch, Witnesses

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import ExitStack

    from assistant.core.values.events import Event
    from assistant.meter.meter import Meter
    from assistant.session.edges import OpenedMicrophone
    from assistant.session.settings import Gear


def open_meter(spec: str | None) -> Meter | None:
    """The meter that is wanted, before a session is made; None if there is none.

    Raises:
        UsageProblem: The spec is malformed.
        GearProblem: The program that reads it is not installed.
    """
    if spec is None:
        return None
    from assistant.meter.meter import Meter  # noqa: PLC0415  most sessions need none

    return Meter(spec)


def open_witnesses(
    wanted: Gear,
    meter: Meter | None,
    microphone: OpenedMicrophone | None,
    happened: Callable[[Callable[[float], Event]], None],
    closing: ExitStack,
) -> Watch:
    """Start the meter, and the ear for the starter beside the hearing of speech.

    Args:
        wanted: Which ones.
        meter: The meter; None if there is none.
        microphone: Its sound; None for a session by keys.
        happened: Takes their events, on any thread.
        closing: Ends their threads.
    """
    on_meter = None
    if meter is not None:
        closing.callback(meter.close)
        on_meter = MeterWatch(meter, happened)
    starter = None
    if wanted.hear_starter and microphone is not None:
        from assistant.hearing.sound import RATE  # noqa: PLC0415  a session by keys needs none of it
        from assistant.hearing.starter.ear import StarterEar  # noqa: PLC0415

        starter = StarterWatch(StarterEar(), happened, RATE)
        closing.callback(starter.close)
        microphone.beside = starter.hear
    return Witnesses(on_meter, starter) if on_meter or starter else NoWatch()
