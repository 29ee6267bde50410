"""Text becomes speech."""

from __future__ import annotations

import _ctypes
import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, strategies as st

from assistant.core.words.sentences import sentences
from assistant.errors import GearProblem
from assistant.speaking import synthesiser, voice as voice_module
from assistant.speaking.voice import Voice


@given(text=st.text(max_size=60))
def test_sentences_lose_no_word(text: str) -> None:
    """Every letter and digit of the text is in one of its sentences, and every sentence says something."""
    parts = sentences(text)
    assert [letter for letter in text if letter.isalnum()] == [
        letter for part in parts for letter in part if letter.isalnum()
    ]
    assert all(any(letter.isalnum() or letter == "_" for letter in part) for part in parts)


def test_decimal_point_ends_no_sentence() -> None:
    """A reading is spoken in one breath."""
    assert sentences("Expect 12.4 volts or more. Key off!") == ["Expect 12.4 volts or more.", "Key off!"]


def test_speech_begins_at_once_and_is_as_loud_as_it_can_be(tmp_path: Path) -> None:
    """Little silence at either end, peak at -1 dBFS, mono, and the text that was asked for."""
    speech = Voice(cache_folder=tmp_path).render("Probe the switched side.")
    loud = np.flatnonzero(np.abs(speech.samples.astype(int)) > 200)
    assert loud[0] < 0.05 * speech.rate
    assert len(speech.samples) - loud[-1] < 0.1 * speech.rate
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
    monkeypatch.setattr(voice_module, "_MOST_HELD_BYTES", 100_000)
    voice = Voice(cache_folder=tmp_path)
    first = voice.render("Number 0.")
    for number in range(1, 9):
        voice.render(f"Number {number}.")
        assert sum(samples.nbytes for samples, _ in voice._memory.values()) <= 100_000
    assert len(voice._memory) < 9
    assert np.array_equal(first.samples, voice.render("Number 0.").samples)


def test_a_slower_rate_takes_longer(tmp_path: Path) -> None:
    """The rate is the rate."""
    slow = Voice(100, cache_folder=tmp_path).render("Watch the lamp while cranking.")
    fast = Voice(250, cache_folder=tmp_path).render("Watch the lamp while cranking.")
    assert slow.duration_s > 1.5 * fast.duration_s


def _fail(*_arguments: Any, **_options: Any) -> Any:
    pytest.fail("the synthesiser was asked for something that is in the cache")


def test_rendered_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second voice of the same kind finds the sentence on disk, and prepared texts are found too."""
    first = Voice(cache_folder=tmp_path)
    first.prepare(["Say again.", "", "Key off."]).join(timeout=60)
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


@pytest.mark.parametrize("text", ["", "  ", "...", "\0", "\ud800"])
def test_nothing_to_say_is_a_plain_sentence(text: str, tmp_path: Path) -> None:
    """Text without a word is refused."""
    with pytest.raises(GearProblem, match="There is no text to speak"):
        Voice(cache_folder=tmp_path).render(text)


@pytest.mark.parametrize("name", ["nobody", "gmw/en-us+nobody"])
def test_unknown_voice_is_named(name: str, tmp_path: Path) -> None:
    """A voice or variant that does not exist is not replaced by another silently."""
    with pytest.raises(GearProblem, match="There is no voice named"):
        Voice(voice_name=name, cache_folder=tmp_path).render("Say again.")


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

    def slow(*_arguments: Any) -> tuple[Any, int]:
        release.wait(timeout=20)
        return np.full(1000, 1000, np.int16), 22050

    monkeypatch.setattr(synthesiser, "_RENDER_LIMIT_S", 0.05)
    monkeypatch.setattr(synthesiser, "_synthesise", slow)
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
    assert voice.render("three").rate == 22050


@pytest.mark.parametrize("package", ["pyttsx3", "espeakng_loader"])
def test_missing_package_is_named(package: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Without its library the voice says what to install."""
    monkeypatch.setitem(sys.modules, package, None)
    monkeypatch.setattr(voice_module, "SYNTHESISER", synthesiser.SynthesiserThread())
    with pytest.raises(GearProblem, match="Install bay-assistant again, with its packages pyttsx3"):
        Voice(cache_folder=tmp_path).render("Say again.")


def test_another_speech_library_does_not_get_in_the_way(tmp_path: Path) -> None:
    """A system's library of the same name, here a useless one, is not taken instead of the wheel's."""
    library = Path(_ctypes.__file__)
    if library.suffix != ".so":
        pytest.skip("this interpreter's extension modules are not shared objects")
    for name in ("libespeak-ng.so.1", "libespeak.so.1"):
        shutil.copy(library, tmp_path / name)
    code = (
        "import sys, os; from pathlib import Path; from assistant.speaking.voice import Voice\n"
        "print(Voice(cache_folder=Path(sys.argv[1])).render('Say again.').duration_s > 0.3)\n"
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
