"""What was measured, as text for people and as JSON."""

from __future__ import annotations

from collections import Counter
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant.hearing_bench.listening import noise
from assistant.hearing_bench.listening.scores import Rate, rate

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from assistant.hearing_bench.listening.measuring import AllHeard, SentenceHeard, SentencePlayed

WHO = "Recognisers listened, not people. The figures compare voices; they do not say how much a technician understands."


@dataclass(frozen=True)
class TalkerRow:
    """One voice in one condition.

    Attributes:
        talker: The voice.
        condition: The condition.
        wrong: Words wrong, by listener.
        keywords: Keywords right, by listener.
        ratio_db: Median ratio of speech to noise.
        estoi: Mean; None if it was left out or there is no noise.
        sii: Mean; None without noise.
    """

    talker: str
    condition: str
    wrong: dict[str, Rate]
    keywords: dict[str, Rate]
    ratio_db: float
    estoi: float | None
    sii: float | None


def rows(measured: AllHeard) -> list[TalkerRow]:
    """Every voice in every condition, in order; none without a complete sentence."""
    found = []
    for talker in measured.talkers:
        for condition in measured.conditions:
            sounds = [one for one in measured.sounds if (one.talker, one.condition) == (talker, condition)]
            heard = [one for one in measured.heard if (one.talker, one.condition) == (talker, condition)]
            if not sounds:
                continue
            by = {name: [one for one in heard if one.listener == name] for name in measured.listeners}
            found.append(
                TalkerRow(
                    talker,
                    condition,
                    {name: rate([(one.errors, one.words) for one in these]) for name, these in by.items()},
                    {
                        name: rate([(one.keywords_right, one.keywords) for one in these])
                        for name, these in by.items()
                    },
                    float(np.median([one.ratio_db for one in sounds])),
                    _mean(one.estoi for one in sounds),
                    _mean(one.sii for one in sounds),
                )
            )
    return found


