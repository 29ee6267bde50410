"""What follows from a lesson's takes, on real sound and with the real recogniser."""

from __future__ import annotations

import dataclasses

import numpy as np

from assistant import resources
from assistant.core.values.result import Control, GrammarRequest
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.recogniser import Recogniser
from assistant.hearing.sound import read_sound
from assistant.learning.conclusion import concluded, heard_again
from assistant.learning.hearer import model_of
from assistant.learning.learnt import HeardOften, Learnt
from assistant.learning.prompts import ToSay
from assistant.learning.takes import Take

SOUNDS = resources.directory("audio_fixtures")
MODEL = resources.bundled_model()
GRAMMARS = GrammarSet.load(resources.directory("grammars"))
REQUEST = GrammarRequest(
    ("lit", "dim", "dark", "blinking"),
    controls=(Control.STOP, Control.SAY_AGAIN, Control.STAND_BY, Control.READY),
)


def take(name: str, *, teaches: bool) -> Take:
    words = name.replace("-", " ")
    result = GRAMMARS.request(REQUEST).parse(words)
    assert result is not None
    sound = read_sound(SOUNDS / f"{name}.flac").samples
    return Take(ToSay(words, result, REQUEST, teaches), "", right=False, accepted=False, sound=sound)


def test_takes_are_heard_again_with_what_was_understood() -> None:
    """The real recogniser hears a take, and something else than what was asked for is not right."""
    recogniser = Recogniser(MODEL)
    said = take("feed-lit", teaches=True)
    assert heard_again(said, recogniser, GRAMMARS).right
    other = dataclasses.replace(said, prompt=take("stand-by", teaches=True).prompt)
    again = heard_again(other, recogniser, GRAMMARS)
    assert again.words == "feed lit"
    assert not again.right


def test_a_lesson_that_was_broken_off_keeps_what_was_learnt_before() -> None:
    """A few takes add their scores; scales of the same model stay, and those of another one go."""
    recogniser = Recogniser(MODEL)
    scales = np.full(1024, 0.01, np.float32)
    known = Learnt("Sam", "2026-11-01", model_of(MODEL), scales=scales, scores={"dim": HeardOften(2, 2)})
    takes = [take("feed-lit", teaches=True), take("say-again", teaches=False)]
    done = concluded(known, takes, recogniser, GRAMMARS, "2026-11-28")
    assert done.learnt.scales.tolist() == scales.tolist()
    assert done.learnt.scores == {
        "dim": HeardOften(2, 2),
        "feed lit": HeardOften(1, 1),
        "say again": HeardOften(1, 1),
    }
    assert (done.before, done.after, done.checked) == (1, 1, 1)
    other = concluded(dataclasses.replace(known, model="1-0"), takes, recogniser, GRAMMARS, "2026-11-28")
    assert other.learnt.scales.size == 0
    assert "dim" not in other.learnt.scores
    assert other.short
