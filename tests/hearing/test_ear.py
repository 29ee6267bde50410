"""From sound to events: on real sound with the real recogniser."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from heard_sounds import GRAMMARS, LAMP, noise, sound

from assistant.core.values.events import (
    Clip,
    Event,
    Heard,
    Interrupted,
    LevelChanged,
    NoiseChanged,
    NoMatch,
    NoteRecorded,
)
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.errors import RecordProblem
from assistant.hearing.activity import CHUNK_S, DEFAULT_TIMING, Completeness
from assistant.hearing.ear import Ear, Make, Reports
from assistant.hearing.graph import UNKNOWN
from assistant.hearing.noise import NoiseWatch
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing.sound import RATE, Samples, read_sound
from assistant.hearing.utterance import completeness
from assistant.measured import DEFAULT_THRESHOLDS

FIXTURES = Path(__file__).parent.parent.parent / "audio_fixtures"


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    return Recogniser(find_model())


class Desk:
    """A listener to an ear, which keeps its events and clips."""

    def __init__(self, recogniser: Recogniser) -> None:
        self.events: list[Event] = []
        self.clips: list[Samples] = []
        self.calls: list[str] = []
        self.full = False
        reports = Reports(
            happened=self.happened,
            keep_clip=self.keep,
            speech_began=lambda: self.calls.append("began"),
            speech_ended=lambda: self.calls.append("ended"),
        )
        self.ear = Ear(recogniser, GRAMMARS.request, reports)

    def happened(self, make: Make) -> None:
        self.events.append(make(self.ear.heard_s))

    def keep(self, samples: Samples) -> Clip:
        if self.full:
            raise RecordProblem("The disk is full.")
        self.clips.append(samples)
        return Clip(f"{len(self.clips)}.flac", "", samples.size / RATE)

    def feed(self, samples: Samples, size: int = 512) -> None:
        for start in range(0, samples.size, size):
            self.ear.feed(samples[start : start + size])


@pytest.fixture
def desk(recogniser: Recogniser) -> Desk:
    return Desk(recogniser)


@pytest.mark.parametrize("size", [100, 512, 5000])
def test_utterances_become_events(desk: Desk, size: int) -> None:
    """Phrases are heard, a remark is no match, noise is nothing, however the sound is cut into pieces."""
    desk.ear.listen(LAMP)
    rest = noise(1.0, -40)
    pieces = [sound("noise"), sound("feed-lit"), rest, sound("remark"), rest, sound("dark"), rest]
    desk.feed(np.concatenate(pieces), size)
    heard = [(type(event), getattr(event, "result", None)) for event in desk.events]
    lit, dark = Result(outcome="lit", place="feed"), Result(outcome="dark")
    assert [(Heard, lit), (NoMatch, None), (Heard, dark)] == heard
    assert ["began", "ended"] * 3 == desk.calls
    for event, clip in zip(desk.events, desk.clips, strict=True):
        assert isinstance(event, Heard | NoMatch)
        assert event.clip is not None
        assert pytest.approx(clip.size / RATE) == event.clip.duration_s
        assert event.snr_db is not None
        assert 15 < event.snr_db < 25


def test_what_is_no_word_is_reported_without_the_recognisers_sign(desk: Desk) -> None:
    """Neither screen nor record ever gets "[unk]": a remark has no words, or only those of the grammar."""
    desk.ear.listen(LAMP)
    desk.feed(np.concatenate([noise(0.6, -40), sound("remark"), noise(1.0, -40)]))
    (event,) = desk.events
    assert isinstance(event, NoMatch)
    assert "unk" not in event.words
    assert UNKNOWN in desk.ear._recogniser.hear(desk.clips[0], GRAMMARS.request(LAMP)).words.split()


def test_the_clip_holds_the_whole_utterance(desk: Desk) -> None:
    """The clip begins before speech and recognises to the same words as the live sound did."""
    desk.ear.listen(LAMP)
    desk.feed(sound("switched-side-blinking"))
    (event,) = desk.events
    assert isinstance(event, Heard)
    again = desk.ear._recogniser.hear(desk.clips[0], GRAMMARS.request(LAMP))
    assert event.words == again.words


def test_a_complete_phrase_ends_early(desk: Desk) -> None:
    """A phrase that cannot go on is taken before the longest silence has passed."""
    desk.ear.listen(LAMP)
    samples = sound("dark")
    loud = np.flatnonzero(np.abs(samples) > 3000)[-1] / RATE
    desk.feed(np.concatenate([samples, noise(1.0, -40)]))
    (event,) = desk.events
    assert event.at - loud < DEFAULT_TIMING.ends.longer_exists_s


def pause_after(samples: Samples, words_end_s: float, pause_s: float) -> Samples:
    """The sound with a pause of noise put in."""
    at = round(words_end_s * RATE)
    return np.concatenate([samples[:at], noise(pause_s, -55), samples[at:]])


def test_a_pause_after_a_place_does_not_make_up_an_answer(desk: Desk) -> None:
    """A strict graph ends "switched side" with some outcome; in a short pause that is not taken for the answer."""
    desk.ear.listen(LAMP)
    samples = sound("switched-side-blinking")
    loud = np.flatnonzero(np.abs(samples) > 3000) / RATE
    gaps = np.diff(loud)
    # The longest stretch without a loud sample in the middle is where the place ends.
    middle = (loud[:-1] > loud[0] + 0.4) & (loud[:-1] < loud[-1] - 0.3)
    at = loud[:-1][middle][gaps[middle].argmax()] + 0.02
    desk.feed(np.concatenate([pause_after(samples, at, 0.25), noise(1.0, -55)]))
    assert ["switched side blinking"] == [e.words for e in desk.events if isinstance(e, Heard)]


@pytest.mark.parametrize(
    ("words", "far"),
    [
        ("dark", Completeness.COMPLETE),
        ("feed lit steady", Completeness.COMPLETE),
        ("lit", Completeness.LONGER_EXISTS),
        ("stop", Completeness.COMPLETE),
        ("feed", Completeness.NO),
        ("", Completeness.NO),
        ("[unk]", Completeness.MAY_CONTINUE),
        ("twelve", Completeness.MAY_CONTINUE),
        ("twelve point four volts", Completeness.COMPLETE),
    ],
)
def test_how_far_words_are_a_phrase(words: str, far: Completeness) -> None:
    """Phrases that may go on are told from those that cannot, numbers from the others."""
    both = GRAMMARS.request(GrammarRequest(LAMP.outcomes, ("V",), (Control.STOP,)))
    assert far is completeness(words, both)


def test_paused_means_deaf(desk: Desk) -> None:
    """Half duplex: what comes while paused is no answer; of half an utterance the sound is kept; listening goes on."""
    desk.ear.listen(LAMP)
    desk.feed(sound("feed-lit")[: round(1.1 * RATE)])
    desk.ear.pause()
    desk.feed(sound("dark"))
    assert ["began", "ended"] == desk.calls
    desk.ear.listen(LAMP)
    desk.feed(np.concatenate([noise(1.0, -40), sound("say-again")]))
    half, event = desk.events
    assert isinstance(half, Interrupted)
    assert pytest.approx(0.7, abs=0.4) == half.clip.duration_s
    assert isinstance(event, Heard)
    assert Result(control=Control.SAY_AGAIN) == event.result


@pytest.mark.parametrize("size", [512, 3000])
def test_an_answer_whose_beginning_was_missed_is_no_other_answer(desk: Desk, size: int) -> None:
    """Who speaks already when listening begins is not heard to say the rest: "side blinking" is not "blinking"."""
    blinking = np.concatenate([sound("switched-side-blinking"), noise(1.0, -40)])
    (spoken,) = np.nonzero(np.abs(blinking) > 3000)
    middle = spoken[0] + round(0.45 * RATE)
    desk.ear.listen(LAMP)
    desk.ear.pause()
    desk.feed(blinking[:middle], size)
    desk.ear.listen(LAMP)
    desk.feed(blinking[middle:], size)
    event = desk.events[0]
    assert isinstance(event, NoMatch)
    assert event.start_missed
    assert "blinking" in event.words
    assert not any(isinstance(one, Heard) for one in desk.events)
    desk.feed(np.concatenate([sound("dark"), noise(1.0, -40)]), size)
    assert Result(outcome="dark") == getattr(desk.events[-1], "result", None)


def test_the_rest_of_a_number_that_was_talked_over_is_no_number(desk: Desk) -> None:
    """Somebody says "twelve point", the assistant speaks, and then comes "four volts": that is not 4 V."""
    said = read_sound(FIXTURES / "twelve-point-four-volts.flac").samples
    (spoken,) = np.nonzero(np.abs(said) > 2000)
    four = spoken[0] + round(0.54 * (spoken[-1] - spoken[0]))
    request = GrammarRequest(units=("V",))
    desk.ear.listen(request)
    desk.feed(np.concatenate([noise(1.0, -40), said[:four]]))
    desk.ear.pause()
    desk.feed(noise(1.0, -40))
    desk.ear.listen(request)
    desk.feed(np.concatenate([noise(0.2, -40), said[four:], noise(1.0, -40)]))
    half, event = desk.events
    assert isinstance(half, Interrupted)
    assert isinstance(event, NoMatch)
    assert event.start_missed
    assert "four volts" in event.words


def test_stop_counts_also_if_its_beginning_was_missed(desk: Desk) -> None:
    """Somebody who shouts "stop, stop" over the assistant is obeyed, whatever came before the microphone opened."""
    request = GrammarRequest(LAMP.outcomes, controls=(Control.STOP,))
    stop = read_sound(FIXTURES / "stop.flac").samples
    (spoken,) = np.nonzero(np.abs(stop) > 2000)
    word = stop[spoken[0] : spoken[-1]]
    shouted = np.concatenate([noise(0.5, -40), word, word, word, noise(1.0, -40)])
    middle = round(0.5 * RATE) + word.size // 2
    desk.ear.listen(request)
    desk.ear.pause()
    desk.feed(shouted[:middle])
    desk.ear.listen(request)
    soon = middle + round(0.25 * RATE)
    desk.feed(shouted[middle:soon])
    assert desk.ear._finder.went_on
    desk.feed(shouted[soon:])
    (event,) = desk.events
    assert isinstance(event, Heard)
    assert Control.STOP is event.result.control


def test_the_same_request_again_loses_nothing(desk: Desk) -> None:
    """Being told to listen for the same in the middle of a phrase does not forget its beginning."""
    desk.ear.listen(LAMP)
    desk.feed(sound("feed-lit")[: round(1.1 * RATE)])
    desk.ear.listen(LAMP)
    desk.feed(sound("feed-lit")[round(1.1 * RATE) :])
    (event,) = desk.events
    assert isinstance(event, Heard)
    assert "feed lit" == event.words


def test_a_clip_that_cannot_be_kept_does_not_lose_the_result(desk: Desk) -> None:
    """The result comes without its clip; the record itself says that the disk is full."""
    desk.full = True
    desk.ear.listen(LAMP)
    desk.feed(sound("dark"))
    (event,) = desk.events
    assert isinstance(event, Heard)
    assert event.clip is None


def test_a_note_ends_with_silence(desk: Desk) -> None:
    """A note keeps everything from its beginning and ends by itself some time after speech."""
    desk.ear.record_note(20.0)
    desk.feed(np.concatenate([sound("remark"), noise(4.0, -40)]))
    (event,) = desk.events
    assert isinstance(event, NoteRecorded)
    spoken_s = sound("remark").size / RATE
    assert spoken_s + 1.0 < event.clip.duration_s < spoken_s + DEFAULT_TIMING.note_end_s + 0.5
    assert (sound("remark")[: 10 * RATE] == desk.clips[0][: sound("remark").size]).all()


def test_a_note_ends_at_its_limit_or_when_told(desk: Desk) -> None:
    """The longest length holds to a chunk; ending by order works with and without sound, and only once."""
    desk.ear.record_note(1.0)
    desk.feed(noise(3.0, -40))
    desk.ear.record_note(60.0)
    desk.feed(noise(0.5, -40))
    desk.ear.end_note()
    desk.ear.end_note()
    desk.ear.record_note(60.0)
    desk.ear.end_note()
    lengths = [event.clip.duration_s for event in desk.events if isinstance(event, NoteRecorded)]
    assert [1.0, 0.5, 0.0] == pytest.approx(lengths, abs=2 * CHUNK_S)


def test_hopeless_noise_is_told_once_each_way(desk: Desk) -> None:
    """Noise above the limit is told after it has held, and its end after that; in between nothing is said."""
    desk.ear.listen(LAMP)
    desk.feed(np.concatenate([noise(3.0, -45), noise(8.0, -15), noise(8.0, -45)]))
    changes = [
        (event.hopeless, 3 < event.at < 11) for event in desk.events if isinstance(event, NoiseChanged)
    ]
    assert [(True, True), (False, False)] == changes


def test_noise_limits_have_hysteresis() -> None:
    """Between the two limits nothing changes, and a burst shorter than the hold time counts for nothing."""
    watch = NoiseWatch(DEFAULT_THRESHOLDS)
    level = DEFAULT_THRESHOLDS.speech_level_db
    loud = level - DEFAULT_THRESHOLDS.hopeless_snr_db + 1
    between = level - (DEFAULT_THRESHOLDS.hopeless_snr_db + DEFAULT_THRESHOLDS.hopeful_snr_db) / 2
    quiet = level - DEFAULT_THRESHOLDS.hopeful_snr_db - 1
    hold = round(DEFAULT_TIMING.noise_holds_s / CHUNK_S) + 1
    told = [watch.changed(db) for db in [loud] * (hold // 2) + [between] + [loud] * (hold // 2)]
    assert {None} == set(told)
    told = [watch.changed(db) for db in [loud] * hold + [between] * 3 * hold + [quiet] * hold]
    assert [True, False] == [one for one in told if one is not None]


def test_a_very_quiet_microphone_is_heard_and_told_once(desk: Desk) -> None:
    """Answers at -65 dB are understood; the second one tells that the microphone is too quiet, and no later one."""
    desk.ear.listen(LAMP)
    word = np.concatenate([sound("feed-lit"), noise(1.0, -40), sound("dark"), noise(1.0, -40)])
    rest = np.concatenate([noise(0.6, -40), word, word])
    desk.feed(np.rint(rest * 10 ** (-45 / 20)).astype(np.int16))
    results = [event.result for event in desk.events if isinstance(event, Heard)]
    lit, dark = Result(outcome="lit", place="feed"), Result(outcome="dark")
    assert [lit, dark, lit, dark] == results
    (told,) = [event for event in desk.events if isinstance(event, LevelChanged)]
    assert told.trouble == "quiet"
    assert "Turn up" in told.why


def test_talk_in_the_background_neither_hides_an_answer_nor_becomes_one(desk: Desk) -> None:
    """Once the technician is known, somebody else may talk on 20 dB under: each answer is one event."""
    desk.ear.listen(LAMP)
    gap = noise(1.0, -55)
    first = np.concatenate([gap, sound("dark"), gap])
    words = np.concatenate([gap, gap, sound("feed-lit"), gap, gap, sound("dark"), gap]).astype(np.float64)
    talk = np.resize(sound("remark").astype(np.float64), words.size)
    desk.feed(first)
    desk.feed(np.rint(words + 0.1 * talk).astype(np.int16))
    lit, dark = Result(outcome="lit", place="feed"), Result(outcome="dark")
    assert [dark, lit, dark] == [getattr(event, "result", None) for event in desk.events]
    assert ["began", "ended"] * 3 == desk.calls
