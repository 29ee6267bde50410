"""What follows an answer, a word that is not understood, or silence, while a step is asked or cranked for."""

from __future__ import annotations

from dataclasses import replace
from itertools import chain

import pytest
from sample_states import CRANK, LIBRARY, dialogue, in_state, taken, to_switched_side, use_up

from assistant.core.dialogue.states import State
from assistant.core.values import entries
from assistant.core.values.answer_kind import AnswerKind, KindLimits
from assistant.core.values.events import (
    Clip,
    Heard,
    Interrupted,
    Listen,
    NoInput,
    NoMatch,
    TimerElapsed,
    TypedFact,
)
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.core.values.thresholds import Thresholds
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue


def test_an_answer_is_read_back_inside_the_next_sentence() -> None:
    """The read-back "Feed side: lit." opens what is said next; no yes is needed."""
    talk = dialogue()
    talk.hear("lit")
    assert talk.last.startswith("Feed side: lit.")
    assert taken(talk) == [("feed-while-cranking", "lit")]


def test_a_wrong_place_is_not_taken() -> None:
    """A place that does not fit the step is named, and the question is asked again."""
    talk = dialogue()
    talk.hear("lit", place="switched")
    assert talk.last.startswith("You said switched side. I'm asking about the feed side.")
    assert taken(talk) == []


def test_the_right_place_may_be_said_with_the_answer() -> None:
    """The words "feed lit" at the feed mean the same as "lit"."""
    talk = dialogue()
    talk.hear("lit", place="feed")
    assert taken(talk) == [("feed-while-cranking", "lit")]


def test_a_verdict_needs_a_yes() -> None:
    """An answer that ends in a verdict is read back with what it would mean, and counts only when affirmed."""
    talk = to_switched_side()
    talk.hear("steady")
    talk.rested()
    talk.hear("dark")
    assert "That would mean: The control wire is open" in talk.last
    assert not [entry for entry in talk.entries if isinstance(entry, entries.VerdictReached)]
    talk.hear(control=Control.AFFIRM)
    assert State.CONCLUDING is talk.runner.state
    (verdict,) = [entry for entry in talk.entries if isinstance(entry, entries.VerdictReached)]
    assert (verdict.verdict, verdict.affirmed) == ("control-wire-open", True)


def test_silence_is_never_a_yes() -> None:
    """A read-back that nobody answers is repeated, then waits quietly; nothing is taken."""
    talk = in_state(State.READING_BACK)
    for _ in range(6):
        talk.send(NoInput(talk.now))
        talk.listen()
    assert State.READING_BACK is talk.runner.state
    assert taken(talk) == []


def test_a_denied_read_back_is_asked_again() -> None:
    """After "negative" the question comes again and nothing was taken."""
    talk = in_state(State.READING_BACK)
    talk.hear(control=Control.NEGATIVE)
    assert talk.last == "Scratch that. Lit, dim, or dark?"
    talk.hear("lit")
    assert taken(talk) == [("feed-while-cranking", "lit")]


def test_a_number_is_read_back_with_its_unit_and_kept_as_said() -> None:
    """Units convert for the limits, never in the record."""
    talk = dialogue("battery-and-cranking")
    talk.hear(value="12600", unit="mV")
    assert "12600 millivolts" in talk.last
    talk.hear(control=Control.AFFIRM)
    (result,) = [entry for entry in talk.entries if isinstance(entry, entries.ResultTaken)]
    assert (result.outcome, str(result.value), result.unit) == ("charged", "12600", "mV")


def test_an_implausible_number_is_asked_again() -> None:
    """Outside the plausible range nothing is taken and the range is named."""
    talk = dialogue("battery-and-cranking")
    talk.hear(value="126", unit="V")
    assert talk.last == "126 volts is outside 0 to 18 volts. Measure again."
    assert State.ASKING is talk.runner.state


