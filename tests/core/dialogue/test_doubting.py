"""Questions asked again: no known pattern, and a thin reading before a part is named."""

from __future__ import annotations

from dataclasses import replace

from sample_talks import settle
from shipped import shipped_folder

from assistant.core.dialogue.doubting import thin
from assistant.core.dialogue.states import State
from assistant.core.reasoning import evidence
from assistant.core.reasoning.posterior import WeighedResult
from assistant.core.values import entries
from assistant.core.values.result import Control
from assistant.core.values.thresholds import OLD_RULES, Thresholds
from assistant.core.words import remarking
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue

LIBRARY, KNOWLEDGE = shipped_folder()
CIRCUIT = "coil-with-external-driver"
OLD = Thresholds(0.63, 0.75, rules=OLD_RULES, part_from=0.0)
CARRIES_NOTHING = ("10.5", "feed-dark", "8")
"""The lamp stays dark on the feed where a meter reads eight volts: a wire that carries next to nothing."""


def control_test(limits: Thresholds, answers: tuple[str, ...] = CARRIES_NOTHING) -> Dialogue:
    talk = Dialogue(LIBRARY, limits, knowledge=KNOWLEDGE)
    talk.begin("coil-control")
    settle(talk)
    for answer in answers:
        answered(talk, answer)
        while talk.runner.state is State.READING_BACK:
            talk.hear(control=Control.AFFIRM)
        settle(talk)
    return talk


def answered(talk: Dialogue, answer: str) -> None:
    """An outcome, or a reading."""
    if answer[0].isdigit():
        talk.hear(value=answer, confidence=0.97)
    else:
        talk.hear(answer, confidence=0.97)


def remarks(talk: Dialogue, kind: str) -> list[str]:
    return [entry.text for entry in talk.entries if isinstance(entry, entries.Remark) and entry.kind == kind]


def test_a_dark_lamp_where_a_meter_reads_volts_is_a_known_pattern_and_not_cranked_again() -> None:
    """Some mechanism of the catalogue gives all of it: it goes on, says so once, and keeps both results."""
    talk = control_test(DEFAULT_THRESHOLDS)
    assert talk.runner.position == ("feed-weak", "whole-drop")
    assert remarks(talk, "does not fit") == []
    (words,) = remarks(talk, "known pattern")
    assert words.lower().count("feed") == 2
    assert sum(remarking.KNOWN_PATTERN in text for text in talk.said) == 1


def test_under_the_rules_of_an_old_record_it_is_asked_again_as_it_was() -> None:
    """A session recorded before replays with the question that it had."""
    talk = control_test(OLD)
    assert talk.runner.position == ("coil-control", "feed-and-switched")
    assert remarks(talk, "does not fit")[0].startswith("That's unusual.")


def weighed(*results: tuple[str, str]) -> evidence.Assessment:
    facts = [WeighedResult(*step.split("/"), outcome, 0.99) for step, outcome in results]
    found = evidence.assess(LIBRARY, KNOWLEDGE, CIRCUIT, facts, DEFAULT_THRESHOLDS)
    assert found is not None
    return found


def test_a_part_is_asked_for_only_where_its_faults_are_not_likely_enough() -> None:
    """Likely enough, without a part, or asked already: nothing; else the result that is likeliest a slip."""
    assessment = weighed(
        ("coil-control/feed-and-switched", "switched-dark"),
        ("coil-and-driver/led-in-coils-place", "blinking"),
        ("coil-and-driver/primary-ohms", "open"),
    )
    verdict = LIBRARY.procedures["coil-and-driver"].verdicts["primary-open"]
    sure = assessment.posterior["open-primary"]
    limit = min(1.0, sure + 0.001)
    place = thin(assessment, verdict, frozenset(), 1.1)
    least = DEFAULT_THRESHOLDS.doubt_from / len(assessment.used)
    likeliest = max(assessment.used, key=assessment.slip_of)
    assert place == (likeliest if assessment.slip_of(likeliest) >= least else None)
    assert thin(assessment, verdict, frozenset(), sure) is None
    assert thin(assessment, replace(verdict, part=""), frozenset(), limit) is None
    everything = frozenset(assessment.measurement(one) for one in assessment.used)
    assert thin(assessment, verdict, everything, limit) is None


def test_before_a_part_the_thin_result_is_asked_again_once_and_then_the_verdict_stands() -> None:
    """It is said why, recorded, taken back; the same answer again leads to the verdict, whatever its odds."""
    limits = replace(DEFAULT_THRESHOLDS, part_from=1.1, doubt_from=1e-6, rules=OLD_RULES + 1)
    talk = Dialogue(LIBRARY, limits, knowledge=KNOWLEDGE)
    talk.begin("coil-and-driver")
    settle(talk)
    for _ in range(30):
        if talk.runner.state is State.READING_BACK:
            talk.hear(control=Control.AFFIRM)
        elif talk.runner.state is State.INQUIRING:
            talk.key("plus")
        elif talk.runner.state is State.ASKING:
            name = talk.runner.position[1]
            assert name in ("led-in-coils-place", "primary-ohms", "primary-ohms-again")
            talk.hear("blinking") if name == "led-in-coils-place" else talk.hear(value="900")
        else:
            break
        settle(talk)
    assert talk.runner.state is State.CONCLUDING
    again = remarks(talk, "before a part")
    assert again
    assert all(text.startswith("Make sure before buying a part. Repeat:") for text in again)
    undone = [
        entry.step
        for entry in talk.entries
        if isinstance(entry, entries.ResultUndone) and entry.how == entries.THIN
    ]
    assert len(undone) == len(set(undone)) == len(again)
    verdict = [entry.verdict for entry in talk.entries if isinstance(entry, entries.VerdictReached)]
    assert verdict == ["primary-open"]
