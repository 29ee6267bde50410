"""A step that is watched: changes are told one after another, and "that is all" ends it."""

from __future__ import annotations

import pytest
from recorded import library

from assistant.core.dialogue.runner import Runner
from assistant.core.dialogue.sayable import request_for
from assistant.core.dialogue.showing import board
from assistant.core.dialogue.states import State
from assistant.core.values.entries import ChangeSeen, ChangeUndone, ResultTaken
from assistant.core.values.events import Listen, Resumed
from assistant.core.values.result import Control
from assistant.grammar.grammar_set import GrammarSet
from assistant.measured import DEFAULT_THRESHOLDS
from assistant.rehearsal.dialogue import Dialogue
from assistant.resources import directory

WIGGLED = ("intermittent", "wiggled")


def watching(*told: str) -> Dialogue:
    """One that is asked about the wiggling, and was told these changes."""
    talk = Dialogue(library())
    talk.begin("intermittent")
    talk.ready()
    talk.hear("done")
    talk.ready()
    assert (State.ASKING, WIGGLED) == (talk.runner.state, talk.runner.position)
    for outcome in told:
        talk.hear(outcome)
    return talk


def results(talk: Dialogue) -> list[tuple[str, str]]:
    """Step and outcome of each result behind the hook-up."""
    taken = [entry for entry in talk.entries if isinstance(entry, ResultTaken)]
    return [(entry.step, entry.outcome) for entry in taken if entry.step != "watched-place"]


def changes(talk: Dialogue) -> list[tuple[int, str]]:
    """Number and outcome of each change on record."""
    return [(entry.number, entry.outcome) for entry in talk.entries if isinstance(entry, ChangeSeen)]


def test_a_change_is_kept_and_said_back_and_the_step_goes_on() -> None:
    """Nothing is asked after a change, so both hands stay at the connector."""
    talk = watching("went-out")
    assert "Out. 1 change." == talk.last
    talk.hear("came-back")
    assert "Back. 2 changes." == talk.last
    assert [(1, "went-out"), (2, "came-back")] == changes(talk)
    assert (State.ASKING, WIGGLED) == (talk.runner.state, talk.runner.position)
    assert [] == results(talk)
    assert "BACK: 2 CHANGES" == board(talk.runner.talk).headline


def test_the_same_again_is_no_change() -> None:
    """Who says "out" twice has seen one thing go out."""
    talk = watching("went-out", "went-out")
    assert "Still out." == talk.last
    assert [(1, "went-out")] == changes(talk)


@pytest.mark.parametrize(("told", "outcome"), [(("went-out", "came-back"), "changed"), ((), "unchanged")])
def test_that_is_all_gives_the_answer_that_follows_from_the_changes(
    told: tuple[str, ...], outcome: str
) -> None:
    """Nobody can contradict what was told: any change that stands makes it "changed"; a verdict waits for a yes."""
    talk = watching(*told)
    talk.hear(control=Control.THAT_IS_ALL)
    if told:
        assert talk.last.startswith("2 changes. That would mean:")
        assert [] == results(talk)
        talk.hear(control=Control.AFFIRM)
        assert "moves-with-a-connection" == talk.runner.talk.work.verdict
    else:
        assert talk.last.startswith("No change. Tap ")
    assert [("wiggled", outcome)] == results(talk)


def test_the_keys_tell_the_same() -> None:
    """1 to 3 are what is seen, minus takes back, Enter ends: in noise nothing needs the voice."""
    talk = watching()
    talk.key("1", "2", "3", "minus")
    assert "Undone: dim. 2 changes." == talk.last
    assert [(1, "went-out"), (2, "came-back"), (3, "dim")] == changes(talk)
    talk.key("enter")
    assert talk.last.startswith("2 changes. ")
    talk.key("enter")
    assert [("wiggled", "changed")] == results(talk)


def test_correction_takes_back_the_last_change_and_only_then_the_last_answer() -> None:
    """A misheard change leaves nothing behind but its two lines in the record."""
    talk = watching("went-out")
    talk.hear(control=Control.CORRECTION)
    assert "Undone: out. No change." == talk.last
    assert [1] == [entry.number for entry in talk.entries if isinstance(entry, ChangeUndone)]
    assert [(1, "went-out")] == changes(talk)
    assert WIGGLED == talk.runner.position
    talk.hear(control=Control.CORRECTION)
    assert ("intermittent", "watched-place") == talk.runner.position


