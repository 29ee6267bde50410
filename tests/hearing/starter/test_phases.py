"""When cranking begins and ends, from probabilities."""

from __future__ import annotations

from assistant.hearing.starter.network import FrameSays
from assistant.hearing.starter.phases import PhaseChange, Phases, PumpWatch, Turning


def frames(phases: Phases, cranks: float, runs: float, count: int, first: int) -> list[PhaseChange]:
    says = FrameSays(cranks, runs, 0.5, 0.0, 0.1, 0.1)
    found = [phases.hear(says, first + number) for number in range(count)]
    return [one for one in found if one is not None]


def test_a_crank_begins_and_ends_where_the_evidence_turned() -> None:
    """A change is dated to the frame where the evidence began, not to where there was enough of it."""
    phases = Phases()
    said = (
        frames(phases, 0.02, 0.0, 50, 0)
        + frames(phases, 0.95, 0.0, 50, 50)
        + frames(phases, 0.02, 0.0, 50, 100)
    )
    assert [(one.after, one.at) for one in said] == [(Turning.STARTER, 50), (Turning.NOTHING, 100)]


def test_an_engine_that_runs_follows_the_starter() -> None:
    """Running is a change of its own."""
    phases = Phases()
    said = frames(phases, 0.95, 0.0, 50, 0) + frames(phases, 0.02, 0.95, 50, 50)
    assert [one.after for one in said] == [Turning.STARTER, Turning.ITSELF]


def test_one_loud_frame_is_no_crank() -> None:
    """A bang that looks like a starter for one frame changes nothing."""
    phases = Phases()
    assert (
        not frames(phases, 0.02, 0.0, 50, 0)
        + frames(phases, 0.99, 0.0, 1, 50)
        + frames(phases, 0.02, 0.0, 50, 51)
    )


def test_a_beginning_that_is_not_sure_is_given_up_sooner() -> None:
    """The end of a crank that nobody is sure of needs less evidence than that of a sure one."""
    lengths = {}
    for sure in (False, True):
        phases = Phases()
        assert frames(phases, 0.95, 0.0, 20, 0)
        phases.sure = sure
        lengths[sure] = next(number for number in range(40) if frames(phases, 0.05, 0.0, 1, 20 + number))
    assert lengths[False] < lengths[True]


def test_only_a_hum_of_about_two_seconds_is_a_pump() -> None:
    """Hums of half a second and of ten are others' hums."""
    for seconds, wanted in ((0.5, False), (2.0, True), (10.0, False)):
        watch = PumpWatch()
        shares = [0.01] * 30 + [0.95] * round(seconds / 0.016) + [0.01] * 60
        assert wanted == any(watch.hear(one, number) for number, one in enumerate(shares))
