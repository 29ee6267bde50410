"""Checks the gear, and whether a session could run with it."""

from __future__ import annotations

import math
import os
import shutil
import tempfile
import threading
import time
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant import resources
from assistant.errors import BayAssistantError, GearProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.lint import typical_requests
from assistant.hearing.confidence import evidence_in
from assistant.hearing.levels import LevelOf, Trouble, cure
from assistant.hearing.microphone import Microphone, glance
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing.sound import level_db
from assistant.hearing.whole import normal
from assistant.keys.finding import InputDevices
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.packages import PACTL, installing
from assistant.screen.lettering import clean
from assistant.screen.quiet import can_keep, log_path
from assistant.session.awake import Awake
from assistant.speaking import DEFAULT_RATE
from assistant.speaking.edges import active_level
from assistant.speaking.naming import ESPEAK, HEART, voice_named
from assistant.speaking.player import Player
from assistant.speaking.portaudio import load_sounddevice
from assistant.speaking.sound_server import SERVER, ServerDevice, device_for, listed, telephones
from assistant.speaking.synthesiser import SYNTHESISER
from assistant.speaking.voice import Voice

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from assistant.speaking.speech import SpokenSound

LISTEN_S = 2.0
"""Time over which the microphone's level is measured, s."""

GLANCE_S = 0.8
"""Listening time without that measurement, s: enough to notice a muted microphone."""

ASLEEP_S = 0.5
"""Time after which a lock against sleep that is still held was not refused, s."""

SENTENCE = "Feed side. Lit, dim, or dark?"
"""The sentence that tries the loudspeaker."""


@dataclass(frozen=True)
class GearItem:
    """One piece of gear: whether it works, and the finding or the cure."""

    name: str
    able: bool
    text: str
    needed: bool = True


@dataclass(frozen=True)
class GearReport:
    """All pieces of gear; the sound devices, sources and sinks, and the number pads of the machine."""

    items: tuple[GearItem, ...]
    devices: tuple[str, ...] = ()
    server: tuple[ServerDevice, ...] = ()
    pads: tuple[str, ...] = ()

    @property
    def able(self) -> bool:
        """Whether a live session could run."""
        return all(item.able for item in self.items if item.needed)

    def text(self) -> str:
        """The same as text."""
        lines = [f"{'ok  ' if item.able else 'NOT '} {item.name:<12} {item.text}" for item in self.items]
        sources, sinks = (
            tuple(one.line() for one in self.server if one.kind == kind) for kind in ("input", "output")
        )
        for title, list_ in (
            ("Sources of the sound server, for --microphone", sources),
            ("Sinks of the sound server, for --loudspeaker", sinks),
            ("Sound devices, for both", self.devices),
            ("Number pads, for run --pad", self.pads),
        ):
            if list_:
                lines += ["", f"{title}:", *(f"  {line}" for line in list_)]
        return "\n".join(lines) + "\n"

    def to_json(self) -> dict[str, Any]:
        """The same as JSON."""
        return {
            "able": self.able,
            "items": [{"name": i.name, "able": i.able, "text": i.text} for i in self.items],
            "devices": list(self.devices),
            "server": [
                {
                    "kind": "source" if one.kind == "input" else "sink",
                    "name": one.name,
                    "description": one.description,
                    "rate_hz": one.rate,
                    "channels": one.channels,
                    "default": one.default,
                    "telephone": one.telephone,
                }
                for one in self.server
            ],
            "pads": list(self.pads),
        }


