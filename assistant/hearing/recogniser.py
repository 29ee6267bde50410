"""Turns sound into words: Vosk with the graph of the step, and nothing else.

For the bundled model, or any other with its layout, the graphs are written for each grammar from the lexicon:
strict and small, with a filler for everything else (`assistant.hearing.graph`).
A user's own Vosk model keeps its sounds; a strict graph replaces its word graph if it has a symbol table,
otherwise Vosk's run-time grammar is used.
`vosk.Model()` is never called without a path, because it would look for a model on the network.
"""

from __future__ import annotations

import functools
import json
import os
import tempfile
import threading
from collections import OrderedDict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant import resources
from assistant.errors import GearProblem, ModelProblem
from assistant.grammar.automaton import Automaton
from assistant.grammar.priors import arc_costs
from assistant.hearing.acoustics import Acoustics
from assistant.hearing.checking import check_fit, read_settings, read_weights, try_model
from assistant.hearing.graph import (
    UNKNOWN,
    Costs,
    table_for,
    words_of,
    write_sounds,
    write_words,
)
from assistant.hearing.openfst import read_symbols
from assistant.hearing.phone_sums import pairs
from assistant.hearing.phones import PhoneLayout
from assistant.hearing.recognition import Recognition, UtteranceStream
from assistant.hearing.sound import RATE, Samples
from assistant.packages import absent_library

if TYPE_CHECKING:
    from collections.abc import Collection, Iterator, Mapping

    from assistant.grammar.lexicon import Pronunciation
    from assistant.grammar.step_grammar import StepGrammar

VARIABLE = "BAY_ASSISTANT_MODEL"
"""Environment variable that names a model directory."""

NEEDED = ("am/final.mdl", "conf/mfcc.conf", "conf/model.conf", "graph/phones/word_boundary.int")
DYNAMIC = ("graph/HCLr.fst", "graph/Gr.fst")

KEPT = 2
"""Number of open graphs to keep: the step's question and its read-back.

Each has its own copy of the network's weights (about 40 MB for the bundled model), and `Acoustics` has one in 16 bits;
three graphs would break the limit of memory."""

LARGE = 64_000_000
"""Size of another model's ``HCLr.fst`` in bytes above which only one graph is kept, because each holds the sounds
of all words.
"""

SETTINGS = {"lattice-beam": "4.0", "phone-determinize": "false", "max-mem": "1000000"}
"""Decoder settings for graphs that we write.

The filler is a loop over all phones.
A lattice that keeps its phone sequences apart takes hundreds of MB and seconds (at a beam of 4: real-time factor
0.14, at worst 3); without that first pass the factor is 0.03.
Beam and bound on memory (bytes) keep the last step of an utterance short: on the grammar of numbers, the largest,
64 ms at the 95th percentile, against 301 ms at 6.0 and 2000000, with the same quality of confidence.
"""


def find_model(option: Path | None = None) -> Path:
    """The model to use: the option, else the environment variable, else the bundled one.

    Raises:
        ModelProblem: It does not exist, is not a Vosk model directory with a changeable graph, is damaged, or
            cannot be opened; any but the bundled one is tried in a process of its own.
    """
    bundled = resources.bundled_model()
    if option is not None:
        path = check_model(option, "--model")
    elif given := os.environ.get(VARIABLE):
        path = check_model(Path(given), VARIABLE)
    else:
        path = check_model(bundled, "the package")
    if path.resolve() != bundled:
        try_model(path)
    return path


def check_model(path: Path, named_by: str) -> Path:
    """Check that a directory can be a model, before Vosk aborts the whole program over it.

    Raises:
        ModelProblem: A part is missing or of another kind; says which.
    """
    if not path.exists():
        raise ModelProblem(
            f"There is no recogniser model at {path} (named by {named_by}). Name a Vosk model directory."
        )
    if not path.is_dir():
        raise ModelProblem(
            f"The recogniser model {path} is a file. Unpack it and name the directory that holds 'am' and 'conf'."
        )
    if (path / "graph" / "HCLG.fst").is_file() and not (path / "graph" / "HCLr.fst").is_file():
        raise ModelProblem(
            f"The recogniser model {path} has a fixed graph (HCLG.fst) that cannot follow a grammar. "
            "Use a small model, one with graph/HCLr.fst and graph/Gr.fst."
        )
    if not (path / "am").is_dir():
        _refuse_layout(path)
    own = (path / "phones.txt").is_file()
    for name in NEEDED if own else (*NEEDED, *DYNAMIC):
        file = path / name
        if not file.is_file():
            raise ModelProblem(
                f"The recogniser model {path} lacks the file {name}. Copy the model again, whole."
            )
        if file.stat().st_size == 0:
            raise ModelProblem(
                f"In the recogniser model {path} the file {name} is empty. Copy the model again, whole."
            )
    weights = read_weights(path / "am" / "final.mdl")
    check_fit(path, weights)
    if own:
        layout = PhoneLayout.read(path)
        if layout is None and not all((path / name).is_file() for name in DYNAMIC):
            raise ModelProblem(
                f"The phones of the recogniser model {path} are not those of the lexicon (39 ARPAbet phones, see "
                "phones.txt), and it has no graph of its own (graph/HCLr.fst and graph/Gr.fst). Use another model."
            )
        if layout and weights.outputs and layout.outputs > weights.outputs:
            raise ModelProblem(
                f"In the recogniser model {path} the phones do not fit the network: am/final.mdl numbers "
                f"{layout.outputs} of its outputs, and there are {weights.outputs}. Copy the model again, whole."
            )
    return path


