"""The goals of hearing, and which rows of a measurement show how far they are met."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Goal:
    """One figure with its goal.

    Attributes:
        name: Its name.
        kind: ``right`` (right / wrong of answers, per cent), ``accepted`` (of other speech, per cent), ``silent``,
            ``hours``, ``delay``, ``factor`` or ``memory``.
        wanted: The goal.
        parts: Beginnings of the rows that count.
        conditions: Columns that count, each by itself.
        without: Rows with this in their name do not count.
    """

    name: str
    kind: str
    wanted: str
    parts: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    without: str = ""


WORDS = ("words, ", "phrases, ", "digits, ", "British ")
"""Beginnings of the rows of single words by people."""

APART = "not among the choices"
"""End of the rows in which the spoken word is no choice."""

GOALS = (
    Goal("orders by people, clean: right / wrong", "right", "96 / 2", ("orders",), ("clean",)),
    Goal("the same in bay noise at 12, 6 dB", "right", "95 / 2, 90 / 4", ("orders",), ("12 dB", "6 dB")),
    Goal(
        "with one other voice at 24, 18, 12 dB under",
        "right",
        "94 / 3, 92 / 3, 82 / 5",
        ("orders, one",),
        ("24 dB under", "18 dB under", "12 dB under"),
    ),
    Goal(
        "single words and short phrases by people, ten choices, clean: right / wrong",
        "right",
        "93 / 1",
        WORDS,
        ("clean",),
        APART,
    ),
    Goal("words not among the choices accepted, clean, 10 dB", "accepted", "2", WORDS, ("clean", "10 dB")),
    Goal(
        "near misses accepted, made and written, clean, 10 dB",
        "accepted",
        "5",
        ("near misses, made", "near-misses"),
        ("clean", "10 dB"),
    ),
    Goal(
        "accepted per piece of talk addressed to nobody, clean, 10 dB",
        "accepted",
        "0.5",
        ("addressed to nobody", "remarks", "people-sentences", "people-reading"),
        ("clean", "10 dB"),
    ),
    Goal(
        "the same as the ear cuts it, per piece: near, 15 dB farther",
        "accepted",
        "0.5",
        ("talk to nobody",),
        ("near", "15 dB farther"),
    ),
    Goal("wrong answers surer than the limit, for each 1,000 answers", "silent", "1"),
    Goal(
        "unheard voice, lamp, at 20, 10, 5, 0 dB",
        "right",
        "98, 97, 92, 75",
        ("lamp",),
        ("20 dB", "10 dB", "5 dB", "0 dB"),
        ",",
    ),
    Goal(
        "unheard voice, readings, at 20, 10, 5, 0 dB",
        "right",
        "92, 88, 65, 40",
        ("readings",),
        ("20 dB", "10 dB", "5 dB", "0 dB"),
        ",",
    ),
    Goal(
        "readings in two turns, the second digit by digit, at 20, 10, 5, 0 dB",
        "right",
        "60 at 5 dB",
        ("readings, in two turns",),
        ("20 dB", "10 dB", "5 dB", "0 dB"),
    ),
    Goal("accepted in an hour of noise and chatter", "hours", "0.3"),
    Goal(
        "end of speech to decision, 95th percentile, clean / 10 dB",
        "delay",
        "0.35 / 0.55 s",
        (),
        ("clean", "10 dB"),
    ),
    Goal("real-time factor, processor time", "factor", "0.05"),
    Goal("memory of a process that only hears", "memory", "130 MB"),
)
"""All goals that `bench hearing` measures; whole jobs have a script of their own."""
