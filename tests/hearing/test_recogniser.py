"""The real recogniser on real sound, and what a wrong model directory says."""

from __future__ import annotations

import shutil
from decimal import Decimal
from pathlib import Path

import numpy as np
import pytest

from assistant import resources
from assistant.core.values.result import Control, GrammarRequest, Result
from assistant.errors import ModelProblem
from assistant.grammar.grammar_set import GrammarSet
from assistant.grammar.step_grammar import StepGrammar
from assistant.hearing.foreground import prepared
from assistant.hearing.judge import judge
from assistant.hearing.recogniser import KEPT, VARIABLE, Recogniser, find_model
from assistant.hearing.sound import RATE, read_sound
from assistant.measured import DEFAULT_THRESHOLDS

SOUNDS = Path(__file__).parent / "sounds"
GRAMMARS = GrammarSet.load(resources.directory("grammars"))
LAMP = GRAMMARS.request(
    GrammarRequest(
        outcomes=("lit", "dim", "dark", "steady", "blinking", "flickering"),
        controls=(Control.SAY_AGAIN, Control.NOT_SURE, Control.STOP, Control.STAND_BY),
    )
)
VOLTS = GRAMMARS.request(GrammarRequest(units=("V", "mV"), controls=(Control.SAY_AGAIN, Control.STOP)))


@pytest.fixture(scope="module")
def recogniser() -> Recogniser:
    return Recogniser(find_model())


@pytest.mark.parametrize(
    ("name", "grammar", "result"),
    [
        ("feed-lit", LAMP, Result(outcome="lit", place="feed")),
        ("switched-side-blinking", LAMP, Result(outcome="blinking", place="switched")),
        ("dark", LAMP, Result(outcome="dark")),
        ("say-again", LAMP, Result(control=Control.SAY_AGAIN)),
        ("eleven-point-nine-volts", VOLTS, Result(value=Decimal("11.9"), unit="V")),
        ("say-again", VOLTS, Result(control=Control.SAY_AGAIN)),
        ("light-on", LAMP, Result(outcome="lit")),
        ("it's-out", LAMP, Result(outcome="dark")),
        ("no-blink", LAMP, Result(outcome="steady")),
        ("pulsing", LAMP, Result(outcome="blinking")),
        ("say-that-again", LAMP, Result(control=Control.SAY_AGAIN)),
        ("twelve-four-volts", VOLTS, Result(value=Decimal("12.4"), unit="V")),
    ],
)
def test_phrases_are_heard(recogniser: Recogniser, name: str, grammar: StepGrammar, result: Result) -> None:
    """A phrase of the grammar, by a voice the model was not trained on, is understood and accepted."""
    heard = recogniser.hear(read_sound(SOUNDS / f"{name}.flac").samples, grammar)
    judged = judge(heard, grammar, DEFAULT_THRESHOLDS, speech=True)
    assert result == judged.result
    assert judged.accepted
    assert name == judged.words.replace(" ", "-")


@pytest.mark.parametrize(
    ("name", "grammar"),
    [("remark", LAMP), ("remark", VOLTS), ("noise", LAMP), ("noise", VOLTS)],
)
def test_other_speech_and_noise_are_not_accepted(
    recogniser: Recogniser, name: str, grammar: StepGrammar
) -> None:
    """A remark and mere noise are not accepted, even where speech is taken for granted."""
    sound = prepared(read_sound(SOUNDS / f"{name}.flac").samples)
    heard = recogniser.hear(sound, grammar)
    judged = judge(
        heard, grammar, DEFAULT_THRESHOLDS, speech=True, sound=sound, acoustics=recogniser.acoustics
    )
    assert not judged.accepted


@pytest.mark.parametrize("samples", [np.zeros(RATE, np.int16), np.zeros(0, np.int16), np.zeros(1, np.int16)])
def test_silence_is_nothing(recogniser: Recogniser, samples: np.ndarray) -> None:
    """Digital silence, and hardly any sound at all, give no result and no error."""
    assert not judge(recogniser.hear(samples, LAMP), LAMP, DEFAULT_THRESHOLDS, speech=True).accepted


