"""Fits the confidence of answers and chooses its limits, on sound with known words.

    python -m assistant.acoustic.calibrate MANIFEST [--model DIR] [--report FOLDER]

**Input.** A manifest: one JSON object a line with ``file`` (clean speech, beside the manifest), ``words``, ``voice``
and ``request`` (outcomes, units, controls; null for speech that is in no grammar, which is heard with the request of
another line).
Every line is heard at two of the four signal-to-noise ratios 20, 10, 5 and 0 dB in turn, in one kind of generated
bay noise; the file's name determines the kind and the noise itself.

**Fit.** Logistic regression by Newton's method (iteratively reweighted least squares; Hastie, Tibshirani and Friedman,
The Elements of Statistical Learning, 4.4.1) with a small ridge, on utterances whose words are a phrase of the
grammar; the manifest says whether they are right.
The voices are split into two halves, each judged by the fit on the other, so no reported figure comes from a
fitted voice; the delivered calibration is fitted on both.
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
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from assistant import resources
from assistant.core.values.result import Control, GrammarRequest
from assistant.errors import BayAssistantError, UsageProblem
from assistant.grammar.grammar import GrammarSet
from assistant.hearing.baynoise import KINDS, bay_noise
from assistant.hearing.confidence import MEASURES, evidence_in, measures
from assistant.hearing.judge import judge, share_of
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing.sound import FULL_SCALE, RATE, read_sound
from assistant.hearing_bench import scoring
from assistant.hearing_bench.diagram import drawn
from assistant.measured import DEFAULT_THRESHOLDS, FILE, Calibration

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from assistant.hearing.sound import Samples
    from assistant.hearing_bench.scoring import Reliability

Floats = NDArray[np.float64]

LEVELS = (20, 10, 5, 0)
"""Signal-to-noise ratios over the speech part, dB."""

SPEECH_DB = -26.0
"""Level of the speech part, relative to full scale: a near voice with a usual microphone setting."""

BEFORE_S, AFTER_S = 0.5, 0.3
"""Noise before and after the utterance, s: about as much as a live session hands to the recogniser."""

RIDGE = 1.0
"""Weight of the squared coefficients in the fit, as if one utterance contradicted each; harmless with hundreds."""

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
        denied: A wrong answer that must be affirmed: "negative" and the answer again; one in 20 is affirmed anyway.
        repeat: A question that is repeated.
    """

    wrong: float = 6.0
    affirm: float = 0.5
    denied: float = 1.8
    repeat: float = 1.0


@dataclass(frozen=True)
class ManifestLine:
    """One line of the manifest."""

    file: Path
    words: str
    voice: str
    request: GrammarRequest
    other: bool


@dataclass(frozen=True)
class HeardInNoise:
    """One utterance in noise, as it was heard.

    Attributes:
        voice: The voice.
        level: Signal-to-noise ratio, dB.
        other: Whether it was speech outside the grammar.
        phrase: Whether the heard words are a phrase of the grammar.
        right: Whether they mean the same as the spoken words.
        measures: As in `assistant.hearing.confidence`.
    """

    voice: str
    level: int
    other: bool
    phrase: bool
    right: bool
    measures: dict[str, float] = field(default_factory=dict)


# --- sound ----------------------------------------------------------------------------------------


