"""Every way through the procedures of the circuits, walked by the dialogue itself.

What a person answers is what the way says: a choice, a reading within the band, a value of the maker given or left
blank, a test skipped.  Where the way ends, the dialogue has to be.
"""

from __future__ import annotations

from decimal import Decimal
from itertools import combinations

import pytest
from shipped import shipped_library

from assistant.core.dialogue.states import State
from assistant.core.library.procedure import Answer, Leads, Measurement, Step, Target
from assistant.core.values.entries import VerdictReached
from assistant.core.values.result import Control
from assistant.core.words import instructing
from assistant.linting import paths
from assistant.rehearsal.dialogue import Dialogue

LIBRARY = shipped_library()
WALKED = ("spark-check", "feed-weak", "primary-check", "built-in-driver-coil", "ground-switched-load")
GIVEN = {
    "primary-resistance-lowest": "0.4",
    "primary-resistance-highest": "0.6",
    "primary-current-lowest": "6",
    "primary-current-highest": "9",
    "time-to-limit-lowest": "2",
    "feed-drop-highest": "0.5",
    "load-resistance-lowest": "12",
    "load-resistance-highest": "15",
    "lead-resistance": "0.2",
    "coil-temperature": "20",
    "air-temperature": "20",
    "cylinder": "3",
    "lamp-current": "0.2",
}
FACTS = {name: Decimal(value) for name, value in GIVEN.items()}
Way = tuple[tuple[Step, Answer | None], ...]


def reading_of(step: Step, answer: Answer, way: Way) -> str:
    """A number that falls into this band; of one that is unjudged, into that of the later step that judges it."""
    assert step.reading is not None
    if answer.outcome == "unjudged":
        again = [(one, said) for one, said in way if one.measure == step.measure and one is not step and said]
        if not again:
            return "0.3"
        step, answer = again[0][0], again[0][1]
        assert step.reading is not None
    band = next(one for one in step.reading.bands if one.outcome == answer.outcome)
    limits = band.limits(FACTS)
    assert limits is not None
    least, most = limits
    low = least if least is not None else step.reading.plausible[0]
    high = most if most is not None else (2 * low or step.reading.plausible[1])
    value = (low + high) / 2 + (FACTS["lead-resistance"] if step.reading.subtract else 0)
    return format(value.quantize(Decimal("0.001")), "f")


def answer_question(talk: Dialogue, blank: set[str]) -> None:
    """Give the fact that is asked for, or leave it blank."""
    fact = next(name for name, inquiry in LIBRARY.terms.facts.items() if inquiry.question in talk.last)
    if fact == "lamp-kind":
        talk.key("1")
    elif fact in GIVEN and fact not in blank:
        talk.hear(value=GIVEN[fact])
    else:
        talk.key("plus")


def walked(name: str, way: Way) -> str:
    """Return where the dialogue ends with these answers: a verdict, or another procedure."""
    said = {step.name: answer for step, answer in way}
    blank = {
        fact
        for step, answer in way
        if answer and answer.outcome == "unjudged" and step.reading
        for fact in step.reading.specified()
    }
    talk = Dialogue(LIBRARY, shown=False)  # ten thousand ways: what the screen shows is tested elsewhere
    talk.begin(name)
    for _ in range(200):
        state = talk.runner.state
        if talk.runner.position[0] != name or state is State.CONCLUDING:
            break
        if state is State.INQUIRING:
            answer_question(talk, blank)
        elif state is State.RESTING:
            talk.rested()
        elif state is State.SKIPPING:
            talk.key("1")
        elif state is State.ASKING:
            step = LIBRARY.step(*talk.runner.position)
            answer = said[step.name]
            if answer is None:
                talk.hear(control=Control.SKIP)
            elif step.reading:
                talk.hear(value=reading_of(step, answer, way))
            else:
                talk.hear(answer.outcome)
        else:
            talk.key("enter")
    verdicts = [entry.verdict for entry in talk.entries if isinstance(entry, VerdictReached)]
    return verdicts[-1] if verdicts else talk.runner.position[0]


def consistent(way: Way) -> bool:
    """Whether no value of the maker is both given and left blank on this way, and no measurement has two answers.

    The dialogue does not ask for a measurement again that was answered.
    """
    once: dict[Measurement, str] = {}
    for step, answer in way:
        outcome = answer.outcome if answer else "skipped"
        if outcome != "unjudged" and once.setdefault(step.measure, outcome) != outcome:
            return False
    judged: set[str] = set()
    blank: set[str] = set()
    for step, answer in way:
        if step.reading and answer and step.reading.specified():
            band = next((one for one in step.reading.bands if one.outcome == answer.outcome), None)
            by_hand = band is not None and band.limits({}) is not None
            if not by_hand:
                (blank if band is None else judged).update(step.reading.specified())
    return not judged & blank


def told(way: Way) -> list[tuple[str, str]]:
    """Return the answer at each step of a way."""
    return [(step.name, answer.outcome if answer else "skipped") for step, answer in way]


def differing(ways: list[tuple[Way, Target]]) -> list[tuple[Way, Target]]:
    """So many of the ways that any three answers, or two and an end, that stand on one way stand on one of these."""
    seen: set[tuple[object, ...]] = set()
    kept = []
    for way, target in ways:
        answers = [*told(way), target.name]
        threes = set(combinations(answers, min(3, len(answers))))
        if not threes <= seen:
            seen |= threes
            kept.append((way, target))
    return kept


@pytest.mark.parametrize("name", WALKED)
def test_every_way_can_be_walked(name: str) -> None:
    """With anything answered, skipped or left blank, the dialogue comes to the end that the file states.

    The largest file has eleven thousand ways: one whose every three answers stand together on others is not walked.
    """
    ways: list[tuple[Way, Target]] = [one for one in paths(LIBRARY.procedures[name]) if consistent(one[0])]
    walking = differing(ways)
    assert len(walking) > 5
    assert {target.name for _, target in walking} == {target.name for _, target in ways}
    for way, target in walking:
        assert target.leads is not Leads.STEP
        assert walked(name, way) == target.name, told(way)


def test_a_clamp_stays_on_while_its_ramp_its_peak_and_its_time_are_read() -> None:
    """One clamp shows all three, so nobody is told to take it off and put it back."""
    ramp, peak, time = (
        LIBRARY.step("primary-check", name) for name in ("ramp", "peak-current", "time-to-limit")
    )
    assert instructing.setup(LIBRARY, peak, ramp.measure) == ()
    assert instructing.setup(LIBRARY, time, peak.measure) == ()
    assert "Clamp around the coil feed wire." in " ".join(
        instructing.setup(LIBRARY, peak, ramp.measure, whole=True)
    )
    lamp = LIBRARY.step("feed-dead", "feed-key-on")
    assert instructing.setup(LIBRARY, lamp, ramp.measure)[0] == "Clamp off."


def test_the_lamp_that_loads_a_feed_comes_off_with_the_meter() -> None:
    """It would stay on the feed, unasked, while the next test is made."""
    drop, lamp = LIBRARY.step("feed-weak", "whole-drop"), LIBRARY.step("feed-weak", "other-terminal")
    said = instructing.setup(LIBRARY, lamp, drop.measure)
    assert {"Voltmeter off.", "Heavy lamp off."} <= set(said)
