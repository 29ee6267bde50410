"""Fits the confidence of answers and chooses its limits, on sound with known words.

    python -m assistant.acoustic.calibrate MANIFEST [--model DIR] [--report FOLDER]

**Input.** A manifest, heard in noise: `assistant.acoustic.in_noise`.

**Fit.** Logistic regression on one half of the voices for the other: `assistant.acoustic.fitting`.
The delivered calibration is fitted on both halves.
The fit begins with the recogniser's share of likelihood and adds measures as long as one lowers the log loss on
the judged halves by `WORTH` or more, so a measure that adds nothing is left out.

**Limits.** Both are chosen together for the lowest mean cost on the judged halves (`Price`).
The report uses the same halves as the choice of measures, so its figures flatter a little; only the final
measurement counts, on voices that no development manifest has.

**Output.** The data file that `assistant.measured` reads, a table, and a diagram of reliability.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
import zlib
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from assistant.acoustic.figures import quality, report, tally, trust
from assistant.acoustic.fitting import Stated, across, fit, halves
from assistant.acoustic.in_noise import HeardInNoise, hear_all, read_manifest
from assistant.errors import BayAssistantError
from assistant.hearing.confidence import MEASURES
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing_bench.diagram import drawn
from assistant.measured import FILE, Calibration

if TYPE_CHECKING:
    from collections.abc import Sequence


WORTH = 0.002
"""Smallest worthwhile decrease of the log loss by a measure, in natural units for each utterance."""


@dataclass(frozen=True)
class Price:
    """The cost of an outcome in repeated questions (one takes about 8 s: "say again", the question, the answer).

    Attributes:
        wrong: A wrong answer that is taken, before any read-back. The read-back inside the next sentence allows a
            correction, which costs about three questions: the correction, the step with its caution, the answer.
            People miss about one wrong read-back in ten, and the diagnosis then runs on for some four minutes, thirty
            questions, before a result contradicts it: three more.  Our judgement; there is no measurement of it.
        affirm: An answer that must be affirmed: one more short answer.
        denied: A wrong answer that must be affirmed: "negative" and the answer again; one in twenty is affirmed
            all the same.
        repeat: A question that is repeated.
    """

    wrong: float = 6.0
    affirm: float = 0.5
    denied: float = 1.8
    repeat: float = 1.0


def choose(heard: Sequence[HeardInNoise]) -> tuple[str, ...]:
    """The measures that help on voices outside the fit, ``share`` first."""
    chosen: tuple[str, ...] = ("share",)
    loss = quality(across(heard, chosen))["log loss"]
    while left := [name for name in MEASURES if name not in chosen]:
        tried = [(quality(across(heard, (*chosen, name)))["log loss"], name) for name in left]
        lowest, best = min(tried)
        if lowest > loss - WORTH:
            break
        chosen, loss = (*chosen, best), lowest
    return chosen


def limits(judged: Sequence[Stated], price: Price) -> tuple[float, float]:
    """The probabilities below which to repeat the question and to ask for a yes, with the lowest mean cost."""
    chance = np.array([one.probability for one in judged if one.heard.phrase])
    right = np.array([one.heard.right for one in judged if one.heard.phrase])
    order = np.argsort(chance, kind="stable")
    chance, right = chance[order], right[order]
    taken = np.where(right, 0.0, price.wrong)
    asked = np.where(right, price.affirm, price.affirm + price.denied)
    grid = np.round(np.arange(0.05, 0.9901, 0.01), 2)
    at = np.searchsorted(chance, grid, "left")
    ask_before = np.concatenate([[0.0], np.cumsum(asked)])
    take_after = np.concatenate([np.cumsum(taken[::-1])[::-1], [0.0]])
    best = (np.inf, 0.5, 0.9)
    for low, i in zip(grid, at, strict=True):
        for high, k in zip(grid, at, strict=True):
            if high < low:
                continue
            cost = price.repeat * i + (ask_before[k] - ask_before[i]) + take_after[k]
            if cost < best[0] - 1e-9:
                best = (float(cost), float(low), float(high))
    return best[1], best[2]


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; 0, or 2 with a sentence on the error output."""
    parser = argparse.ArgumentParser(
        prog="python -m assistant.acoustic.calibrate",
        description="Fit the confidence of answers to a model, and choose its limits.",
    )
    parser.add_argument("manifest", type=Path, help="JSON lines: file, words, voice, request")
    parser.add_argument("--model", type=Path, help="model directory; the bundled one without")
    parser.add_argument(
        "--output", type=Path, default=FILE, help="data file to write; the package's own without"
    )
    parser.add_argument("--report", type=Path, help="folder for calibration.md and reliability.svg")
    parser.add_argument("--about", default="", help="what the sound was, a sentence for the data file")
    parser.add_argument("--every", type=int, default=1, help="only every so many lines, for a quick look")
    given = parser.parse_args(arguments)
    try:
        begun = time.perf_counter()
        spoken = read_manifest(given.manifest)[:: max(1, given.every)]
        recogniser = Recogniser(find_model(given.model))
        heard = hear_all(spoken, recogniser, lambda text: print(text, file=sys.stderr))
        made = calibrated(heard, recogniser.path, given.about)
    except BayAssistantError as problem:
        print(f"calibrate: {problem}", file=sys.stderr)
        return problem.exit_code
    judged = across(heard, tuple(made.weights))
    text = report(judged, made)
    try:
        given.output.write_text(json.dumps(asdict(made), indent=2) + "\n", encoding="utf-8")
        if given.report:
            given.report.mkdir(parents=True, exist_ok=True)
            (given.report / "calibration.md").write_text(text, encoding="utf-8")
            (given.report / "reliability.svg").write_text(
                drawn([("voices not fitted on", trust(judged))]), encoding="utf-8"
            )
    except OSError as error:
        print(f"calibrate: {error.filename} cannot be written ({error.strerror}).", file=sys.stderr)
        return 2
    print(text)
    print(f"limits: {made.reject_below} and {made.ask_below}; {time.perf_counter() - begun:.0f} s")
    return 0


def calibrated(heard: Sequence[HeardInNoise], model: Path, about: str) -> Calibration:
    """The calibration fitted on all voices, with limits and figures from voices outside the fit.

    Raises:
        UsageProblem: There is too little to fit.
    """
    price = Price()
    names = choose(heard)
    judged = across(heard, names)
    reject, ask = limits(judged, price)
    everything = fit(heard, names)
    weights = model / "am" / "final.mdl"
    facts = {
        "measured": time.strftime("%Y-%m-%d"),
        "sound": about,
        "voices": [sorted(half) for half in halves(heard)],
        "utterances": len(heard),
        "noise": "generated bay noise at 20, 10, 5 and 0 dB",
        "model checksum (CRC-32 of am/final.mdl)": f"{zlib.crc32(weights.read_bytes()):08x}",
        "price in repeated questions": asdict(price),
        "voices not fitted on": quality(judged),
        "10 dB and above, voices not fitted on, per cent": tally(
            [j for j in judged if j.heard.level >= 10], reject, ask
        ),
    }
    return Calibration(
        everything.intercept,
        everything.weights,
        everything.means,
        everything.deviations,
        reject,
        ask,
        facts,
    )


if __name__ == "__main__":
    sys.exit(main())
