"""The figures as Markdown, as JSON, and a reliability diagram as text and as SVG."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from assistant import __version__
from assistant.benchmarks import percentile
from assistant.hearing_bench.diagram import drawn
from assistant.hearing_bench.scoring import confidences, reliability, score, wilson
from assistant.hearing_bench.summary import (
    accepted_by_row,
    accepted_lines,
    silent_by_condition,
    silent_lines,
)
from assistant.hearing_bench.tables import answer_cell, other_cell, rows_of, table, tables_of
from assistant.hearing_bench.testset import named
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.hearing_bench.measurements import HearingFigures
    from assistant.hearing_bench.scoring import FalseAccepts, Reliability

BAR = 40
"""Characters of a full bar in the diagram."""

MOST_CONFUSIONS = 40
"""Confusions that the report lists."""


def text(measured: HearingFigures) -> str:
    """Everything, for a person."""
    limits = DEFAULT_THRESHOLDS
    lines = [
        (
            f"Measured by `bay-assistant bench hearing` {__version__} on {measured.machine}, {measured.date}"
            f"{', quick' if measured.quick else ''}; it took {measured.took_s / 60:.1f} minutes."
        ),
        "",
    ]
    for name, digest in measured.models.items():
        lines.append(f"* {name}" + (f" (am/final.mdl SHA-256 {digest}…)" if digest else ""))
    lines += [f"* {note}" for note in measured.notes]
    for conditions, rows in tables_of(rows_of(measured.records, said=True)):
        lines += [
            "",
            (
                "Answers, per cent: right [95 % interval of right] / wrong but accepted / rejected, "
                f"and after the dot wrong at a confidence of {limits.ask_below:g} or more, which nobody is asked about."
            ),
            "",
            *table(measured, conditions, rows, answer_cell),
        ]
    lines += _confusions(measured)
    for conditions, rows in tables_of(rows_of(measured.records, said=False)):
        lines += [
            "",
            (
                "Speech outside the grammar, per cent: accepted [95 % interval], "
                f"and after the dot at a confidence of {limits.ask_below:g} or more."
            ),
            "",
            *table(measured, conditions, rows, other_cell),
        ]
    lines += _summary(measured)
    lines += _streams(measured)
    lines += _delays(measured)
    lines += _costs(measured)
    for name in measured.models:
        found = _reliability(measured, name)
        if found.count:
            lines += ["", *_diagram(name, found)]
    return "\n".join(lines) + "\n"


def to_json(measured: HearingFigures) -> dict[str, Any]:
    """Everything, for a program."""
    limits = DEFAULT_THRESHOLDS
    return {
        "version": __version__,
        "machine": measured.machine,
        "date": measured.date,
        "quick": measured.quick,
        "models": measured.models,
        "thresholds": {"reject_below": limits.reject_below, "ask_below": limits.ask_below},
        "notes": measured.notes,
        "unfinished": measured.unfinished,
        "rows": list(_json_rows(measured, limits.ask_below)),
        "silent": {name: _json_silent(measured, name) for name in measured.models},
        "accepted": {
            name: {
                part: {"pieces": one.pieces, "accepted": one.accepted, "sure": one.sure, "kinds": one.kinds}
                for part, one in accepted_by_row(measured.records, name).items()
            }
            for name in measured.models
        },
        "reliability": {name: _json_reliability(_reliability(measured, name)) for name in measured.models},
        "hours": {name: _json_stream(stream) for name, stream in measured.streams.items()},
        "turns": [
            {
                "recogniser": name,
                "level": level,
                "complete_s": [round(s, 3) for s in delays.complete],
                "right_s": [round(s, 3) for s in delays.right],
                "all_s": [round(s, 3) for s in delays.all],
                "ended_too_early": delays.early,
                "nothing_heard": delays.unheard,
            }
            for (name, level), delays in measured.delays.items()
        ],
        "real_time_factor": {name: _number(_factor(measured, name)) for name in measured.models},
        "memory_mb": {name: round(mb, 1) for name, mb in measured.memory_mb.items()},
        "took_s": round(measured.took_s, 1),
    }


def _json_rows(measured: HearingFigures, ask_below: float) -> Iterator[dict[str, Any]]:
    """How many utterances each recogniser heard rightly and wrongly, by part, speaker and ratio."""
    every = [*rows_of(measured.records, said=True).items(), *rows_of(measured.records, said=False).items()]
    for (part, speaker), cells in every:
        for (name, level), hearings in cells.items():
            counted = score(hearings, ask_below)
            right = wilson(counted.right, counted.n)
            wrong = wilson(counted.wrong, counted.n)
            yield {
                "group": measured.groups.get(part, part),
                "part": part,
                "speaker": speaker,
                "recogniser": name,
                "level": level,
                "in_grammar": hearings[0].truth is not None,
                "n": counted.n,
                "right": counted.right,
                "wrong": counted.wrong,
                "rejected": counted.rejected,
                "sure_right": counted.sure_right,
                "sure_wrong": counted.sure_wrong,
                "right_interval": [round(right.low, 4), round(right.high, 4)],
                "wrong_interval": [round(wrong.low, 4), round(wrong.high, 4)],
            }


def _json_silent(measured: HearingFigures, name: str) -> dict[str, Any]:
    found = silent_by_condition(measured.records, name)
    return {
        condition: {"answers": one.answers, "wrong": one.wrong, "sure": one.sure, "taken": one.taken}
        for condition, one in found.items()
    }


def _json_reliability(found: Reliability) -> dict[str, Any]:
    return {
        "count": found.count,
        "expected_calibration_error": _number(found.calibration_error),
        "brier_score": _number(found.brier),
        "bins": [
            {
                "low": b.low,
                "high": b.high,
                "count": b.count,
                "mean_confidence": _number(b.confidence),
                "share_right": _number(b.right),
            }
            for b in found.bins
        ],
    }


def _json_stream(stream: FalseAccepts) -> dict[str, Any]:
    return {
        "hours": round(stream.hours, 3),
        "taken_for_speech": stream.utterances,
        "accepted": stream.accepted,
        "accepted_an_hour": _number(stream.an_hour(stream.accepted)),
        "sure": stream.sure,
        "sure_an_hour": _number(stream.an_hour(stream.sure)),
        "examples": [[words, confidence] for words, confidence in stream.examples],
    }


# --- tables ---------------------------------------------------------------------------------------


def _confusions(measured: HearingFigures) -> list[str]:
    """What our models took for something else, by meaning and ratio; nothing if there was none."""
    counts: dict[tuple[str, str, str], dict[str, int]] = {}
    for record in measured.records:
        heard = record.hearing
        if measured.models.get(record.recogniser) and heard.truth is not None and heard.wrong:
            at = counts.setdefault((record.part, named(heard.truth), named(heard.result)), {})
            at[record.condition] = at.get(record.condition, 0) + 1
    if not counts:
        return []
    lines = ["", f"Taken for something else, the {MOST_CONFUSIONS} most frequent:", ""]
    lines += ["| what | meant | heard | times | where |", "|---|---|---|---|---|"]
    order = sorted(counts.items(), key=lambda pair: (-sum(pair[1].values()), pair[0]))
    for (part, meant, taken), at in order[:MOST_CONFUSIONS]:
        where = ", ".join(f"{condition} {count}" for condition, count in at.items())
        lines.append(f"| {part} | {meant} | {taken} | {sum(at.values())} | {where} |")
    return lines


def _summary(measured: HearingFigures) -> list[str]:
    """Wrong answers that nobody is asked about, and what was accepted by what it would do."""
    lines: list[str] = []
    for name in measured.models:
        found = silent_by_condition(measured.records, name)["all"]
        if found.answers:
            lines += silent_lines(name, found)
    lines = ["", "Wrong answers that nobody is asked about:", "", *lines] if lines else []
    for name, digest in measured.models.items():
        accepted = accepted_by_row(measured.records, name)
        if digest and accepted:
            lines += ["", f"Accepted by {name}, by what it would do:", "", *accepted_lines(accepted)]
    return lines


def _streams(measured: HearingFigures) -> list[str]:
    if not measured.streams:
        return []
    hours = next(iter(measured.streams.values())).hours
    limits = DEFAULT_THRESHOLDS
    lines = [
        "",
        f"{hours:.2f} hours of noise and chatter through the real ear, nobody speaking to it; accepted an hour:",
        "",
        f"| recogniser | taken for speech | at {limits.reject_below:g} or more | at {limits.ask_below:g} or more |",
        "|---|---|---|---|",
    ]
    for name, stream in measured.streams.items():
        lines.append(
            f"| {name} | {stream.utterances} | {stream.an_hour(stream.accepted):.1f} ({stream.accepted}) | "
            f"{stream.an_hour(stream.sure):.1f} ({stream.sure}) |"
        )
    lines += [
        "",
        "In hopeless noise a session listens for 'stop' only; here the ear always listens for answers.",
    ]
    if any(not digest for digest in measured.models.values()):
        lines += ["PocketSphinx has no ear of its own: it hears what the first ear takes for speech."]
    return lines


def _delays(measured: HearingFigures) -> list[str]:
    if not measured.delays:
        return []
    lines = [
        "",
        (
            "From the end of speech to the decision, s: median and 95th percentile of the turns understood rightly "
            "whose phrase is complete (nothing could follow it), of all understood rightly, and of all."
        ),
        "",
        "| recogniser | sound | complete phrases | understood | all | ended too early | nothing heard |",
        "|---|---|---|---|---|---|---|",
    ]
    for (name, level), delays in measured.delays.items():
        lines.append(
            f"| {name} | {level} | {_both(delays.complete)} | {_both(delays.right)} | "
            f"{_both(delays.all)} | {delays.early} | {delays.unheard} |"
        )
    return lines


def _both(values: list[float]) -> str:
    if not values:
        return "none"
    return f"{percentile(values, 50):.2f} and {percentile(values, 95):.2f} (n = {len(values)})"


def _costs(measured: HearingFigures) -> list[str]:
    if not measured.records and not measured.memory_mb:
        return []
    lines = ["", "| recogniser | real-time factor | memory of a process that only hears |", "|---|---|---|"]
    for name in measured.models:
        factor, memory = _factor(measured, name), measured.memory_mb.get(name)
        shown = "" if math.isnan(factor) else f"{factor:.3f}"
        lines.append(f"| {name} | {shown} | {'' if memory is None else f'{memory:.0f} MB'} |")
    return lines


def _factor(measured: HearingFigures, name: str) -> float:
    mine = [record.hearing for record in measured.records if record.recogniser == name]
    heard = sum(one.duration_s for one in mine)
    return sum(one.elapsed_s for one in mine) / heard if heard else math.nan


# --- confidence -----------------------------------------------------------------------------------


def _reliability(measured: HearingFigures, name: str) -> Reliability:
    return reliability(confidences(r.hearing for r in measured.records if r.recogniser == name))


def _diagram(name: str, found: Reliability) -> list[str]:
    lines = [
        (
            f"Confidence of {name}, {found.count} utterances whose best words are a phrase; "
            f"expected calibration error {found.calibration_error:.3f}, Brier score {found.brier:.3f}."
        ),
        "Speech outside the grammar counts as wrong. Bars: share right; | stands at the mean confidence.",
        "",
        "```",
        "confidence   count  mean  right",
    ]
    for one in found.bins:
        label = f"{one.low:.1f} to {one.high:.1f}"
        if not one.count:
            lines.append(f"{label}   {0:5}")
            continue
        bar = list(f"{'#' * round(BAR * one.right):{BAR + 1}}")
        bar[round(BAR * one.confidence)] = "|"
        lines.append(
            f"{label}   {one.count:5}  {one.confidence:.2f}   {one.right:.2f}  {''.join(bar)}".rstrip()
        )
    return [*lines, "```"]


def svg(measured: HearingFigures) -> str:
    """The reliability diagram of every recogniser as one picture."""
    return drawn([(name, _reliability(measured, name)) for name in measured.models])


def _number(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 4)
