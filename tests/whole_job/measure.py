"""How often the three whole jobs are misheard: ``python tests/whole_job/measure.py``.

Run from the root of a checkout, with the package importable.
Says for each job and voice what was right, taken for something else, or not understood, of what was said in the
grammar, and whether the job ended in its verdict; at the end the same of all together.

``--perceiving`` gives the technician a meter that reports by itself and an ear for the starter, and says how many words
are left of those that the same job takes without them.

``--unheard`` plays each job with four voices that no model here was trained on, ``--radio 18`` lets somebody on a radio
talk 18 dB under the technician.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from technician import EndlessSession, Radio
from test_whole_job import JOBS

from assistant import resources
from assistant.core.values.entries import VerdictReached
from assistant.hearing.recogniser import Recogniser, find_model
from assistant.hearing_bench.manifest import NAME, BenchVoice
from assistant.hearing_bench.reading import read_manifest
from assistant.hearing_bench.scoring import wilson
from assistant.speaking.naming import ESPEAK
from assistant.speaking.voice import Voice

VOICES = {
    "slt": BenchVoice("slt", "flite", "slt"),
    "slt-hts": BenchVoice("slt-hts", "festival", "voice_cmu_us_slt_arctic_hts"),
    "en-us": BenchVoice("en-us", "espeak-ng", "en-us"),
    "en-gb": BenchVoice("en-gb", "espeak-ng", "en-gb"),
    "en-gb-scotland": BenchVoice("en-gb-scotland", "espeak-ng", "en-gb-scotland"),
}
"""Voices that nothing was trained on, by the name that ``--voice`` takes; any other name is one of flite's."""

UNHEARD = ("slt", "slt-hts", "en-gb", "en-gb-scotland")
"""The voices of ``--unheard``."""

ON_AIR = BenchVoice("awb", "flite", "awb")
"""The voice on the radio."""


