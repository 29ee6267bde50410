"""The demonstration: a whole session fed from recorded sounds, through the real ear, voice, dialogue and record.

Only the two ends are replaced: the microphone by the files of a scenario, the loudspeaker by a sound track.
Time is a clock that jumps to whatever comes next, so a session of minutes takes seconds; everything that the
assistant says and everything that is played to it stands on one time line in one sound file.
"""

from __future__ import annotations

import dataclasses
import json
import sys
import time
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

import numpy as np

from assistant import files, resources
from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.errors import FileProblem, RecordProblem, UsageProblem
from assistant.grammar.grammar import GrammarSet
from assistant.hearing.activity import CHUNK
from assistant.hearing.listener import Ear, Reports
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing.sound import RATE, Samples, read_sound
from assistant.loading.folder import load_folder, load_library
from assistant.private import write_named
from assistant.record import Facts, SessionLog
from assistant.record.storage import make_private_folder
from assistant.screen.terminal import LineScreen, Screen
from assistant.session.ending import Ending
from assistant.session.loop import Session
from assistant.speaking.player import NullPlayer, SoundTrack
from assistant.speaking.voice import Voice
from assistant.writeup import write_forms

if TYPE_CHECKING:
    from assistant.core.values.result import GrammarRequest

SCENARIO = "demo.json"
SOUND = "both-voices.flac"
THINKS_S = 0.8
"""Time that the played person takes before answering, unless a turn says otherwise."""

LONGEST_THOUGHT_S = 600.0
"""Longest time before a turn that a scenario may give, s: ten minutes, as long as the longest sound file."""

KEY_S = 0.5
"""Time between two keys of the played person."""

_KEYS = ("point", "minus", "plus", "star", "slash", "enter", "erase", "stop", "note", "close", "why")


@dataclass(frozen=True)
class Turn:
    """Something that the played person does.

    Attributes:
        when: States of the dialogue in which it is done.
        after_s: Time after the assistant has begun to listen.
        play: Sound that is played into the microphone; None for a turn with keys.
        keys: Keys that are pressed.
        once: What the assistant talks over is not said again, as everybody else does.
    """

    when: frozenset[State]
    after_s: float
    play: Path | None
    keys: tuple[str, ...]
    once: bool


@dataclass(frozen=True)
class Scenario:
    """An invented job and what the person says and does in it."""

    procedure: str
    facts: Facts
    turns: tuple[Turn, ...]


def read_scenario(path: Path) -> Scenario:
    """A scenario from its JSON file; sounds are looked for beside it.

    Raises:
        FileProblem: It is not JSON, or a part is missing or unknown.
    """
    try:
        data = json.loads(files.read_text(path, files.SETTINGS))
    except OSError as error:
        raise FileProblem(path, 0, f"the scenario cannot be read ({error.strerror})") from error
    except (ValueError, RecursionError) as error:
        raise FileProblem(
            path, getattr(error, "lineno", 0), "this is not JSON", "Write one object"
        ) from error
    if not isinstance(data, dict) or not set(data) - {"about"} == {"procedure", "facts", "turns"}:
        raise FileProblem(
            path,
            0,
            "the scenario is not an object with procedure, facts and turns",
            "Give these, and nothing else but about",
        )
    facts, known = data["facts"], [part.name for part in dataclasses.fields(Facts)]
    if not isinstance(facts, dict) or not all(
        name in known and isinstance(text, str) for name, text in facts.items()
    ):
        raise FileProblem(
            path, 0, "the facts are not as they should be", f"They are texts: {', '.join(known)}"
        )
    if not isinstance(data["turns"], list):
        raise FileProblem(path, 0, "the turns are no list", "Write them as [ {…}, {…} ]")
    turns = tuple(_turn(path, number, item) for number, item in enumerate(data["turns"], start=1))
    return Scenario(str(data["procedure"]), Facts(**facts), turns)


