"""The starter's budget: short cranks need no wait, long ones do, and the limits lie within what is published."""

from __future__ import annotations

import itertools

from hypothesis import given, strategies as st

from assistant.core.values.starter import PUBLISHED, Starter, StarterLimits

LIMITS = StarterLimits()


def cranking(
    lengths: list[float], waits: list[float], limits: StarterLimits = LIMITS
) -> list[tuple[float, float]]:
    """Begin and end of cranks that are wanted for so long and after such waits, and last as long as they may."""
    now, starter, cranks = 0.0, Starter(), []
    for wanted, wait in zip(lengths, waits, strict=True):
        now = max(now + wait, starter.ready_at(limits))
        seconds = min(wanted, starter.longest(limits, now))
        cranks.append((now, now + seconds))
        now += seconds
        starter = starter.cranked(limits, seconds, now)
    return cranks


LENGTHS = st.lists(st.floats(0.5, 40), min_size=1, max_size=40)


@given(LENGTHS, st.data())
def test_no_order_of_cranks_takes_more_than_the_budget_and_what_has_recovered(
    lengths: list[float], data: st.DataObject
) -> None:
    """In one go at most the longest; in any stretch of time at most the budget and the recovery of that time."""
    waits = data.draw(st.lists(st.floats(0, 90), min_size=len(lengths), max_size=len(lengths)))
    cranks = cranking(lengths, waits)
    rate = LIMITS.budget_s / LIMITS.recovery_s
    for first, (begin, _) in enumerate(cranks):
        used = 0.0
        for at, end in cranks[first:]:
            assert end - at <= LIMITS.longest_s + 1e-6
            used += end - at
            assert used <= LIMITS.budget_s + rate * (end - begin) + 1e-6
    for (_, end), (at, _) in itertools.pairwise(cranks):
        assert at - end >= LIMITS.pause_s - 1e-6


def test_cranks_of_a_few_seconds_never_wait_beyond_standing_still() -> None:
    """Four seconds every twenty, as in a job with a lamp, never use the budget up."""
    now, starter = 0.0, Starter()
    for _ in range(200):
        assert starter.rested_at <= now
        starter = starter.cranked(LIMITS, 4.0, now + 4)
        now += 20


def test_a_used_up_budget_is_waited_for_until_it_is_whole() -> None:
    """After the longest crank comes a minute of rest; afterwards the longest is possible again."""
    starter = Starter().cranked(LIMITS, 15.0, 15.0)
    assert starter.ready_at(LIMITS) == 75.0
    assert starter.longest(LIMITS, 75.0) == 15.0


def test_who_goes_on_anyway_gets_a_short_crank_which_counts() -> None:
    """Going on before the rest is over allows the shortest useful crank, and costs all the more rest."""
    starter = Starter().cranked(LIMITS, 15.0, 15.0).at_once(20.0)
    assert starter.ready_at(LIMITS) == 20.0
    assert starter.longest(LIMITS, 20.0) == LIMITS.least_s
    again = starter.cranked(LIMITS, 5.0, 25.0)
    assert again.ready_at(LIMITS) > 75.0


def test_the_makers_limits_rule() -> None:
    """A longest crank of the maker's replaces ours at the same rate of recovery; a wait holds after any crank."""
    longer = LIMITS.by_maker(30.0, None)
    assert (longer.longest_s, longer.budget_s / longer.recovery_s) == (30.0, 0.25)
    assert longer.recovery_s == 120.0
    waiting = LIMITS.by_maker(None, 120.0)
    assert Starter().cranked(waiting, 1.0, 10.0).ready_at(waiting) == 130.0
    assert LIMITS.by_maker(None, None) == LIMITS


def test_our_limits_lie_within_the_published_ones() -> None:
    """Outside check: `PUBLISHED`, each with its publication.

    No passenger-car handbook that was read allows more than 15 s in one go, so ours is not above it. The wait after
    15 s lies between the shortest and the longest that is named; heavy trucks may crank 30 s, as a quarter of the time.
    The moment of standing still is that of the truck's handbook. What is from memory decides nothing.
    """
    seen = [one for one in PUBLISHED if one.seen]
    cars = [one for one in seen if "car" in one.source]
    longest = [one.longest_s for one in cars if one.longest_s]
    assert max(longest) == LIMITS.longest_s
    rests = [one.rest_s for one in seen if one.longest_s and one.rest_s]
    assert min(rests) < LIMITS.recovery_s < max(rests)
    military = {
        one.source.partition(",")[0]: (one.longest_s, one.rest_s) for one in seen if "TM " in one.source
    }
    assert military == {"TM 5-5420-202-10": (15, 180), "TM 5-3805-290-23-1": (30, 120)}
    assert LIMITS.budget_s / LIMITS.recovery_s == 30 / 120
    assert [one.rest_s for one in seen if one.longest_s is None and one.rest_s] == [LIMITS.pause_s]
