"""The people who are led through a proof: each of them does what is said of him, and nothing else."""

from __future__ import annotations

import numpy as np
import pytest
from leading import COIL, alone
from shipped import shipped_library

from assistant.circuit.catalogue import NONE
from assistant.circuit.looks import Looks, alike
from assistant.circuit.observers import (
    BLANK,
    HONEST,
    MEAN_CLAMP,
    MISSED,
    MISSES,
    NO_CLAMP,
    NOBODY_CRANKS,
    SKIPPING,
    Observer,
    looked_at,
    misreads,
    missed,
    seen,
)
from assistant.circuit.parameters import Systems
from assistant.core.library.procedure import Engine, Step
from assistant.core.library.vocabulary import CLAMPS, SENSES
from assistant.proof.cases import observers
from assistant.proof.result import Request

LIBRARY = shipped_library()
CARS = Systems.random(6, 11)
STEPS = {
    (procedure.name, step.name): step
    for procedure in LIBRARY.procedures.values()
    if procedure.circuit == COIL
    for step in procedure.steps.values()
}
EVERYBODY = (HONEST, BLANK, MEAN_CLAMP, NO_CLAMP, MISSES, NOBODY_CRANKS, SKIPPING, misreads(0.05))


def answered(
    procedure: str, step: str, observer: Observer, fault: str = NONE, name: str | None = None
) -> dict[str, float]:
    """Return the answers at a step by outcome, averaged over the cars."""
    looks = Looks(LIBRARY, COIL, [alone(fault, name)], CARS)
    shares = looks.shares(observer)((procedure, step))[0].mean(axis=0)
    ways = LIBRARY.step(procedure, step).ways()
    return {way.outcome: float(share) for way, share in zip(ways, shares, strict=True)}


def test_all_answers_of_everybody_add_up_to_one() -> None:
    """Every observer gives exactly one answer at every step."""
    looks = Looks(LIBRARY, COIL, [alone(NONE, "sound"), alone("driver-dead", "never-switches")], CARS)
    for observer in (*EVERYBODY, Observer("x", wrong_end=("coil-and-driver", "wire-ohms"))):
        for key in STEPS:
            found = looks.shares(observer)(key)
            assert found.min() >= -1e-9
            assert found.sum(axis=2) == pytest.approx(1), (observer.name, key)


def test_everybody_is_led_through_and_the_wrong_end_is_probed_once_at_each_place() -> None:
    """An observer for each step that touches the driver's end, and each of them errs at that step alone."""
    led = observers(LIBRARY, "coil-and-driver", Request(("coil-and-driver",)))
    assert {one.name for one in EVERYBODY} | {"wrong end"} == {one.name for one in led}
    wrong = [one.wrong_end for one in led if one.wrong_end]
    assert len(wrong) == len(set(wrong)) > 5
    for key in wrong:
        assert "driver-end" in (STEPS[key].measure.probe, STEPS[key].measure.clip)


# --- who leaves something out ---------------------------------------------------------------------


def test_who_skips_skips_all_that_may_be_skipped() -> None:
    """And nothing that may not; an honest one skips nothing."""
    for step in STEPS.values():
        assert SKIPPING.leaves_out(step) is (step.if_skipped is not None)
        assert not HONEST.leaves_out(step)


def test_who_has_no_clamp_skips_the_clamp_and_one_that_shows_the_mean_has_no_scope() -> None:
    """Both make every other test."""
    may = [
        step
        for procedure in LIBRARY.procedures.values()
        for step in procedure.steps.values()
        if step.if_skipped is not None
    ]
    assert {"current-clamp", "clamp-scope"} <= {step.measure.instrument for step in may}
    for step in may:
        assert NO_CLAMP.leaves_out(step) is (step.measure.instrument in CLAMPS)
        assert MEAN_CLAMP.leaves_out(step) is (step.measure.instrument in ("clamp-scope", "ramp-timer"))