def check(
    *,
    model: Path | None = None,
    microphone: str | None = None,
    speaker: str | None = None,
    voice: str | None = None,
    rate: int = DEFAULT_RATE,
    say: bool = False,
) -> GearReport:
    """Check everything that a session needs; a problem becomes a line and raises nothing.

    Args:
        model: The recogniser's model; None for the usual search.
        microphone: Input device; None for the system's.
        speaker: Output device; None for the system's.
        voice: Name of the voice; None for the default.
        rate: Speaking rate, words a minute.
        say: Speak a sentence, in this voice and then in the other one, and listen longer.
    """
    chosen = voice_named(voice)
    voices = (chosen, *(name for name in (HEART, ESPEAK) if say and name != chosen))
    items = [_tried("model", lambda: _model(model)), _tried("voice", lambda: _voice(chosen, rate))]
    items += [_tried("other voice", partial(_voice, name, rate), needed=False) for name in voices[1:]]
    pads = tuple(one.line() for one in InputDevices().found())
    items.append(GearItem("awake", *_awake(), needed=False))
    try:
        sounddevice = load_sounddevice()
    except GearProblem as problem:
        items += [GearItem("sound", able=False, text=str(problem))]
        return GearReport(tuple(items), pads=pads)
    found = list(sounddevice.query_devices())
    devices = tuple(
        f"{number}: {device['name']} ({device['max_input_channels']} in, {device['max_output_channels']} out)"
        for number, device in enumerate(found)
    )
    items.append(_tried("loudspeaker", lambda: _loudspeaker(speaker, voices if say else (), rate)))
    seconds = LISTEN_S if say else GLANCE_S
    items.append(_tried("microphone", lambda: _microphone(sounddevice, microphone, seconds=seconds)))
    items.append(GearItem("sound log", able=can_keep(), text=_sound_log(), needed=False))
    # Asked last: a headset may become a telephone only when its microphone is opened.
    server = listed()
    if not server and any(device["name"] == SERVER for device in found) and shutil.which("pactl") is None:
        items.append(GearItem("names", able=False, text=_no_names(), needed=False))
    items += [
        GearItem("headset", able=False, text=text, needed=False) for text in _telephones(microphone, speaker)
    ]
    return GearReport(tuple(items), devices, server, pads)


def sound_trouble() -> str:
    """Why there can be no live sound at all, as a sentence; "" if there can."""
    try:
        load_sounddevice()
    except GearProblem as problem:
        return str(problem)
    return ""


def try_loudspeaker(device: str | None, voice: str | None, rate: int | None) -> str:
    """Speak a sentence; returns how it went.

    Raises:
        GearProblem: The loudspeaker or the voice does not work.
    """
    return _loudspeaker(device, (voice_named(voice),), rate or DEFAULT_RATE)


def try_microphone(device: str | None) -> str:
    """Listen for a moment; returns what was found.

    Raises:
        GearProblem: The microphone does not work, or gives nothing but silence.
    """
    return _microphone(load_sounddevice(), device, seconds=GLANCE_S)


def _no_names() -> str:
    return f"sources and sinks cannot be listed by name. {installing(PACTL)}."


def _awake() -> tuple[bool, str]:
    """Whether the machine can be kept awake, and the sentence."""
    awake = Awake()
    try:
        if awake.held_after(ASLEEP_S):
            return True, "while a session runs, the machine does not sleep and its screen stays lit."
        return False, (
            "the machine cannot be kept awake (neither systemd-inhibit nor caffeinate does it): turn sleep and the "
            "dark screen off in its settings."
        )
    finally:
        awake.close()


def _telephones(microphone: str | None, speaker: str | None) -> tuple[str, ...]:
    try:
        found = telephones(device_for(microphone, "input"), device_for(speaker, "output"))
    except GearProblem:
        return ()  # its own item says so
    return tuple(one.telephone_told() for one in found)


def _tried(name: str, look: Callable[[], str], *, needed: bool = True) -> GearItem:
    try:
        return GearItem(name, able=True, text=look(), needed=needed)
    except BayAssistantError as problem:
        return GearItem(name, able=False, text=str(problem), needed=needed)


def _model(option: Path | None) -> str:
    path = find_model(option)
    recogniser = Recogniser(path)
    grammars = GrammarSet.load(resources.directory("grammars"))
    begun = time.perf_counter()
    lacking: dict[str, None] = {}
    for request in typical_requests(grammars):
        grammar = grammars.request(request)
        lacking |= dict.fromkeys(recogniser.missing(grammar))
        recogniser.fitting(grammar)
    recogniser.prepare(grammars.named("lamp"))
    took = time.perf_counter() - begun
    text = f"{path}; it can hear every answer of the bundled procedures ({took:.1f} s)."
    if lacking:
        text += (
            f" Forms with these words are left out: {', '.join(lacking)}; other forms or keys stand for them."
        )
    return text


