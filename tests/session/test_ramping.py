"""The clamp at the edge of a session: one capture for each crank, kept, proposed, and never taken."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from ramp_captures import CIRCUIT, MEASURED, Clamp, captured
from shipped import shipped_folder

from assistant.circuit.catalogue import mechanism_named
from assistant.circuit.parameters import Systems
from assistant.circuit.tracing import trace
from assistant.core.dialogue.states import State
from assistant.core.values.entries import Cranked, ResultPerceived, ResultTaken
from assistant.core.values.events import Began, Clip, Event
from assistant.core.values.perceived import Perceived
from assistant.core.values.result import Control, Result
from assistant.core.values.witness import Figure, Witness
from assistant.errors import GearProblem, RecordProblem, UsageProblem
from assistant.meter import sigrok
from assistant.meter.dwells import CurrentCapture
from assistant.meter.readings import MeterTrouble
from assistant.rehearsal.dialogue import Dialogue
from assistant.session.ramping import ClampWatch
from assistant.session.settings import Gear, Perceiving
from assistant.session.watching import open_clamp

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    import numpy.typing as npt

LIBRARY, _ = shipped_folder()
KEPT = Clip("clips/0001.flac", "0" * 64, 1.5)


def ramp_of(fault: str) -> CurrentCapture:
    """A capture of 1.5 s of a typical car with this fault, by the circuit model."""
    one = trace(CIRCUIT, mechanism_named(CIRCUIT, fault), MEASURED, Systems.typical())
    return captured(one, Clamp(), np.random.default_rng(1))


class Bench:
    """A stand-in for a clamp that delivers, when the crank ends, what it was given."""

    def __init__(self, shows: CurrentCapture | MeterTrouble) -> None:
        self.shows = shows
        self.begun = self.finished = self.closed = 0
        self._deliver: Callable[[CurrentCapture | MeterTrouble], None] = lambda _: None

    def __call__(self) -> Bench:
        return self

    def start(self, deliver: Callable[[CurrentCapture | MeterTrouble], None]) -> None:
        """Count it."""
        self.begun += 1
        self._deliver = deliver

    def finish(self) -> None:
        """Deliver."""
        self.finished += 1
        self.deliver()

    def deliver(self) -> None:
        """Deliver what it shows."""
        self._deliver(self.shows)

    def close(self) -> None:
        """Count it."""
        self.closed += 1


class Bay:
    """A session at the step that asks for the shape of the ramp, with a clamp."""

    def __init__(self, shows: CurrentCapture | MeterTrouble) -> None:
        self.talk = Dialogue(LIBRARY)
        self.talk.send(Began(self.talk.now, "primary-check", witnesses=(Witness.CLAMP,)))
        self.talk.listen()
        self.talk.ready()
        steps = LIBRARY.procedures["primary-check"].steps.values()
        self.talk.runner.talk.work.step = next(one for one in steps if one.answer("slow-ramp"))
        self.talk.runner.talk.state = State.ASKING
        self.bench = Bench(shows)
        self.kept: list[npt.NDArray[np.float64]] = []
        self.events: list[Event] = []
        self.posted: list[Callable[[float], Event | None]] = []
        self.watch = ClampWatch(self.bench, self.keep, self.posted.append)

    def keep(self, ampere: npt.NDArray[np.float64], rate: float) -> Clip:
        """Keep the samples."""
        assert 20000.0 == rate
        self.kept.append(ampere)
        return KEPT

    def crank(self) -> None:
        """Announce a crank."""
        self.talk.hear(control=Control.CRANKING)
        self.watch.look(self.talk.runner)

    def stop(self) -> None:
        """The crank's limit ends it."""
        self.talk.wait(20)
        self.watch.look(self.talk.runner)

    def arrive(self) -> None:
        """The loop carries out what was posted."""
        while self.posted:
            event = self.posted.pop(0)(self.talk.now)
            if event is not None:
                self.events.append(event)
                self.talk.send(event)
                self.watch.look(self.talk.runner)

    def results(self) -> list[ResultTaken]:
        """The results on record."""
        return [one for one in self.talk.entries if isinstance(one, ResultTaken)]