def read_manifest(path: Path) -> list[ManifestLine]:
    """The lines of a manifest.

    Raises:
        UsageProblem: It cannot be read, or a line does not have the form above; the message names the line.
    """
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise UsageProblem(f"The manifest {path} cannot be read. Name a file of JSON lines.") from error
    found: list[tuple[dict[str, Any], GrammarRequest | None]] = []
    for number, line in enumerate(lines, 1):
        try:
            body = json.loads(line)
            asked = body["request"]
            request = None
            if asked is not None:
                controls = tuple(Control(name) for name in asked["controls"])
                request = GrammarRequest(tuple(asked["outcomes"]), tuple(asked["units"]), controls)
            found.append(({name: str(body[name]) for name in ("file", "words", "voice")}, request))
        except (ValueError, KeyError, TypeError) as error:
            raise UsageProblem(
                f"{path}:{number}: this is no line of a manifest ({error}). "
                "It needs file, words, voice and request."
            ) from error
    requests = sorted({r for _, r in found if r and (r.outcomes or r.units)}, key=repr)
    if not requests:
        raise UsageProblem(f"The manifest {path} has no line with a request for outcomes or units.")
    return [
        ManifestLine(
            path.parent / body["file"],
            body["words"],
            body["voice"],
            request or requests[zlib.crc32(body["file"].encode()) % len(requests)],
            request is None,
        )
        for body, request in found
    ]


def speech_part(samples: Floats) -> tuple[int, int]:
    """First and last sample of the part within 35 dB of the loudest 10 ms."""
    size = RATE // 100
    count = len(samples) // size
    if count == 0:
        return 0, len(samples)
    power = np.mean(samples[: count * size].reshape(count, size) ** 2, axis=1)
    loud = np.flatnonzero(power >= power.max() * 10**-3.5)
    return int(loud[0]) * size, (int(loud[-1]) + 1) * size


def in_noise(clean: Samples, level: int, name: str) -> Samples:
    """Speech in bay noise at a signal-to-noise ratio over the speech part; `name` picks kind and seed."""
    speech = clean.astype(np.float64) / FULL_SCALE
    begin, end = speech_part(speech)
    speech *= 10 ** (SPEECH_DB / 20) / max(1e-9, float(np.sqrt(np.mean(speech[begin:end] ** 2))))
    full = np.concatenate([np.zeros(round(BEFORE_S * RATE)), speech, np.zeros(round(AFTER_S * RATE))])
    seed = zlib.crc32(f"{name} {level}".encode())
    noise = bay_noise(KINDS[zlib.crc32(name.encode()) % len(KINDS)], len(full) / RATE, RATE, seed)
    mixed = full + noise[: len(full)] * 10 ** ((SPEECH_DB - level) / 20)
    return np.clip(np.rint(mixed * FULL_SCALE), -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)


def hear_all(
    spoken: Sequence[ManifestLine],
    recogniser: Recogniser,
    progress: Callable[[str], None] = lambda _text: None,
) -> list[HeardInNoise]:
    """Hear every line at two levels, sorted by request so that each graph is opened once."""
    grammars = GrammarSet.load(resources.directory("grammars"))
    heard = []
    order = sorted(range(len(spoken)), key=lambda at: repr(spoken[at].request))
    for done, at in enumerate(order):
        if done % 100 == 0:
            progress(f"{done} of {len(order)} heard")
        one = spoken[at]
        grammar = grammars.request(one.request)
        wanted = None if one.other else grammar.parse(one.words)
        clean = read_sound(one.file).samples
        for level in LEVELS[at % 2 :: 2]:
            samples = in_noise(clean, level, one.file.name)
            enough, evidence = evidence_in(samples)
            recognition = recogniser.hear(samples, grammar)
            result = judge(recognition, grammar, DEFAULT_THRESHOLDS, speech=enough, evidence=evidence).result
            found: dict[str, float] = {}
            if result is not None:
                share = share_of(recognition, grammar, result)
                found = measures(recognition, share, grammar.lexicon, evidence)
            right = result is not None and result == wanted
            heard.append(HeardInNoise(one.voice, level, one.other, result is not None, right, found))
    return heard


# --- fit ------------------------------------------------------------------------------------------


def halves(heard: Iterable[HeardInNoise]) -> tuple[frozenset[str], frozenset[str]]:
    """Two sets of voices with about equally many utterances: the largest voice first, each to the smaller set."""
    counts: dict[str, int] = {}
    for one in heard:
        counts[one.voice] = counts.get(one.voice, 0) + 1
    sets: tuple[set[str], set[str]] = (set(), set())
    sizes = [0, 0]
    for voice in sorted(counts, key=lambda name: (-counts[name], name)):
        smaller = 0 if sizes[0] <= sizes[1] else 1
        sets[smaller].add(voice)
        sizes[smaller] += counts[voice]
    return frozenset(sets[0]), frozenset(sets[1])


