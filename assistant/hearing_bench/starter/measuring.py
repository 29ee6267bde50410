"""`bench starter`: how well the ear hears made-up starts, how often it hears one that is none, and what it costs.

Everything comes from `ranges.MEASURING` and from seeds of its own; nothing was tuned on it. Speech is what the fixtures
hold and, where flite is installed, its voice "slt", which no model of this project has learnt from. The assistant's own
voice says sentences of the procedures that were not used in training.
"""

from __future__ import annotations

import math
import time
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from assistant import resources
from assistant.benchmarks import machine
from assistant.circuit.pieces import carried_out
from assistant.hearing.sound import RATE, read_sound
from assistant.hearing.starter.certainty import SURE_FROM
from assistant.hearing.starter.ear import StarterEar
from assistant.hearing.starter.values import CrankPhase
from assistant.hearing_bench.mixing import rendered_signal
from assistant.hearing_bench.starter.bystanders import BAY
from assistant.hearing_bench.starter.counting import PIECE, SURE, StartCounts, counted
from assistant.hearing_bench.starter.losing import plain_fixtures, played
from assistant.hearing_bench.starter.ranges import MEASURING
from assistant.hearing_bench.starter.scenes import WantedScene, made_scene

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SCENE_S = 20.0
SNRS = (15.0, 6.0, 0.0)
QUIET_S = 60.0
"""Length of a piece in which nothing cranks."""

PLACES: dict[str, tuple[tuple[str, ...], bool]] = {
    "bay noise": ((), False),
    "speech": ((), True),
    "radio": (("music",), False),
    "own voice": ((), True),
}
"""Where a start is heard: kinds of other sounds, and whether somebody talks."""

SESSION, SESSION_S, SESSION_STARTS = "session", 150.0, 5
"""Another one: the microphone has been open for minutes. Bay noise; in every second session somebody talks, too."""

QUIET: dict[str, tuple[tuple[str, ...], bool]] = {
    **{kind: ((kind,), False) for kind in BAY},
    "speech": ((), True),
    "speech and radio": (("music",), True),
    "other machines": (("machine",), False),
}
"""Sounds in which nothing cranks."""

PLAYED = "fixtures with gaps"
"""Another one: `losing.played`."""

DASH = "\N{EN DASH}"
"""Stands where nothing was counted."""


@dataclass
class StarterFigures:
    """What was measured.

    Attributes:
        machine: Where.
        cells: Counts for each place and SNR.
        hours: Hours of each sound without a start, the false alarms in them, those that the dialogue believes
            (`SURE_FROM`), and those that were sure (`SURE`).
        core: Share of one core that the ear takes in real time.
    """

    machine: str
    cells: dict[tuple[str, float], StartCounts] = field(default_factory=dict)
    hours: dict[str, tuple[float, int, int, int]] = field(default_factory=dict)
    core: float = 0.0

    def to_json(self) -> dict[str, Any]:
        """As plain values."""
        return {
            "machine": self.machine,
            "starts": [
                {"place": place, "snr_db": snr, **counts.row()} for (place, snr), counts in self.cells.items()
            ],
            "quiet": [
                {
                    "sound": name,
                    "hours": hours,
                    "alarms": alarms,
                    "believed_alarms": believed,
                    "sure_alarms": sure,
                }
                for name, (hours, alarms, believed, sure) in self.hours.items()
            ],
            "core": self.core,
        }


Speech = dict[str, list["Floats"]]


def _speaker(speech: Speech, name: str) -> Callable[[np.random.Generator], Floats]:
    kept = speech[name]
    return lambda rng: kept[int(rng.integers(len(kept)))]


def found_speech() -> Speech:
    """What people say, and what the assistant says: lists of signals."""
    from assistant.core.words.sentences import sentences  # noqa: PLC0415
    from assistant.hearing_bench.manifest import BenchVoice  # noqa: PLC0415
    from assistant.hearing_bench.speech import SpeechCache, cache_folder  # noqa: PLC0415
    from assistant.loading.folder import load_library  # noqa: PLC0415
    from assistant.speaking import DEFAULT_RATE  # noqa: PLC0415
    from assistant.speaking.voice import Voice  # noqa: PLC0415

    folder = resources.directory("audio_fixtures")
    people = [read_sound(folder / name).samples / 32768 for name in sorted(plain_fixtures())]
    library = load_library(resources.directory("procedures"))
    verdicts = [one.says for procedure in library.procedures.values() for one in procedure.verdicts.values()]
    texts = sorted({part for text in verdicts for part in sentences(text)})[1::3][:24]
    cache, slt = SpeechCache(cache_folder()), BenchVoice("slt", "flite", "slt")
    if not cache.missing(slt):
        people += [np.asarray(cache.say(slt, text), np.float64) for text in texts]
    voice = Voice(DEFAULT_RATE)
    return {"people": people, "own": [rendered_signal(voice.render(text)) for text in texts]}


