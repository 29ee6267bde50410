"""An answer that stands alone between pauses in a longer stretch of talk."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.core.values.result import Result
from assistant.hearing.alone import PAUSE_S, alone, cut
from assistant.hearing.judge import Judgement
from assistant.hearing.sound import FULL_SCALE, RATE, Samples

SURE = 0.75

Talk = list[tuple[str, float, float]]
"""Words, their level in dB, and the pause behind them in s."""


def spoken(talk: Talk) -> Samples:
    """Tones for words: 0.4 s each, the first word's at 300 Hz, the next at 400 Hz and so on."""
    time = np.arange(round(0.4 * RATE)) / RATE
    parts = [np.zeros(RATE // 5)]
    for number, (_, level_db, pause_s) in enumerate(talk):
        wave = np.sin(2 * np.pi * (300 + 100 * number) * time)
        parts += [np.sqrt(2) * 10 ** (level_db / 20) * FULL_SCALE * wave, np.zeros(round(pause_s * RATE))]
    return np.concatenate(parts).astype(np.int16)


def found(talk: Talk) -> str | None:
    """The answer that is found; "lit" and "no" are phrases."""

    def judged(piece: Samples) -> Judgement:
        spectrum = np.abs(np.fft.rfft(piece))
        hertz = np.argmax(spectrum) * RATE / piece.size
        words = talk[round((hertz - 300) / 100)][0]
        if words in ("lit", "no"):
            return Judgement(words, Result(outcome=words), 0.95, accepted=True)
        return Judgement("[unk]", None, 0.9, accepted=False)

    answer = alone(spoken(talk), judged, SURE)
    return None if answer is None else answer.words


def test_pauses_cut_and_closures_do_not() -> None:
    """A pause of the limit separates; the closure inside a word, half as long, does not."""
    assert len(cut(spoken([("a", -20, PAUSE_S + 0.05), ("b", -20, 0.5)]))) == 2
    assert len(cut(spoken([("a", -20, 0.15), ("b", -20, 0.5)]))) == 1
    assert cut(np.zeros(0, np.int16)) == []


@pytest.mark.parametrize(
    ("talk", "answer"),
    [
        ([("lit", -20, 0.4), ("radio", -31, 0.4)], "lit"),
        ([("radio", -31, 0.4), ("lit", -20, 0.4)], "lit"),
        ([("let me see", -20, 0.7), ("lit", -20, 0.4)], "lit"),
        ([("not", -20, 0.35), ("lit", -20, 0.4)], None),
        ([("no", -20, 0.4), ("not lit", -20, 0.4)], None),
        ([("no", -20, 0.7), ("lit", -20, 0.4)], None),
        ([("lit", -20, 0.7), ("I think not", -20, 0.4)], None),
        ([("lit", -31, 0.7), ("so I said to him", -20, 0.4)], None),
        ([("lit", -20, 0.7)], None),
    ],
)
def test_only_an_answer_that_nothing_beside_it_can_change_counts(talk: Talk, answer: str | None) -> None:
    """What the same voice says next to it may turn it round; a voice in the background may not."""
    assert answer == found(talk)


def test_an_unsure_piece_does_not_count() -> None:
    """A piece needs the confidence of an answer that is taken without a question."""
    talk: Talk = [("lit", -20, 0.4), ("radio", -31, 0.4)]
    unsure = Judgement("lit", Result(outcome="lit"), SURE - 0.05, accepted=True)
    other = Judgement("[unk]", None, 0.9, accepted=False)
    answers = iter([unsure, other])
    assert alone(spoken(talk), lambda _: next(answers), SURE) is None