def _refuse_layout(path: Path) -> None:
    """Refuse a directory without ``am``: the model may be inside it, or have Vosk's older layout."""
    inside = [one for one in sorted(path.iterdir()) if (one / "am").is_dir()]
    if inside:
        raise ModelProblem(f"The recogniser model is one folder further in: name {inside[0]}.")
    if (path / "final.mdl").is_file():
        raise ModelProblem(
            f"The recogniser model {path} has an older layout (final.mdl without a folder 'am'), which is not "
            "supported. Use a model with the folders 'am', 'conf' and 'graph'."
        )
    raise ModelProblem(
        f"The recogniser model {path} lacks the file am/final.mdl. Name the directory that holds 'am' and 'conf'."
    )


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
        self._opened: OrderedDict[StepGrammar, tuple[Any, StepGrammar]] = OrderedDict()
        self._lock = threading.Lock()
        self._symbols: dict[str, int] = {} if self._layout else read_symbols(path / "graph" / "Gr.fst")
        self._whole: Any = None
        large = not self._layout and (path / "graph" / "HCLr.fst").stat().st_size > LARGE
        self._kept = 1 if large else KEPT
        if not self._layout and not self._symbols:
            self._whole = self._open(path)

    @functools.cached_property
    def acoustics(self) -> Acoustics | None:
        """The network itself, read when it is first needed; None for a model of another layout."""
        return Acoustics.read(self.path) if self._layout else None

    def missing(self, grammar: StepGrammar) -> list[str]:
        """Words of a grammar that the model lacks."""
        if self._layout:
            known: Collection[str] = {w for w in grammar.words() if grammar.lexicon.pronunciations(w)}
        elif self._symbols:
            known = self._symbols
        else:
            known = [word for word in grammar.words() if self._whole.vosk_model_find_word(word) >= 0]
        return [word for word in grammar.words() if word not in known]

    def fitting(self, grammar: StepGrammar) -> StepGrammar:
        """The grammar without the forms for which this model lacks a word.

        Leaving out one form can bring back another ("meg ohms" for "megohms"), whose words are looked up as well.

        Raises:
            ModelProblem: Some answer could then not be said at all; the message names the word and its line.
        """
        lost: set[str] = set()
        heard = grammar
        while missing := self.missing(heard):
            lost.update(missing)
            heard = grammar.without(lost, self._remedy(grammar))
        return heard

    def _remedy(self, grammar: StepGrammar) -> str:
        """The remedy for a word that the model cannot hear."""
        if not self._layout:
            return "Use a model that knows the word, or add another spoken form to the grammar"
        return (
            f"Add the word's phones to {grammar.lexicon.path}, a line like 'amps  AE M P S' "
            "(ARPAbet without stress)"
        )

    def prepare(self, grammar: StepGrammar) -> StepGrammar:
        """Open the graph of a grammar; returns the part of the grammar that this model can hear.

        Raises:
            ModelProblem: Some answer of the grammar could then not be said at all; the message names word and line.
        """
        return self._graph(grammar)[1]

    def stream(self, grammar: StepGrammar) -> UtteranceStream:
        """Begin an utterance with this grammar."""
        model, heard = self._graph(grammar)
        if self.acoustics is not None:
            pairs()  # read now, while somebody still speaks, and not when the answer is judged
        if self._layout or self._symbols:
            return self._stream(model)
        return self._stream(model, json.dumps([*_sequences(heard), UNKNOWN]))

    def hear_noise(self) -> None:
        """Hear a second of noise with a small graph of the model's own words, to try all its parts.

        Raises:
            ModelProblem: The model cannot be used.
        """
        model = self._whole
        if model is None and self._layout:
            model = self._write(Automaton([{"ready": 1}, {}], 0, {1}), {"ready": (("R", "EH", "D", "IY"),)})
        elif model is None:
            words = [word for word in self._symbols if word.isalpha()][:20] or list(self._symbols)[-1:]
            model = self._write(Automaton([dict.fromkeys(words, 1), {}], 0, {1}), {})
        stream = self._stream(model)
        stream.accept(np.random.default_rng(2).normal(0, 300, RATE).astype(np.int16))
        stream.finish()

    def _stream(self, model: Any, *grammar: str) -> UtteranceStream:
        try:
            heard = self._vosk.KaldiRecognizer(model, RATE, *grammar)
            return UtteranceStream(heard, calibrated=self._layout is not None)
        except Exception as error:
            raise ModelProblem(
                f"The recogniser cannot work with the model {self.path} ({error}): its graph is cut short, or its "
                "parts do not fit each other. Copy the model again, whole."
            ) from error

    def hear(self, samples: Samples, grammar: StepGrammar) -> Recognition:
        """The words of a whole piece of sound, 16 kHz."""
        stream = self.stream(grammar)
        stream.accept(samples)
        return stream.finish()

    def _graph(self, grammar: StepGrammar) -> tuple[Any, StepGrammar]:
        with self._lock:
            if grammar in self._opened:
                self._opened.move_to_end(grammar)
                return self._opened[grammar]
            heard = self.fitting(grammar)
            while len(self._opened) >= self._kept:
                self._opened.popitem(last=False)
            said = {word: grammar.lexicon.pronunciations(word) for word in heard.words()}
            model = self._whole or self._write(heard.automaton(), said, arc_costs(heard))
            self._opened[grammar] = (model, heard)
            return model, heard

    def _write(
        self,
        automaton: Automaton,
        said: Mapping[str, tuple[Pronunciation, ...]],
        arc_costs: Mapping[tuple[int, str], float] | None = None,
    ) -> Any:
        """Write a model with this word graph, whose arcs may have costs; its weights are linked, not copied."""
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
            if self._layout:
                (folder / "conf").mkdir()
                for file, settings in (("mfcc.conf", {"dither": "0"}), ("model.conf", SETTINGS)):
                    text = _with_settings(source / "conf" / file, settings)
                    (folder / "conf" / file).write_text(text, encoding="utf-8")
                (graph / "disambig_tid.int").touch()
                labels = table_for(words_of(automaton))
                write_sounds(graph / "HCLr.fst", labels, said, self._layout, self._costs)
                write_words(graph / "Gr.fst", automaton, labels, filler_repeats=False, arc_costs=arc_costs)
            else:
                for part in (source / "graph").iterdir():
                    if part.name not in ("phones", "Gr.fst"):
                        (graph / part.name).symlink_to(part)
                # Only the words of the step, because a table of half a million words takes seconds and 100 MB
                # each time.
                used = {"<eps>", UNKNOWN, *words_of(automaton)} & self._symbols.keys()
                labels = {word: self._symbols[word] for word in sorted(used)}
                write_words(graph / "Gr.fst", automaton, labels, filler=UNKNOWN in labels)
            return self._open(folder)

    def _open(self, folder: Path) -> Any:
        try:
            return self._vosk.Model(str(folder))
        except Exception as error:
            raise ModelProblem(
                f"The recogniser cannot open the model {self.path} ({error}). Copy the model again, whole."
            ) from error


def _with_settings(path: Path, changes: Mapping[str, str]) -> str:
    """A file of settings, one ``--name=value`` a line, with some of them replaced."""
    return "".join(f"--{name}={value}\n" for name, value in (read_settings(path) | dict(changes)).items())


def _sequences(grammar: StepGrammar) -> Iterator[str]:
    """For Vosk's own grammar: all phrases but readings, and each pair of words that may follow each other."""
    yield from grammar.phrases()
    automaton = grammar.automaton()
    for arcs in automaton.states:
        for word, target in arcs.items():
            for following in automaton.states[target]:
                yield f"{word} {following}"


def _load_vosk() -> Any:
    try:
        import vosk  # noqa: PLC0415  slow to load, and only hearing needs it
    except (ImportError, OSError) as error:
        lacking = absent_library(error) or f"{error}. Install bay-assistant again"
        raise GearProblem(f"The recogniser Vosk cannot be loaded. {lacking}.") from error
    vosk.SetLogLevel(-2)  # errors only: a word cut off at the end of a clip is not worth a line
    return vosk