def _mean(values: Iterable[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return float(np.mean(known)) if known else None


def text(measured: AllHeard) -> str:
    """The report as text."""
    talkers = (
        f"{name} ({f'{pace} words a minute' if pace else 'its own pace'})"
        for name, pace in measured.talkers.items()
    )
    lines = [
        WHO,
        "",
        f"{measured.done} sentences of the program, drawn with seed {measured.seed}.",
        f"Voices: {'; '.join(talkers)}.",
        f"Noise at the same peak: {noise.SAME_PEAK_NOISE_DB:.0f} dBFS. SII: noise of {noise.NOISE_SPL_DB:.0f} dB SPL.",
        *measured.missing,
    ]
    if measured.unknown:
        lines.append(
            f"Words that PocketSphinx cannot know, not counted there: {', '.join(measured.unknown)}."
        )
    found = rows(measured)
    if not found:
        return "\n".join([*lines, "No sentence is complete."]) + "\n"
    for name in measured.listeners:
        lines += ["", f"{name}: per cent, with 95 % intervals", *_table(_figures(found, name))]
    lines += ["", "Without a listener", *_table(_signals(found))]
    kinds = _by_kind(measured)
    if kinds:
        lines += ["", "Words wrong by kind of bay noise at the same peak, per cent", *_table(kinds)]
    lines += ["", *_lengths(measured), "", *_worst(measured)]
    return "\n".join(lines) + "\n"


def _figures(found: Sequence[TalkerRow], listener: str) -> list[list[str]]:
    return [
        ["voice", "condition", "words wrong", "keywords right"],
        *(
            [row.talker, row.condition, row.wrong[listener].per_cent(), row.keywords[listener].per_cent()]
            for row in found
        ),
    ]


def _signals(found: Sequence[TalkerRow]) -> list[list[str]]:
    table = [["voice", "condition", "speech over noise, dB", "ESTOI", "SII"]]
    for row in found:
        if row.sii is not None:
            estoi = "-" if row.estoi is None else f"{row.estoi:.2f}"
            table.append([row.talker, row.condition, f"{row.ratio_db:+.1f}", estoi, f"{row.sii:.2f}"])
    return table


def _by_kind(measured: AllHeard) -> list[list[str]]:
    kind_of = {(one.number, one.condition): one.kind for one in measured.sounds}
    wanted = [one.name for one in noise.CONDITIONS if one.noise == "bay" and one.ratio_db is None]
    heard = [one for one in measured.heard if one.condition in wanted]
    kinds = sorted({kind_of[one.number, one.condition] for one in heard})
    if not kinds:
        return []
    table = [["voice", "listener", *kinds]]
    for talker in measured.talkers:
        for listener in measured.listeners:
            cells = []
            for kind in kinds:
                these = [
                    (one.errors, one.words)
                    for one in heard
                    if (one.talker, one.listener, kind_of[one.number, one.condition])
                    == (talker, listener, kind)
                ]
                cells.append(f"{100 * rate(these).share:.0f}" if these else "-")
            table.append([talker, listener.split()[0], *cells])
    return table


def _table(table: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(line[column]) for line in table) for column in range(len(table[0]))]
    return [
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip()
        for line in table
    ]


def _lengths(measured: AllHeard) -> list[str]:
    """Length of speech, and the longest pause, of each voice."""
    lines = []
    for talker in measured.talkers:
        sounds: dict[int, SentencePlayed] = {
            one.number: one for one in measured.sounds if one.talker == talker
        }
        longest = max(sounds.values(), key=lambda one: one.seconds)
        paused = max(sounds.values(), key=lambda one: one.pause_s)
        median = float(np.median([one.seconds for one in sounds.values()]))
        lines.append(
            f"{talker}: median {median:.1f} s; longest {longest.seconds:.1f} s: "
            f"{measured.sentences[longest.number]} "
            f"Longest pause inside {paused.pause_s:.2f} s: {measured.sentences[paused.number]}"
        )
    return lines


def _worst(measured: AllHeard, count: int = 12) -> list[str]:
    """Words most often missed by each voice when it is clean, and its worst sentences."""
    lines = ["Missed in the clean condition:"]
    clean: list[SentenceHeard] = [one for one in measured.heard if one.condition == noise.CLEAN.name]
    for talker in measured.talkers:
        mine = [one for one in clean if one.talker == talker]
        words = Counter(word for one in mine for word in one.missed)
        lines.append(f"  {talker}: {', '.join(f'{word} {n}' for word, n in words.most_common(count))}")
        bad = sorted(
            (one for one in mine if one.words >= 4), key=lambda one: one.errors / one.words, reverse=True
        )
        lines += [
            f"    {one.errors} of {one.words}, {one.listener.split()[0]}: {measured.sentences[one.number]} | {one.text}"
            for one in bad[:3]
            if one.errors
        ]
    return lines


def to_json(measured: AllHeard) -> dict[str, Any]:
    """The report as JSON: the rows, and everything that they rest on."""
    return {
        "who": WHO,
        "seed": measured.seed,
        "sentences": measured.sentences[: measured.done],
        "voices": [{"voice": name, "words_a_minute": pace} for name, pace in measured.talkers.items()],
        "listeners": measured.listeners,
        "missing": measured.missing,
        "unknown": list(measured.unknown),
        "same_peak_noise_dbfs": noise.SAME_PEAK_NOISE_DB,
        "sii_noise_db_spl": noise.NOISE_SPL_DB,
        "rows": [
            {
                "voice": row.talker,
                "condition": row.condition,
                "words_wrong": {name: one._asdict() for name, one in row.wrong.items()},
                "keywords_right": {name: one._asdict() for name, one in row.keywords.items()},
                "ratio_db": round(row.ratio_db, 2),
                "estoi": row.estoi,
                "sii": row.sii,
            }
            for row in rows(measured)
        ],
        "heard": [asdict(one) for one in measured.heard],
        "sounds": [asdict(one) for one in measured.sounds],
    }
