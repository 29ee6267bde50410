"""All attacks by one command: ``.venv/bin/python tests/dependability``; prints attack, tries, failures."""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent))
sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from attacks import ATTACKS
from harness import SEED, Outcome, Plan, details, json_text, table

from assistant.benchmarks import machine


def main(arguments: list[str] | None = None) -> int:
    """Run the attacks; exit status 1 when something did not hold."""
    options = _parser().parse_args(arguments)
    if options.list:
        for name, attack in ATTACKS.items():
            print(f"{name:<28} {attack.full:6d} tries")
        return 0
    unknown = [name for name in options.only if name not in ATTACKS]
    if unknown:
        print(f"There is no attack {unknown[0]!r}. Known are: {', '.join(ATTACKS)}.", file=sys.stderr)
        return 2
    workdir = options.keep or Path(tempfile.mkdtemp(prefix="dependability-"))
    workdir.mkdir(parents=True, exist_ok=True)
    outcomes: list[Outcome] = []
    began = time.monotonic()
    for name in options.only or ATTACKS:
        attack = ATTACKS[name]
        count = options.tries or max(1, round(attack.full * options.scale))
        plan = Plan(count, workdir, options.seed, options.jobs, options.first)
        outcome = attack.make(plan)
        outcomes.append(outcome)
        print(table([outcome]).splitlines()[-1], file=sys.stderr, flush=True)
        if outcome.failures:
            print(details([outcome], limit=3), file=sys.stderr, flush=True)
    failed = any(outcome.failures for outcome in outcomes)
    print(
        f"{machine()}, {time.strftime('%Y-%m-%d')}, seed {options.seed}, {time.monotonic() - began:.0f} s\n"
    )
    print(table(outcomes))
    if failed:
        print(f"\n{details(outcomes)}\n\nWhat the failed tries left is in {workdir}.")
    elif options.keep is None:
        shutil.rmtree(workdir, ignore_errors=True)
    if options.json is not None:
        options.json.write_text(json_text(outcomes) + "\n", encoding="utf-8")
    return 1 if failed else 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="dependability", description=__doc__)
    parser.add_argument(
        "--only", nargs="+", default=[], metavar="ATTACK", help="only these; --list names them"
    )
    parser.add_argument(
        "--scale", type=float, default=1.0, help="share of the full number of tries (default: 1)"
    )
    parser.add_argument("--tries", type=int, help="number of tries of each attack, instead of a share")
    parser.add_argument("--seed", type=int, default=SEED, help=f"seed of all tries (default: {SEED})")
    parser.add_argument("--first", type=int, default=0, help="number of the first try, to see one again")
    parser.add_argument(
        "--jobs", type=int, default=os.cpu_count() or 1, help="tries at a time (default: cores)"
    )
    parser.add_argument("--keep", type=Path, metavar="DIR", help="folder for what failed tries leave")
    parser.add_argument("--json", type=Path, metavar="FILE", help="also write the outcomes as JSON")
    parser.add_argument("--list", action="store_true", help="name the attacks and their full number of tries")
    return parser


if __name__ == "__main__":
    sys.exit(main())
