"""Measures what the meter's README states: `python tests/meter/measure_meter.py [pace|stands|ramps] [--develop]`.

`pace`: the real sigrok-cli and the meter made in software: time from a stable input to the reading, and what the reader
costs. `stands`: readings on generated signals that settle, bounce and waver. `ramps`: what captured ramps of the
circuit model are called. With `--develop` the ramps are those that the classifier was developed on.
"""

from __future__ import annotations

import collections
import math
import os
import queue
import random
import sys
import tempfile
import time
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

sys.path.insert(0, str(Path(__file__).parents[1] / "support"))

import numpy as np
import pytest
from fake_meter import Display, FakeMeter, with_modem_lines
from ramp_captures import CIRCUIT, MEASURED, Clamp, captured

from assistant.benchmarks import machine, percentile
from assistant.circuit.catalogue import mechanisms
from assistant.circuit.observing import observe
from assistant.circuit.parameters import Systems
from assistant.circuit.tracing import traces
from assistant.meter.meter import Meter
from assistant.meter.readings import MeterReading, MeterTrouble, Sample
from assistant.meter.shapes import OUTCOMES, classified
from assistant.meter.steadiness import Steadiness
from assistant.meter.wish import Wish

if TYPE_CHECKING:
    from collections.abc import Callable

CHANGES = 40
COST_S = 30.0


def pace() -> None:
    """Delay of readings, and the processor time of the reader and of sigrok-cli."""
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as environment:
        with_modem_lines(Path(folder), environment)
        for every_s in (0.3, 0.1):
            with FakeMeter(Path(folder), every_s) as fake:
                _delays(fake, every_s)


def _delays(fake: FakeMeter, every_s: float) -> None:
    told: queue.Queue[MeterReading | MeterTrouble] = queue.Queue()
    chance = random.Random(1)  # noqa: S311
    delays = []
    with Meter(fake.spec) as meter:
        meter.start(told.put)
        meter.expect(("V",), ac=False)
        for number in range(CHANGES):  # each differs from the one before
            wanted = Decimal(chance.randrange(500, 900) + 700 * (number % 2)) / 100
            begun = fake.show(Display.volts(wanted))
            while not (isinstance(found := told.get(timeout=20), MeterReading) and found.value == wanted):
                pass
            delays.append(time.monotonic() - begun)
            time.sleep(chance.uniform(0.1, 0.6))
        ours, begun = time.process_time(), time.monotonic()
        children = _children_s()
        fake.show(Display.volts(12))
        time.sleep(COST_S)
        ours, wall = time.process_time() - ours, time.monotonic() - begun
        children = _children_s() - children
    print(
        f"a value every {every_s} s: reading after {percentile(delays, 50):.2f} s (median), "
        f"{percentile(delays, 95):.2f} s (95th percentile) of {len(delays)}; reader and fake meter "
        f"{100 * ours / wall:.2f} % of a core, sigrok-cli {100 * children / wall:.2f} %"
    )