def test_who_has_no_value_of_the_maker_leaves_the_reading_unjudged() -> None:
    """A reading that is judged by the maker's value says nothing to him; others he judges as anybody does."""
    judged = [
        (procedure.circuit, procedure.name, step)
        for procedure in LIBRARY.procedures.values()
        for step in procedure.steps.values()
        if step.reading and step.reading.specified() and step.reading.unjudged is not None
    ]
    assert judged
    circuit, procedure, step = judged[0]
    looks = Looks(LIBRARY, circuit, [alone(NONE, None, circuit)], CARS)
    names = [way.outcome for way in step.ways()]
    assert step.reading is not None
    assert step.reading.unjudged is not None
    unjudged = names.index(step.reading.unjudged.outcome)
    assert looks.shares(BLANK)((procedure, step.name))[..., unjudged].min() > 0.99
    assert looks.shares(HONEST)((procedure, step.name))[..., unjudged].max() < 0.01
    assert answered("coil-and-driver", "leak-ohms", BLANK) == answered("coil-and-driver", "leak-ohms", HONEST)


# --- who errs -------------------------------------------------------------------------------------


def test_a_clamp_that_shows_the_mean_shows_next_to_nothing_of_a_pulse() -> None:
    """Source: the mean of a ramp of I over a dwell of t in a period of T is about I t / 2T: some 0.05 A of 7 A.

    So it says that no current is switched, where a clamp that holds the peak sees it.
    """
    step = ("driver-supply-and-inputs", "primary-current")
    assert answered(*step, HONEST)["switching"] > 0.99
    assert answered(*step, MEAN_CLAMP)["none"] > 0.9
    typical = Systems.typical()
    found = seen(COIL, alone(NONE, "sound"), STEPS[step].measure, typical)
    assert found.value is not None
    assert found.mean is not None
    values = typical.values
    surge = 60 / (2 * float(values["crank-speed"][0]))  # two surges of the starter in a turn, four cylinders
    wanted = float(found.value[0]) * float(values["dwell"][0]) / 2 / (2 * surge)
    assert float(found.mean[0]) == pytest.approx(wanted, rel=0.2)


@pytest.mark.parametrize(
    ("procedure", "step", "answer"),
    [
        ("feed-dead", "feed-key-on", "dark"),
        ("coil-and-driver", "led-in-coils-place", "dark"),
        ("coil-and-driver", "primary-ohms", "open"),
        ("coil-and-driver", "wire-drop", "poor"),
        ("coil-control", "feed-volts-while-cranking", "none"),
        ("driver-supply-and-inputs", "crank-signal", "missing"),
    ],
)
def test_who_misses_a_pin_sees_a_dark_lamp_an_open_circuit_or_nothing(
    procedure: str, step: str, answer: str
) -> None:
    """In 3 of 100 probings of a sound car, and in the others what everybody sees."""
    honest, misses = answered(procedure, step, HONEST), answered(procedure, step, MISSES)
    assert misses[answer] == pytest.approx(MISSED + (1 - MISSED) * honest[answer])
    for other, share in honest.items():
        if other != answer:
            assert misses[other] == pytest.approx((1 - MISSED) * share)


def test_of_two_places_either_pin_may_be_missed() -> None:
    """3 of 100 miss the feed, 3 the switched side; where the feed is dead the second one does not matter."""
    step = ("coil-control", "feed-and-switched")
    honest, misses = answered(*step, HONEST), answered(*step, MISSES)
    assert honest["sharper"] + honest["same"] > 0.99
    assert misses["feed-dark"] == pytest.approx(MISSED, abs=1e-3)
    assert misses["switched-dark"] == pytest.approx(MISSED, abs=1e-3)
    dead = answered(*step, MISSES, "open-feed", "relay-does-not-close")
    assert dead["feed-dark"] > 0.99
    assert sum(dead.values()) == pytest.approx(1)


def test_no_pin_is_missed_where_none_is_probed_or_where_it_would_be_noticed() -> None:
    """Eyes, diagram, clamp and spark tester have no pin; a battery that reads nothing is measured again."""
    battery = STEPS["coil-control", "battery-while-cranking"]
    assert missed(battery, len(battery.ways())) is None
    for place in (
        ("coil-control", "battery-while-cranking"),
        ("driver-supply-and-inputs", "security-lamp"),
        ("coil-and-driver", "towers"),
        ("coil-and-driver", "ballast"),
        ("driver-supply-and-inputs", "primary-current"),
    ):
        assert answered(*place, MISSES) == pytest.approx(answered(*place, HONEST))