@pytest.mark.parametrize(
    ("value", "band"), [("8.99", "drops"), ("9.59", "doubtful"), ("9.6", "holds"), ("9.60", "holds")]
)
def test_a_limit_belongs_to_the_band_above_it(value: str, band: str) -> None:
    """9.6 V while cranking is enough, 9.59 V is not."""
    talk = dialogue("battery-and-cranking")
    talk.hear(value="12.5")
    talk.hear(control=Control.AFFIRM)
    talk.ready()
    talk.hear(value=value)
    talk.hear(control=Control.AFFIRM)
    assert ("battery-while-cranking", band) == taken(talk)[-1]


def test_a_doubtful_word_is_read_back_even_if_it_only_leads_on() -> None:
    """Low confidence costs a yes, very low confidence is not understood at all."""
    talk = dialogue()
    limits = DEFAULT_THRESHOLDS
    talk.hear("lit", confidence=(limits.reject_below + limits.ask_below) / 2)
    assert State.READING_BACK is talk.runner.state
    talk = dialogue()
    talk.hear("lit", confidence=0.3)
    assert talk.last == "Say again."
    assert State.ASKING is talk.runner.state


def test_not_understood_tapers_from_say_again_to_the_keys() -> None:
    """Outside check: VoiceXML 2.0 section 5.2.2, event counters with count attributes."""
    talk = dialogue()
    said = []
    for _ in range(4):
        talk.send(NoMatch(talk.now, "[unk]", 0.2))
        said.append(talk.last)
    keys = "Use the keys. 1 for lit. 2 for dim. 3 for dark."
    assert ["Say again.", "Say again: Lit, dim, or dark?", keys, keys] == said


def test_an_answer_begun_too_early_is_asked_for_again_and_says_why() -> None:
    """Whoever answered over the assistant hears that their beginning was missed, and then the usual help."""
    talk = dialogue()
    talk.send(NoMatch(talk.now, "lit", 0.99, start_missed=True))
    assert talk.last == "I missed the start. Say again."
    assert State.ASKING is talk.runner.state
    talk.send(NoMatch(talk.now, "", 0.2))
    assert talk.last == "Say again: Lit, dim, or dark?"


def test_what_was_talked_over_changes_nothing() -> None:
    """The sound of words that the assistant spoke over is in the record; nobody is asked or told anything for it."""
    talk = dialogue()
    before = (talk.runner.state, len(talk.said))
    talk.send(Interrupted(talk.now, Clip("0001.flac", "", 0.6)))
    assert before == (talk.runner.state, len(talk.said))


def test_the_counters_start_again_with_the_next_step() -> None:
    """Outside check: VoiceXML 2.0 section 5.2.2: counters are reset when the form is entered again."""
    talk = dialogue()
    talk.send(NoMatch(talk.now, "", 0.0))
    talk.send(NoMatch(talk.now, "", 0.0))
    talk.hear("lit")
    talk.ready()
    talk.rested()
    talk.send(NoMatch(talk.now, "", 0.0))
    assert talk.last == "Say again."


def test_silence_is_answered_twice_and_then_borne() -> None:
    """Someone who is connecting a lamp is not nagged."""
    talk = dialogue()
    before = len(talk.said)
    for _ in range(5):
        talk.send(NoInput(talk.now))
    assert len(talk.said) - before == 2


def test_talk_while_standing_by_is_ignored() -> None:
    """Chatter beside a paused session makes it say nothing."""
    talk = in_state(State.STANDING_BY)
    before = list(talk.said)
    talk.send(NoMatch(talk.now, "[unk]", 0.1))
    assert before == talk.said


def test_not_sure_tells_what_to_look_for() -> None:
    """The words "not sure" are an answer everywhere; it does not move on."""
    talk = to_switched_side()
    talk.hear(control=Control.NOT_SURE)
    assert "Look for a sharp blink." in talk.last
    assert talk.runner.position == ("coil-control", "switched-while-cranking")


