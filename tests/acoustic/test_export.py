"""Weights become a model directory that Vosk itself opens and decodes with."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
import vosk

from assistant import resources
from assistant.acoustic.export import Decoding, _matrix, _transition_model, phone_names, write_model
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.phones import PhoneLayout
from assistant.hearing.recogniser import Recogniser, check_model

State = dict[str, np.ndarray]


def _weights(width: int = 16, inner: int = 8) -> State:
    rng = np.random.default_rng(1)

    def made(*shape: int) -> np.ndarray:
        return (rng.standard_normal(shape) * 0.3).astype(np.float32)

    state: State = {"mean": np.zeros(40, np.float32), "scale": np.ones(40, np.float32)}
    state |= {"first.weight": made(width, 40, 3), "first.bias": made(width)}

    def norm(name: str, size: int) -> None:
        state[f"{name}.running_mean"] = np.zeros(size, np.float32)
        state[f"{name}.running_var"] = np.ones(size, np.float32)

    norm("first_norm", width)
    for group, reaches in (("early", (1, 0)), ("late", (1, 1))):
        for number, reach in enumerate(reaches):
            state[f"{group}.{number}.linear.weight"] = made(inner, width, 1 + reach)
            state[f"{group}.{number}.affine.weight"] = made(width, inner, 1 + reach)
            state[f"{group}.{number}.affine.bias"] = made(width)
            norm(f"{group}.{number}.norm", width)
    for name, out, into in (
        ("prefinal_in", inner, width),
        ("prefinal", width, inner),
        ("prefinal_out", inner, width),
        ("output", 40, inner),
    ):
        state |= {f"{name}.weight": made(out, into, 1), f"{name}.bias": made(out)}
    norm("prefinal_norm", width)
    norm("prefinal_out_norm", inner)
    return state


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("model")
    write_model(folder, _weights(), Decoding(), GrammarSet.load(resources.directory("grammars")))
    return folder


def test_vosk_opens_the_directory_as_it_is(model: Path) -> None:
    """The written files are what Vosk reads, without any tool of Kaldi."""
    vosk.SetLogLevel(-2)
    recogniser = vosk.KaldiRecognizer(vosk.Model(str(model)), 16000)
    recogniser.AcceptWaveform(np.random.default_rng(1).normal(0, 500, 16000).astype("<i2").tobytes())
    assert "text" in json.loads(recogniser.FinalResult())


def test_the_recogniser_writes_its_own_graphs_for_it(model: Path) -> None:
    """The directory has the layout that the graph of a step can be written for."""
    grammar = GrammarSet.load(resources.directory("grammars")).named("lamp")
    recogniser = Recogniser(check_model(model, "the test"))
    assert not recogniser.missing(grammar)
    heard = recogniser.hear(np.zeros(16000, np.int16), grammar)
    assert 0 <= heard.confidence <= 1


def test_the_layout_of_transitions_is_the_one_that_graphs_are_written_for(model: Path) -> None:
    """Numbers of transitions are those that the graphs use."""
    layout = PhoneLayout.read(model)
    assert layout is not None
    assert layout.silence == (2, 1)
    # SIL and SPN have two transitions each, then five for each phone and position.
    assert layout.first["AA", "B"] == 5
    assert layout.first["AA", "E"] == 10
    assert len(phone_names()) == 2 + 39 * 4


def test_transitions_are_those_of_the_bundled_model() -> None:
    """The bundled weights were written with this code."""
    whole = (resources.bundled_model() / "am" / "final.mdl").read_bytes()
    assert whole.startswith(b"\0B" + _transition_model())


def test_sixteen_bits_keep_a_weight_to_a_hundred_thousandth_of_the_range() -> None:
    """Kaldi's rule for CM2 (smallest value plus step times range / 65535, from memory) gives the weights back."""
    weights = np.random.default_rng(2).normal(0, 0.1, (30, 20)).astype(np.float32)
    data = _matrix(weights)
    assert data[:4] == b"CM2 "
    low, span = np.frombuffer(data, "<f4", 2, 4)
    rows, columns = np.frombuffer(data, "<i4", 2, 12)
    steps = np.frombuffer(data, "<u2", -1, 20).reshape(rows, columns)
    assert np.max(np.abs(low + steps * (span / 65535) - weights)) < 1e-5 * span
