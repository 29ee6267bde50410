"""Hand-overs into what was done come to an end: what is new is said, and then the dialogue stops."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from sample_library import sample_library
from sample_talks import OFFERING, going_round, settle

from assistant.core.dialogue.circles import Visits
from assistant.core.dialogue.moving import hand_over
from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.states import State
from assistant.core.dialogue.trail import new_since
from assistant.core.values import entries
from assistant.core.values.codec import from_json, to_json
from assistant.core.values.result import Control
from assistant.core.values.thresholds import OLD_RULES
from assistant.core.words import remarking
from assistant.loading.folder import load_knowledge
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue
from assistant.resources import directory

LIBRARY = sample_library()
KNOWLEDGE = load_knowledge(directory("procedures"), LIBRARY.terms)


def entered(talk: Dialogue) -> list[str]:
    return [entry.procedure for entry in talk.entries if isinstance(entry, entries.ProcedureEntered)]


def test_the_first_return_says_what_is_new_and_the_circle_ends_in_a_statement() -> None:
    """A hand-over into what was done names the newer results; with nothing new it stops, and names no part."""
    talk = going_round()
    assert entered(talk) == ["coil-control", "feed-dead", "coil-control"]
    assert any("Since then: feed side" in text and "lit." in text for text in talk.said)
    assert talk.runner.state is State.CONCLUDING
    assert remarking.LED_BACK in talk.last
    assert "Let somebody else repeat: test lamp, feed side." in talk.last
    (stopped,) = [entry for entry in talk.entries if isinstance(entry, entries.LedBack)]
    assert ("coil-control", "feed-dead") == (stopped.procedure, stopped.back_to)
    assert not any(isinstance(entry, entries.VerdictReached) for entry in talk.entries)


def test_with_likelihoods_the_next_safe_test_is_the_one_that_tells_most() -> None:
    """The evidence names it; it is one that was not done."""
    talk = going_round(replace(OFFERING, doubt_from=2.0), knowledge=KNOWLEDGE)
    (stopped,) = [entry for entry in talk.entries if isinstance(entry, entries.LedBack)]
    assert stopped.next.startswith("Get a second pair of eyes. Next safe test: ")


def test_it_replays_and_stands_in_the_record_as_it_was_said() -> None:
    """The same events give the same actions; the entry comes back from its JSON."""
    talk = going_round()
    again = Runner(LIBRARY, None, OFFERING)
    assert [again.receive(event) for event in talk.events] == talk.actions
    (stopped,) = [entry for entry in talk.entries if isinstance(entry, entries.LedBack)]
    assert from_json(json.loads(json.dumps(to_json(stopped)))) == stopped


def test_an_old_record_goes_round_as_it_did() -> None:
    """Under the rules of before there is no such end."""
    talk = going_round(replace(DEFAULT_THRESHOLDS, rules=OLD_RULES))
    assert len(entered(talk)) > 4
    assert not any(isinstance(entry, entries.LedBack) for entry in talk.entries)


@pytest.mark.parametrize("word", ["correction", "close", "other test", "why", "go ahead"])
def test_after_it_everything_can_still_be_said(word: str) -> None:
    """A correction goes back to the last answer; another test begins a fresh round; go ahead leads nowhere new."""
    talk = going_round()
    match word:
        case "correction":
            talk.hear(control=Control.CORRECTION)
            settle(talk)
            assert talk.runner.position == ("coil-control", "feed-while-cranking")
            assert talk.runner.state is State.ASKING
        case "close":
            talk.key("close")
            assert talk.runner.state is State.FINISHED
        case "other test":
            talk.hear(control=Control.OTHER_TEST)
            talk.hear("feed-dead")
            assert entered(talk)[-1] == "feed-dead"
            assert "New since" not in talk.last
        case "why":
            talk.hear(control=Control.WHY)
            assert talk.runner.state is State.CONCLUDING
        case _:
            talk.hear(control=Control.GO_AHEAD)
            assert remarking.LED_BACK in talk.last
            assert talk.runner.state is State.CONCLUDING


def test_a_correction_across_a_hand_over_is_no_return() -> None:
    """Taking an answer back and giving it again enters the next procedure for the first time."""
    talk = Dialogue(LIBRARY)
    talk.begin("coil-control")
    for _ in range(2):
        settle(talk)
        talk.hear("dark")
        talk.hear(control=Control.AFFIRM)
        settle(talk)
        assert talk.runner.position == ("feed-dead", "feed-key-on")
        talk.hear(control=Control.CORRECTION)
    assert not any("New since" in text for text in talk.said)
    assert not any(isinstance(entry, entries.LedBack) for entry in talk.entries)


def test_after_a_repair_all_begins_anew() -> None:
    """Still no spark after a repair: the whole job is another one, and nothing of before counts as a round."""
    visits = Visits().entering("coil-control", 0).leaving("coil-control", 3).entering("after-repair", 3)
    assert visits.of("coil-control") == (0, 3)
    assert visits.entering("coil-control", 7).of("coil-control") == (0, 7)
    talk = Runner(LIBRARY, None, DEFAULT_THRESHOLDS).talk
    talk.work.procedure = LIBRARY.procedures["after-repair"]
    talk.work.visits = visits.entering("no-start", 0)
    hand_over(talk, "no-start")
    assert talk.work.visits.of("coil-control") is None
    assert talk.work.led_back is None


def test_only_what_says_something_else_is_new() -> None:
    """The same outcome of the same measurement again is not new; another outcome is."""
    talk = going_round()
    trails = talk.runner.talk.past.trail.measured()
    assert new_since(trails, 0)[0].number == 1
    assert [past.pending.answer.outcome for past in new_since(trails, 1) if past.pending] == ["lit", "lit"]
    assert new_since(trails, trails[-2].number) == []
