"""How often the three whole jobs are misheard, over several seeds of noise: ``python tests/whole_job/measure.py``.

Run from the root of a checkout, with the package importable.
Says for each job what was right, taken for something else, or not understood, of what was said in the grammar, and
whether the job ended in its verdict.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

from technician import play
from test_whole_job import FACTS, JOBS

from assistant.core.values.entries import VerdictReached
from assistant.hearing.recogniser import Recogniser, find_model


def main() -> int:
    """Play and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=5, metavar="N", help="seeds of noise (default: 5)")
    parser.add_argument("--voice", help="a voice of flite (default: that of each job's test)")
    options = parser.parse_args()
    recogniser = Recogniser(find_model(None))
    missed: Counter[str] = Counter()
    for name, job in JOBS.items():
        total, right_ends = [0, 0, 0], 0
        for seed in range(1, options.seeds + 1):
            with tempfile.TemporaryDirectory() as folder:
                played = play(
                    Path(folder),
                    job.entry,
                    job.car,
                    job.asides,
                    facts=FACTS,
                    complaint=job.complaint,
                    vehicle="",
                    voice=options.voice or job.voice,
                    seed=seed,
                    recogniser=recogniser,
                )
            total = [sum(pair) for pair in zip(total, played.misheard(), strict=True)]
            ends = [entry.verdict for entry in played.entries if isinstance(entry, VerdictReached)]
            right_ends += ends[-2:] == [job.verdict, "repair-verified"]
            for one in played.uttered:
                if one.said and one.snr_db > 0 and not (one.understood and one.heard == one.said):
                    missed[f"{one.said} -> {one.heard if one.understood else 'not understood'}"] += 1
        right, wrong, lost = total
        print(
            f"{name}, voice {options.voice or job.voice}, {options.seeds} seeds: {sum(total)} said in the grammar or "
            f"beside it, {right} right, {wrong} taken for something else, {lost} not understood; "
            f"right verdict and proof of the repair in {right_ends}."
        )
        sys.stdout.flush()
    for words, count in missed.most_common(25):
        print(f"  {count} x {words}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
