"""Whole jobs against the clock: where the seconds go."""

from __future__ import annotations

from dataclasses import replace

import pytest

from assistant.errors import UsageProblem
from assistant.rehearsal.jobs import JOBS, Cars, Pace, Spent, time_job
from tests.support.shipped import shipped_library

OPEN_WIRE = JOBS[0]
TO_CRANK = next(job for job in JOBS if job.to_crank)


def timed(pace: Pace, seconds: float = 1.0) -> Spent:
    """The job of the open control wire on one car, each utterance as long as given."""
    (spent,) = time_job(shipped_library(), None, OPEN_WIRE, pace, lambda _text: seconds, Cars(1))
    return spent


def test_a_job_ends_with_the_fault_of_the_car() -> None:
    """The technician reports what the model shows, and the dialogue finds the fault in it."""
    spent = timed(Pace())
    verdicts = shipped_library().procedures.values()
    faults = {name: one.faults for procedure in verdicts for name, one in procedure.verdicts.items()}
    assert OPEN_WIRE.fault in faults[spent.end]
    assert spent.all == spent.speech + spent.rest + spent.hook_ups + spent.cranks


def test_seconds_of_speech_count_once_for_each_utterance() -> None:
    """A voice of no length leaves only hands and starter; twice the length is twice the speech."""
    silent, slow, slower = timed(Pace(), 0.0), timed(Pace(), 0.01), timed(Pace(), 0.02)
    assert silent.speech == 0
    assert slow.speech > 0
    assert slower.speech == pytest.approx(2 * slow.speech)
    assert silent.steps == slow.steps


def test_hands_and_starter_take_the_given_seconds() -> None:
    """Hook-ups and cranks are multiples of what they take."""
    spent = timed(Pace(5.0, 3.0))
    assert spent.hook_ups > 0
    assert spent.hook_ups % 5 == 0
    assert spent.cranks > 0
    assert spent.cranks % 3 == 0


def test_a_job_to_the_first_crank_ends_there() -> None:
    """Nothing is cranked before its end."""
    (spent,) = time_job(shipped_library(), None, TO_CRANK, Pace(), lambda _text: 1.0, Cars(1))
    assert (spent.end, spent.cranks) == ("first crank", 0)


def test_with_ear_and_meter_the_same_job_takes_a_third_fewer_words() -> None:
    """The same steps, the same verdict, every crank counted, and at least a third of the words less."""
    plain, having = timed(Pace()), timed(Pace(ear=True, meter=True))
    assert (plain.steps, plain.end) == (having.steps, having.end)
    assert having.words <= plain.words * 2 / 3
    assert 0 < having.cranks <= plain.cranks
    assert having.talk < plain.talk


def test_an_unknown_fault_is_refused() -> None:
    """A job about a fault that the circuit does not have says where to look."""
    with pytest.raises(UsageProblem, match=r"terms\.yaml"):
        time_job(
            shipped_library(), None, replace(OPEN_WIRE, fault="gremlins"), Pace(), lambda _text: 1.0, Cars(1)
        )