@pytest.mark.parametrize("size", [1, 160, 511, 4000])
def test_same_sound_same_words(recogniser: Recogniser, size: int) -> None:
    """The same sound gives the same words and confidence each time, however it is cut into chunks."""
    samples = read_sound(SOUNDS / "dark.flac").samples[: RATE if size == 1 else None]
    whole = recogniser.hear(samples, LAMP)
    stream = recogniser.stream(LAMP)
    for start in range(0, samples.size, size):
        stream.accept(samples[start : start + size])
    again = stream.finish()
    assert whole.words == again.words
    assert pytest.approx(whole.confidence, abs=1e-3) == again.confidence


def test_partial_words_grow_to_the_phrase(recogniser: Recogniser) -> None:
    """The words so far are a beginning of a phrase of the grammar at any time, the filler aside."""
    samples = read_sound(SOUNDS / "switched-side-blinking.flac").samples
    stream = recogniser.stream(LAMP)
    seen = []
    for start in range(0, samples.size, 1600):
        stream.accept(samples[start : start + 1600])
        seen.append(stream.partial())
    assert all(LAMP.is_beginning(words) for words in seen if "[unk]" not in words)
    assert "switched side blinking" == seen[-1]


def test_few_graphs_are_kept(recogniser: Recogniser) -> None:
    """However many steps a session has, only the latest graphs stay open."""
    for unit in ("V", "A", "ohm", "rpm", "s", "mV"):
        recogniser.prepare(GRAMMARS.request(GrammarRequest(units=(unit,))))
    assert KEPT == len(recogniser._opened)


def test_every_word_of_the_grammars_is_known(recogniser: Recogniser) -> None:
    """The bundled model with the lexicon can hear every grammar that is delivered."""
    for name in GRAMMARS.names():
        assert [] == recogniser.missing(GRAMMARS.named(name))


# --- other models ---


def model_copy(folder: Path, *, phones: bool) -> Path:
    """The bundled model by links; without its phone table it is like any Vosk model."""
    source = resources.bundled_model()
    for file in source.rglob("*"):
        if file.is_file() and (phones or file.name != "phones.txt"):
            target = folder / file.relative_to(source)
            target.parent.mkdir(parents=True, exist_ok=True)
            target.symlink_to(file)
    return folder


WORDS = GrammarSet.from_files(
    {
        Path("lamp.jsgf"): b"#JSGF V1.0;\ngrammar lamp;\npublic <lamp> = lit {outcome=lit} | "
        b"(dark | light dark | gloomiferous) {outcome=dark};\n",
        Path("place.jsgf"): b"#JSGF V1.0;\ngrammar place;\npublic <place> = feed {place=feed};\n",
        Path("lexicon.txt"): b"",
    }
).request(GrammarRequest(outcomes=("lit", "dark")))


def test_a_model_of_ones_own_is_used_strictly(tmp_path: Path) -> None:
    """A Vosk model directory with its own symbol table hears a step; forms it has no word for are left out."""
    other = Recogniser(find_model(model_copy(tmp_path, phones=False)))
    assert ["gloomiferous"] == other.missing(WORDS)
    assert "gloomiferous" not in other.prepare(WORDS).words()
    heard = other.hear(read_sound(SOUNDS / "feed-lit.flac").samples, WORDS)
    assert "feed lit" == heard.words
    assert Result(outcome="lit", place="feed") == judge(heard, WORDS, DEFAULT_THRESHOLDS, speech=True).result


def test_a_model_without_a_needed_word_is_refused(tmp_path: Path) -> None:
    """When something could not be said at all, the error names the word and where it stands."""
    other = Recogniser(find_model(model_copy(tmp_path, phones=False)))
    alien = GrammarSet.from_files(
        {
            Path("lamp.jsgf"): b"#JSGF V1.0;\ngrammar lamp;\npublic <lamp> = gloomiferous {outcome=dark};\n",
            Path("lexicon.txt"): b"",
        }
    ).named("lamp")
    with pytest.raises(ModelProblem, match=r"'gloomiferous' \(lamp.jsgf:3\)"):
        other.prepare(alien)