def _start_scene(speech: Speech, place: str, snr: float, seed: int) -> StartCounts:
    if place == SESSION:
        return _session(speech, snr, seed)
    rng = np.random.default_rng([MEASURING.seed, seed])
    kinds, talking = PLACES[place]
    kinds = kinds or (("bay",) if place == "bay noise" or rng.uniform() < 0.3 else ())
    wanted = WantedScene(SCENE_S, 1 + seed % 2, snr, kinds, talking, (0.7, 6.0), pump=seed % 3 == 0)
    said = _speaker(speech, "own" if place == "own voice" else "people")
    return counted(made_scene(wanted, MEASURING, rng, said))


def _session(speech: Speech, snr: float, seed: int) -> StartCounts:
    rng = np.random.default_rng([MEASURING.seed, 8, seed])
    wanted = WantedScene(SESSION_S, SESSION_STARTS, snr, ("bay",), seed % 2 == 1, (0.7, 6.0))
    return counted(made_scene(wanted, MEASURING, rng, _speaker(speech, "people")))


def _quiet_piece(speech: Speech, name: str, seed: int) -> list[float]:
    rng = np.random.default_rng([MEASURING.seed, 7, seed])
    if name == PLAYED:
        return _alarms(played(QUIET_S, rng))
    kinds, talking = QUIET[name]
    if kinds == ("machine",):
        kinds = (str(rng.choice(["tool", "beating", "engine", "beeps", "bangs"])),)
    wanted = WantedScene(QUIET_S, 0, 0.0, tuple(k for k in kinds if k not in BAY), talking)
    if name in BAY:
        return _alarms(_bay_piece(name, rng))
    return _alarms(made_scene(wanted, MEASURING, rng, _speaker(speech, "people")).samples)


def _piece(speech: Speech, piece: tuple[str, float | None, int]) -> StartCounts | list[float]:
    """One scene with starts in a place, or without an SNR one minute of a sound in which nothing cranks."""
    name, snr, seed = piece
    return _quiet_piece(speech, name, seed) if snr is None else _start_scene(speech, name, snr, seed)


def _length_s(name: str, snr: float | None) -> float:
    if snr is None:
        return QUIET_S
    return SESSION_S if name == SESSION else SCENE_S


def _bay_piece(kind: str, rng: np.random.Generator) -> Any:
    from assistant.hearing.baynoise import bay_noise  # noqa: PLC0415
    from assistant.hearing_bench.starter.scenes import microphone  # noqa: PLC0415

    return microphone(bay_noise(kind, QUIET_S, RATE, int(rng.integers(1 << 30))), MEASURING, rng)


def _alarms(samples: Any) -> list[float]:
    """The highest confidence of each beginning that the ear says."""
    ear = StarterEar(4)
    found: dict[float, float] = {}
    for at in range(0, samples.size, PIECE):
        for one in ear.feed(samples[at : at + PIECE]):
            if isinstance(one, CrankPhase) and one.phase == "begins":
                found[one.at_s] = max(one.confidence, found.get(one.at_s, 0.0))
    return list(found.values())