def test_cranking_is_counted_and_ended() -> None:
    """After the longest time the end is called, and the time is in the record."""
    talk = dialogue()
    talk.hear(control=Control.CRANKING)
    assert State.CRANKING is talk.runner.state
    talk.wait(DEFAULT_THRESHOLDS.starter.longest_s + 0.1)
    assert talk.last.startswith("Stop cranking.")
    (cranked,) = [entry for entry in talk.entries if isinstance(entry, entries.Cranked)]
    assert (cranked.seconds, cranked.timed) == (15.0, True)


def test_an_answer_while_cranking_ends_it() -> None:
    """The answer is taken and "Stop cranking" is said first."""
    talk = dialogue()
    talk.key("enter")
    talk.hear("lit")
    assert talk.last.startswith("Stop cranking. Feed side: lit.")


def test_short_cranks_need_no_rest() -> None:
    """A look of a few seconds is followed by the next one at once: the budget is not used up."""
    talk = dialogue()
    for answer in ("lit", "steady", "lit"):
        talk.key("enter")
        talk.hear(answer)
        talk.ready()
        assert State.ASKING is talk.runner.state
        assert CRANK in talk.last


def test_the_starter_rests_when_its_seconds_are_used_up() -> None:
    """The next cranking step says key off and what to connect, and withholds "crank" until the rest is over."""
    talk = dialogue()
    use_up(talk)
    talk.hear("lit")
    talk.ready()
    assert State.RESTING is talk.runner.state
    assert "Key off." in talk.last
    assert "Don't crank yet. The starter rests" in talk.last
    assert CRANK not in talk.last
    talk.rested()
    assert talk.last.startswith(f"Okay to crank. {CRANK}")


def test_the_makers_limits_of_cranking_rule() -> None:
    """With a limit from the vehicle maker the crank ends at it, and its wait holds after the shortest crank."""
    talk = Dialogue(LIBRARY)
    makers = (TypedFact("crank-longest", "10", "s"), TypedFact("crank-rest", "120", "s"))
    talk.begin("coil-control", makers)
    talk.ready()
    talk.key("enter")
    talk.wait(2)
    assert State.CRANKING is talk.runner.state
    talk.hear("lit")
    talk.ready()
    assert State.RESTING is talk.runner.state
    talk.wait(100)
    assert State.RESTING is talk.runner.state
    talk.wait(30)
    talk.key("enter")
    talk.wait(10.1)
    assert talk.last.startswith("Stop cranking.")


def test_cranking_again_too_early_is_refused() -> None:
    """A second crank on the same step waits for the rest as well."""
    talk = dialogue()
    use_up(talk)
    talk.key("enter")
    assert State.RESTING is talk.runner.state
    assert talk.last.startswith("Not yet.")


def test_a_result_during_a_rest_is_taken() -> None:
    """What the last crank showed is told while the starter rests, by voice or key, and costs no second crank."""
    for how in ("voice", "key"):
        talk = in_state(State.RESTING)
        talk.hear("lit") if how == "voice" else talk.key("1")
        assert taken(talk) == [("feed-while-cranking", "lit")]
        assert [15.0] == [entry.seconds for entry in talk.entries if isinstance(entry, entries.Cranked)]


def test_a_number_during_a_rest_is_taken() -> None:
    """Digits typed while the starter rests are a reading."""
    talk = dialogue("battery-and-cranking")
    talk.hear(value="12.5")
    talk.hear(control=Control.AFFIRM)
    talk.ready()
    use_up(talk)
    talk.key("enter")
    assert State.RESTING is talk.runner.state
    talk.key("1", "0", "point", "1", "enter", "enter")
    assert ("battery-while-cranking", "holds") == taken(talk)[-1]