def test_a_word_without_pronunciation_is_named_with_what_to_add(recogniser: Recogniser) -> None:
    """The bundled model needs phones for a word: the error names word, grammar line, lexicon and an example line."""
    alien = GrammarSet.from_files(
        {
            Path("lamp.jsgf"): b"#JSGF V1.0;\ngrammar lamp;\npublic <lamp> = gloomiferous {outcome=dark};\n",
            Path("mine/lexicon.txt"): b"lit  L IH T\n",
        }
    ).named("lamp")
    with pytest.raises(ModelProblem, match=r"'gloomiferous' \(lamp.jsgf:3\)") as raised:
        recogniser.prepare(alien)
    assert "phones to mine/lexicon.txt, a line like 'amps  AE M P S'" in str(raised.value)


def test_search_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The option goes before the environment, the environment before the bundled model."""
    one, two = model_copy(tmp_path / "one", phones=True), model_copy(tmp_path / "two", phones=True)
    assert resources.bundled_model() == find_model()
    monkeypatch.setenv(VARIABLE, str(two))
    assert two == find_model()
    assert one == find_model(one)


def test_wrong_directories_are_told_apart(tmp_path: Path) -> None:
    """Absent, a zip, a static graph, each missing or damaged file: its own sentence, before Vosk sees it."""
    with pytest.raises(ModelProblem, match="no recogniser model"):
        find_model(tmp_path / "absent")
    (tmp_path / "model.zip").write_bytes(b"PK")
    with pytest.raises(ModelProblem, match="Unpack it"):
        find_model(tmp_path / "model.zip")
    static = model_copy(tmp_path / "static", phones=False)
    (static / "graph" / "HCLr.fst").rename(static / "graph" / "HCLG.fst")
    with pytest.raises(ModelProblem, match=r"fixed graph"):
        find_model(static)
    for name in ("am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/Gr.fst", "graph/HCLr.fst"):
        folder = model_copy(tmp_path / name.replace("/", "-"), phones=False)
        (folder / name).unlink()
        with pytest.raises(ModelProblem, match=name):
            find_model(folder)
    damaged = model_copy(tmp_path / "damaged", phones=True)
    (damaged / "am" / "final.mdl").unlink()
    (damaged / "am" / "final.mdl").write_bytes(b"a web page about a model")
    with pytest.raises(ModelProblem, match="not a Kaldi acoustic model"):
        find_model(damaged)


def test_cut_weights_are_a_sentence(tmp_path: Path) -> None:
    """Weights that were copied in part raise ModelProblem, not a crash."""
    cut = model_copy(tmp_path, phones=True)
    weights = cut / "am" / "final.mdl"
    data = weights.read_bytes()
    weights.unlink()
    weights.write_bytes(data[: len(data) // 2])
    with pytest.raises(ModelProblem):
        Recogniser(find_model(cut)).prepare(LAMP)
    shutil.rmtree(cut)


def test_what_has_a_key_or_another_unit_is_left_out_not_refused() -> None:
    """A model without "skip" and "millivolts" still hears volts and the words that a session cannot do without."""
    asked = GrammarRequest(units=("V", "mV"), controls=(Control.AFFIRM, Control.STOP, Control.SKIP))
    heard = GRAMMARS.request(asked).without({"millivolts", "milli", "skip"})
    assert heard.parse("twelve point four volts") is not None
    assert heard.parse("affirm") is not None
    assert heard.parse("skip this") is None
    assert heard.parse("five millivolts") is None


def test_words_that_come_back_in_another_form_are_looked_up_as_well(
    recogniser: Recogniser, tmp_path: Path
) -> None:
    """Leaving "kilohms" out brings "kilo ohms" back; a model that lacks "kilo" too is not handed that word."""

    class Poor(Recogniser):
        def missing(self, grammar: StepGrammar) -> list[str]:
            return [word for word in grammar.words() if word in ("kilohms", "kilo", "k")]

    poor = Poor(find_model())
    grammar = GRAMMARS.request(GrammarRequest(units=("ohm", "kilohm", "megohm")))
    assert not {"kilohms", "kilo", "k"} & set(poor.fitting(grammar).words())