def test_the_wrong_end_is_probed_at_one_step_and_nowhere_else() -> None:
    """The coil's end for the driver's: an open wire blinks at neither, and reads through from a pin to itself."""
    ohms = ("coil-and-driver", "wire-ohms")
    once = Observer("wrong end", wrong_end=ohms)
    for key, step in STEPS.items():
        wrong = looked_at(step, key, once)
        if key == ohms:
            assert (wrong.clip, wrong.probe) == ("switched", "switched")
        else:
            assert wrong == step.measure
    broken = ("control-wire-open", "wire")
    assert answered(*ohms, HONEST, *broken)["open"] > 0.99
    assert answered(*ohms, once, *broken)["sound"] > 0.99
    led = ("coil-and-driver", "led-at-module")
    assert answered(*led, Observer("x", wrong_end=led), *broken) == pytest.approx(
        answered("coil-and-driver", "led-in-coils-place", HONEST, *broken)
    )


def test_where_nobody_cranks_everything_is_as_with_the_key_on() -> None:
    """No spark, no current, no light in the coil's place, and a battery that holds: of a sound car, too."""
    for key, step in STEPS.items():
        wanted = Engine.KEY_ON if step.measure.engine is Engine.CRANKING else step.measure.engine
        assert looked_at(step, key, NOBODY_CRANKS).engine is wanted
    assert answered("coil-and-driver", "towers", NOBODY_CRANKS)["no-spark"] > 0.99
    assert answered("coil-and-driver", "led-in-coils-place", NOBODY_CRANKS)["dark"] > 0.99
    assert answered("driver-supply-and-inputs", "primary-current", NOBODY_CRANKS)["none"] > 0.99
    assert answered("driver-supply-and-inputs", "crank-signal", NOBODY_CRANKS)["missing"] > 0.99
    weak = ("weak-battery", "worn-out")
    assert answered("coil-control", "battery-while-cranking", HONEST, *weak)["low"] > 0.5
    assert answered("coil-control", "battery-while-cranking", NOBODY_CRANKS, *weak)["low"] < 0.01


def test_who_misreads_gives_every_other_answer_alike() -> None:
    """At 5 % a lamp that is lit is called dim or dark in 2.5 % each; what is looked up is not misread."""
    found = answered("feed-dead", "feed-key-on", misreads(0.05), "driver-dead", "never-switches")
    honest = answered("feed-dead", "feed-key-on", HONEST, "driver-dead", "never-switches")
    for outcome, share in honest.items():
        assert found[outcome] == pytest.approx(0.95 * share + 0.05 * (1 - share) / 2)
    for name in ("ballast",):
        assert LIBRARY.step("coil-and-driver", name).measure.instrument in SENSES
        assert answered("coil-and-driver", name, misreads(0.3)) == answered("coil-and-driver", name, HONEST)


# --- what is worked out once ------------------------------------------------------------------------


def test_observers_who_answer_alike_are_worked_out_once() -> None:
    """The share of two observers at a step is what each of them would answer alone."""
    mechanisms = [alone("control-wire-open", "wire"), alone("shorted-primary", "full")]
    shared = Looks(LIBRARY, COIL, mechanisms, CARS)
    crowd = (*EVERYBODY, Observer("wrong end", wrong_end=("coil-and-driver", "wire-ohms")))
    for observer in crowd:
        by_himself = Looks(LIBRARY, COIL, mechanisms, CARS)
        for key in STEPS:
            assert np.array_equal(shared.shares(observer)(key), by_himself.shares(observer)(key))
    lamp: Step = STEPS["coil-and-driver", "led-at-module"]
    assert alike(lamp, ("coil-and-driver", "led-at-module"), crowd[-1]) == HONEST
    assert alike(lamp, ("coil-and-driver", "led-at-module"), MISSES) != HONEST
