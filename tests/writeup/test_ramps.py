"""The current ramps of the write-up: which test each belongs to, what is drawn beside it, and its file."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import numpy as np
import pytest
from ramp_captures import CIRCUIT, MEASURED, Clamp, captured
from recorded import START, library

from assistant.circuit.catalogue import mechanism_named
from assistant.circuit.parameters import Systems
from assistant.circuit.tracing import trace
from assistant.core.dialogue.states import State
from assistant.core.values.events import Began
from assistant.core.values.perceived import Perceived
from assistant.core.values.result import Control, Result
from assistant.core.values.witness import Witness
from assistant.errors import RecordBroken
from assistant.record import Facts, SessionLog
from assistant.record.verifying import verify
from assistant.rehearsal.dialogue import Dialogue
from assistant.resources import directory
from assistant.writeup import drafted, write_html, write_json, write_text

if TYPE_CHECKING:
    from pathlib import Path


def cranked(parent: Path, *, answer: str = "") -> Path:
    """A session at the ramp of a car with shorted turns; the proposal is taken, or denied for another answer."""
    talk = Dialogue(library())
    with SessionLog.create(parent, Facts(), directory("procedures"), now=lambda: START) as log:
        one = trace(CIRCUIT, mechanism_named(CIRCUIT, "shorted-primary"), MEASURED, Systems.typical())
        ramp = captured(one, Clamp(), np.random.default_rng(1))
        clip = log.keep_capture(ramp.ampere, ramp.rate)
        talk.send(Began(talk.now, "primary-check", witnesses=(Witness.CLAMP,)))
        talk.listen()
        talk.ready()
        steps = library().procedures["primary-check"].steps.values()
        talk.runner.talk.work.step = next(one for one in steps if one.answer("slow-ramp"))
        talk.runner.talk.state = State.ASKING
        talk.hear(control=Control.CRANKING)
        talk.send(Perceived(talk.now, Witness.CLAMP, Result(outcome="at-once"), 0.95, clip=clip))
        if answer:
            talk.hear(control=Control.NEGATIVE)
            talk.hear(answer)
        talk.hear(control=Control.AFFIRM)
        for event, actions in zip(talk.events, talk.actions, strict=True):
            log.append(event, actions)
        log.seal()
    return log.folder


def test_the_ramp_stands_in_every_form_with_the_sound_coil_and_a_suspected_fault(tmp_path: Path) -> None:
    """The page draws it, text and JSON name its file; the suspected fault is one that speaks for such a ramp."""
    folder = cranked(tmp_path)
    page = write_html(folder)
    assert "Current while cranking" in page
    assert "sound coil" in page
    (ramp,) = json.loads(write_json(folder))["ramps"]
    assert ("clips/0001.flac", CIRCUIT) == (ramp["file"], ramp["circuit"])
    assert ramp["fault"] in ("shorted-primary", "control-wire-to-battery", "wrong-coil")
    assert ramp["suspected"] in page
    assert "clips/0001.flac" in write_text(folder)
    assert [] == verify(folder)


def test_the_ramp_of_an_overruled_proposal_is_still_shown(tmp_path: Path) -> None:
    """The technician's word counts, and the picture beside it lets a reader judge."""
    folder = cranked(tmp_path, answer="slow-ramp")
    made, _, _ = drafted(folder)
    assert ["slow-ramp"] != [one.captured for one in made.tests]
    assert 1 == len(made.ramps)
    assert made.ramps[0].test == made.tests[0].number


def test_an_altered_capture_is_not_drawn(tmp_path: Path) -> None:
    """The seal and the log know its checksum, so that the page is refused and verify says which file."""
    folder = cranked(tmp_path)
    path = folder / "clips" / "0001.flac"
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    with pytest.raises(RecordBroken, match=r"0001\.flac"):
        write_html(folder)
    assert ["clips/0001.flac"] == [finding.path for finding in verify(folder)]