def test_a_no_to_the_read_back_goes_on_watching() -> None:
    """The changes still count, and further ones are added."""
    talk = watching("went-out")
    talk.hear(control=Control.THAT_IS_ALL)
    talk.hear("came-back")
    assert [(1, "went-out")] == changes(talk)  # at a read-back only yes and no count
    talk.hear(control=Control.NEGATIVE)
    talk.hear("came-back")
    assert "Back. 2 changes." == talk.last


@pytest.mark.parametrize("pause", [Control.STOP, Control.STAND_BY])
def test_stop_and_stand_by_work_and_the_changes_outlast_them(pause: Control) -> None:
    """An interruption loses no change."""
    talk = watching("went-out")
    talk.hear(control=pause)
    assert State.STANDING_BY is talk.runner.state
    talk.hear(control=Control.GO_AHEAD)
    talk.ready()
    talk.hear("came-back")
    assert "Back. 2 changes." == talk.last


def test_a_resumed_session_has_its_changes() -> None:
    """The memory comes from the recorded events: replayed and resumed, the next change is the second."""
    talk = watching("went-out")
    again = Runner(library(), None, DEFAULT_THRESHOLDS)
    replayed = [again.receive(event) for event in talk.events]
    assert talk.actions == replayed
    talk.send(Resumed(talk.now + 60))
    talk.listen()
    talk.ready()
    talk.hear("came-back")
    assert "Back. 2 changes." == talk.last


def test_say_again_repeats_the_step_and_not_the_echo() -> None:
    """Who has forgotten what to wiggle hears it, after any number of changes."""
    talk = watching("went-out")
    talk.hear(control=Control.SAY_AGAIN)
    assert "Wiggle connectors and wires" in talk.last
    assert "Then: that's all." in talk.last


def test_entering_the_step_again_counts_from_one() -> None:
    """What was seen before an answer that was taken back belongs to that answer."""
    talk = watching("went-out", "came-back")
    talk.hear(control=Control.THAT_IS_ALL)
    talk.hear(control=Control.AFFIRM)
    talk.hear(control=Control.CORRECTION)
    talk.ready()
    assert WIGGLED == talk.runner.position
    talk.hear("dim")
    assert "Dim. 1 change." == talk.last


def test_silence_is_not_asked_about_while_something_is_watched() -> None:
    """Two minutes of a hair dryer are no reason to ask for an answer."""
    listening = [one for acts in watching("went-out").actions[-3:] for one in acts if isinstance(one, Listen)]
    assert listening
    assert {None} == {one.no_input_s for one in listening}


def test_only_a_watched_step_listens_for_changes_and_their_end() -> None:
    """Every other step asks the recogniser for what it asked for before."""
    watched = set()
    for procedure in library().procedures.values():
        for step in procedure.steps.values():
            request = request_for(State.ASKING, step)
            if Control.THAT_IS_ALL in request.controls:
                assert ("went-out", "came-back", "dim") == request.outcomes
                watched.add((procedure.name, step.name))
            assert step.watch is ((procedure.name, step.name) in watched)
    assert {("intermittent", name) for name in ("wiggled", "tapped", "warmed", "misted")} == watched


def test_that_is_all_means_nothing_at_another_step() -> None:
    """It is refused as before, and takes no answer."""
    talk = Dialogue(library())
    talk.begin("intermittent")
    talk.hear(control=Control.THAT_IS_ALL)
    assert talk.last.startswith("I can't take that now.")
    assert "watched-place" == talk.runner.position[1]


@pytest.mark.parametrize(
    ("words", "outcome"),
    [
        ("out", "went-out"),
        ("dropped out", "went-out"),
        ("dark", "went-out"),
        ("back", "came-back"),
        ("came back", "came-back"),
        ("lit", "came-back"),
        ("dim", "dim"),
        ("nothing", None),
    ],
)
def test_what_people_say_about_a_change_is_heard(words: str, outcome: str | None) -> None:
    """A mere "nothing" is not taken: it may mean a dark lamp, or that nothing has happened."""
    step = library().step(*WIGGLED)
    heard = GrammarSet.load(directory("grammars")).request(request_for(State.ASKING, step)).parse(words)
    assert outcome == (heard.outcome if heard else None)
