"""What technicians say in words of their own is in the grammar of the moment, with its meaning, and nothing else is."""

from __future__ import annotations

from pathlib import Path

import pytest

from assistant import resources
from assistant.core.dialogue.states import State
from assistant.hearing_bench.manifest import NAME, SpokenPhrase
from assistant.hearing_bench.reading import read_manifest
from assistant.hearing_bench.speech import SpeechCache
from assistant.hearing_bench.testset import TestSet, named

MANIFEST = read_manifest(resources.directory("audio_fixtures") / NAME)
SET = TestSet(MANIFEST, SpeechCache(Path("nothing is spoken here")))
PHRASES = [phrase for part in MANIFEST.phrases for phrase in part.phrases]


def shown(phrase: SpokenPhrase) -> str:
    return f"{phrase.question} {phrase.state} {phrase.words}"


@pytest.mark.parametrize("phrase", list({shown(one): one for one in PHRASES}.values()), ids=shown)
def test_a_phrase_of_the_shop_has_its_meaning(phrase: SpokenPhrase) -> None:
    """Each phrase that the measurement speaks is understood as what it can only mean at that step."""
    _, meaning = SET.understood(phrase)
    assert named(meaning) == phrase.means != ""


def test_the_lamp_is_described_in_many_ways() -> None:
    """At least 22 different answers about a lamp are among them."""
    (lamp,) = [part for part in MANIFEST.phrases if part.name == "shop-lamp"]
    assert len({phrase.words for phrase in lamp.phrases}) >= 22


@pytest.mark.parametrize(
    ("question", "state", "words"),
    [
        *(
            ("feed", "asking", words)
            for words in ("not lit", "not on", "barely lit", "glowing", "on and off")
        ),
        *(
            ("lamp", "asking", words)
            for words in ("not blinking", "no blinking", "blinks", "not steady", "blink")
        ),
        *(
            ("lamp", "reading back", words)
            for words in ("not right", "not sure about that", "okay", "sure", "correct")
        ),
        *(("volts", "asking", words) for words in ("nine six", "twelve forty", "four twenty", "minus two")),
        ("feed", "cranking", "key off"),
        ("lamp", "reading back", "whoa"),
        ("parking", "asking", "next"),
        ("parking", "asking", "okay"),
    ],
)
def test_what_could_be_mistaken_is_in_no_grammar(question: str, state: str, words: str) -> None:
    """What loses a word and is its opposite, means two things, or sounds like something else here, means nothing."""
    assert SET.grammars.request(SET.request(question, State(state))).parse(words) is None
