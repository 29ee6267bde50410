"""Text becomes speech."""

from __future__ import annotations

import _ctypes
import os
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from assistant.core.words.sentences import sentences
from assistant.errors import GearProblem
from assistant.speaking import synthesiser, voice as voice_module
from assistant.speaking.edges import PEAK, active_level
from assistant.speaking.naming import ESPEAK, HEART
from assistant.speaking.neural.pronouncing import use_lexicon
from assistant.speaking.shaping import LEVELS, shaped
from assistant.speaking.synthesiser import SYNTHESISER, Rendered
from assistant.speaking.tones import sounded, tone_before
from assistant.speaking.voice import Voice


@given(text=st.text(max_size=60))
def test_sentences_lose_no_word(text: str) -> None:
    """Every letter and digit of the text is in one of its sentences, and every sentence says something."""
    parts = sentences(text)
    assert [letter for letter in text if letter.isalnum()] == [
        letter for part in parts for letter in part if letter.isalnum()
    ]
    assert all(any(letter.isalnum() for letter in part) for part in parts)


def test_decimal_point_ends_no_sentence() -> None:
    """A reading is spoken in one breath."""
    assert sentences("Expect 12.4 volts or more. Key off!") == ["Expect 12.4 volts or more.", "Key off!"]


def test_speech_begins_at_once_and_is_as_loud_as_it_can_be(tmp_path: Path) -> None:
    """Little silence at either end, peak at -1 dBFS, mono, and the text that was asked for."""
    speech = Voice(cache_folder=tmp_path).render("Probe the switched side.")
    loud = np.flatnonzero(np.abs(speech.samples.astype(int)) > 200)
    assert loud[0] < 0.05 * speech.rate
    assert len(speech.samples) - loud[-1] < 0.15 * speech.rate
    assert abs(10 ** (-1 / 20) * 32767 - np.max(np.abs(speech.samples.astype(int)))) < 2
    assert (speech.samples.ndim, speech.text) == (1, "Probe the switched side.")
    assert 0.8 < speech.duration_s < 3.0


def test_sentences_are_parted_by_a_pause(tmp_path: Path) -> None:
    """Two sentences are the one, a pause, and the other, whatever was rendered before."""
    voice = Voice(cache_folder=tmp_path)
    both = voice.render("Key off. Unplug the coil.")
    one, other = voice.render("Key off."), voice.render("Unplug the coil.")
    pause = len(both.samples) - len(one.samples) - len(other.samples)
    assert round(0.28 * both.rate) == pause
    assert not both.samples[len(one.samples) : len(one.samples) + pause].any()


def test_sound_in_memory_is_bounded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A long session does not keep every sentence it ever said; one that was let go is said the same again."""
    monkeypatch.setattr(voice_module, "_MOST_HELD_BYTES", 200_000)
    voice = Voice(cache_folder=tmp_path)
    first = voice.render("Number 0.")
    for number in range(1, 9):
        voice.render(f"Number {number}.")
        assert sum(samples.nbytes for samples, _ in voice._held._sounds.values()) <= 200_000
    assert len(voice._held._sounds) < 9
    assert np.array_equal(first.samples, voice.render("Number 0.").samples)


@pytest.mark.parametrize("name", ["heart", "espeak"])
def test_a_slower_rate_takes_longer(name: str, tmp_path: Path) -> None:
    """The rate is the rate."""
    slow = Voice(100, name, cache_folder=tmp_path).render("Watch the lamp while cranking.")
    fast = Voice(250, name, cache_folder=tmp_path).render("Watch the lamp while cranking.")
    assert slow.duration_s > 1.5 * fast.duration_s


def test_a_rate_is_about_the_same_in_both_voices(tmp_path: Path) -> None:
    """Whoever changes the voice keeps the pace: eSpeak NG's, which keeps its words a minute, is the measure."""
    text = "Move the lamp to the switched side of the coil. Watch the lamp while cranking. Lit, dim, or dark?"
    for rate in (120, 175, 220):
        heart, other = (
            Voice(rate, name, cache_folder=tmp_path).render(text).duration_s for name in ("heart", "espeak")
        )
        assert abs(heart / other - 1) < 0.15, rate


def _fail(*_arguments: Any, **_options: Any) -> Any:
    pytest.fail("the synthesiser was asked for something that is in the cache")


