"""Opens what perceives in place of the technician in a live session."""

from __future__ import annotations

from typing import TYPE_CHECKING

from assistant.errors import UsageProblem
from assistant.session.witnessing import MeterWatch, NoWatch, StarterWatch, Watch, Witnesses

if TYPE_CHECKING:
    from collections.abc import Callable
    from contextlib import ExitStack

    from assistant.core.values.events import Event
    from assistant.meter.meter import Meter
    from assistant.session.edges import OpenedMicrophone
    from assistant.session.ramping import Capturing, Keep
    from assistant.session.settings import Perceiving


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


def open_clamp(spec: str | None) -> Callable[[], Capturing] | None:
    """Prepare the clamp: returns a function that makes a capture for the session, or None if no clamp is wanted.

    Raises:
        UsageProblem: The spec is malformed, or its file is missing.
        GearProblem: The program that reads it is not installed.
    """
    if spec is None:
        return None
    from assistant.meter.clamp_capture import ClampCapture, FileCapture  # noqa: PLC0415  most sessions need none
    from assistant.meter.sigrok import program  # noqa: PLC0415
    from assistant.meter.spec import ClampSpec  # noqa: PLC0415
    from assistant.session.ramping import LONGEST_S  # noqa: PLC0415

    one = ClampSpec.of(spec)
    file = one.file
    program()
    if file is None:
        return lambda: ClampCapture(one.device, one.channel, one.ampere_per_volt, longest_s=LONGEST_S)
    if not file.is_file():
        raise UsageProblem(f"--clamp-scope: there is no file {file}. Name a file of sigrok, or a device.")
    return lambda: FileCapture(file, one.ampere_per_volt, LONGEST_S)


class OpenedWitnesses:
    """What perceives, opened before a session is made.

    Args:
        meter: The meter; None if there is none.
        clamp: Makes a capture of the clamp; None if there is none.
        ear: Whether the microphone's sound is heard for the starter.
    """

    def __init__(self, meter: Meter | None, clamp: Callable[[], Capturing] | None, *, ear: bool) -> None:
        self.meter = meter
        self.clamp = clamp
        self.ear = ear


def open_devices(wanted: Perceiving) -> OpenedWitnesses:
    """The meter and the clamp that are wanted; errors as for `open_meter` and `open_clamp`."""
    return OpenedWitnesses(open_meter(wanted.meter), open_clamp(wanted.clamp_scope), ear=wanted.hear_starter)


def open_witnesses(
    devices: OpenedWitnesses,
    microphone: OpenedMicrophone | None,
    happened: Callable[[Callable[[float], Event | None]], None],
    keep: Keep,
    closing: ExitStack,
) -> Watch:
    """Start the meter, the clamp, and the ear for the starter beside the hearing of speech.

    Args:
        devices: Which ones.
        microphone: Its sound; None for a session by keys.
        happened: Takes their events, on any thread.
        keep: Keeps what the clamp captured, on any thread.
        closing: Ends their threads.
    """
    on_meter = on_clamp = starter = None
    if devices.meter is not None:
        closing.callback(devices.meter.close)
        on_meter = MeterWatch(devices.meter, happened)
    if devices.clamp is not None:
        from assistant.session.ramping import ClampWatch  # noqa: PLC0415  most sessions need none

        on_clamp = ClampWatch(devices.clamp, keep, happened)
        closing.callback(on_clamp.close)
    if devices.ear and microphone is not None:
        from assistant.hearing.sound import RATE  # noqa: PLC0415  a session by keys needs none of it
        from assistant.hearing.starter.ear import StarterEar  # noqa: PLC0415

        starter = StarterWatch(StarterEar(), happened, RATE)
        closing.callback(starter.close)
        microphone.beside = starter.hear
    return Witnesses(on_meter, starter, on_clamp) if on_meter or starter or on_clamp else NoWatch()