def test_the_words_of_a_rest_are_spoken_to_their_end() -> None:
    """A rest that is over while the connections are being said does not cut them."""
    talk = dialogue()
    talk.key("enter")
    talk.hear("lit")
    talk.send(Heard(talk.now, "ready", Result(control=Control.READY), 0.999))
    talk.runner.talk.crank.starter = replace(talk.runner.talk.crank.starter, rested_at=talk.now + 2)
    talk.send(Heard(talk.now, "say again", Result(control=Control.SAY_AGAIN), 0.999))
    inner = talk.runner.talk
    inner.state = State.RESTING
    said = len(talk.said)
    talk.send(TimerElapsed(talk.now + 2, "rest"))
    assert State.RESTING is talk.runner.state
    assert len(talk.said) == said
    talk.listen()
    assert State.ASKING is inner.state
    assert CRANK in talk.last


def test_an_answer_that_cannot_count_ends_the_cranking_as_well() -> None:
    """Who reports has looked: the starter stops before the assistant explains, and the answer may be repeated."""
    for wrong in ({"outcome": "lit", "place": "switched"}, {"outcome": "steady"}):
        talk = dialogue()
        talk.key("enter")
        talk.hear(**wrong)
        assert talk.last.startswith("Stop cranking. ")
        assert State.ASKING is talk.runner.state
        talk.hear("lit")
        assert [("feed-while-cranking", "lit")] == taken(talk)
        assert 1 == len([entry for entry in talk.entries if isinstance(entry, entries.Cranked)])


def test_an_engine_that_starts_is_not_told_to_stop_cranking() -> None:
    """After the repair the engine is meant to run: no stop order for it, and its running is not counted as cranking."""
    talk = dialogue("after-repair")
    for answer in ("good", "done", "done"):
        talk.hear(answer)
    talk.ready()
    talk.key("enter")
    talk.now += 12
    talk.hear("runs")
    assert not any("Stop cranking" in text for text in talk.said)
    (cranked,) = [entry for entry in talk.entries if isinstance(entry, entries.Cranked)]
    assert (cranked.seconds, cranked.timed) == (DEFAULT_THRESHOLDS.starter.assumed_s, False)


def test_an_engine_that_may_be_running_is_asked_for_when_the_time_is_over() -> None:
    """At the longest crank of a restart the key is let go of only if it still cranks."""
    talk = dialogue("after-repair")
    for answer in ("good", "done", "done"):
        talk.hear(answer)
    talk.ready()
    use_up(talk)
    assert talk.last.startswith("Still cranking? Let go.")
    assert not any("Stop cranking" in text for text in talk.said)


@pytest.mark.parametrize("by", ["voice", "key"])
def test_the_technician_may_crank_before_the_starter_has_rested(by: str) -> None:
    """The words "go anyway" end the rest at once, and the record says so; the next crank counts as any other."""
    talk = in_state(State.RESTING)
    if by == "voice":
        talk.hear(control=Control.GO_ANYWAY)
    else:
        talk.key("enter")
    assert State.ASKING is talk.runner.state
    assert talk.last.startswith(f"The starter is hot. 5 seconds at most. {CRANK}")
    assert "went on anyway" in [
        entry.mode for entry in talk.entries if isinstance(entry, entries.ModeChanged)
    ]
    talk.key("enter")
    assert State.CRANKING is talk.runner.state
    talk.wait(5.1)
    assert talk.last.startswith("Stop cranking.")


def test_a_crank_that_nobody_announced_still_counts() -> None:
    """An answer without "cranking now" assumes an ordinary length, marked as not timed."""
    talk = dialogue()
    talk.hear("lit")
    (cranked,) = [entry for entry in talk.entries if isinstance(entry, entries.Cranked)]
    assert (cranked.seconds, cranked.timed) == (5.0, False)


def test_stop_while_cranking_enters_the_time() -> None:
    """Slash while cranking is stop; the seconds so far are in the record."""
    talk = dialogue()
    talk.key("enter")
    talk.now += 3
    talk.key("slash")
    assert talk.last == "Stop. Key off."
    assert [entry.seconds for entry in talk.entries if isinstance(entry, entries.Cranked)] == [
        pytest.approx(3.5)
    ]