def test_rendered_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second voice of the same kind finds the sentence on disk, and prepared texts are found too."""
    first = Voice(cache_folder=tmp_path)
    assert first.prepare(["Say again.", "", "Key off."]).result(timeout=60)
    said = first.render("Say again.")
    monkeypatch.setattr(voice_module.SYNTHESISER, "render", _fail)
    again = Voice(cache_folder=tmp_path).render("Say again.")
    assert np.array_equal(said.samples, again.samples)
    assert first.render("Key off. Say again.").duration_s > again.duration_s


def test_damaged_cache_is_rendered_again(tmp_path: Path) -> None:
    """A file that was cut short or overwritten is not played."""
    Voice(cache_folder=tmp_path).render("Say again.")
    (file,) = tmp_path.glob("*.wav")
    for damage in (b"", b"not sound", file.read_bytes()[:-1000]):
        file.write_bytes(damage)
        assert Voice(cache_folder=tmp_path).render("Say again.").duration_s > 0.3


def test_cache_that_cannot_be_written_is_harmless(tmp_path: Path) -> None:
    """A folder that cannot be made costs time, not speech."""
    (tmp_path / "file").write_text("in the way")
    assert Voice(cache_folder=tmp_path / "file" / "cache").render("Say again.").duration_s > 0.3


@pytest.mark.parametrize("text", ["", "  ", "...", "\0", "\ud800", "_", "__ \U0001f527"])
def test_nothing_to_say_is_a_plain_sentence(text: str, tmp_path: Path) -> None:
    """Text without a word is refused."""
    with pytest.raises(GearProblem, match="There is no text to speak"):
        Voice(cache_folder=tmp_path).render(text)


FREE_TEXTS = st.lists(
    st.sampled_from(
        [
            *(
                "12.4 V / 0.02 A",
                "4711-AB",
                "1M8GDM9AXKP042788",
                "P0301/P0302",
                "\U0001f527\U0001f44d",
                "won\u2019t start!!",
            ),
            *(
                "Zündung",
                "двигатель",
                "点火",
                "شرارة",
                "\x00\x1b[31m",
                "\ud800",
                "\u202e",
                "½",
                "#7",
                "$45.00",
                "_",
                "…",
            ),
            *("a, " * 20, "7" * 30, "x" * 60, "Is it " + "very " * 20 + "hot?"),
        ]
    )
    | st.text(max_size=12),
    min_size=1,
    max_size=3,
).map(" ".join)
"""What a person may write where the program reads it aloud."""


@given(text=FREE_TEXTS)
@settings(max_examples=12, deadline=None)
def test_whatever_is_written_is_spoken(text: str, tmp_path_factory: pytest.TempPathFactory) -> None:
    """No text that has a word becomes an error: one voice or the other says it, and it can be heard."""
    voice = Voice(cache_folder=tmp_path_factory.getbasetemp() / "free-texts")
    if not sentences(text):
        with pytest.raises(GearProblem, match="There is no text to speak"):
            voice.render(text)
        return
    speech = voice.render(text)
    if any(letter.isascii() and letter.isalnum() for letter in text):
        assert active_level(speech.samples, speech.rate) > 0.01


def test_a_long_sentence_keeps_its_voice(tmp_path: Path) -> None:
    """A sentence that the network cannot say at once is said in parts, all of it, by the same voice."""
    clause = "turn the key and look at the lamp"
    rendered = SYNTHESISER.render(", ".join([clause] * 20) + ".", HEART, 175, urgent=True)
    one = Voice(cache_folder=tmp_path).render(f"{clause}.").duration_s
    assert (rendered.voice, rendered.why) == (HEART, "")
    assert len(rendered.samples) / rendered.rate > 20 * 0.9 * one


@pytest.mark.parametrize("name", ["nobody", "gmw/en-us+nobody", "Heart", ""])
def test_unknown_voice_is_named(name: str, tmp_path: Path) -> None:
    """A voice or variant that does not exist is not replaced by another silently; the answer names those that do."""
    with pytest.raises(GearProblem, match=r"There is no voice named .*'heart', 'espeak' \(gmw/en-us\)"):
        Voice(voice_name=name, cache_folder=tmp_path).render("Say again.")


def test_a_sentence_that_the_voice_cannot_speak_is_spoken_by_the_other(tmp_path: Path) -> None:
    """A word without a pronunciation costs that sentence its voice, not its words: one rate, a like level."""
    voice = Voice(cache_folder=tmp_path)
    known = voice.render("Feed side. Lit, dim, or dark?")
    both = voice.render("Feed side. Xylqwrtz zzvorp is dark.")
    alone = SYNTHESISER.render("Xylqwrtz zzvorp is dark.", HEART, voice.rate_words_per_minute, urgent=True)
    assert (alone.voice, "zzvorp" in alone.why.lower()) == (ESPEAK, True)
    assert both.rate == known.rate == 24000
    first = len(voice.render("Feed side.").samples)
    assert np.array_equal(known.samples[:first], both.samples[:first])
    levels = [active_level(part, 24000) for part in (both.samples[:first], both.samples[first:])]
    assert abs(20 * np.log10(levels[0] / levels[1])) < 6
    assert np.max(np.abs(both.samples.astype(int))) <= PEAK * 32767 + 1


def test_the_neural_voice_needs_nothing_of_the_other(tmp_path: Path) -> None:
    """A session in the neural voice loads no eSpeak NG, which would cost memory and time at the start."""
    code = (
        "import sys; from pathlib import Path; from assistant.speaking.voice import Voice\n"
        "Voice(voice_name='heart', cache_folder=Path(sys.argv[1])).render('Say again.')\n"
        "print([name for name in sys.modules if name in ('espeakng_loader', 'pyttsx3.drivers.espeak')])\n"
        "print('espeak' in Path('/proc/self/maps').read_text())\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path)], capture_output=True, text=True, check=False
    )
    assert (done.stdout, done.stderr, done.returncode) == ("[]\nFalse\n", "", 0)


def test_another_level_of_shaping_is_rendered_once_and_shaped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A change of level renders nothing again; each level sounds as the shaping makes it, and none is louder."""
    voice = Voice(cache_folder=tmp_path)
    plain = voice.render("Say again.")
    monkeypatch.setattr(voice_module.SYNTHESISER, "render", _fail)
    voice.shape_for(LEVELS[-1])
    loud = voice.render("Say again.")
    assert voice.level == LEVELS[-1]
    assert np.array_equal(shaped(plain.samples, plain.rate, LEVELS[-1]), loud.samples)
    assert np.max(np.abs(loud.samples.astype(int))) <= PEAK * 32767 + 1
    assert np.array_equal(loud.samples, voice.render("Say again.").samples)
    voice.shape_for(0)
    assert np.array_equal(plain.samples, voice.render("Say again.").samples)
    with pytest.raises(ValueError, match="no level 9"):
        voice.shape_for(9)


