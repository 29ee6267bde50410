"""How sure a beginning is, and how often it is said."""

from __future__ import annotations

import numpy as np

from assistant.core.dialogue.policy import HEARD_FROM
from assistant.hearing.starter.certainty import (
    EVERY,
    LONGEST,
    SAID_FROM,
    SURE_FROM,
    TRAITS,
    DoubtedBeginning,
    certainty,
    columns,
    traits,
)
from assistant.hearing.starter.features import BANDS
from assistant.hearing.starter.network import FrameSays


def said(shares: list[float]) -> list[int]:
    """Numbers of the judgements at which a beginning is said."""
    begun = DoubtedBeginning()
    return [number for number, share in enumerate(shares) if begun.judge(share, number * EVERY)]


def test_a_beginning_is_said_once_more_when_it_gets_sure() -> None:
    """It is said when it may be one, again when the dialogue would believe it, and never a third time."""
    low, high = SAID_FROM + 0.01, SURE_FROM + 0.01
    assert said([SAID_FROM - 0.1, low, low, high, low, 0.99]) == [1, 3]
    assert said([high, low, 0.99]) == [0]
    assert not said([SAID_FROM - 0.1] * 5)


def test_a_beginning_is_judged_until_it_is_sure_or_old() -> None:
    """It is judged at once, then every few frames, and no longer when it is sure or a second and a half old."""
    begun = DoubtedBeginning()
    assert begun.due(7)
    begun.judge(0.1, 7)
    assert [frame for frame in range(7, 7 + 3 * EVERY) if begun.due(frame)] == list(
        range(7 + EVERY, 7 + 3 * EVERY)
    )
    assert not begun.due(7 + LONGEST)
    begun.judge(SURE_FROM, 11)
    assert not begun.due(11 + EVERY)


def test_what_follows_an_unsure_beginning_is_less_sure() -> None:
    """A speed of a crank that may be none has no more probability than the crank; a sure crank takes none away."""
    begun = DoubtedBeginning()
    begun.judge(0.5, 0)
    assert begun.weighed(0.8) == 0.4
    begun.judge(0.9, EVERY)
    assert begun.weighed(0.8) == 0.8


def test_sure_is_what_the_dialogue_believes() -> None:
    """The ear says a beginning again exactly when the dialogue would act on it."""
    assert SURE_FROM == HEARD_FROM


def test_traits_are_numbers_for_the_shortest_and_the_longest() -> None:
    """Each trait has a number for one frame without any before it and for many, and certainty is a probability."""
    rng = np.random.default_rng(1)
    for count, since in ((1, 0), (3, 1), (120, 32)):
        says = columns([FrameSays(0.9, 0.01, 0.5, 0.1, 0.2, 0.1)] * count)
        found = traits(rng.normal(0, 1, (count, BANDS)), says, since)
        assert found.shape == (len(TRAITS),)
        assert np.isfinite(found).all()
        assert 0 <= certainty(found) <= 1