def test_an_answer_to_a_verdict_has_limits_of_its_own() -> None:
    """What leads to a verdict is asked again at a confidence at which another answer is taken."""
    limits = Thresholds(0.5, 0.75, by_kind=(KindLimits(AnswerKind.VERDICT, 0.9, 0.95),))
    talk = Dialogue(LIBRARY, limits)
    talk.begin("coil-control")
    talk.ready()
    talk.hear("lit", confidence=0.8)
    assert taken(talk) == [("feed-while-cranking", "lit")]
    talk.ready()
    talk.rested()
    talk.hear("steady", confidence=0.8)
    talk.ready()
    talk.rested()
    before = len(talk.entries)
    talk.hear("dark", confidence=0.8)
    assert State.ASKING is talk.runner.state
    assert not [one for one in talk.entries[before:] if isinstance(one, entries.ResultTaken)]
    talk.hear("dark", confidence=0.999)
    assert State.READING_BACK is talk.runner.state


def test_a_yes_at_a_read_back_has_limits_of_its_own() -> None:
    """A yes that makes a result count is asked again at a confidence at which "ready" is taken."""
    limits = Thresholds(0.5, 0.75, by_kind=(KindLimits(AnswerKind.AFFIRM, 0.9, 0.9),))
    talk = Dialogue(LIBRARY, limits)
    talk.begin("battery-and-cranking")
    talk.hear(control=Control.AFFIRM, confidence=0.8)
    talk.hear(value="11.2")
    talk.hear(control=Control.AFFIRM, confidence=0.8)
    assert State.READING_BACK is talk.runner.state
    talk.hear(control=Control.AFFIRM, confidence=0.999)
    assert State.READING_BACK is not talk.runner.state


def reading_asked() -> Dialogue:
    """One that asks for a number of volts."""
    talk = Dialogue(LIBRARY)
    talk.begin("battery-and-cranking")
    talk.ready()
    return talk


def listened(talk: Dialogue) -> GrammarRequest:
    """What is listened for now."""
    return next(action.request for action in reversed([*chain(*talk.actions)]) if isinstance(action, Listen))


def test_the_digits_of_a_reading_are_asked_for_when_it_was_not_understood() -> None:
    """The first time they are asked for with an example, the second time the keys are offered, the third only these."""
    talk = reading_asked()
    assert not listened(talk).digits
    said = []
    for _ in range(3):
        talk.send(NoMatch(talk.now, "[unk]", 0.1))
        talk.listen()
        said.append(talk.last)
        assert listened(talk).digits
    assert [
        "Say the digits: one two point four.",
        "Say the digits: one two point four. Or use the keys. Key the volts, then Enter.",
        "Use the keys. Key the volts, then Enter.",
    ] == said
    talk.key("1", "2", "point", "6", "enter")
    assert State.READING_BACK is talk.runner.state


def test_the_digits_are_asked_for_when_a_spoken_reading_was_denied() -> None:
    """What was misheard once is said another way; what was keyed wrong is keyed again. The next step starts anew."""
    talk = reading_asked()
    talk.hear(value="12.4")
    talk.hear(control=Control.NEGATIVE)
    assert "Scratch that. Say the digits: one two point four. How many volts?" in talk.last
    assert listened(talk).digits
    talk.hear(value="12.6")
    assert listened(talk).digits
    talk.hear(control=Control.AFFIRM)
    assert not listened(talk).digits
    talk = reading_asked()
    talk.key("1", "2", "enter", "minus")
    assert "digits" not in talk.last


def test_a_session_of_before_asks_for_a_reading_as_it_did() -> None:
    """Rules 2 say again, and listen for usual numbers alone."""
    talk = Dialogue(LIBRARY, replace(DEFAULT_THRESHOLDS, rules=2))
    talk.begin("battery-and-cranking")
    talk.ready()
    talk.send(NoMatch(talk.now, "[unk]", 0.1))
    talk.listen()
    assert talk.last == "Say again."
    assert not listened(talk).digits