def test_each_voice_rate_and_version_has_sounds_of_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The cache never plays a sentence of another voice, rate or version of the weights and pronunciations."""
    keys = {
        Voice(rate, name, cache_folder=tmp_path)._key("Key off.")
        for rate in (150, 175)
        for name in ("heart", "espeak", "gmw/en-us+f3")
    }
    assert len(keys) == 6
    monkeypatch.setattr(voice_module, "_version", lambda _voice: "another")
    assert Voice(cache_folder=tmp_path)._key("Key off.") not in keys


def test_a_word_that_an_author_adds_is_rendered_anew(tmp_path: Path) -> None:
    """The neural voice's sound belongs to the phonemes: it is another when a lexicon has the word, the same after."""
    voice, lexicon = Voice(voice_name="heart", cache_folder=tmp_path), tmp_path / "lexicon.txt"
    lexicon.write_text("zorbnik Z AO R B N IH K\n", encoding="utf-8")
    without = voice._key("The zorbnik.")
    try:
        use_lexicon(lexicon)
        assert voice._key("The zorbnik.") != without
    finally:
        use_lexicon(None)
    assert voice._key("The zorbnik.") == without


def test_files_of_the_voice_make_its_version(tmp_path: Path) -> None:
    """A changed, added or renamed file of the voice makes another version; a compiled one does not."""
    (tmp_path / "one.py").write_text("a")
    versions = [voice_module._digest(tmp_path)]
    (tmp_path / "one.py").write_text("b")
    versions.append(voice_module._digest(tmp_path))
    (tmp_path / "two.bin").write_bytes(b"")
    versions.append(voice_module._digest(tmp_path))
    (tmp_path / "two.bin").rename(tmp_path / "three.bin")
    versions.append(voice_module._digest(tmp_path))
    assert len(set(versions)) == 4
    (tmp_path / "__pycache__").mkdir()
    (tmp_path / "__pycache__" / "one.pyc").write_bytes(b"x")
    assert versions[-1] == voice_module._digest(tmp_path)