def _children_s() -> float:
    """Processor time of the programs that this one started, s."""
    whole = 0.0
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            fields = stat.read_text(encoding="utf-8").rpartition(")")[2].split()
        except OSError:
            continue
        if int(fields[1]) == os.getpid():
            whole += (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")
    return whole


# --- signals --------------------------------------------------------------------------------------

EVERY_S = (0.3, 0.1, 1.0)
SECONDS = 25.0
COUNT = 0.01


def signals(chance: random.Random) -> dict[str, tuple[Callable[[float], float | None], float | None]]:
    """Courses of a voltage and where each ends; None where no value is right."""

    def settling(tau: float) -> Callable[[float], float]:
        return lambda t: 12.4 * (1 - math.exp(-t / tau))

    def noisy(counts: float) -> Callable[[float], float]:
        return lambda _: 12.4 + chance.gauss(0, counts * COUNT)

    def bounce(t: float) -> float:
        return chance.uniform(0, 12.4) if t < 4 or chance.random() < 0.3 else 12.4

    def lifted(t: float) -> float:
        return 12.4 if t < 1.4 else chance.gauss(0.05, 0.04)

    def drifting(t: float) -> float:
        return 12.4 - 0.01 * t

    found: dict[str, tuple[Callable[[float], float | None], float | None]] = {
        f"settling, time constant {tau} s": (settling(tau), 12.4) for tau in (0.1, 0.3, 1, 2, 5, 10)
    }
    found |= {f"noise of {counts} digits": (noisy(counts), 12.4) for counts in (0.5, 1, 2, 5, 20)}
    found["contact bounce for 4 s, then now and then"] = (bounce, 12.4)
    found["probe lifted after 1.4 s, then open lead"] = (lifted, 12.4)
    found["battery that falls by 10 mV a second"] = (drifting, None)
    return found


def stands(trials: int = 200) -> None:
    """Readings that were told, and how far off they were."""
    for name in signals(random.Random(0)):  # noqa: S311
        for every_s in EVERY_S:
            early = first = later = 0
            when, off = [], []
            for trial in range(trials):
                chance = random.Random(trial)  # noqa: S311
                course, end = signals(chance)[name]
                found = _told(course, every_s, chance.uniform(0, every_s))
                first += bool(found)
                later += any(abs(value - 12.4) > 1 for _, value in found)
                if not found:
                    continue
                at_s, value = found[0]
                right = course(at_s) if end is None else end
                when.append(at_s)
                off.append(abs(value - (right or 0.0)))
                early += off[-1] > max(2 * COUNT, 0.005 * 12.4) + 1e-9
            print(
                f"{name}; every {every_s} s: told in {first} of {trials}, first after {percentile(when, 50):.1f} s "
                f"(95th {percentile(when, 95):.1f}), off by {percentile(off, 50):.3f} V (95th "
                f"{percentile(off, 95):.3f}), more than 0.5 % off: {early}; "
                f"more than 1 V off at any time: {later}"
            )


def _told(course: Callable[[float], float | None], every_s: float, begin: float) -> list[tuple[float, float]]:
    watch = Steadiness(Wish(("V",)))
    found = []
    for number in range(round(SECONDS / every_s)):
        at_s = begin + number * every_s
        shown = course(at_s)
        value = None if shown is None else Decimal(f"{shown:.2f}")
        sample = Sample(at_s, value, "V", "voltage", Decimal("0.01"), dc=True)
        found += [
            (at_s, float(one.value))
            for one in watch.take(sample)
            if isinstance(one, MeterReading) and one.value is not None
        ]
    return found


# --- ramps ----------------------------------------------------------------------------------------

CLAMPS = {
    "20 kS/s, 5 kHz, 0.05 A of noise, zero to 0.1 A": Clamp(),
    "clamp of 1 kHz": Clamp(hertz=1000),
    "0.2 A of noise": Clamp(noise_a=0.2),
    "zero off by 0.3 A": Clamp(zero_a=0.3),
}
COILS = {
    "0.7 of the resistance and inductance": {"primary-resistance": 0.7, "primary-inductance": 0.7},
    "1.6 of the resistance, 1.5 of the inductance": {"primary-resistance": 1.6, "primary-inductance": 1.5},
    "battery at 0.88 of its voltage": {"battery-voltage": 0.88},
    "limit at 0.7": {"current-limit": 0.7},
}
CLEAR = 0.9
"""A ramp whose name this share of the model's observers agrees on has a right answer."""


def ramps(*, develop: bool) -> None:
    """What ramps of the circuit model are called, against what the model's observers would say."""
    cars = Systems.random(3, 41 if develop else 2027)
    for number, (name, clamp) in enumerate(CLAMPS.items()):
        _called(name, cars, clamp, 100 + number, table=number == 0)
    for number, (name, factors) in enumerate(COILS.items()):
        values = {key: one * factors.get(key, 1.0) for key, one in cars.values.items()}
        _called(
            f"coils and cars outside the ranges: {name}", replace(cars, values=values), Clamp(), 200 + number
        )


def _called(name: str, cars: Systems, clamp: Clamp, seed: int, *, table: bool = False) -> None:
    chance = np.random.default_rng(seed)
    ways = mechanisms(CIRCUIT)
    seen: collections.Counter[tuple[str, str]] = collections.Counter()
    unclear: collections.Counter[str] = collections.Counter()
    took = []
    honest = [observe(CIRCUIT, way, MEASURED, cars).shown for way in ways]
    for car in range(cars.count):
        for shown, one in zip(honest, traces(CIRCUIT, ways, MEASURED, cars, car), strict=True):
            shares = shown.honest(OUTCOMES)[car]
            truth = OUTCOMES[int(np.argmax(shares))]
            capture = captured(one, clamp, chance)
            begun = time.process_time()
            answer = classified(capture).outcome or "not sure"
            took.append(time.process_time() - begun)
            if shares.max() < CLEAR:
                unclear[answer] += 1
            else:
                seen[truth, answer] += 1
    whole = sum(seen.values())
    right = sum(count for (truth, answer), count in seen.items() if truth == answer)
    unsure = sum(count for (_, answer), count in seen.items() if answer == "not sure")
    print(
        f"{name}: {whole} clear ramps: {right} right, {unsure} not sure, {whole - right - unsure} wrong; "
        f"{sum(unclear.values())} unclear ones, of which {unclear['not sure']} not sure; "
        f"{1000 * percentile(took, 50):.0f} ms of processor time each",
        flush=True,
    )
    wrong = sorted(
        (truth, answer, count) for (truth, answer), count in seen.items() if answer not in (truth, "not sure")
    )
    print(f"  wrong: {wrong}")
    if table:
        columns = (*OUTCOMES, "not sure")
        print("  truth \\ answer: " + " ".join(columns))
        for truth in OUTCOMES:
            print(f"  {truth}: " + " ".join(str(seen[truth, answer]) for answer in columns))


if __name__ == "__main__":
    wanted = [one for one in sys.argv[1:] if not one.startswith("-")]
    print(machine(), time.strftime("%Y-%m-%d"))
    if not wanted or "pace" in wanted:
        pace()
    if not wanted or "stands" in wanted:
        stands()
    if not wanted or "ramps" in wanted:
        ramps(develop="--develop" in sys.argv)