def measure(
    starts: int,
    minutes: int,
    workers: int,
    progress: Callable[[float, float], None] = lambda _done, _all: None,
) -> StarterFigures:
    """Measure.

    Args:
        starts: Scenes for each place and SNR, of which every second one has two starts; for each SNR a fifth as many
            sessions, at least one.
        minutes: Sound without a start, of each kind.
        workers: Processes.
        progress: Gets the seconds of sound that were heard, and those of all.
    """
    figures = StarterFigures(machine(), core=cost())
    pieces: list[tuple[str, float | None, int]] = [
        (place, snr, number) for place in PLACES for snr in SNRS for number in range(starts)
    ]
    sessions = max(1, starts // SESSION_STARTS)
    pieces += [(SESSION, snr, number) for snr in SNRS for number in range(sessions)]
    pieces += [(name, None, number) for name in (*QUIET, PLAYED) for number in range(minutes)]
    lengths = [_length_s(name, snr) for name, snr, _ in pieces]
    done = 0.0
    results = carried_out(_piece, (found_speech(),), pieces, workers)
    for (name, snr, _), length, result in zip(pieces, lengths, results, strict=True):
        if isinstance(result, StartCounts):
            figures.cells.setdefault((name, snr or 0.0), StartCounts()).add(result)
        else:
            hours, *before = figures.hours.get(name, (0.0, 0, 0, 0))
            more = [sum(one >= limit for one in result) for limit in (0.0, SURE_FROM, SURE)]
            alarms, believed, sure = (old + new for old, new in zip(before, more, strict=True))
            figures.hours[name] = (hours + length / 3600, alarms, believed, sure)
        done += length
        progress(done, sum(lengths))
    return figures


def cost(seconds: float = 30.0) -> float:
    """Share of one core that the ear takes in real time: processor time over time of sound, least of three."""
    noise = np.random.default_rng(1).normal(0, 1000, round(seconds * RATE)).astype(np.int16)
    taken = []
    for _ in range(3):
        ear = StarterEar(4)
        begun = time.process_time()
        for at in range(0, noise.size, PIECE):
            ear.feed(noise[at : at + PIECE])
        taken.append(time.process_time() - begun)
    return min(taken) / seconds


def _share(value: float) -> str:
    """A share in per cent; a dash where nothing was counted."""
    return DASH if math.isnan(value) else f"{100 * value:.0f} %"


def _two(median: float, most: float) -> str:
    """A median and a 95th percentile in s; a dash where nothing was counted."""
    return DASH if math.isnan(median) else f"{median:.2f} and {most:.2f} s"


def _errors(median: float, most: float) -> str:
    """The same of errors that are shares."""
    return DASH if math.isnan(median) else f"{100 * median:.1f} and {100 * most:.0f} %"


def text(figures: StarterFigures) -> str:
    """Tables in Markdown."""
    lines = [f"Measured by `bay-assistant bench starter` on {figures.machine}.", ""]
    first = (
        "| place | SNR | starts | missed | begins, median and 95th | within 0.5 s | believed | ends | runs "
    )
    lines += [first + "| runs missed | wrong runs | split |", "|---" * 12 + "|"]
    for (place, snr), counts in figures.cells.items():
        row = counts.row()
        lines.append(
            f"| {place} | {snr:g} dB | {row['starts']} | {_share(row['missed'])}"
            f" | {_two(row['begin_median_s'], row['begin_95_s'])} | {_share(row['begin_within_half'])}"
            f" | {_share(row['believed'])} | {_two(row['end_median_s'], row['end_95_s'])}"
            f" | {_two(row['runs_median_s'], row['runs_95_s'])}"
            f" | {_share(row['runs_missed'])} | {_share(row['wrong_runs'])} | {_share(row['split'])} |"
        )
    second = "| place | SNR | speeds | error, median and 95th | sure (0.8) | error of those | within 2 sigma "
    second += "| manner right | sure | right of those | evenness right | pumps heard | pumps wrong |"
    lines += ["", second, "|---" * 13 + "|"]
    for (place, snr), counts in figures.cells.items():
        row = counts.row()
        lines.append(
            f"| {place} | {snr:g} dB | {row['speeds']} | {_errors(row['speed_median'], row['speed_95'])}"
            f" | {_share(row['speed_sure'])} | {_errors(row['sure_speed_median'], row['sure_speed_95'])}"
            f" | {_share(row['within_2_sigma'])} | {_share(row['manner_right'])} | {_share(row['manner_sure'])}"
            f" | {_share(row['manner_right_when_sure'])} | {_share(row['evenness_right'])}"
            f" | {_share(row['pumps_heard'])} of {row['pumps']} | {row['pumps_wrong']} |"
        )
    lines += ["", "| sound without a start | hours | false alarms | believed | sure |", "|---" * 5 + "|"]
    lines += [
        f"| {name} | {hours:.2f} | {alarms} | {believed} | {sure} |"
        for name, (hours, alarms, believed, sure) in figures.hours.items()
    ]
    lines += ["", f"Cost: {100 * figures.core:.1f} % of one core."]
    return "\n".join(lines) + "\n"