def _voice(name: str, rate: int) -> str:
    """Render the sentence anew, and tell how long and how loud it is.

    Raises:
        GearProblem: It cannot be rendered, or only another voice can speak it.
    """
    begun = time.perf_counter()
    SYNTHESISER.render("Ready.", name, rate, urgent=True)
    loaded = time.perf_counter()
    rendered = SYNTHESISER.render(SENTENCE, name, rate, urgent=True)
    done = time.perf_counter()
    if rendered.voice != name:
        raise GearProblem(
            f"The voice '{name}' cannot speak, so '{rendered.voice}' does: {rendered.why}. "
            "Install bay-assistant again."
        )
    with tempfile.TemporaryDirectory(prefix="bay-assistant-gear-") as folder:
        speech = Voice(rate, name, cache_folder=Path(folder)).render(SENTENCE)
    peak = float(np.max(np.abs(speech.samples.astype(np.int32)))) / 32768
    return (
        f"{name}: {speech.duration_s:.1f} s of speech at {_db(active_level(speech.samples, speech.rate))} dBFS RMS, "
        f"peak {_db(peak)} dBFS; loaded in {1000 * (loaded - begun):.0f} ms, "
        f"rendered in {1000 * (done - loaded):.0f} ms."
    )


def _db(share: float) -> str:
    return f"{20 * math.log10(max(share, 1e-5)):.1f}"


def _loudspeaker(device: str | None, voices: Sequence[str], rate: int) -> str:
    """Open the loudspeaker, and play the sentence in each of these voices."""
    player = Player(device_for(device, "output"))
    try:
        if not voices:
            return f"opens at {player.rate} Hz."
        first: list[float] = []
        for name in voices:
            _play(player, Voice(rate, name).render(SENTENCE))
            first.append(player.first_sound_s or 0.0)
        spoken = " and in ".join(f"'{name}'" for name in voices)
        return f"spoke a sentence in {spoken}; its first sound came after {1000 * max(first):.0f} ms."
    finally:
        player.close()


def _play(player: Player, speech: SpokenSound) -> None:
    done = threading.Event()
    player.play(speech, lambda _cut: done.set())
    if not done.wait(20):
        raise GearProblem(
            "The loudspeaker accepted a sentence but never finished it. Choose another with --loudspeaker."
        )


def _microphone(sounddevice: Any, device: str | None, *, seconds: float) -> str:
    opened = Microphone(device_for(device, "input", lambda: sounddevice), sounddevice=sounddevice)
    samples = glance(opened, seconds)
    if not samples.size:
        raise GearProblem(
            "opens, but no sound arrives: its source is suspended or has stalled. Resume it in the sound "
            "settings or plug it in again, pick another with --microphone or PULSE_SOURCE, or run with --keys-only."
        )
    if not opened.sounded:
        chosen = os.environ.get("PULSE_SOURCE", "")
        chosen = f" (PULSE_SOURCE is {clean(chosen)})" if chosen else ""
        raise GearProblem(
            f"gives nothing but silence: it is muted or switched off, or another source is selected{chosen}. "
            "Unmute it at its own switch or in the sound settings (pavucontrol, Input Devices; alsamixer, F4), "
            "pick another with --microphone or PULSE_SOURCE, or run with --keys-only."
        )
    level = level_db(samples)
    expected = DEFAULT_THRESHOLDS.speech_level_db - level
    verdict = (
        "voice will be used"
        if expected >= DEFAULT_THRESHOLDS.hopeless_snr_db
        else "too loud for voice, use the keys"
    )
    found = LevelOf.of(samples)
    told = f"noise {level:.0f} dB; a raised voice would be {expected:+.0f} dB above it: {verdict}."
    spoken, _ = evidence_in(normal(samples))
    if not spoken:
        mended = found.trouble in (Trouble.CLIPPED, Trouble.HUM)
        return f"{told} {cure(found.trouble, found)}" if found.trouble and mended else told
    if found.trouble is Trouble.QUIET:  # its figure is the level of the voice
        return f"{told} {cure(found.trouble, found)}"
    heard = f"{told} Somebody spoke at {found.voice_db:.0f} dB."
    return f"{heard} {cure(found.trouble, found)}" if found.trouble else heard


def _sound_log() -> str:
    path = clean(str(log_path()))
    if can_keep():
        return f"while the board is drawn, messages of the sound system go to {path}"
    return f"{path} cannot be written; while the board is drawn, messages of the sound system are dropped."
