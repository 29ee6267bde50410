"""The model fitted to a voice: the loss, its gradient, and what it does on real sound."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import numpy as np
import pytest

from assistant import resources
from assistant.grammar.grammar_set import GrammarSet
from assistant.hearing.acoustics import OUTPUTS, PHONE_NUMBERS, Acoustics
from assistant.hearing.recogniser import Recogniser
from assistant.hearing.sound import read_sound
from assistant.learning.conclusion import pronunciations
from assistant.learning.fitting import LEAST, LastLayers, Spoken, fit, fitted, likeliest, loss_of, mean_loss
from assistant.learning.hearer import adapted

SOUNDS = resources.directory("audio_fixtures")
GRAMMARS = GrammarSet.load(resources.directory("grammars"))
MODEL = Acoustics.read(resources.bundled_model())
assert MODEL is not None
ENDING = LastLayers(MODEL.ending())


def spoken(name: str) -> Spoken:
    assert MODEL is not None
    wide = MODEL.wide(read_sound(SOUNDS / f"{name}.flac").samples)
    return Spoken(wide, pronunciations(name.replace("-", " "), GRAMMARS))


def outputs(steps: int, seed: int) -> np.ndarray:
    raw = np.random.default_rng(seed).normal(0, 2, (steps, OUTPUTS))
    return np.asarray(raw - np.log(np.exp(raw).sum(axis=1, keepdims=True)), np.float32)


@pytest.mark.parametrize("said", [("L", "IH"), ("T", "T"), ("D",)])
def test_the_loss_sums_all_ways_to_say_it(said: tuple[str, ...]) -> None:
    """Outside check: the definition of Graves et al. (2006), all 5-step paths that collapse to the phones, summed."""
    logs = outputs(5, 1)
    wanted = [PHONE_NUMBERS[phone] for phone in said]
    total = 0.0
    for path in itertools.product({0, *wanted}, repeat=5):
        collapsed = [one for at, one in enumerate(path) if one and (at == 0 or path[at - 1] != one)]
        if collapsed == wanted:
            total += math.exp(sum(float(logs[at, one]) for at, one in enumerate(path)))
    assert loss_of(logs, said)[0] == pytest.approx(-math.log(total), rel=1e-5)


def test_the_gradient_is_that_of_the_loss() -> None:
    """Moving one output a little changes the loss by the gradient (central difference), before the softmax."""
    raw = np.random.default_rng(2).normal(0, 2, (9, OUTPUTS))

    def loss(values: np.ndarray) -> float:
        return loss_of(
            np.asarray(values - np.log(np.exp(values).sum(axis=1, keepdims=True))), ("L", "IH", "T")
        )[0]

    logs = np.asarray(raw - np.log(np.exp(raw).sum(axis=1, keepdims=True)))
    found = loss_of(logs, ("L", "IH", "T"))[1]()
    for step, output in ((0, 0), (3, PHONE_NUMBERS["L"]), (5, PHONE_NUMBERS["IH"]), (8, PHONE_NUMBERS["ZH"])):
        shift = np.zeros_like(raw)
        shift[step, output] = 1e-4
        assert found[step, output] == pytest.approx((loss(raw + shift) - loss(raw - shift)) / 2e-4, abs=1e-4)


def test_too_short_a_sound_is_infinitely_unlikely_and_teaches_nothing() -> None:
    """Three phones do not fit into two steps; such a take changes no mean."""
    assert loss_of(outputs(2, 3), ("L", "IH", "T"))[0] == math.inf
    short = Spoken(np.zeros((2, 1024), np.float32), (("L", "IH", "T"),))
    assert mean_loss(ENDING, [short], np.zeros(1024, np.float32)) == math.inf


def test_the_ending_is_the_networks() -> None:
    """With scales of one the joined layers give what the network gives."""
    assert MODEL is not None
    sound = read_sound(SOUNDS / "feed-lit.flac").samples
    assert np.allclose(ENDING.forwards(MODEL.wide(sound))[0], MODEL.log_probabilities(sound), atol=2e-3)


def test_the_gradient_goes_back_through_the_layers() -> None:
    """A small change of one scale changes the loss of a real take as the gradient says."""
    take = spoken("feed-lit")
    said, _ = likeliest(ENDING.forwards(take.wide)[0], take.said)
    logs, hidden = ENDING.forwards(take.wide)
    back = ENDING.backwards(loss_of(logs, said)[1](), hidden)
    slope = (back * take.wide).sum(axis=0)
    unit = int(np.argmax(np.abs(slope)))
    shift = np.zeros(take.wide.shape[1], np.float32)
    shift[unit] = 0.02
    more = loss_of(ENDING.forwards(take.wide * np.exp(shift))[0], said)[0]
    less = loss_of(ENDING.forwards(take.wide * np.exp(-shift))[0], said)[0]
    assert (more - less) / 0.04 == pytest.approx(slope[unit], rel=0.05)


def test_fitting_makes_takes_likelier_and_stays_near_the_model() -> None:
    """What was taught becomes likelier, and the scales stay near one."""
    takes = [spoken(name) for name in ("feed-lit", "say-again", "stand-by")]
    scales = fit(ENDING, takes, steps=8)
    assert mean_loss(ENDING, takes, scales) < 0.95 * mean_loss(ENDING, takes, np.zeros_like(scales))
    assert np.abs(scales).max() < 0.2


def test_scales_that_do_not_help_the_other_half_are_not_used() -> None:
    """Takes that teach the wrong words make the checking half unlikelier, so nothing is kept; nor of too few."""
    right = [spoken(name) for name in ("feed-lit", "say-again", "stand-by")] * 2
    wrong = [Spoken(one.wide, (("ZH", "OY", "NG"),)) for one in right]
    assert len(right) >= LEAST
    assert fitted(ENDING, wrong, right).size == 0
    assert fitted(ENDING, right[:2], right).size == 0


def test_vosk_hears_with_the_scales(tmp_path: Path) -> None:
    """The written model gives what the scales give, Vosk opens it, and with scales of one it is the same network."""
    assert MODEL is not None
    sound = read_sound(SOUNDS / "feed-lit.flac").samples
    scales = np.random.default_rng(5).normal(0, 0.1, 1024).astype(np.float32)
    made = adapted(resources.bundled_model(), scales, tmp_path)
    again = Acoustics.read(made)
    assert again is not None
    wanted = ENDING.forwards(MODEL.wide(sound) * np.exp(scales))[0]
    assert np.allclose(again.log_probabilities(sound), wanted, atol=0.01)
    assert Recogniser(made).hear(sound, GRAMMARS.named("lamp")).words == "feed lit"
