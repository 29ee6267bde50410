"""Checks the gear, and whether a session could run with it."""

from __future__ import annotations

import os
import threading
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from assistant import resources
from assistant.errors import BayAssistantError, GearProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.lint import typical_requests
from assistant.hearing.microphone import Microphone, glance
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing.sound import level_db
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.screen.lettering import clean
from assistant.screen.quiet import can_keep, log_path
from assistant.speaking.player import Player
from assistant.speaking.portaudio import device_named, load_sounddevice
from assistant.speaking.voice import Voice

if TYPE_CHECKING:
    from pathlib import Path

LISTEN_S = 2.0
"""Time over which the microphone's level is measured, s."""

GLANCE_S = 0.8
"""Listening time without that measurement, s: enough to notice a muted microphone."""

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
    """All pieces of gear, and the sound devices of the machine."""

    items: tuple[GearItem, ...]
    devices: tuple[str, ...]

    @property
    def able(self) -> bool:
        """Whether a live session could run."""
        return all(item.able for item in self.items if item.needed)

    def text(self) -> str:
        """The same as text."""
        lines = [f"{'ok  ' if item.able else 'NOT '} {item.name:<12} {item.text}" for item in self.items]
        if self.devices:
            lines += ["", "Sound devices:", *(f"  {device}" for device in self.devices)]
        return "\n".join(lines) + "\n"

    def to_json(self) -> dict[str, Any]:
        """The same as JSON."""
        return {
            "able": self.able,
            "items": [{"name": i.name, "able": i.able, "text": i.text} for i in self.items],
            "devices": list(self.devices),
        }


def check(
    *, model: Path | None = None, microphone: str | None = None, speaker: str | None = None, say: bool = False
) -> GearReport:
    """Check everything that a session needs; a problem becomes a line and raises nothing."""
    items = [_tried("model", lambda: _model(model)), _tried("voice", _voice)]
    devices: tuple[str, ...] = ()
    try:
        sounddevice = load_sounddevice()
    except GearProblem as problem:
        items += [GearItem("sound", able=False, text=str(problem))]
        return GearReport(tuple(items), devices)
    found = list(sounddevice.query_devices())
    devices = tuple(
        f"{number}: {device['name']} ({device['max_input_channels']} in, {device['max_output_channels']} out)"
        for number, device in enumerate(found)
    )
    items.append(_tried("loudspeaker", lambda: _loudspeaker(speaker, say=say)))
    seconds = LISTEN_S if say else GLANCE_S
    items.append(_tried("microphone", lambda: _microphone(sounddevice, microphone, seconds=seconds)))
    items.append(GearItem("sound log", able=can_keep(), text=_sound_log(), needed=False))
    return GearReport(tuple(items), devices)


def _tried(name: str, look: Any) -> GearItem:
    try:
        return GearItem(name, able=True, text=look())
    except BayAssistantError as problem:
        return GearItem(name, able=False, text=str(problem))


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


def _voice() -> str:
    begun = time.perf_counter()
    speech = Voice().render(SENTENCE)
    return f"{speech.duration_s:.1f} s of speech rendered in {1000 * (time.perf_counter() - begun):.0f} ms."


def _loudspeaker(device: str | None, *, say: bool) -> str:
    player = Player(device_named(device))
    try:
        if not say:
            return f"opens at {player.rate} Hz."
        done = threading.Event()
        player.play(Voice().render(SENTENCE), lambda _cut: done.set())
        if not done.wait(20):
            raise GearProblem(
                "The loudspeaker accepted a sentence but never finished it. Choose another with --speaker."
            )
        return f"spoke a sentence; its first sound came after {1000 * (player.first_sound_s or 0):.0f} ms."
    finally:
        player.close()


def _microphone(sounddevice: Any, device: str | None, *, seconds: float) -> str:
    opened = Microphone(device_named(device), sounddevice=sounddevice)
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
    return f"noise {level:.0f} dB; a raised voice would be {expected:+.0f} dB above it: {verdict}."


def _sound_log() -> str:
    path = clean(str(log_path()))
    if can_keep():
        return f"while the board is drawn, messages of the sound system go to {path}"
    return f"{path} cannot be written; while the board is drawn, messages of the sound system are dropped."