@pytest.mark.parametrize(("fault", "outcome"), [("none", "slow-ramp"), ("shorted-primary", "at-once")])
def test_a_ramp_is_captured_while_cranking_and_taken_only_by_a_yes(fault: str, outcome: str) -> None:
    """From the crank's begin to its end; kept, read back, and on record after "yes" with its source and figures."""
    bay = Bay(ramp_of(fault))
    bay.watch.look(bay.talk.runner)
    assert 0 == bay.bench.begun
    bay.crank()
    bay.watch.look(bay.talk.runner)
    assert (1, 0) == (bay.bench.begun, bay.bench.finished)
    bay.stop()
    assert 1 == bay.bench.finished
    bay.arrive()
    (seen,) = bay.events
    assert isinstance(seen, Perceived)
    assert (Witness.CLAMP, Result(outcome=outcome), KEPT) == (seen.source, seen.result, seen.clip)
    assert seen.confidence > 0.85
    assert 30000 == len(bay.kept[0])
    assert State.READING_BACK is bay.talk.runner.state
    assert [] == bay.results()
    bay.talk.hear(control=Control.AFFIRM)
    assert [outcome] == [one.outcome for one in bay.results()]
    (perceived,) = (one for one in bay.talk.entries if isinstance(one, ResultPerceived))
    assert Witness.CLAMP is perceived.source
    assert "dwells" in [figure.name for figure in perceived.figures]


def test_an_answer_by_word_makes_the_capture_too_late() -> None:
    """What arrives after the step was answered is no proposal for the next one."""
    for soon in (True, False):
        bay = Bay(ramp_of("none"))
        bay.crank()
        if soon:
            bay.bench.deliver()
        bay.talk.hear("slow-ramp")
        bay.talk.hear(control=Control.AFFIRM)
        assert 1 == len(bay.results())
        bay.watch.look(bay.talk.runner)
        assert int(soon) == len(bay.posted) == len(bay.kept)
        bay.arrive()
        assert [] == bay.events


def test_a_capture_that_is_enough_ends_the_crank_and_a_no_does_not_begin_another() -> None:
    """The starter is spared: the proposal says "Stop cranking", and after a "no" the technician says what he saw."""
    bay = Bay(ramp_of("none"))
    bay.crank()
    bay.bench.deliver()
    bay.arrive()
    assert State.READING_BACK is bay.talk.runner.state
    assert bay.talk.last.startswith("Stop cranking. The clamp shows: sloped.")
    assert 1 == len([one for one in bay.talk.entries if isinstance(one, Cranked)])
    bay.talk.hear(control=Control.NEGATIVE)
    assert State.ASKING is bay.talk.runner.state
    bay.watch.look(bay.talk.runner)
    assert 1 == bay.bench.begun
    assert [] == bay.results()


@pytest.mark.parametrize(
    ("shows", "why"),
    [
        (CurrentCapture(np.zeros(2000), 20000.0), "The capture is too short, or has gaps."),
        (MeterTrouble("gone", "", "Check its cable."), "Check its cable."),
    ],
)
def test_what_the_clamp_cannot_tell_is_shown_and_nothing_is_proposed(
    shows: CurrentCapture | MeterTrouble, why: str
) -> None:
    """The step still waits for the technician's own word; the reason stands on the board and in the record."""
    bay = Bay(shows)
    bay.crank()
    bay.stop()
    bay.arrive()
    (seen,) = bay.events
    assert isinstance(seen, Perceived)
    assert (Figure("why", why),) == seen.figures
    assert bay.talk.runner.state in (State.ASKING, State.RESTING)
    assert why in bay.talk.runner.talk.said.message
    assert [] == bay.results()


def test_a_capture_that_cannot_be_kept_is_proposed_all_the_same() -> None:
    """A full disk takes the picture away and not the answer."""
    bay = Bay(ramp_of("none"))

    def full(_ampere: npt.NDArray[np.float64], _rate: float) -> Clip:
        raise RecordProblem("full")

    bay.watch = ClampWatch(bay.bench, full, bay.posted.append)
    bay.crank()
    bay.stop()
    bay.arrive()
    assert [None] == [one.clip for one in bay.events if isinstance(one, Perceived)]
    assert State.READING_BACK is bay.talk.runner.state


def test_closing_ends_a_capture_that_runs() -> None:
    """Once; and a second time is harmless."""
    bay = Bay(ramp_of("none"))
    bay.crank()
    bay.watch.close()
    bay.watch.close()
    assert 1 == bay.bench.closed


def test_a_session_with_a_clamp_names_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The spec is checked before a session is made: its file, and the program."""
    assert (Witness.CLAMP,) == Gear(perceiving=Perceiving(hear_starter=False, clamp_scope="demo")).witnesses()
    assert open_clamp(None) is None
    monkeypatch.setattr(sigrok.shutil, "which", lambda _: "/bin/true")
    with pytest.raises(UsageProblem, match="there is no file"):
        open_clamp(str(tmp_path / "none.sr"))
    monkeypatch.setattr(sigrok.shutil, "which", lambda _: None)
    with pytest.raises(GearProblem, match="sigrok-cli"):
        open_clamp("demo")
