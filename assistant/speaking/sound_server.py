"""The sound server, PulseAudio or PipeWire: its sources and sinks by name, and which one PortAudio is to use.

PortAudio knows the server as one device, ``pulse`` (ALSA's plug-in). Which source or sink that is, libpulse takes from
``PULSE_SOURCE`` and ``PULSE_SINK`` whenever a stream is opened, so a choice is a variable of our own process, and a
source that was unplugged is taken up again when it is back. PipeWire answers the same questions in PulseAudio's place
(pipewire-pulse).

Its names come from `pactl`, as text in its own language: that of version 16 leaves out, as JSON, every description that
has a letter beyond ASCII, and pulsectl 24.12 reads sampling rates from memory that was given back.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from assistant.errors import GearProblem
from assistant.packages import ALSA_TO_PULSE, installing
from assistant.printing import in_line
from assistant.speaking.portaudio import device_named, load_sounddevice

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

Kind = Literal["input", "output"]

ANSWER_S = 3.0
"""Time that the server has to answer, s; one that hangs must not hold a session."""

SERVER = "pulse"
"""PortAudio's name of the sound server."""

_VARIABLE: dict[Kind, str] = {"input": "PULSE_SOURCE", "output": "PULSE_SINK"}
_WORD: dict[Kind, str] = {"input": "microphone", "output": "loudspeaker"}

_TELEPHONE_PROFILES = ("headset", "handsfree", "hfp", "hsp")
"""Beginnings of the profiles in which a Bluetooth headset is a telephone, of PulseAudio old and new, and PipeWire."""

_CODEC_RATES = {"cvsd": 8000, "msbc": 16000}
"""Sampling rates of the codecs of the Hands-Free Profile (Bluetooth SIG, HFP 1.7), Hz; a server may resample."""


@dataclass(frozen=True)
class ServerDevice:
    """A source or sink of the sound server.

    Attributes:
        kind: ``input`` for a source, ``output`` for a sink.
        name: The server's.
        description: For people.
        rate: Sampling rate, Hz.
        channels: Their number.
        default: Taken when none is named.
        monitor: A source that gives what a sink plays.
        bluetooth: A Bluetooth device.
        profile: Its profile, "" if unknown.
        cure: A command that ends the telephone profile, "" if there is none.
    """

    kind: Kind
    name: str
    description: str
    rate: int = 44100
    channels: int = 2
    default: bool = False
    monitor: bool = False
    bluetooth: bool = False
    profile: str = ""
    cure: str = ""

    @property
    def telephone(self) -> bool:
        """Whether it is a Bluetooth headset that works as a telephone, with a telephone's narrow band."""
        if not self.bluetooth or self.monitor:
            return False
        return self.profile.startswith(_TELEPHONE_PROFILES) or (self.rate <= 16000 and self.channels == 1)

    def line(self) -> str:
        """For a list: a star marks the default."""
        star, band = "*" if self.default else " ", ", telephone band" if self.telephone else ""
        shape = f"{self.rate / 1000:g} kHz, {'mono' if self.channels == 1 else f'{self.channels} channels'}"
        return f"{star} {in_line(self.name)}: {in_line(self.description)} ({shape}{band})"

    def telephone_remark(self) -> str:
        """The same shortly, for the screen of a session."""
        return (
            f"'{in_line(self.description)}' works as a telephone: in noise it hears less. "
            "'bay-assistant gear' says what to do."
        )

    def telephone_told(self) -> str:
        """What the telephone band means, and what to do."""
        called = f"'{in_line(self.description)}' is a Bluetooth headset in its telephone profile"
        playing = f" ({self.cure})" if self.cure else ""
        better = (
            "take a microphone with a cable or a radio of its own (--microphone NAME) and let the headset only "
            f"play{playing}, or answer by keys."
        )
        if self.rate > 8000:
            return (
                f"{called}, {self.rate / 1000:g} kHz. That is wide enough for the recogniser. If it still misses "
                f"answers, {better}"
            )
        return (
            f"{called}: it passes nothing above {self.rate / 2000:g} kHz, so in noise fewer answers are understood, "
            f"and the assistant sounds muffled in it. Better {better}"
        )


def listed(ask: Callable[[Sequence[str]], str] | None = None) -> tuple[ServerDevice, ...]:
    """All sources and sinks; none if there is no server or no `pactl`, or if it does not answer.

    Args:
        ask: Runs `pactl` with these arguments and gives its answer; a stand-in is for tests.
    """
    ask = ask or _pactl
    try:
        return understood(ask(("list",)), ask(("info",)))
    except (OSError, subprocess.SubprocessError):
        return ()


def understood(things: str, about: str) -> tuple[ServerDevice, ...]:
    """The sources and sinks in what `pactl` says.

    Args:
        things: Of ``pactl list``.
        about: Of ``pactl info``.
    """
    blocks = [_Block.of(part) for part in re.split(r"^(?=\w[\w ]* #)", things, flags=re.MULTILINE)]
    cards = [block for block in blocks if block.kind == "Card"]
    defaults = set(re.findall(r"^Default (Sink|Source): (.+)$", about, re.MULTILINE))
    kinds: dict[str, Kind] = {"Source": "input", "Sink": "output"}
    return tuple(
        replace(_device(kinds[block.kind], block, cards), default=(block.kind, block.name) in defaults)
        for block in blocks
        if block.kind in kinds and block.name
    )


