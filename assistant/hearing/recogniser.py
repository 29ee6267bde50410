"""Words from sound: Vosk with the graph of the step, and only that.

For the bundled model, or any other of its layout, the graphs are written for each grammar from the lexicon:
strict, small, with a filler for everything else (`assistant.hearing.graph`).
A user's own Vosk model keeps its sounds; its word graph is replaced by a strict one when it has a symbol table,
else Vosk's run-time grammar is used.
`vosk.Model()` is never called without a path: it would look for a model on the network.
"""

from __future__ import annotations

import json
import os
import shutil
import tempfile
import threading
import time
from collections import OrderedDict
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import resources
from assistant.errors import GearProblem, ModelProblem
from assistant.hearing.graph import (
    UNKNOWN,
    Costs,
    PhoneLayout,
    read_symbols,
    table_for,
    words_of,
    write_sounds,
    write_words,
)
from assistant.hearing.sound import RATE, Samples

if TYPE_CHECKING:
    from collections.abc import Collection

    from assistant.grammar.grammar import StepGrammar

VARIABLE = "BAY_ASSISTANT_MODEL"
"""Environment variable that names a model directory."""

NEEDED = ("am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/phones/word_boundary.int")
DYNAMIC = ("graph/HCLr.fst", "graph/Gr.fst")

KEPT = 4
"""Opened graphs that are kept: the step's question, its read-back, the caution and the pause before."""

SETTINGS = {"lattice-beam": "6.0", "phone-determinize": "false", "max-mem": "2000000"}
"""Decoder settings for graphs that we write.

A filler of single phones makes lattices that Vosk's phone determinisation cannot finish in time; without it a
long remark is decoded in a tenth of its length.
"""

PIECE = RATE // 10
"""Samples handed to Vosk at once: 0.1 s."""


def find_model(option: Path | None = None) -> Path:
    """The model to use: the option, else the environment variable, else the bundled one.

    Raises:
        ModelProblem: It is not there, or is not a Vosk model directory with a graph that can change.
    """
    if option is not None:
        return check_model(option, "--model")
    if given := os.environ.get(VARIABLE):
        return check_model(Path(given), VARIABLE)
    return check_model(resources.bundled_model(), "the package")


def check_model(path: Path, named_by: str) -> Path:
    """See that a directory can be a model before Vosk aborts the whole program over it.

    Raises:
        ModelProblem: What is missing or of another kind, in a sentence.
    """
    if not path.exists():
        raise ModelProblem(f"There is no recogniser model at {path} (named by {named_by}). Name a Vosk model directory.")
    if not path.is_dir():
        raise ModelProblem(
            f"The recogniser model {path} is a file. Unpack it and name the directory that holds 'am' and 'conf'."
        )
    if (path / "graph" / "HCLG.fst").is_file() and not (path / "graph" / "HCLr.fst").is_file():
        raise ModelProblem(
            f"The recogniser model {path} has a fixed graph (HCLG.fst) that cannot follow a grammar. "
            "Use a small model, one with graph/HCLr.fst and graph/Gr.fst."
        )
    own = (path / "phones.txt").is_file()
    for name in NEEDED if own else (*NEEDED, *DYNAMIC):
        file = path / name
        if not file.is_file():
            raise ModelProblem(f"The recogniser model {path} lacks the file {name}. Copy the model again, whole.")
        if file.stat().st_size == 0:
            raise ModelProblem(f"In the recogniser model {path} the file {name} is empty. Copy the model again, whole.")
    with (path / "am" / "final.mdl").open("rb") as file:
        if file.read(20)[:2] != b"\0B":
            raise ModelProblem(f"In {path} the file am/final.mdl is not a Kaldi acoustic model.")
    return path


@dataclass(frozen=True)
class Recognition:
    """What the recogniser made of a piece of sound.

    Attributes:
        words: The words, "" for none; holds ``[unk]`` for speech outside the grammar.
        confidence: Lowest word confidence, 0 to 1; 0 without words.
        elapsed_s: Time spent on it, s.
    """

    words: str
    confidence: float
    elapsed_s: float


class Stream:
    """One utterance on its way into words."""

    def __init__(self, recogniser: Any) -> None:
        self._recogniser = recogniser
        self._settled: list[dict[str, Any]] = []
        self.elapsed_s = 0.0

    def accept(self, samples: Samples) -> None:
        """The next sound, 16 kHz."""
        begun = time.perf_counter()
        for start in range(0, len(samples), PIECE):
            if self._recogniser.AcceptWaveform(samples[start : start + PIECE].astype("<i2").tobytes()):
                self._settled += json.loads(self._recogniser.Result()).get("result", [])
        self.elapsed_s += time.perf_counter() - begun

    def partial(self) -> str:
        """The words so far."""
        so_far = json.loads(self._recogniser.PartialResult()).get("partial", "")
        return " ".join([*(word["word"] for word in self._settled), *so_far.split()])

    def finish(self) -> Recognition:
        """The words at the end."""
        begun = time.perf_counter()
        words = self._settled + json.loads(self._recogniser.FinalResult()).get("result", [])
        self.elapsed_s += time.perf_counter() - begun
        text = " ".join(word["word"] for word in words)
        confidence = min((float(word["conf"]) for word in words), default=0.0)
        return Recognition(text, min(1.0, max(0.0, confidence)), self.elapsed_s)


