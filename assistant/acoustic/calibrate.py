"""Fits the confidence of answers and chooses its limits, on sound with known words.

    python -m assistant.acoustic.calibrate MANIFEST [MANIFEST ...] [--model DIR] [--trials FILE] [--report FOLDER]

**Input.** Manifests of people and of voices, heard in noise and beside other voices: `assistant.acoustic.in_noise`.

**Trials.** What was heard is kept in a file (`assistant.acoustic.trials`), so that a second fit takes seconds.

**Fit.** Boosted trees by some of the voices for the others: `assistant.acoustic.fitting`. The delivered ones are
fitted on all.

**Limits.** Those of each kind of answer follow from what its outcomes cost: `assistant.acoustic.prices`.

**Output.** The data file that `assistant.measured` reads, a table, and a diagram of reliability.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
import zlib
from dataclasses import asdict, replace
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.acoustic.figures import quality, report, tally, trust
from assistant.acoustic.fitting import Softening, Stated, across, fit
from assistant.acoustic.in_noise import CONDITIONS, HeardInNoise, read_manifest
from assistant.acoustic.prices import PRICES, all_limits, share_of_strays
from assistant.acoustic.trials import as_heard, hear_missing
from assistant.core.values.answer_kind import AnswerKind
from assistant.errors import BayAssistantError
from assistant.hearing.recogniser import find_model
from assistant.hearing_bench.diagram import drawn
from assistant.measured import FILE, Calibration
from assistant.resources import refuse_installed

if TYPE_CHECKING:
    from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> int:
    """The command; 0, or 2 with a sentence on the error output."""
    parser = argparse.ArgumentParser(
        prog="python -m assistant.acoustic.calibrate",
        description="Fit the confidence of answers to a model, and choose its limits.",
    )
    parser.add_argument("manifest", type=Path, nargs="+", help="JSON lines, see assistant.acoustic.in_noise")
    parser.add_argument("--model", type=Path, help="model directory; the bundled one without")
    parser.add_argument(
        "--output", type=Path, default=FILE, help="data file to write; the package's own without"
    )
    parser.add_argument("--report", type=Path, help="folder for calibration.md and reliability.svg")
    parser.add_argument("--about", default="", help="what the sound was, a sentence for the data file")
    parser.add_argument("--times", type=int, default=1, help="conditions in which each line is heard")
    parser.add_argument(
        "--trials", type=Path, help="file that keeps what was heard, so that a second fit is quick"
    )
    parser.add_argument("--processes", type=int, default=2, help="how many hear at once")
    parser.add_argument("--every", type=int, default=1, help="only every so many lines, for a quick look")
    given = parser.parse_args(arguments)
    try:
        refuse_installed(given.output)
        begun = time.perf_counter()
        spoken = [line for path in given.manifest for line in read_manifest(path)][:: max(1, given.every)]
        model = find_model(given.model)
        kept = hear_missing(
            spoken, model, given.trials, times=given.times, processes=given.processes, progress=_told
        )
        _told("measuring and fitting")
        made, judged = calibrated(as_heard(spoken, kept, given.times), model, given.about)
    except BayAssistantError as problem:
        print(f"calibrate: {problem}", file=sys.stderr)
        return problem.exit_code
    text = report(judged, made)
    try:
        given.output.write_text(text_of(made), encoding="utf-8")
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
    print(f"{time.perf_counter() - begun:.0f} s")
    return 0


def text_of(made: Calibration) -> str:
    """The data file: one tree a line, so that it stays small and a person can find the rest."""
    body = asdict(made)
    trees: list[str] = []
    for name in ("new", "known"):
        for number, tree in enumerate(body[name]["trees"]):
            trees.append(json.dumps(tree))
            body[name]["trees"][number] = f"tree {len(trees) - 1}"
    text = json.dumps(body, indent=2)
    for number, tree in enumerate(trees):
        text = text.replace(f'"tree {number}"', tree, 1)
    return text + "\n"


def _told(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


def calibrated(heard: Sequence[HeardInNoise], model: Path, about: str) -> tuple[Calibration, list[Stated]]:
    """The calibration fitted on all voices, with limits and figures from voices outside the fit, and those voices'
    utterances as they were judged.

    Raises:
        UsageProblem: There is too little to fit.
    """
    found = across(heard)
    softer, softer_known = (Softening.of(some) for some in found)
    judged, known = softer.judged(found[0]), softer_known.judged(found[1])
    everything = fit(heard)
    everything = replace(
        everything, new=softer.forest(everything.new), known=softer_known.forest(everything.known)
    )
    limits = all_limits(judged, known)
    weights = model / "am" / "final.mdl"
    low, high = limits[AnswerKind.RESULT.value]
    groups = sorted({one.about for one in heard})
    facts = {
        "measured": time.strftime("%Y-%m-%d"),
        "sound": about,
        "voices": len({one.voice for one in heard}),
        "utterances": len(heard),
        "conditions": CONDITIONS,
        "model checksum (CRC-32 of am/final.mdl)": f"{zlib.crc32(weights.read_bytes()):08x}",
        "price in repeated questions": {
            kind.value: {name: value for name, value in asdict(price).items() if value is not None}
            for kind, price in PRICES.items()
        },
        "share of strays among what is not right": share_of_strays(judged),
        "voices not fitted on": quality(judged),
        "the same, with what the voice said before": quality(known),
        "voices not fitted on, per cent": {
            group: tally([j for j in judged if j.heard.about == group], low, high) for group in groups
        },
        "the same, with what the voice said before, per cent": {
            group: tally([j for j in known if j.heard.about == group], low, high) for group in groups
        },
        "what the limits cost, voices not fitted on, per cent": {
            kind: tally(judged, *pair) for kind, pair in limits.items()
        },
    }
    return replace(everything, limits=limits, about=facts), judged


if __name__ == "__main__":
    sys.exit(main())
