"""Writes the tables of a README from the figures of measurements: ``python -m assistant.hearing_bench.published``.

    python -m assistant.hearing_bench.published README.md --now after.json [more.json …] --before before.json […]

What stands between `BEGIN` and `END` in the file is replaced. Several files of figures are parts of one measurement,
such as of its rows by ``--only``.
"""

from __future__ import annotations

import argparse
import json
import math
import sys
from pathlib import Path
from typing import Any

from assistant import files
from assistant.benchmarks import percentile
from assistant.errors import BayAssistantError, UsageProblem
from assistant.hearing_bench.goals import GOALS, Goal
from assistant.hearing_bench.scoring import wilson
from assistant.hearing_bench.summary import MANY

BEGIN, END = "<!-- hearing figures -->", "<!-- end of hearing figures -->"
"""The lines between which the tables stand."""

Figures = dict[str, Any]


def main(arguments: list[str] | None = None) -> int:
    """Write the tables; returns the exit status."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("readme", type=Path, help="the file whose tables are written")
    parser.add_argument("--now", type=Path, nargs="+", required=True, help="figures of this measurement")
    parser.add_argument("--before", type=Path, nargs="+", default=[], help="figures of an earlier one")
    options = parser.parse_args(arguments)
    try:
        now, before = together(options.now), together(options.before) if options.before else None
        text = files.read_text(options.readme, files.SETTINGS)
        options.readme.write_text(replaced(text, "\n".join(pages(now, before))), encoding="utf-8")
    except (OSError, BayAssistantError) as problem:
        print(f"The tables cannot be written: {problem}", file=sys.stderr)
        return 2
    return 0


def replaced(text: str, tables: str) -> str:
    """A text with these tables between the two marks.

    Raises:
        UsageProblem: It does not have both marks once, in order.
    """
    if text.count(BEGIN) != 1 or text.count(END) != 1 or text.index(BEGIN) > text.index(END):
        raise UsageProblem(f"the file needs the line {BEGIN} and, behind it, {END}, each once.")
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    return f"{before}{BEGIN}\n{tables}\n{END}{after}"


def together(paths: list[Path]) -> Figures:
    """The figures of several files as those of one measurement.

    Raises:
        UsageProblem: A file holds no figures of `bench hearing`.
    """
    found: Figures = {}
    for path in paths:
        try:
            one = json.loads(files.read_text(path, files.TABLE))
            rows, silent, accepted = one["rows"], one["silent"], one["accepted"]
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise UsageProblem(f"{path} holds no figures of `bench hearing` ({error}).") from error
        if not found:
            found = {
                **one,
                "rows": [],
                "silent": {},
                "accepted": {},
                "turns": [],
                "hours": {},
                "memory_mb": {},
            }
            found["real_time_factor"] = dict(one["real_time_factor"])
        found["rows"] += rows
        found["turns"] += one["turns"]
        found["hours"].update(one["hours"])
        found["memory_mb"].update(one["memory_mb"])
        for name, factor in one["real_time_factor"].items():
            found["real_time_factor"][name] = factor or found["real_time_factor"].get(name)
        for name, conditions in silent.items():
            mine = found["silent"].setdefault(name, {})
            for condition, counts in conditions.items():
                sums = mine.setdefault(condition, dict.fromkeys(counts, 0))
                for what, count in counts.items():
                    sums[what] += count
        for name, parts in accepted.items():
            found["accepted"].setdefault(name, {}).update(parts)
    return found


def pages(now: Figures, before: Figures | None) -> list[str]:
    """All tables: the goals first, then every row."""
    lines = ["| figure | before | now | goal |", "|---|---|---|---|"]
    for goal in GOALS:
        shown = [_shown(goal, figures) for figures in (before, now)]
        lines.append(f"| {goal.name} | {' | '.join(shown)} | {goal.wanted} |")
    lines += ["", "Right / wrong but accepted, per cent; in brackets the 95 % interval of what is right.", ""]
    lines += _answers(now, in_grammar=True)
    lines += ["", "Accepted of speech that is no phrase, per cent, with its 95 % interval.", ""]
    lines += _answers(now, in_grammar=False)
    lines += ["", "| accepted of it | pieces | accepted | surely | as what |", "|---|---:|---:|---:|---|"]
    for part, one in now["accepted"].get(model_of(now), {}).items():
        kinds = ", ".join(f"{kind} {count}" for kind, count in sorted(one["kinds"].items()))
        lines.append(f"| {part} | {one['pieces']} | {one['accepted']} | {one['sure']} | {kinds} |")
    return lines


def model_of(figures: Figures) -> str:
    """Our own model: the first with weights of its own."""
    return next(str(name) for name, digest in figures["models"].items() if digest)


def _shown(goal: Goal, figures: Figures | None) -> str:
    if figures is None:
        return ""
    model = model_of(figures)
    if goal.kind == "silent":
        one = figures["silent"].get(model, {}).get("all")
        return (
            f"{MANY * one['sure'] / one['answers']:.1f} (of {one['answers']})"
            if one and one["answers"]
            else ""
        )
    if goal.kind == "hours":
        stream = figures["hours"].get(model)
        return f"{stream['accepted_an_hour']:.1f} (in {stream['hours']:g} h)" if stream else ""
    if goal.kind == "delay":
        times = [turn for turn in figures["turns"] if turn["recogniser"] == model]
        found = [
            percentile(turn["complete_s"], 95)
            for level in goal.conditions
            for turn in times
            if turn["level"] == level and turn["complete_s"]
        ]
        return " / ".join(f"{one:.2f} s" for one in found)
    if goal.kind == "factor":
        factor = figures["real_time_factor"].get(model)
        return f"{factor:.3f}" if factor else ""
    if goal.kind == "memory":
        memory = figures["memory_mb"].get(model)
        return f"{memory:.0f} MB" if memory else ""
    return ", ".join(filter(None, (_of_rows(goal, figures, model, one) for one in goal.conditions)))


def _of_rows(goal: Goal, figures: Figures, model: str, condition: str) -> str:
    rows = [
        row
        for row in figures["rows"]
        if row["recogniser"] == model
        and row["level"] == condition
        and any(row["part"].startswith(part) for part in goal.parts)
        and row["in_grammar"] == (goal.kind == "right")
        and (not goal.without or goal.without not in row["part"])
    ]
    n = sum(row["n"] for row in rows)
    if not n:
        return ""
    wrong = 100 * sum(row["wrong"] for row in rows) / n
    if goal.kind == "accepted":
        return f"{wrong:.1f} (n {n})"
    return f"{100 * sum(row['right'] for row in rows) / n:.0f} / {wrong:.0f} (n {n})"


def _answers(figures: Figures, *, in_grammar: bool) -> list[str]:
    tables: dict[tuple[str, ...], dict[tuple[str, str, str], dict[str, Figures]]] = {}
    rows: dict[tuple[str, str, str], dict[str, Figures]] = {}
    for row in figures["rows"]:
        if row["in_grammar"] == in_grammar:
            rows.setdefault((row["part"], row["speaker"], row["recogniser"]), {})[row["level"]] = row
    for key, cells in rows.items():
        tables.setdefault(tuple(cells), {})[key] = cells
    lines: list[str] = []
    for conditions, some in tables.items():
        lines += ["", f"| what | {' | '.join(conditions)} |", "|---|" + "---|" * len(conditions)]
        for (part, speaker, name), cells in some.items():
            n = max(cell["n"] for cell in cells.values())
            shown = [_cell(cells[condition], in_grammar=in_grammar) for condition in conditions]
            who = f"{part}, {speaker}" if name == model_of(figures) else f"{name}: {part}"
            lines.append(f"| {who} ({n}) | {' | '.join(shown)} |")
    return lines[1:]


def _cell(row: Figures, *, in_grammar: bool) -> str:
    count = row["right"] if in_grammar else row["wrong"]
    found = wilson(count, row["n"])
    if math.isnan(found.share):
        return ""
    shares = f"[{100 * found.low:.0f}-{100 * found.high:.0f}]"
    share = f"{100 * found.share:.0f}"
    return f"{share} / {100 * row['wrong'] / row['n']:.0f} {shares}" if in_grammar else f"{share} {shares}"


if __name__ == "__main__":
    sys.exit(main())
