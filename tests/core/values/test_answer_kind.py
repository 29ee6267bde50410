"""The kinds of answers: what a wrong one would cost is told by the answer and the moment."""

from __future__ import annotations

import dataclasses
import json
from decimal import Decimal

import pytest

from assistant.core.dialogue.sayable import SAYABLE
from assistant.core.dialogue.states import State
from assistant.core.values.answer_kind import AnswerKind, KindLimits, kind_of, waits_for_yes
from assistant.core.values.result import Control, Result
from assistant.core.values.thresholds import Thresholds

LIMITS = Thresholds(0.4, 0.7, by_kind=(KindLimits(AnswerKind.AFFIRM, 0.6, 0.9),))


def test_only_read_backs_wait_for_a_yes_that_makes_a_result_count() -> None:
    """Of all states only the read-backs of results and facts give a yes its costly meaning."""
    waiting = {state for state, controls in SAYABLE.items() if waits_for_yes(controls)}
    assert {State.READING_BACK, State.CONFIRMING} == waiting


@pytest.mark.parametrize(
    ("word", "state", "kind"),
    [
        (Control.AFFIRM, State.READING_BACK, AnswerKind.AFFIRM),
        (Control.AFFIRM, State.ACKNOWLEDGING, AnswerKind.RELEASE),
        (Control.AFFIRM, State.CONCLUDING, AnswerKind.RELEASE),
        (Control.CORRECTION, State.READING_BACK, AnswerKind.DENY),
        (Control.CORRECTION, State.ASKING, AnswerKind.TAKE_BACK),
        (Control.SKIP, State.ASKING, AnswerKind.LEAVE),
        (Control.GO_ANYWAY, State.RESTING, AnswerKind.RELEASE),
        (Control.WHY, State.READING_BACK, AnswerKind.ASIDE),
    ],
)
def test_a_word_has_the_kind_of_its_moment(word: Control, state: State, kind: AnswerKind) -> None:
    """The same word may make a result count, release a step, or take something back."""
    assert kind == kind_of(Result(control=word), SAYABLE[state])


@pytest.mark.parametrize("controls", [(), *SAYABLE.values()])
def test_stop_is_stop_and_words_are_never_answers(controls: tuple[Control, ...]) -> None:
    """Whatever can be said, every word of the dialogue has a kind of words, and "stop" its own."""
    answers = {AnswerKind.VERDICT, AnswerKind.READING, AnswerKind.SIGNS, AnswerKind.RESULT}
    for word in Control:
        kind = kind_of(Result(control=word), controls, to_verdict=True)
        assert kind not in answers
        assert (kind is AnswerKind.STOP) == (word is Control.STOP)


def test_answers_are_told_apart_by_what_they_are_and_lead_to() -> None:
    """A number and signs are read back whatever they lead to; only an outcome is the answer to a verdict."""
    for costly, kind in ((False, AnswerKind.RESULT), (True, AnswerKind.VERDICT)):
        assert kind == kind_of(Result(outcome="lit"), (), to_verdict=costly)
        assert AnswerKind.READING == kind_of(Result(value=Decimal(12)), (), to_verdict=costly)
        assert AnswerKind.SIGNS == kind_of(Result(signs="1HG"), (), to_verdict=costly)


def test_a_kind_without_limits_of_its_own_has_the_general_ones() -> None:
    """Limits of one kind change no other kind."""
    assert KindLimits(AnswerKind.AFFIRM, 0.6, 0.9) == LIMITS.of(AnswerKind.AFFIRM)
    assert KindLimits(AnswerKind.LEAVE, 0.4, 0.7) == LIMITS.of(AnswerKind.LEAVE)


def test_limits_of_kinds_are_plain_json() -> None:
    """A session's header can hold them: they are text and numbers."""
    written = json.loads(json.dumps(dataclasses.asdict(LIMITS)))
    assert [{"kind": "affirm", "taken_from": 0.6, "sure_from": 0.9}] == written["by_kind"]