class Recogniser:
    """A model, and the graphs opened on it; safe to prepare from one thread while another decodes.

    Args:
        path: Model directory, checked by `find_model`.

    Raises:
        ModelProblem: Vosk cannot open it.
        GearProblem: Vosk is not installed.
    """

    def __init__(self, path: Path, *, costs: Costs | None = None) -> None:
        self.path = path
        self._costs = costs or Costs()
        self._vosk = _load_vosk()
        self._layout = PhoneLayout.read(path)
        self._opened: OrderedDict[object, tuple[Any, StepGrammar]] = OrderedDict()
        self._lock = threading.Lock()
        self._symbols: dict[str, int] = {} if self._layout else read_symbols(path / "graph" / "Gr.fst")
        self._whole: Any = None
        if not self._layout and not self._symbols:
            self._whole = self._open(path)

    def missing(self, grammar: StepGrammar) -> list[str]:
        """Words of a grammar that the model cannot hear."""
        if self._layout:
            known: Collection[str] = {w for w in grammar.words() if grammar.lexicon.pronunciations(w)}
        elif self._symbols:
            known = self._symbols
        else:
            known = [word for word in grammar.words() if self._whole.vosk_model_find_word(word) >= 0]
        return [word for word in grammar.words() if word not in known]

    def prepare(self, grammar: StepGrammar) -> StepGrammar:
        """Open the graph of a grammar; returns what of it can be heard with this model.

        Raises:
            ModelProblem: Something that the grammar asks for can then no longer be said; names word and line.
        """
        return self._graph(grammar)[1]

    def stream(self, grammar: StepGrammar) -> Stream:
        """Begin an utterance that is to be heard with this grammar."""
        model, heard = self._graph(grammar)
        if self._layout or self._symbols:
            recogniser = self._vosk.KaldiRecognizer(model, RATE)
        else:
            words = json.dumps([*heard.phrases(), *sorted(heard.words()), UNKNOWN])
            recogniser = self._vosk.KaldiRecognizer(model, RATE, words)
        recogniser.SetWords(True)  # noqa: FBT003
        return Stream(recogniser)

    def hear(self, samples: Samples, grammar: StepGrammar) -> Recognition:
        """The words of a whole piece of sound, 16 kHz."""
        stream = self.stream(grammar)
        stream.accept(samples)
        return stream.finish()

    def _graph(self, grammar: StepGrammar) -> tuple[Any, StepGrammar]:
        with self._lock:
            if grammar.request in self._opened:
                self._opened.move_to_end(grammar.request)
                return self._opened[grammar.request]
            missing = self.missing(grammar)
            heard = grammar.without(missing) if missing else grammar
            model = self._whole or self._write(heard)
            self._opened[grammar.request] = (model, heard)
            while len(self._opened) > KEPT:
                self._opened.popitem(last=False)
            return model, heard

    def _write(self, grammar: StepGrammar) -> Any:
        """A model whose word graph is the grammar's; the weights are linked, not copied."""
        with tempfile.TemporaryDirectory(prefix="bay-assistant-") as name:
            folder = Path(name)
            graph = folder / "graph"
            (graph / "phones").mkdir(parents=True)
            source = self.path.resolve()
            for part in source.iterdir():
                if part.name != "graph" and not (self._layout and part.name == "conf"):
                    (folder / part.name).symlink_to(part)
            for part in (source / "graph" / "phones").iterdir():
                (graph / "phones" / part.name).symlink_to(part)
            automaton = grammar.automaton()
            if self._layout:
                (folder / "conf").mkdir()
                shutil.copy(source / "conf" / "mfcc.conf", folder / "conf" / "mfcc.conf")
                (folder / "conf" / "model.conf").write_text(_with_settings(source / "conf" / "model.conf"))
                (graph / "disambig_tid.int").touch()
                labels = table_for(words_of(automaton))
                entries = {word: grammar.lexicon.pronunciations(word) for word in words_of(automaton)}
                write_sounds(graph / "HCLr.fst", labels, entries, self._layout, self._costs)
                write_words(graph / "Gr.fst", automaton, labels)
            else:
                for part in (source / "graph").iterdir():
                    if part.name not in ("phones", "Gr.fst"):
                        (graph / part.name).symlink_to(part)
                write_words(graph / "Gr.fst", automaton, self._symbols, filler=UNKNOWN in self._symbols)
            return self._open(folder)

    def _open(self, folder: Path) -> Any:
        try:
            return self._vosk.Model(str(folder))
        except Exception as error:
            raise ModelProblem(
                f"The recogniser cannot open the model {self.path} ({error}). Copy the model again, whole."
            ) from error


def _with_settings(path: Path) -> str:
    """The model's own decoder settings with ours put over them."""
    settings = {}
    for line in path.read_text(encoding="utf-8").split():
        name, _, value = line.removeprefix("--").partition("=")
        settings[name] = value
    return "".join(f"--{name}={value}\n" for name, value in (settings | SETTINGS).items())


def _load_vosk() -> Any:
    try:
        import vosk  # noqa: PLC0415  slow to load, and only hearing needs it
    except (ImportError, OSError) as error:
        raise GearProblem(f"The recogniser Vosk cannot be loaded ({error}). Install bay-assistant again.") from error
    vosk.SetLogLevel(-1)
    return vosk