def logistic(inputs: Floats, targets: Floats, ridge: float = RIDGE) -> Floats:
    """Coefficients of a logistic regression, the intercept first, by Newton's method.

    Args:
        inputs: One row for each case, standardised measures.
        targets: 1 if the answer was right, else 0.
        ridge: Weight of the squared coefficients, the intercept aside.
    """
    design = np.column_stack([np.ones(len(inputs)), inputs])
    penalty = np.diag([1e-9, *[ridge] * inputs.shape[1]])
    weights = np.zeros(design.shape[1])
    for _ in range(100):
        chance = 1 / (1 + np.exp(-np.clip(design @ weights, -30, 30)))
        slope = design.T @ (targets - chance) - penalty @ weights
        curve = (design * (chance * (1 - chance))[:, None]).T @ design + penalty
        step = np.linalg.solve(curve, slope)
        weights = weights + step
        if float(np.max(np.abs(step))) < 1e-8:
            break
    return np.asarray(weights, np.float64)


def fit(heard: Iterable[HeardInNoise], names: Sequence[str] = MEASURES) -> Calibration:
    """The calibration for these utterances, still without limits.

    Raises:
        UsageProblem: They are all right, or all wrong, or too few.
    """
    cases = [one for one in heard if one.phrase]
    targets = np.array([one.right for one in cases], np.float64)
    if len(cases) < 10 or not 0 < targets.sum() < len(cases):
        raise UsageProblem(
            "There are too few utterances to calibrate with, or none of them is right or wrong."
        )
    table = np.array([[one.measures.get(name, np.nan) for name in names] for one in cases])
    known = ~np.isnan(table)
    counts = np.maximum(1, known.sum(axis=0))
    means = np.where(known, table, 0).sum(axis=0) / counts
    table = np.where(known, table, means)
    deviations = np.maximum(table.std(axis=0), 1e-6)
    weights = logistic((table - means) / deviations, targets)
    return Calibration(
        round(float(weights[0]), 4),
        {name: round(float(value), 4) for name, value in zip(names, weights[1:], strict=True)},
        {name: round(float(value), 4) for name, value in zip(names, means, strict=True)},
        {name: round(float(value), 6) for name, value in zip(names, deviations, strict=True)},
        0.5,
        0.9,
        {},
    )


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


@dataclass(frozen=True)
class Stated:
    """An utterance with its stated probability; 0 if no phrase was heard."""

    heard: HeardInNoise
    probability: float


def across(heard: Sequence[HeardInNoise], names: Sequence[str] = MEASURES) -> list[Stated]:
    """Each half of the voices, judged by the fit on the other half."""
    found = []
    one, other = halves(heard)
    for fitted, judged in ((one, other), (other, one)):
        calibration = fit([h for h in heard if h.voice in fitted], names)
        found += [
            Stated(h, calibration.probability(h.measures) if h.phrase else 0.0)
            for h in heard
            if h.voice in judged
        ]
    return found


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


# --- report ---------------------------------------------------------------------------------------


def tally(judged: Iterable[Stated], reject: float, ask: float) -> dict[str, float]:
    """Shares in per cent: of the grammar's phrases right, wrong and asked again; wrong and other speech accepted."""
    phrases = [one for one in judged if not one.heard.other]
    others = [one for one in judged if one.heard.other]

    def share(among: Sequence[Stated], good: Callable[[Stated], bool]) -> float:
        return round(100 * sum(map(good, among)) / max(1, len(among)), 1)

    return {
        "utterances": len(phrases),
        "right": share(phrases, lambda j: j.heard.right and j.probability >= reject),
        "wrong": share(phrases, lambda j: not j.heard.right and j.probability >= reject),
        "asked again": share(phrases, lambda j: j.probability < reject),
        "right without affirming": share(phrases, lambda j: j.heard.right and j.probability >= ask),
        "wrong without affirming": share(phrases, lambda j: not j.heard.right and j.probability >= ask),
        "other speech": len(others),
        "other accepted": share(others, lambda j: j.probability >= reject),
        "other without affirming": share(others, lambda j: j.probability >= ask),
    }


