"""Speech on a clock that may be virtual."""

from __future__ import annotations

from tones import Clock, Ended, tone

from assistant.speaking.output import NullPlayer


def test_null_player_takes_the_time_of_the_speech() -> None:
    """Speech ends when the clock has moved by its length, not before."""
    clock, ended = Clock(), Ended()
    player = NullPlayer(clock)
    player.play(tone(1.5), ended)
    assert [player.due] == [11.5]  # in a list, so that a type checker does not take it for fixed
    clock.now = 11.49
    player.tick()
    assert ended.cuts == []
    clock.now = 11.5
    player.tick()
    player.tick()
    assert ended.cuts == [False]
    assert [player.due] == [None]
    assert [(played.at, played.until, played.cut) for played in player.played] == [(10.0, 11.5, False)]


def test_null_player_is_cut_by_the_next_speech() -> None:
    """A new play cuts; speech whose end has passed unnoticed counts as whole."""
    clock, first, second, third = Clock(), Ended(), Ended(), Ended()
    player = NullPlayer(clock)
    player.play(tone(1.0), first)
    clock.now = 10.25
    player.play(tone(1.0), second)
    clock.now = 20.0
    player.play(tone(1.0), third)
    player.close()
    assert (first.cuts, second.cuts, third.cuts) == ([True], [False], [True])
    assert [(played.at, played.until, played.cut) for played in player.played] == [
        (10.0, 10.25, True),
        (10.25, 11.25, False),
        (20.0, 20.0, True),
    ]