def _turn(path: Path, number: int, item: Any) -> Turn:
    if (
        not isinstance(item, dict)
        or set(item) - {"when", "after_s", "play", "keys", "once"}
        or "when" not in item
        or ("play" in item) == ("keys" in item)
    ):
        raise FileProblem(
            path,
            0,
            f"turn {number} needs 'when' and either 'play' or 'keys'",
            "Nothing else but after_s and once",
        )
    for name in ("when", "keys"):
        if not isinstance(item.get(name, []), list):
            raise FileProblem(path, 0, f"turn {number}: '{name}' is no list", "Write it as [ …, … ]")
    try:
        when = frozenset(State(name) for name in item["when"])
    except ValueError as error:
        known = ", ".join(state.value for state in State)
        raise FileProblem(path, 0, f"turn {number}: {error}", f"States are: {known}") from error
    after_s = item.get("after_s", THINKS_S)
    if (
        isinstance(after_s, bool)
        or not isinstance(after_s, int | float)
        or not 0 <= after_s < LONGEST_THOUGHT_S
    ):
        raise FileProblem(
            path, 0, f"turn {number} has after_s {after_s!r}", f"Seconds from 0 to {LONGEST_THOUGHT_S:g}"
        )
    keys = tuple(str(key) for key in item.get("keys", ()))
    for key in keys:
        if key not in _KEYS and not (len(key) == 1 and key.isdigit()):
            raise FileProblem(
                path, 0, f"turn {number} has the key '{key}'", f"Keys are digits and {', '.join(_KEYS)}"
            )
    play = path.parent / str(item["play"]) if "play" in item else None
    if play is not None and not play.is_file():
        raise FileProblem(path, 0, f"turn {number} plays '{item['play']}', which is not there")
    return Turn(when, float(after_s), play, keys, item.get("once") is True)


class Time:
    """A clock that is set to whatever comes next."""

    def __init__(self, *, real: bool) -> None:
        self.now = 0.0
        self._real = real

    def __call__(self) -> float:
        """Seconds since the session began."""
        return self.now

    def reach(self, at: float) -> None:
        """Go on to this moment, at once or in real time."""
        if at > self.now:
            if self._real:
                time.sleep(at - self.now)
            self.now = at


@dataclass
class Sounding:
    """A sound that is being played into the microphone; speech ends at the sample `said`, the file at `until`."""

    turn: Turn
    samples: Samples
    said: int
    until: int
    at: float
    position: int = 0


