"""The figures as Markdown, as JSON, and a reliability diagram as text and as SVG."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from assistant import __version__
from assistant.benchmarks import percentile
from assistant.hearing_bench.diagram import drawn
from assistant.hearing_bench.mixing import CLEAN_DB
from assistant.hearing_bench.scoring import Hearing, HearingCounts, confidences, reliability, score, wilson
from assistant.hearing_bench.testset import named
from assistant.measured import DEFAULT_THRESHOLDS

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from assistant.hearing_bench.measurements import HearingFigures
    from assistant.hearing_bench.scoring import FalseAccepts, Reliability

BAR = 40
"""Characters of a full bar in the diagram."""


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
    said = _rows(measured, said=True)
    if said:
        lines += [
            "",
            (
                "Answers, per cent: right [95 % interval of right] / wrong but accepted / rejected, "
                f"and after the dot wrong at a confidence of {limits.ask_below:g} or more, which nobody is asked about."
            ),
            "",
            *_table(measured, said, _answer_cell),
        ]
    lines += _confusions(measured)
    other = _rows(measured, said=False)
    if other:
        lines += [
            "",
            (
                "Speech outside the grammar, per cent: accepted [95 % interval], "
                f"and after the dot at a confidence of {limits.ask_below:g} or more."
            ),
            "",
            *_table(measured, other, _other_cell),
        ]
    lines += _streams(measured)
    lines += _delays(measured)
    lines += _costs(measured)
    for name in measured.models:
        found = _reliability(measured, name)
        if found.count:
            lines += ["", *_diagram(name, found)]
    return "\n".join(lines) + "\n"


def level_name(level_db: float) -> str:
    """A ratio of speech to noise as it is shown."""
    return "clean" if level_db == CLEAN_DB else f"{level_db:g} dB"


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
        "rows": list(_json_rows(measured, limits.ask_below)),
        "reliability": {name: _json_reliability(_reliability(measured, name)) for name in measured.models},
        "hours": {name: _json_stream(stream) for name, stream in measured.streams.items()},
        "turns": [
            {
                "recogniser": name,
                "level": level_name(level),
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
    for (part, speaker), cells in {**_rows(measured, said=True), **_rows(measured, said=False)}.items():
        for (name, level), hearings in cells.items():
            counted = score(hearings, ask_below)
            right = wilson(counted.right, counted.n)
            wrong = wilson(counted.wrong, counted.n)
            yield {
                "part": part,
                "speaker": speaker,
                "recogniser": name,
                "level": level_name(level),
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

_Cells = dict[tuple[str, float], list[Hearing]]


def _rows(measured: HearingFigures, *, said: bool) -> dict[tuple[str, str], _Cells]:
    """Hearings by row and speaker, then by recogniser and ratio; of answers, or of speech outside the grammar."""
    rows: dict[tuple[str, str], _Cells] = {}
    for record in measured.records:
        if (record.hearing.truth is not None) == said:
            cells = rows.setdefault((record.part, record.speaker), {})
            cells.setdefault((record.recogniser, record.level_db), []).append(record.hearing)
    return rows


def _table(measured: HearingFigures, rows: dict[tuple[str, str], _Cells], cell: Any) -> list[str]:
    levels = [level_name(level) for level in measured.levels_db]
    lines = [
        f"| what, who | n | recogniser | {' | '.join(levels)} |",
        "|---|---|---|" + "---|" * len(levels),
    ]
    for (part, speaker), cells in rows.items():
        for name in measured.models:
            groups = [cells.get((name, level), []) for level in measured.levels_db]
            if not any(groups):
                continue
            shown = [cell(score(group, DEFAULT_THRESHOLDS.ask_below)) if group else "" for group in groups]
            n = max(len(group) for group in groups)
            lines.append(f"| {part}, {speaker} | {n} | {name} | {' | '.join(shown)} |")
    return lines


def _confusions(measured: HearingFigures) -> list[str]:
    """What our models took for something else, by meaning and ratio; nothing if there was none."""
    counts: dict[tuple[str, str, str], dict[float, int]] = {}
    for record in measured.records:
        heard = record.hearing
        if measured.models.get(record.recogniser) and heard.truth is not None and heard.wrong:
            at = counts.setdefault((record.part, named(heard.truth), named(heard.result)), {})
            at[record.level_db] = at.get(record.level_db, 0) + 1
    if not counts:
        return []
    levels = measured.levels_db
    lines = ["", "Taken for something else, number of utterances:", ""]
    lines += [
        f"| what | meant | heard | {' | '.join(level_name(level) for level in levels)} |",
        "|---|---|---|" + "---|" * len(levels),
    ]
    for (part, meant, taken), at in sorted(counts.items()):
        lines.append(f"| {part} | {meant} | {taken} | {' | '.join(str(at.get(one, 0)) for one in levels)} |")
    return lines


def _percent(share: float) -> str:
    return f"{100 * share:.0f}"


def _interval(count: int, of: int) -> str:
    found = wilson(count, of)
    return f"{_percent(found.share)} [{_percent(found.low)}-{_percent(found.high)}]"


def _answer_cell(counted: HearingCounts) -> str:
    wrong, rejected = _percent(counted.wrong / counted.n), _percent(counted.rejected / counted.n)
    sure = _percent(counted.sure_wrong / counted.n)
    return f"{_interval(counted.right, counted.n)} / {wrong} / {rejected} · {sure}"


def _other_cell(counted: HearingCounts) -> str:
    return f"{_interval(counted.wrong, counted.n)} · {_percent(counted.sure_wrong / counted.n)}"


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
            f"| {name} | {level_name(level)} | {_both(delays.complete)} | {_both(delays.right)} | "
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
    mine: Iterable[Hearing] = (r.hearing for r in measured.records if r.recogniser == name)
    return reliability(confidences(mine))


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
