"""Plays the demonstration and leaves session, sound track, dialogue and write-up in a folder."""

from __future__ import annotations

import sys
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, TextIO

from assistant import resources
from assistant.core.nearest import among
from assistant.demo.scenario import SCENARIO, read_scenario
from assistant.demo.stage import Stage
from assistant.errors import RecordProblem, UsageProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.loading.folder import load_library
from assistant.private import write_named
from assistant.record import SessionLog
from assistant.record.header import SpokenBy
from assistant.record.storage import make_private_folder
from assistant.rehearsal.player import MadeClock
from assistant.screen.terminal import LineScreen
from assistant.session.ending import Ending
from assistant.speaking.voice import Voice
from assistant.writeup import write_forms

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.demo.scenario import Scenario

SOUND = "both-voices.flac"


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


def run(
    out: Path,
    *,
    model: Path | None = None,
    real_time: bool = False,
    script: Path | None = None,
    voice: Voice | None = None,
) -> int:
    """Play a scenario with this voice or the default one; leaves session, sound track, dialogue, write-up in `out`.

    Returns:
        The exit status: 1 when the dialogue took another way than the scenario, 128 and more after a signal.

    Raises:
        BayAssistantError: The scenario, the model or the folder cannot be used.
    """
    with Ending() as ending:
        scenario = read_scenario(script or resources.directory("audio_fixtures") / SCENARIO)
        return _run(out, ending, scenario, model=model, real_time=real_time, voice=voice or Voice())


def _run(
    out: Path, ending: Ending, scenario: Scenario, *, model: Path | None, real_time: bool, voice: Voice
) -> int:
    grammars = GrammarSet.load(resources.directory("grammars"))
    procedures = resources.directory("procedures")
    library = load_library(procedures)
    if scenario.procedure not in library.procedures:
        raise UsageProblem(
            f"The scenario starts with '{scenario.procedure}', which is not a procedure. "
            f"{among(scenario.procedure, library.procedures)}."
        )
    recogniser = Recogniser(find_model(model))
    clock, started = MadeClock(real=real_time), datetime.now().astimezone()
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
        out / "sessions",
        scenario.facts,
        procedures,
        spoken_by=SpokenBy(voice.voice_name, voice.rate_words_per_minute),
        now=lambda: started + timedelta(seconds=clock()),
    )
    with dialogue, log:
        screen = LineScreen(Both(sys.stdout, dialogue))  # type: ignore[arg-type]
        stage = Stage(scenario, log, recogniser, grammars, clock, voice, screen)
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