@dataclass
class Person:
    """The played person: waits until the assistant listens in the right state, then speaks or presses keys.

    It stands where the microphone does: the session's `Ears`.
    """

    turns: deque[Turn]
    clock: Time
    track: SoundTrack
    state: Callable[[], State]
    press: Callable[[str], None]
    ear: Ear | None = None
    _keys: deque[tuple[float, str]] = field(default_factory=deque)
    _sounding: Sounding | None = None
    _next: tuple[float, Turn] | None = None
    _heard: bool = False
    _since: float = 0.0
    _waited: float = 0.0

    # --- the session's side ---

    def listen(self, request: GrammarRequest) -> None:
        """Hear this from now on."""
        assert self.ear is not None  # noqa: S101  set before the session begins
        self.ear.listen(request)
        self._heard = True
        self._ready()

    def pause(self) -> None:
        """Hear nothing; what the person was about to say waits, what is being said goes unheard."""
        assert self.ear is not None  # noqa: S101
        self.ear.pause()
        self._heard = False
        self._put_off()
        sounding = self._sounding
        if sounding is not None and sounding.position < sounding.said:  # talked over
            self._stop_sounding(sounding)
            if not sounding.turn.once:
                self.turns.appendleft(sounding.turn)

    def record_note(self, longest_s: float) -> None:
        """Keep free speech as sound."""
        assert self.ear is not None  # noqa: S101
        self.ear.record_note(longest_s)
        self._heard = True
        self._ready()

    def end_note(self) -> None:
        """End the note now."""
        assert self.ear is not None  # noqa: S101
        self.ear.end_note()

    def close(self) -> None:
        """Nothing to give back."""

    # --- the clock's side ---

    @property
    def due(self) -> float | None:
        """When the person next does something."""
        times = [self._keys[0][0]] if self._keys else []
        if self._sounding is not None:
            times.append(self._sounding.at + (self._sounding.position + CHUNK) / RATE)
        if self._next is not None:
            times.append(self._next[0])
        return min(times, default=None)

    def tick(self) -> None:
        """Do what is due now."""
        now = self.clock.now
        if self._keys and self._keys[0][0] <= now:
            self.press(self._keys.popleft()[1])
        if self._next is not None and self._next[0] <= now:
            self._do(self._next[1])
        if (
            self._sounding is not None
            and self._sounding.at + (self._sounding.position + CHUNK) / RATE <= now + 1e-6
        ):
            self._hear(self._sounding)

    def _ready(self) -> None:
        """The assistant listens: the next turn is due, if it belongs into this state and nothing else is on."""
        self._put_off()
        free = self._heard and not self._keys and self._sounding is None
        if free and self.turns and self.state() in self.turns[0].when:
            turn = self.turns[0]
            # A reminder in the middle of a long wait does not begin it anew, or it would never end; whoever was
            # spoken to thinks for a moment all the same.
            left = max(turn.after_s - self._waited, min(turn.after_s, THINKS_S))
            self._since = self.clock.now
            self._next = (self.clock.now + left, turn)

    def _put_off(self) -> None:
        """What the person was about to do waits; the time that was waited for it counts."""
        if self._next is not None:
            self._waited += self.clock.now - self._since
            self._next = None

    def _do(self, turn: Turn) -> None:
        self._next = None
        self._waited = 0.0
        self.turns.popleft()
        if turn.play is None:
            self._keys.extend((self.clock.now + number * KEY_S, key) for number, key in enumerate(turn.keys))
            return
        samples = read_sound(turn.play).samples
        # A microphone goes on hearing the bay after the words: the last bit of noise, some more of it; after a
        # note, as long as it takes to be sure that it has ended.
        tail = np.tile(samples[-RATE // 2 :], 7 if self.state() is State.NOTING else 2)
        self._sounding = Sounding(
            turn, np.concatenate([samples, tail]), _said(turn.play, samples), len(samples), self.clock.now
        )

    def _hear(self, sounding: Sounding) -> None:
        assert self.ear is not None  # noqa: S101
        chunk = sounding.samples[sounding.position : sounding.position + CHUNK]
        sounding.position += CHUNK
        if sounding.position + CHUNK > len(sounding.samples):
            self._stop_sounding(sounding)
        self.ear.feed(chunk)
        if self._sounding is None:
            self._ready()

    def _stop_sounding(self, sounding: Sounding) -> None:
        """It is over: what was played of it goes onto the sound track."""
        self._sounding = None
        self.track.add_technician(
            sounding.at, sounding.samples[: min(sounding.position, sounding.until)], RATE
        )


def _said(path: Path, samples: Samples) -> int:
    """The sample at which the words of a fixture end, as its manifest says; the last one without a manifest."""
    try:
        clips = json.loads(files.read_text(path.parent / "manifest.json", files.SETTINGS))["clips"]
        ends = {clip["file"]: float(clip["speech_to_s"]) for clip in clips}
    except (OSError, ValueError, KeyError, TypeError):
        return len(samples)
    return round(ends.get(path.name, len(samples) / RATE) * RATE)


class Both:
    """A stream that writes to two streams."""

    def __init__(self, one: TextIO, other: TextIO) -> None:
        self._streams = (one, other)
        self.encoding = one.encoding

    def write(self, text: str) -> int:
        """Write to both."""
        for stream in self._streams:
            stream.write(text)
        return len(text)

    def flush(self) -> None:
        """Flush both."""
        for stream in self._streams:
            stream.flush()


class Stage:
    """A session with the played person in the place of microphone and keys, and a sound track for a loudspeaker.

    Args:
        scenario: What the person does.
        log: The record.
        recogniser: The recogniser.
        grammars: All grammars.
        clock: The clock.
        voice: Renders what the assistant says.
        screen: Shows the dialogue.
        person_class: Who plays the person; another one can decide as it goes along what to do next.
    """

    def __init__(
        self,
        scenario: Scenario,
        log: SessionLog,
        recogniser: Recogniser,
        grammars: GrammarSet,
        clock: Time,
        voice: Voice,
        screen: Screen,
        person_class: type[Person] = Person,
    ) -> None:
        self.clock = clock
        self.track = SoundTrack()
        self.player = NullPlayer(clock, self.track)
        runner = Runner(*load_folder(log.procedures), log.header.thresholds)
        self.session = Session(
            runner=runner, log=log, voice=voice, output=self.player, screen=screen, now=clock
        )
        self.person = person_class(
            deque(scenario.turns), clock, self.track, lambda: runner.state, self.session.press
        )
        reports = Reports(
            happened=self.session.happened,
            keep_clip=log.keep_clip,
            speech_began=self.session.speech_began,
            speech_ended=self.session.speech_ended,
        )
        self.person.ear = Ear(recogniser, grammars.request, reports, thresholds=log.header.thresholds)
        self.session.ears = self.person
        self._procedure = scenario.procedure

    def play(self) -> None:
        """Let everything happen in its order until the session is over or nothing more can come."""
        self.session.begin(self._procedure)
        silent = 0
        while not self.session.finished and not self.session.left():
            if self.session.drain():
                continue
            times = [self.player.due, self.session.next_due(), self.person.due]
            idle = self.person.due is None and self.player.due is None
            silent = silent + 1 if idle else 0
            known = [at for at in times if at is not None]
            if not known or silent > 8:  # only silence is left: the scenario is over
                self.session.close("the scenario is over")
                self.session.drain()
                return
            self.clock.reach(min(known))
            self.player.tick()
            self.person.tick()
            self.session.fire_due()


def run(out: Path, *, model: Path | None = None, real_time: bool = False, script: Path | None = None) -> int:
    """Play a scenario; leaves session, sound track, dialogue and write-up in `out`.

    Returns:
        The exit status: 1 when the dialogue took another way than the scenario, 128 and more after a signal.

    Raises:
        BayAssistantError: The scenario, the model or the folder cannot be used.
    """
    with Ending() as ending:
        return _run(out, ending, model=model, real_time=real_time, script=script)


def _run(out: Path, ending: Ending, *, model: Path | None, real_time: bool, script: Path | None) -> int:
    scenario = read_scenario(script or resources.directory("audio_fixtures") / SCENARIO)
    grammars = GrammarSet.load(resources.directory("grammars"))
    procedures = resources.directory("procedures")
    library = load_library(procedures)
    if scenario.procedure not in library.procedures:
        raise UsageProblem(
            f"The scenario starts with '{scenario.procedure}', which is no procedure. "
            f"Known are: {', '.join(library.procedures)}."
        )
    recogniser = Recogniser(find_model(model))
    clock, started = Time(real=real_time), datetime.now().astimezone()
    try:
        make_private_folder(out)
        for name in ("dialogue.txt", SOUND):  # as private as a session's own; what writes them keeps that
            write_named(out / name, b"")
        dialogue = (out / "dialogue.txt").open("w", encoding="utf-8")
    except OSError as error:
        raise RecordProblem(
            f"The demo cannot write to {out}: {error.strerror}. Name another folder with --out."
        ) from error
    ending.begin()
    log = SessionLog.create(
        out / "sessions", scenario.facts, procedures, now=lambda: started + timedelta(seconds=clock())
    )
    with dialogue, log:
        screen = LineScreen(Both(sys.stdout, dialogue))  # type: ignore[arg-type]
        stage = Stage(scenario, log, recogniser, grammars, clock, Voice(), screen)
        ending.tell(lambda: stage.session.leave("interrupted"))
        stage.play()
        left = len(stage.person.turns)
        if stage.session.outcome in ("verdict", "closed"):
            log.seal()
        folder = log.folder
    try:
        stage.track.write(out / SOUND)
        for suffix, made in write_forms(folder, beside=out):
            write_named(out / f"write-up{suffix}", made.encode("utf-8", "replace"))
    except OSError as error:
        raise RecordProblem(
            f"The demo cannot write to {out}: {error.strerror or error}. The session itself is kept in {folder}."
        ) from error
    print()
    print(f"{clock():.0f} s of session. In {out}:")
    print("  both-voices.flac       the assistant and the technician on one time line")
    print("  dialogue.txt           what was said and heard, as above")
    print("  write-up.txt, .html    for the repair order")
    print(f"  sessions/{folder.name}   the record: bay-assistant verify {folder}")
    if ending.asked is not None:
        print("Interrupted; the session is open.")
        return 128 + ending.asked
    if left:
        print(f"Turns of the scenario that were not reached, because the dialogue took another way: {left}.")
        return 1
    return 0
