"""Words for a glance, and sentences where the voice is off."""

from __future__ import annotations

import re

import pytest
from shipped import shipped_library

from assistant.core.words import glancing, placing

LIBRARY = shipped_library()
VERDICTS = [
    pytest.param(verdict, id=f"{procedure.name}-{verdict.name}")
    for procedure in LIBRARY.procedures.values()
    for verdict in procedure.verdicts.values()
]


@pytest.mark.parametrize("verdict", VERDICTS)
def test_every_verdict_has_a_few_large_words(verdict) -> None:  # type: ignore[no-untyped-def]  # noqa: ANN001
    """They say what is wrong or what to do next, never that there is a verdict, and take a few lines of letters."""
    words = glancing.found(LIBRARY, verdict)
    assert words
    assert "verdict" not in words.lower()
    assert "result" not in words.lower()
    assert len(words) <= 64
    assert max(map(len, words.split())) <= 16, "a word that long is not set in large letters"


def test_a_part_is_named_by_its_fault_or_called_bad() -> None:
    """One fault: its plain name; several of one part: the part."""
    verdicts = LIBRARY.procedures["coil-and-driver"].verdicts
    assert "open coil primary" == glancing.found(LIBRARY, verdicts["primary-open"])
    assert "control wire bad" == glancing.found(LIBRARY, verdicts["control-wire-open"])


def test_a_stop_names_its_next_check_unless_it_is_for_safety() -> None:
    """The next thing to do is the largest; where the verdict tells to stop, the reason is."""
    verdicts = [verdict for one in LIBRARY.procedures.values() for verdict in one.verdicts.values()]
    stops = [verdict for verdict in verdicts if verdict.next_check and not verdict.part]
    safe = [verdict for verdict in stops if re.search(r"\bstop\b", verdict.says, re.IGNORECASE)]
    assert len(stops) > len(safe) > 0
    for verdict in stops:
        where = verdict.says if verdict in safe or not verdict.next_check else verdict.next_check.do
        assert glancing.found(LIBRARY, verdict) in where, verdict.name


@pytest.mark.parametrize(
    ("said", "shown"),
    [
        ("Hands clear. Say ready, or press Enter.", "Hands clear. Press Enter."),
        ("Say cranking now, or press Enter, when it turns.", "Press Enter, when it turns."),
        ("Which test? Say its name, or key its number.", "Which test? Key its number."),
        ("Without a number, say over range, or key nines.", "Without a number, key nines."),
        (
            "If you are not sure, say not yet. Orange means hybrid.",
            "If you are not sure, key 2. Orange means hybrid.",
        ),
        ("Say go ahead, or close session.", ""),
        ("Key off. Unplug the coil.", "Key off. Unplug the coil."),
    ],
)
def test_the_key_takes_the_place_of_the_word(said: str, shown: str) -> None:
    """Nobody is asked to say something; what has a key keeps it, and what has none goes."""
    assert shown == glancing.keyed(said, (("1", "gas only"), ("2", "not yet")))


def test_the_headline_of_a_comparison_names_both_places_in_order() -> None:
    """From two metres it tells where to touch first, and the read-back is the answer alone."""
    step = LIBRARY.step("coil-control", "feed-and-switched")
    assert "FEED, THEN SWITCHED SIDE" == placing.headline(LIBRARY, step)
    assert "sharper" == glancing.result(LIBRARY, step, step.answer("sharper"), None, None)