def main() -> int:
    """Play and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=5, metavar="N", help="seeds of noise (default: 5)")
    parser.add_argument("--voice", nargs="+", help="voices (default: that of each job's test)")
    parser.add_argument("--unheard", action="store_true", help="four voices that nothing was trained on")
    parser.add_argument("--radio", type=float, metavar="DB", help="a radio so many dB under the technician")
    parser.add_argument("--job", nargs="+", choices=sorted(JOBS), help="only these jobs")
    parser.add_argument("--perceiving", action="store_true", help="meter and ear, beside a run without them")
    parser.add_argument("--lines", action="store_true", help="with --perceiving, print all that is said")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the counts as JSON")
    options = parser.parse_args()
    recogniser = Recogniser(find_model(None))
    radio = None
    if options.radio is not None:
        manifest = read_manifest(resources.directory("audio_fixtures") / NAME)
        radio = Radio(ON_AIR, manifest.rows.radio.sentences, options.radio)
    missed: Counter[str] = Counter()
    lines = []
    if options.perceiving:
        return _fewer_words(options.job or list(JOBS), options.seeds, recogniser, lines=options.lines)
    for name in options.job or JOBS:
        for voice in UNHEARD if options.unheard else (options.voice or [JOBS[name].voice]):
            lines.append(_job(name, voice, options.seeds, radio, recogniser, missed))
            right, wrong, lost, ends = (lines[-1][part] for part in ("right", "wrong", "lost", "verdicts"))
            print(
                f"{name}, voice {voice}, {options.seeds} seeds: {right + wrong + lost} said in the grammar or "
                f"beside it, {right} right, {wrong} taken for something else, {lost} not understood; "
                f"right verdict and proof of the repair in {ends}."
            )
            sys.stdout.flush()
            if options.json is not None:
                options.json.write_text(json.dumps(lines, indent=1) + "\n", encoding="utf-8")
    right, said = sum(line["right"] for line in lines), sum(line["said"] for line in lines)
    found = wilson(right, said)
    print(
        f"Together: {right} of {said} right, {100 * found.share:.0f} % "
        f"({100 * found.low:.0f} to {100 * found.high:.0f}); "
        f"verdicts {sum(line['verdicts'] for line in lines)} of {options.seeds * len(lines)}."
    )
    for words, count in missed.most_common(25):
        print(f"  {count} x {words}")
    return 0


def _fewer_words(names: list[str], seeds: int, recogniser: Recogniser, *, lines: bool) -> int:
    """Play each job with and without meter and ear, and print the words; 1 if one does not end in its verdict."""
    whole: Counter[tuple[bool, bool]] = Counter()
    kinds: Counter[tuple[str, bool]] = Counter()
    bad = 0
    assistant = Voice(voice_name=ESPEAK)  # what it sounds like changes no word of the technician's
    for name in names:
        job, words = JOBS[name], Counter[tuple[bool, bool]]()
        for seed in range(1, seeds + 1):
            for perceiving in (False, True):
                with tempfile.TemporaryDirectory() as folder:
                    played = job.played(
                        Path(folder),
                        seed=seed,
                        recogniser=recogniser,
                        perceiving=perceiving,
                        assistant=assistant,
                    )
                for one in played.uttered:
                    kinds[one.kind(), perceiving] += len(one.said.split())
                    if lines:
                        print(f"  {one.state} {one.step} [{one.kind()}]: {one.said}")
                for facts in (True, False):
                    words[perceiving, facts] += played.words(facts=facts)
                ends = [entry.verdict for entry in played.entries if isinstance(entry, VerdictReached)]
                bad += ends[-2:] != [job.verdict, "repair-verified"]
        whole += words
        print(_compared(name, words))
        sys.stdout.flush()
    print("| kind of words | without | with both |\n|---|---:|---:|")
    for kind in sorted({kind for kind, _ in kinds}, key=lambda kind: -kinds[kind, False]):
        print(f"| {kind} | {kinds[kind, False]} | {kinds[kind, True]} |")
    print(_compared("Together", whole), f"{bad} sessions without the right verdict and proof.")
    return int(bad > 0)


def _compared(name: str, words: Counter[tuple[bool, bool]]) -> str:
    """The words of a job; last those beside order, VIN and other facts, which nothing perceives."""

    def fewer(*, facts: bool) -> str:
        without, having = words[False, facts], words[True, facts]
        return f"{without} words without, {having} with meter and ear, {100 * (1 - having / without):.0f} % fewer"

    return f"{name}: {fewer(facts=True)}; beside the facts {fewer(facts=False)}."


def _job(
    name: str,
    voice: str,
    seeds: int,
    radio: Radio | None,
    recogniser: Recogniser,
    missed: Counter[str],
) -> dict[str, Any]:
    """Play one job with one voice, once for each seed; the counts of all of them."""
    job = JOBS[name]
    total, right_ends = [0, 0, 0], 0
    for seed in range(1, seeds + 1):
        with tempfile.TemporaryDirectory() as folder:
            try:
                played = job.played(
                    Path(folder),
                    voice=VOICES.get(voice, voice),
                    seed=seed,
                    recogniser=recogniser,
                    radio=radio,
                )
            except EndlessSession as problem:
                print(f"{name}, voice {voice}, seed {seed}: {problem}; counted as no verdict.")
                continue
        total = [sum(pair) for pair in zip(total, played.misheard(), strict=True)]
        ends = [entry.verdict for entry in played.entries if isinstance(entry, VerdictReached)]
        right_ends += ends[-2:] == [job.verdict, "repair-verified"]
        for one in played.uttered:
            if one.said and one.snr_db > 0 and not (one.understood and one.heard == one.said):
                missed[f"{one.said} -> {one.heard if one.understood else 'not understood'}"] += 1
    right, wrong, lost = total
    return {
        "job": name,
        "voice": voice,
        "seeds": seeds,
        "right": right,
        "wrong": wrong,
        "lost": lost,
        "said": sum(total),
        "verdicts": right_ends,
    }


if __name__ == "__main__":
    sys.exit(main())
