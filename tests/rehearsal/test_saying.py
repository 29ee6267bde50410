"""All sentences that can be said: gathered whole, and judged by rules that natural sentences pass."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given, strategies as st
from shipped import shipped_folder

from assistant.core.dialogue.sayable import REASONS
from assistant.core.values.units import span_words
from assistant.core.words import instructing, remarking
from assistant.core.words.sentences import count_words, sentences
from assistant.rehearsal.amount import measure, words_before_crank
from assistant.rehearsal.exploring import said_in_play
from assistant.rehearsal.judging import findings
from assistant.rehearsal.saying import SpokenSentence, everything, shape

LIBRARY, KNOWLEDGE = shipped_folder()
ALL = everything(LIBRARY, KNOWLEDGE, lambda name: name)
SENTENCES = {one.sentence for one in ALL}


def judged(sentence: str) -> list[str]:
    """The problems of one sentence."""
    return [finding.problem for finding in findings(LIBRARY, [SpokenSentence(sentence, "f", 1, "w")])]


def test_everything_that_procedures_cautions_and_the_dialogue_say_is_gathered() -> None:
    """Each source is in it: cautions, instructions after another step, read-backs, verdicts, notices, reasons."""
    for text in (
        "Hands, hair and leads clear.",
        "Lamp off.",
        "Feed side: lit.",
        "Too loud to hear you.",
        "Standing by.",
        "Nothing to undo.",
        *sentences(instructing.numbered(REASONS.values())),
        *sentences(LIBRARY.procedures["coil-and-driver"].verdicts["coil-bad"].says),
    ):
        assert text in SENTENCES or f"Result. {text}" in SENTENCES, text


def test_a_sentence_names_where_its_words_come_from() -> None:
    """An instruction names its procedure's file and the step's line, a caution the file of the cautions."""
    step = LIBRARY.step("feed-dead", "feed-key-on")
    probe = next(one for one in ALL if one.where == "step feed-key-on" and "Probe" in one.sentence)
    assert (LIBRARY.procedures["feed-dead"].file, step.line) == (probe.file, probe.line)
    warned = next(one for one in ALL if one.where == "caution cranking, full")
    assert "cautions.yaml" == warned.file


def test_the_same_library_says_the_same() -> None:
    """Nothing is left to chance: two plays of one library give the same sentences."""
    assert said_in_play(LIBRARY, KNOWLEDGE, "feed-dead", 300) == said_in_play(
        LIBRARY, KNOWLEDGE, "feed-dead", 300
    )


def test_twice_as_many_events_find_little_more() -> None:
    """The play goes on until nearly everything has been said: under one sentence in twenty is new afterwards."""
    some = {shape(text) for text in SENTENCES}
    longer = everything(LIBRARY, KNOWLEDGE, lambda name: name, turns=3000)
    more = {shape(one.sentence) for one in longer}
    assert len(more - some) < 0.05 * len(more)


@pytest.mark.parametrize(
    ("sentence", "problem"),
    [
        ("Scratch right through all of the old paint and oil until the bare metal shows up.", "16 words"),
        ("Unplug the coil and probe the plug.", "2 actions"),
        ("Touch the leads together, then note what they show.", "2 actions"),
        ("Mend the feed wire.", "'mend'"),
        ("Read the maker's limit.", "'maker's'"),
        ("Expect 12 V here.", "voice"),
        ("Read the ECM data.", "voice"),
        ("The lamp (filament) is lit.", "voice"),
        ("It reads 20000 ohms.", "too long"),
        ("And then the lamp is lit.", "only the rest"),
    ],
)
def test_a_sentence_that_is_hard_to_hear_is_found(sentence: str, problem: str) -> None:
    """Too long, two actions, a word of no shop, units in letters, a number of five digits, a chopped rest."""
    assert any(problem in found for found in judged(sentence)), judged(sentence)


@pytest.mark.parametrize(
    "sentence",
    [
        "Probe the feed side of the coil.",
        "Crank sensor signal at the driver: probe.",
        "Say cranking now, or press Enter, when it turns.",
        "Key the volts, then Enter.",
        "Key on. Don't crank.",
        "Blinking, flickering, steady, dim, or dark?",
        "Say why, correction, voice note, close session, or go ahead.",
        "Unplug the driver module and the coil.",
        "Still open: open feed. Or: driver shorted on.",
        "Filament lamp, a quarter amp or less, no LED.",
    ],
)
def test_a_natural_sentence_passes(sentence: str) -> None:
    """Names that hold a word of command, two ways to do one thing, choices and quoted words are no findings."""
    assert [] == judged(sentence)


@given(st.text(max_size=80))
def test_any_text_is_judged_or_passed(text: str) -> None:
    """Any text to be spoken gives no error, and each finding says which sentence it is about."""
    for part in sentences(text):
        assert all(part in problem for problem in judged(part))
        assert count_words(part) >= 0


def test_numbers_count_as_the_words_that_they_are_read_as() -> None:
    """A written "12.4 volts" is heard as four words, "twelve point four volts"."""
    assert 4 == count_words("12.4 volts")
    assert 5 == count_words("Feed side: 0.25 volts.") - 2
    assert 3 == count_words("45 seconds")


def test_a_large_limit_is_spoken_in_a_larger_unit() -> None:
    """Twenty million ohms are twenty megohms; small limits stay in the unit of the step."""
    assert "0 to 9999 ohms" == span_words(Decimal(0), Decimal(9999), "ohm")
    assert "1 kilohm to 12.5 kilohms" == span_words(Decimal(1000), Decimal(12500), "ohm")
    assert "0 to 20 megohms" == span_words(Decimal(0), Decimal(20000000), "ohm")
    assert "6 to 18 volts" == span_words(Decimal(6), Decimal(18), "V")


def test_the_measure_counts_what_is_spoken_before_the_first_crank() -> None:
    """More cautions before a crank are more words; a procedure without its first caution says less."""
    before = words_before_crank(LIBRARY, KNOWLEDGE, "coil-control")
    assert before is not None
    fewer = replace(
        LIBRARY,
        procedures=LIBRARY.procedures
        | {"coil-control": replace(LIBRARY.procedures["coil-control"], cautions=())},
    )
    after = words_before_crank(fewer, KNOWLEDGE, "coil-control")
    assert after is not None
    said = sum(
        count_words(remarking.caution_text(LIBRARY.cautions[name], "full"))
        for name in LIBRARY.procedures["coil-control"].cautions
        if not LIBRARY.cautions[name].instruments  # the others wait for a step with their instrument
    )
    assert said - 1 <= before - after <= said  # the signal word may be said with those of the step


def test_the_measure_is_of_all_sentences() -> None:
    """Number, longest and share over the aim are those of the sentences that were given."""
    some = [
        SpokenSentence(text, "f", 1, "w") for text in ("Key off.", "Key off.", " ".join(["bare"] * 13) + ".")
    ]
    measured = measure(replace(LIBRARY, procedures={}), None, some, 160)
    assert (2, (2, 13)) == (measured.sentences, measured.words)
    assert 0.5 == measured.over_aim
    assert measured.longest == some[-1].sentence
