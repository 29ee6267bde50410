"""The board: what is large, and what is named where the voice is off."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest
from recorded_walks import library, read, runner
from sample_states import LIBRARY, dialogue

from assistant.core.dialogue.states import State
from assistant.core.values.codec import from_json, to_json
from assistant.core.values.events import Began, GearBack, GearLost, NoiseChanged, Resumed, Say, Show, Speech
from assistant.core.values.result import Control
from assistant.keys.pad import KEYS
from assistant.rehearsal.dialogue import Dialogue

if TYPE_CHECKING:
    from assistant.core.values.board import Board

_SAY = re.compile(r"\bsay\b", re.IGNORECASE)


def board(talk: Dialogue) -> Board:
    """Return what is on the board now."""
    return [action.board for actions in talk.actions for action in actions if isinstance(action, Show)][-1]


def begun(*left_out: str, procedure: str = "coil-control") -> Dialogue:
    """A dialogue that was started without this gear."""
    talk = Dialogue(LIBRARY)
    talk.send(Began(0.0, procedure, left_out=left_out))
    talk.listen()
    return talk


def test_a_result_is_read_back_in_large_letters_with_yes_and_no() -> None:
    """What was understood is the headline, so that it can be compared from where the hands are."""
    talk = dialogue()
    talk.hear("dark", confidence=0.7)
    assert State.READING_BACK is talk.runner.state
    shown = board(talk)
    assert "FEED SIDE: DARK" == shown.headline
    assert (("enter", "yes"), ("minus", "no")) == shown.choices


def test_after_a_verdict_the_cause_is_the_headline_and_nothing_counts_down() -> None:
    """Neither the word verdict nor the starter's rest takes the place of what was found."""
    talk = Dialogue(LIBRARY)
    talk.begin("coil-control")
    for _ in range(40):
        if talk.runner.state is State.ASKING:
            talk.hear(talk.runner.talk.step.answers[-1].outcome)
        elif talk.runner.state is State.READING_BACK:
            talk.hear(control=Control.AFFIRM)
        elif talk.runner.state is State.CONCLUDING:
            break
        talk.ready()
        talk.rested()
    shown = board(talk)
    assert "concluding" == shown.mode
    assert shown.headline not in ("", "VERDICT", "RESULT")
    assert shown.countdown is None
    assert ("plus", "close") in shown.choices or ("enter", "yes") in shown.choices


def test_while_it_cranks_there_are_answers_stop_and_the_seconds() -> None:
    """The connections have been made; now it counts what to watch and how to stop."""
    talk = dialogue()
    talk.hear(control=Control.CRANKING)
    shown = board(talk)
    assert "cranking" == shown.mode
    assert ("slash", "stop") in shown.choices
    assert shown.countdown is not None
    assert not any("clip" in line for line in shown.lines)


def test_gear_that_was_left_out_is_not_lost() -> None:
    """It has no reason on the board, the record calls it off, and the first words already name the keys."""
    talk = begun("speaker", "microphone")
    assert {("speaker", ""), ("microphone", "")} == set(board(talk).lost)
    modes = [entry.mode for entry in talk.entries if hasattr(entry, "mode")]
    assert ["sound off", "keys only"] == modes
    assert not any("lost" in mode for mode in modes)
    assert not any(_SAY.search(text) for text in talk.said)


def test_a_lost_microphone_still_has_its_reason() -> None:
    """What was not asked for is a loss, and why is on the board."""
    talk = begun("speaker")
    talk.send(GearLost(talk.now, "microphone", "unplugged"))
    assert (("speaker", ""), ("microphone", "unplugged")) == board(talk).lost


@pytest.mark.parametrize("left_out", [("speaker",), ("microphone",), ("speaker", "microphone")])
def test_nothing_asks_to_say_something_where_the_voice_is_off(left_out: tuple[str, ...]) -> None:
    """Over recorded sessions of every procedure, with gear left out: no sentence and no key is about saying.

    Cautions stand as they are written.
    """
    procedures = library()
    for walk in read()[::10]:
        going = runner(procedures, None)
        for event in walk.events:
            if isinstance(event, GearBack | Resumed):
                continue  # then it is not left out any more
            given = replace(event, left_out=left_out) if isinstance(event, Began) else event
            for action in going.receive(given):
                if isinstance(action, Show) and not action.board.caution:
                    keys = (words for _, words in action.board.keys)
                    texts = (*action.board.lines, action.board.message, *keys)
                    assert [] == [text for text in texts if _SAY.search(text)], event
                if isinstance(action, Say) and action.kind is not Speech.CAUTION:
                    assert not _SAY.search(action.text), event


def test_when_it_grows_too_loud_the_board_names_the_keys() -> None:
    """The sentence that offered a word is gone from the board while nothing can be heard."""
    talk = dialogue()
    assert any(_SAY.search(line) for line in board(talk).lines)
    talk.send(NoiseChanged(talk.now, -18.0, hopeless=True))
    assert board(talk).keys_only
    assert not any(_SAY.search(line) for line in board(talk).lines)


def test_a_board_of_an_earlier_version_is_read() -> None:
    """A record without the later fields still gives its board."""
    old = to_json(board(dialogue()))
    for later in ("lost", "caution"):
        old.pop(later)
    assert from_json(old).headline == board(dialogue()).headline


def test_every_key_on_every_board_can_be_pressed() -> None:
    """In random sessions through all states, each key that a board names is a key of the pad."""
    procedures, seen = library(), set()
    for walk in read()[::25]:
        dialogue = runner(procedures, None)
        for event in walk.events:
            for action in dialogue.receive(event):
                if isinstance(action, Show):
                    board = action.board
                    seen |= {name for names, _ in (*board.choices, *board.keys) for name in names.split()}
    assert {"enter", "minus", "plus", "slash", "1"} <= seen <= set(KEYS)