def device_for(
    wanted: str | None, kind: Kind, load: Callable[[], Any] = load_sounddevice
) -> str | int | None:
    """The PortAudio device for what was named on the command line.

    A name or description of the server's, in full, comes first; then PortAudio's own names and numbers; then a part of
    a name or description that fits one source or sink.

    Args:
        wanted: Name or number; None for the system's default.
        kind: What is looked for.
        load: Loads sounddevice; a stand-in is for tests.

    Raises:
        GearProblem: Nothing has this name, or PortAudio or ALSA's plug-in is missing; says what there is.
    """
    if wanted is None or wanted.isdigit():
        return device_named(wanted)
    sounddevice = load()
    known = [one for one in listed() if one.kind == kind]
    low = wanted.strip().lower()
    whole = [one for one in known if low in (one.name.lower(), one.description.lower())]
    if len(whole) == 1:
        return _taken(whole[0], sounddevice)
    if not known or _has(sounddevice, wanted, kind):
        return wanted
    part = [one for one in known if low and low in f"{one.name}\n{one.description}".lower()]
    part = [one for one in part if not one.monitor] or part
    if len(part) == 1:
        return _taken(part[0], sounddevice)
    names, called = ", ".join(in_line(one.name) for one in part or known), in_line(wanted)
    if part:
        raise GearProblem(f"The {_WORD[kind]} '{called}' could be each of these; name one in full: {names}.")
    raise GearProblem(f"There is no {_WORD[kind]} '{called}'. The sound server has: {names}.")


def telephones(microphone: str | int | None, loudspeaker: str | int | None) -> tuple[ServerDevice, ...]:
    """The Bluetooth headsets in use that work as a telephone; one that is source and sink counts once.

    Args:
        microphone: PortAudio device that is in use, from `device_for`.
        loudspeaker: Likewise.
    """
    known = listed()
    used = [
        one
        for one in known
        if _by_server(microphone if one.kind == "input" else loudspeaker)
        and (one.name == chosen if (chosen := os.environ.get(_VARIABLE[one.kind])) else one.default)
    ]
    headsets = {one.description: one for one in reversed(used) if one.telephone}
    return tuple(headsets.values())


def _by_server(device: str | int | None) -> bool:
    """Whether a device of PortAudio is the server; a number may be anything and counts as none."""
    return device is None or (isinstance(device, str) and device in (SERVER, "default", "pipewire"))


def _has(sounddevice: Any, wanted: str, kind: Kind) -> bool:
    try:
        sounddevice.query_devices(wanted, kind)
    except (sounddevice.PortAudioError, ValueError, OSError):
        return False
    return True


def _taken(one: ServerDevice, sounddevice: Any) -> str:
    """Have the next streams use this source or sink."""
    if not _has(sounddevice, SERVER, one.kind):
        raise GearProblem(
            "To name a microphone or loudspeaker of the sound server, ALSA's plug-in is needed. "
            f"{installing(ALSA_TO_PULSE)}."
        )
    os.environ[_VARIABLE[one.kind]] = one.name
    return SERVER


def _pactl(arguments: Sequence[str]) -> str:
    """What `pactl` answers.

    Raises:
        OSError, subprocess.SubprocessError: There is none, or it fails or hangs.
    """
    program = shutil.which("pactl")
    if program is None:
        raise FileNotFoundError("pactl")
    done = subprocess.run(
        [program, *arguments],
        env={**os.environ, "LC_ALL": "C.UTF-8"},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        check=True,
        timeout=ANSWER_S,
    )
    return done.stdout.decode("utf-8", "replace")


@dataclass(frozen=True)
class _Block:
    """One thing that `pactl list` tells of: its kind, its lines, its properties and (a card's) profiles."""

    kind: str
    lines: dict[str, str]
    properties: dict[str, str]
    profiles: tuple[str, ...]

    @classmethod
    def of(cls, text: str) -> _Block:
        kind = re.match(r"[\w ]*", text)
        return cls(
            kind.group(0).strip() if kind else "",
            dict(re.findall(r"^\t(\w[\w ]*): (.*)$", text, re.MULTILINE)),
            dict(re.findall(r'^\t\t([\w.-]+) = "(.*)"$', text, re.MULTILINE)),
            tuple(re.findall(r"^\t\t(\S+): .*\(sinks: \d", text, re.MULTILINE)),
        )

    @property
    def name(self) -> str:
        return self.lines.get("Name", "")

    @property
    def address(self) -> str:
        return self.properties.get("api.bluez5.address") or self.properties.get("device.string", "")


def _device(kind: Kind, block: _Block, cards: Sequence[_Block]) -> ServerDevice:
    """A source or sink, apart from whether it is the default."""
    told = block.properties
    shape = re.search(r"(\d{1,3})ch (\d{1,7})Hz", block.lines.get("Sample Specification", ""))
    channels, rate = (int(shape[1]), int(shape[2])) if shape else (2, 44100)
    codec = told.get("api.bluez5.codec") or told.get("bluetooth.codec") or ""
    bluetooth = told.get("device.api", "").startswith("bluez") or block.name.startswith("bluez_")
    card = next((one for one in cards if one.address and one.address == block.address), None)
    profile = told.get("api.bluez5.profile") or told.get("bluetooth.protocol") or ""
    if not profile and card is not None:
        profile = card.lines.get("Active Profile", "")
    playing = next((name for name in card.profiles if name.startswith("a2dp")), "") if card else ""
    return ServerDevice(
        kind,
        block.name,
        block.lines.get("Description") or block.name,
        rate=_CODEC_RATES.get(codec.lower(), rate),
        channels=channels,
        monitor=told.get("device.class") == "monitor",
        bluetooth=bluetooth,
        profile=profile.lower(),
        cure=f"pactl set-card-profile {card.name} {playing}" if bluetooth and card and playing else "",
    )