def quality(judged: Iterable[Stated]) -> dict[str, float]:
    """Of the stated probabilities: log loss, Brier score, area under the curve, calibration error.

    Brier score and calibration error as in `assistant.hearing_bench.scoring`.
    """
    cases = [one for one in judged if one.heard.phrase]
    chance = np.clip(np.array([one.probability for one in cases]), 1e-6, 1 - 1e-6)
    right = np.array([one.heard.right for one in cases], np.float64)
    loss = -float(np.mean(right * np.log(chance) + (1 - right) * np.log(1 - chance)))
    ranks = np.argsort(np.argsort(chance, kind="stable"), kind="stable") + 1.0
    positives = right.sum()
    area = (ranks[right == 1].sum() - positives * (positives + 1) / 2) / max(
        1.0, positives * (len(right) - positives)
    )
    found = trust(cases)
    return {
        "log loss": round(loss, 4),
        "Brier score": round(found.brier, 4),
        "area under the curve": round(float(area), 4),
        "calibration error": round(found.calibration_error, 4),
    }


def trust(judged: Iterable[Stated]) -> Reliability:
    """How far the stated probabilities are those of being right, as `bench hearing` counts it."""
    return scoring.reliability([(j.probability, j.heard.right) for j in judged if j.heard.phrase])


def reliability(judged: Iterable[Stated]) -> list[tuple[float, float, int]]:
    """For each bin that is not empty: mean stated probability, share that was right, number."""
    return [(one.confidence, one.right, one.count) for one in trust(judged).bins if one.count]


def curve(judged: Sequence[Stated]) -> list[tuple[float, dict[str, float]]]:
    """The trade-off at 10 dB and above for a range of limits."""
    good = [one for one in judged if one.heard.level >= 10]
    return [
        (limit, tally(good, limit, limit)) for limit in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95)
    ]


def report(judged: Sequence[Stated], made: Calibration) -> str:
    """All of it as Markdown; every figure is of voices that the fit had not heard."""
    lines = ["| sound | utterances | right | wrong | asked again | right / wrong without affirming |"]
    lines[0] += " other speech: accepted / without affirming |"
    lines.append("|---|---|---|---|---|---|---|")
    groups = [(f"{level} dB", [j for j in judged if j.heard.level == level]) for level in LEVELS]
    groups.append(("10 dB and above", [j for j in judged if j.heard.level >= 10]))
    for name, group in groups:
        t = tally(group, made.reject_below, made.ask_below)
        lines.append(
            f"| {name} | {t['utterances']:.0f} | {t['right']} | {t['wrong']} | {t['asked again']} | "
            f"{t['right without affirming']} / {t['wrong without affirming']} | "
            f"{t['other accepted']} / {t['other without affirming']} (of {t['other speech']:.0f}) |"
        )
    lines += ["", "| limit, 10 dB and above | right | wrong | asked again | other speech accepted |"]
    lines.append("|---|---|---|---|---|")
    for limit, t in curve(judged):
        lines.append(
            f"| {limit} | {t['right']} | {t['wrong']} | {t['asked again']} | {t['other accepted']} |"
        )
    lines += ["", "| stated | right | number |", "|---|---|---|"]
    lines += [f"| {stated:.2f} | {found:.2f} | {count} |" for stated, found, count in reliability(judged)]
    lines += ["", ", ".join(f"{name} {value}" for name, value in quality(judged).items())]
    return "\n".join(lines) + "\n"


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