@pytest.mark.parametrize("word", ["Danger", "Warning"])
def test_a_signal_word_has_its_tone_before_it(word: str, tmp_path: Path) -> None:
    """The tone comes before the sentence, once, and leaves the sentence as it is."""
    voice = Voice(cache_folder=tmp_path)
    text = f"{word}: keep hands clear of the belts."
    tone = tone_before(text)
    assert tone is not None
    samples, rate = voice._sentence(text, 0, urgent=True)
    expected = np.concatenate([sounded(tone, rate, active_level(samples, rate)), samples])
    assert np.array_equal(expected, voice.render(text).samples)
    after = voice.render(f"Key off. {text}").samples
    assert np.array_equal(expected, after[-len(expected) :])


def test_impossible_rate_is_refused() -> None:
    """A rate that the synthesiser would clip is said at once."""
    with pytest.raises(GearProblem, match="from 80 to 450"):
        Voice(20)


def test_many_threads_get_whole_sentences(tmp_path: Path) -> None:
    """Rendering from several threads at once neither mixes nor cuts sentences."""
    lengths: dict[int, float] = {}

    def work(number: int) -> None:
        speech = Voice(cache_folder=tmp_path / str(number)).render(
            "Probe the driver end of the control wire."
        )
        lengths[number] = speech.duration_s

    threads = [threading.Thread(target=work, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
    assert len(lengths) == 8
    # The synthesiser's own jitter is about 0.02 s; a cut sentence would lack a word.
    assert max(lengths.values()) - min(lengths.values()) < 0.1


def test_nothing_is_printed(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    """The library's own messages do not reach a screen that is in use."""
    Voice(cache_folder=tmp_path).render("Nothing on the screen.")
    assert capfd.readouterr() == ("", "")


def test_stuck_synthesiser_is_said_in_time(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A synthesiser that does not answer becomes a sentence, at once for the next text, and may recover."""
    release = threading.Event()

    def slow(*_arguments: Any) -> Rendered:
        release.wait(timeout=20)
        return Rendered(np.full(1000, 1000, np.int16), 24000, HEART)

    monkeypatch.setattr(synthesiser, "_RENDER_LIMIT_S", 0.05)
    monkeypatch.setattr(synthesiser, "_LOAD_LIMIT_S", 0.0)
    monkeypatch.setattr(synthesiser.Speakers, "speak", slow)
    monkeypatch.setattr(voice_module, "SYNTHESISER", synthesiser.SynthesiserThread())
    voice = Voice(cache_folder=tmp_path)
    for text in ("one", "two"):
        with pytest.raises(GearProblem, match="did not answer"):
            voice.render(text)
    stuck = voice_module.SYNTHESISER._stuck
    assert stuck is not None
    release.set()
    stuck.answer.result(timeout=30)
    monkeypatch.setattr(synthesiser, "_RENDER_LIMIT_S", 30.0)
    assert voice.render("three").rate == 24000


def test_the_first_sentence_of_a_voice_may_take_longer(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Its files are read then, which a slow machine takes long for; only a later sentence is stuck after the limit."""
    begun, go_on = threading.Event(), threading.Event()

    def slow(*_arguments: Any) -> Rendered:
        begun.set()
        assert go_on.wait(timeout=20)
        return Rendered(np.full(1000, 1000, np.int16), 24000, HEART)

    monkeypatch.setattr(synthesiser, "_RENDER_LIMIT_S", 0.0)
    monkeypatch.setattr(synthesiser, "_LETTER_LIMIT_S", 0.0)
    monkeypatch.setattr(synthesiser.Speakers, "speak", slow)
    thread = synthesiser.SynthesiserThread()
    threading.Thread(target=lambda: begun.wait(timeout=20) and go_on.set()).start()
    assert 24000 == thread.render("one", HEART, 175, urgent=True).rate
    go_on.clear()
    with pytest.raises(GearProblem, match="did not answer"):
        thread.render("two", HEART, 175, urgent=True)
    go_on.set()
    assert thread._stuck is not None
    thread._stuck.answer.result(timeout=20)


def test_an_urgent_sentence_waits_for_the_one_in_work_only(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Speech that is needed now goes before all that is prepared, and what both want is rendered once."""
    order: list[str] = []
    begun, go_on = threading.Event(), threading.Event()

    def slow(_self: Any, text: str, voice: str, _rate: int) -> Rendered:
        order.append(text)
        begun.set()
        assert go_on.wait(timeout=20)
        return Rendered(np.full(1000, 1000, np.int16), 24000, voice)

    monkeypatch.setattr(synthesiser.Speakers, "speak", slow)
    monkeypatch.setattr(voice_module, "SYNTHESISER", synthesiser.SynthesiserThread())
    voice = Voice(cache_folder=tmp_path)
    ahead = voice.prepare(["Later one.", "Later two.", "Later three."])
    assert begun.wait(timeout=20)
    needed = [threading.Thread(target=voice.render, args=(text,)) for text in ("Now.", "Later one.")]
    for thread in needed:
        thread.start()
    while not voice_module.SYNTHESISER._jobs.qsize():
        time.sleep(0.001)
    go_on.set()
    assert ahead.result(timeout=20)
    for thread in needed:
        thread.join(timeout=20)
    assert order == ["Later one.", "Now.", "Later two.", "Later three."]


@pytest.mark.parametrize("package", ["pyttsx3", "espeakng_loader"])
def test_missing_package_is_named(package: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Without its library the voice says what to install."""
    monkeypatch.setitem(sys.modules, package, None)
    monkeypatch.setattr(voice_module, "SYNTHESISER", synthesiser.SynthesiserThread())
    with pytest.raises(GearProblem, match="Install bay-assistant again, with its packages pyttsx3"):
        Voice(voice_name="espeak", cache_folder=tmp_path).render("Say again.")


def test_without_espeak_an_unknown_word_is_spelled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The wheel with the GPL can be left out: the default voice says every word, an unknown one by its letters."""
    monkeypatch.setitem(sys.modules, "espeakng_loader", None)
    monkeypatch.setattr(voice_module, "SYNTHESISER", synthesiser.SynthesiserThread())
    voice = Voice(cache_folder=tmp_path)
    said = voice.render("Feed side. Xylq is dark.")
    asked = voice.render("Feed side. X Y L Q is dark.")
    assert np.array_equal(asked.samples, said.samples)
    why = voice_module.SYNTHESISER.render("Xylq is dark.", HEART, 175, urgent=True).why
    assert "Xylq" in why
    assert "spelled" in why


def test_without_espeak_what_cannot_be_spelled_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A word of foreign letters is told in the sentence that names the missing package, not by silence."""
    monkeypatch.setitem(sys.modules, "espeakng_loader", None)
    monkeypatch.setattr(voice_module, "SYNTHESISER", synthesiser.SynthesiserThread())
    with pytest.raises(GearProblem, match="espeakng-loader"):
        Voice(cache_folder=tmp_path).render("Щит is dark.")


WITHOUT_ITS_THREAD = """
import hashlib, sys
from assistant.speaking import espeak, synthesiser
espeak.load()
import pyttsx3.drivers._espeak as bindings
bindings.AUDIO_OUTPUT_PLAYBACK = bindings.AUDIO_OUTPUT_RETRIEVAL = int(sys.argv[1])
said = synthesiser.Speakers().speak("Feed side steady.", "gmw/en-us", 175)
print(len(said.samples), hashlib.sha256(said.samples.tobytes()).hexdigest())
"""


def test_a_library_without_a_thread_of_its_own_speaks_too() -> None:
    """In eSpeak NG's synchronous mode (2), as its wheel for aarch64 is built, a sentence ends and is the same."""
    spoken = [
        subprocess.run(
            [sys.executable, "-c", WITHOUT_ITS_THREAD, mode],
            capture_output=True,
            text=True,
            check=True,
            timeout=60,
        ).stdout
        for mode in ("1", "2")
    ]
    assert spoken[0] == spoken[1]
    assert int(spoken[0].split()[0]) > 10_000


def test_another_speech_library_does_not_get_in_the_way(tmp_path: Path) -> None:
    """A system's library of the same name, here a useless one, is not taken instead of the wheel's."""
    library = Path(_ctypes.__file__)
    if library.suffix != ".so":
        pytest.skip("this interpreter's extension modules are not shared objects")
    for name in ("libespeak-ng.so.1", "libespeak.so.1"):
        shutil.copy(library, tmp_path / name)
    code = (
        "import sys, os; from pathlib import Path; from assistant.speaking.voice import Voice\n"
        "print(Voice(voice_name='espeak', cache_folder=Path(sys.argv[1])).render('Say again.').duration_s > 0.3)\n"
        "print(os.environ.get('ESPEAK_DATA_PATH'))\n"
    )
    environment = {**os.environ, "LD_LIBRARY_PATH": str(tmp_path)}
    environment.pop("ESPEAK_DATA_PATH", None)
    done = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "cache")],
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (done.stdout, done.stderr, done.returncode) == ("True\nNone\n", "", 0)
