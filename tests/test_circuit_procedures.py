"""The procedures around spark, feed, primary, built-in driver and switched load, against the rules of the trade.

The rules are common practice, no source, as far as no source is named.
"""

from __future__ import annotations

import shutil
from decimal import Decimal
from typing import TYPE_CHECKING

import pytest
from shipped import shipped_library

from assistant import resources
from assistant.core.library.procedure import Answer, Engine, Leads, Step, Target
from assistant.core.library.vocabulary import FILAMENTS, SENSES
from assistant.core.words import instructing
from assistant.errors import FileProblem
from assistant.linting import paths
from assistant.loading.folder import load_library

if TYPE_CHECKING:
    from pathlib import Path

LIBRARY = shipped_library()
LOGIC = [place.name for place in LIBRARY.terms.places.values() if place.logic]

Way = tuple[tuple[Step, Answer | None], ...]


def ways(name: str) -> list[tuple[Way, Target]]:
    """Every way through a procedure."""
    return list(paths(LIBRARY.procedures[name]))


def condemned(name: str) -> list[tuple[Way, str]]:
    """Every way that ends in a verdict with a part, and that part."""
    verdicts = LIBRARY.procedures[name].verdicts
    return [
        (way, verdicts[target.name].part)
        for way, target in ways(name)
        if target.leads is Leads.VERDICT and verdicts[target.name].part
    ]


def answered(way: Way) -> dict[str, str]:
    """Step to answer, without skipped ones."""
    return {step.name: answer.outcome for step, answer in way if answer}


# --- no filament on a logic place -----------------------------------------------------------------


@pytest.mark.parametrize("lamp", FILAMENTS)
@pytest.mark.parametrize("place", ["trigger", "trigger-source", "crank-signal", "sensor-supply"])
def test_a_filament_on_a_logic_place_cannot_be_loaded(tmp_path: Path, lamp: str, place: str) -> None:
    """The loader names the file, the line, the place and what to use instead."""
    folder = shutil.copytree(resources.directory("procedures"), tmp_path / "procedures")
    path = folder / "built-in-driver-coil.yaml"
    text = path.read_text(encoding="utf-8")
    old = "{with: heavy-lamp, clip: battery-negative, probe: feed, engine: cranking}"
    assert old in text
    path.write_text(
        text.replace(old, f"{{with: {lamp}, clip: battery-negative, probe: {place}, engine: cranking}}"),
        encoding="utf-8",
    )
    with pytest.raises(
        FileProblem, match=rf"built-in-driver-coil\.yaml:\d+: step 'supply' .*'{place}'.*logic-probe"
    ):
        load_library(folder)


@pytest.mark.parametrize("place", ["switched", "driver-end"])
def test_another_name_for_the_trigger_lets_no_filament_in(tmp_path: Path, place: str) -> None:
    """In the circuit of a built-in driver the coil's control places carry the same logic signal."""
    folder = shutil.copytree(resources.directory("procedures"), tmp_path / "procedures")
    path = folder / "built-in-driver-coil.yaml"
    text = path.read_text(encoding="utf-8")
    old = "{with: heavy-lamp, clip: battery-negative, probe: feed, engine: cranking}"
    new = f"{{with: test-lamp, clip: battery-negative, probe: {place}, engine: key-on}}"
    path.write_text(text.replace(old, new), encoding="utf-8")
    with pytest.raises(FileProblem, match=rf"built-in-driver-coil\.yaml:\d+: step 'supply' .*'{place}'"):
        load_library(folder)


def test_the_trigger_is_probed_only_with_what_does_not_load_it() -> None:
    """No lamp in any procedure; an ohmmeter only with both ends unplugged; and the coil's control places never."""
    for procedure in LIBRARY.procedures.values():
        for step in procedure.steps.values():
            touched = {step.measure.clip, step.measure.probe, step.measure.compared_with}
            if touched & set(LOGIC):
                assert step.measure.instrument not in FILAMENTS
            if procedure.circuit == "built-in-driver-coil":
                assert not touched & {"switched", "driver-end"}
            if step.measure.instrument == "ohmmeter" and touched & set(LOGIC):
                assert set(step.measure.unplugged) in ({"coil", "module"}, {"crank-sensor"})


def test_a_coil_with_its_driver_inside_is_never_handed_to_a_lamp_on_its_trigger() -> None:
    """The other procedures put a lamp on the control wire, so none of them follows.

    A fault that comes and goes is watched where a test failed: no step of that names a lamp or a place, and before
    anything is hooked up it is said that no bulb goes on a trigger or a signal wire.
    """
    follows = set()
    for _, target in ways("built-in-driver-coil"):
        assert target.leads is Leads.VERDICT
        follows.add(LIBRARY.procedures["built-in-driver-coil"].verdicts[target.name].continue_with)
    assert follows == {"after-repair", "intermittent"}
    watching = LIBRARY.procedures["intermittent"]
    assert {step.measure.instrument for step in watching.steps.values()} <= set(SENSES)
    assert watching.start == "watched-place"
    assert {"no-lamp-on-trigger", "no-lamp-on-sensors"} <= set(watching.steps[watching.start].cautions)
    told = LIBRARY.cautions["no-lamp-on-trigger"].full.lower()
    assert "never a bulb on the trigger" in told


def test_a_lamp_beside_the_trigger_comes_with_its_warning() -> None:
    """The heavy lamp at the coil's supply and ground: the trigger is one pin away."""
    for name in ("supply", "supply-drop", "ground-drop", "trigger"):
        assert "no-lamp-on-trigger" in LIBRARY.step("built-in-driver-coil", name).cautions


# --- the spark tester -----------------------------------------------------------------------------


def test_every_spark_test_warns_takes_the_lamp_off_and_keeps_raw_fuel_away() -> None:
    """Grounded, no open lead, no lamp, no raw fuel: in the cautions, and in the instrument's own preparation."""
    found = 0
    for procedure in LIBRARY.procedures.values():
        for step in procedure.steps.values():
            if step.measure.instrument == "spark-tester":
                found += 1
                assert {"secondary", "cranking", "spark-tester", "injectors"} <= set(step.cautions)
                assert step.measure.clip == "engine-block"
                assert step.measure.engine is Engine.CRANKING
    assert found >= 4
    assert "lamp" in LIBRARY.terms.instruments["spark-tester"].prepare
    full = LIBRARY.cautions["spark-tester"].full.lower()
    for words in ("ground the spark tester", "never hold it", "every open lead gets a tester", "lamp off"):
        assert words in full
    assert "injectors stay off" in LIBRARY.cautions["injectors"].full.lower()
    for words in ("grounded", "no open lead"):
        assert words in LIBRARY.cautions["spark-tester"].short.lower()


def test_the_spark_check_condemns_a_coil_only_after_it_was_swapped() -> None:
    """Nothing else of this procedure names a part."""
    found = condemned("spark-check")
    assert found
    for way, part in found:
        assert part == "ignition coil"
        assert answered(way)["swapped-coil"] in ("no-spark", "weak-spark")


def test_a_good_spark_says_what_these_tests_do_not_reach() -> None:
    """Fuel, compression and timing are named in what is said, not only in what is written."""
    says = LIBRARY.procedures["spark-check"].verdicts["ignition-sparks"].says.lower()
    for words in ("fuel", "compression", "timing"):
        assert words in says


def test_both_towers_of_a_waste_spark_coil_carry_a_tester() -> None:
    """One open lead takes the spark from both plugs."""
    step = LIBRARY.step("spark-check", "both-towers")
    assert "each tower" in step.look_for


def test_ohms_of_a_primary_are_asked_for_only_where_no_driver_is_built_in() -> None:
    """Behind a built-in driver an ohmmeter reads the driver, and a good coil would be called open."""
    for way, target in ways("spark-check"):
        if target == Target(Leads.VERDICT, "spark-weak"):
            assert answered(way)["coil-driver"] == "separate"
    continues = [
        verdict.name
        for verdict in LIBRARY.procedures["spark-check"].verdicts.values()
        if verdict.continue_with == "primary-check"
    ]
    assert continues == ["spark-weak"]


def test_a_weak_spark_alone_condemns_no_coil_with_a_built_in_driver() -> None:
    """A short dwell makes a sound coil weak as well: a sound one has to spark here, and the old one still not."""
    named = [way for way, part in condemned("built-in-driver-coil") if part == "ignition coil"]
    assert named
    for way in named:
        seen = answered(way)
        assert seen["battery-while-cranking"] == "holds"
        assert seen["ground-drop"] == "within"
        assert "present" in (seen["trigger"], seen.get("trigger-source"))
        assert seen["sound-coil"] == "strong-spark"
        assert seen["old-coil"] in ("weak-spark", "no-spark")


def test_a_trigger_wire_is_named_only_on_two_readings() -> None:
    """One open or bad reading may be a missed pin: the other end, or the leads changed over, has to agree."""
    named = [way for way, part in condemned("built-in-driver-coil") if part == "control wire"]
    assert named
    for way in named:
        bad = [step for step, answer in way if answer and answer.outcome in ("live", "grounded", "open")]
        assert len({(step.measure.clip, step.measure.probe) for step in bad}) == 2


# --- the primary ----------------------------------------------------------------------------------


def test_ohms_alone_never_condemn_a_shorted_primary() -> None:
    """Half an ohm is near the error of leads and contacts: only an open winding is named, and it is read twice."""
    found = condemned("primary-check")
    assert found
    for way, part in found:
        seen = answered(way)
        assert part == "ignition coil"
        assert (seen["resistance"], seen["resistance-again"]) == ("open", "open")


def test_a_ramp_is_read_only_with_a_clamp_that_was_proved() -> None:
    """A clamp that shows the mean shows next to nothing of a pulsed coil."""
    for way, _ in ways("primary-check"):
        if any(step.measure.probe == "feed-wire" for step, _ in way):
            assert answered(way)["clamp-proof"] == "quick"


def test_the_resistance_is_judged_by_the_maker_with_leads_and_temperature() -> None:
    """Nothing but 10 ohm, which no ignition primary has, is a limit of our own."""
    reading = LIBRARY.step("primary-check", "resistance").reading
    assert reading is not None
    assert reading.subtract == "lead-resistance"
    assert reading.at_20_celsius == "coil-temperature"
    assert reading.specified() == ("primary-resistance-lowest", "primary-resistance-highest")
    assert reading.unjudged is not None
    assert reading.unjudged.target == Target(Leads.STEP, "clamp-proof")


LEADS_OHMS = 0.5
"""The most that a sound pair of meter leads has (from memory)."""


def test_leads_are_subtracted_once() -> None:
    """When the assistant subtracts them, the person is told to give the reading as it is.

    Otherwise nobody subtracts them, and they are a tenth at most of every limit that the reading is held against.
    """
    found = set()
    for procedure in LIBRARY.procedures.values():
        for step in procedure.steps.values():
            if step.measure.instrument != "ohmmeter" or step.reading is None:
                continue
            told = " ".join(instructing.act(LIBRARY, step))
            found.add(bool(step.reading.subtract))
            assert (instructing.AS_SHOWN in told) is bool(step.reading.subtract), step.name
            for words in ("ubtract", "minus", "less the leads"):
                assert words not in f"{told} {step.look_for}", step.name
            if step.reading.subtract:
                assert step.reading.subtract in step.asks, step.name
                continue
            limits = [one for band in step.reading.bands for one in (band.low, band.high) if one]
            assert limits
            assert all(isinstance(one, Decimal) and float(one) >= 10 * LEADS_OHMS for one in limits), (
                step.name
            )
    assert "raw reading" in instructing.AS_SHOWN
    assert "Touch the meter leads together" in LIBRARY.terms.facts["lead-resistance"].question
    assert found == {True, False}


@pytest.mark.parametrize("name", sorted(LIBRARY.procedures))
def test_no_coil_driver_or_wire_is_named_by_ohms_with_leads_that_were_never_proved(name: str) -> None:
    """A broken lead shows O-L, which reads as free or open.

    On every way to such a verdict, the leads were touched together, or another reading went through them.
    """
    for way, part in condemned(name):
        if not {"coil", "driver", "control", "trigger", "accessory"} & set(part.split()):
            continue
        ohms = [
            (step, answer.outcome) for step, answer in way if answer and step.measure.instrument == "ohmmeter"
        ]
        if any(outcome in ("free", "open") for _, outcome in ohms):
            assert any(
                "lead-resistance" in step.asks or outcome in ("leaks", "sound", "bridged", "shorted")
                for step, outcome in ohms
            ), f"{part}: {answered(way)}"


def test_without_the_ramp_no_part_is_named() -> None:
    """A technician without a scope is told that ohms may miss shorted turns."""
    verdicts = LIBRARY.procedures["primary-check"].verdicts
    for way, target in ways("primary-check"):
        skipped = any(step.measure.instrument == "clamp-scope" and answer is None for step, answer in way)
        if skipped:
            assert not verdicts[target.name].part
    assert "can't rule out shorted" in verdicts["current-not-measured"].says


@pytest.mark.parametrize("name", ["primary-check", "feed-weak", "built-in-driver-coil", "spark-check"])
def test_no_driver_is_condemned_here(name: str) -> None:
    """Neither module nor control computer: what these procedures see does not reach their inputs."""
    for _, part in condemned(name):
        assert part in ("ignition coil", "ignition fuse") or "wire" in part or "circuit" in part


def test_a_driver_of_a_load_is_named_only_for_a_leak_that_goes_with_it() -> None:
    """It leaks twice with the module, and at neither end of the wire without it; a dead one is only suspected."""
    named = [(way, part) for way, part in condemned("ground-switched-load") if "module" in part]
    assert named
    for way, _ in named:
        seen = answered(way)
        assert (seen["leak-ohms"], seen["leak-ohms-again"]) == ("leaks", "leaks")
        assert (seen["leak-without-module"], seen["free-without-module-again"]) == ("free", "free")


# --- the feed and the load ------------------------------------------------------------------------


def test_a_drop_is_measured_with_the_heavy_lamp_as_load() -> None:
    """Without current there is no drop, whatever the resistance: the lamp draws it, or the starter does."""
    steps = LIBRARY.procedures["feed-weak"].steps.values()
    drops = [step for step in steps if step.reading and step.reading.unit == "V"]
    loaded = [step for step in drops if step.measure.instrument != "voltmeter"]
    assert len(loaded) == 6
    assert {step.measure.instrument for step in loaded} == {
        "loaded-voltmeter",
        "ground-drop-meter",
        "control-drop-meter",
    }
    # The feed, the ground and the control wire: the whole way of the coil's current.
    assert {"feed", "driver-ground", "switched"} <= {
        pin for step in loaded for pin in (step.measure.clip, step.measure.probe)
    }


def test_the_pieces_of_a_drop_are_measured_as_the_whole_was() -> None:
    """Pieces add up to the whole only with the same lamp in the same place, key and plugs alike."""
    steps = LIBRARY.procedures["feed-weak"].steps
    whole = steps["whole-drop"].measure
    for name in ("supply-drop", "wire-drop", "fuse-drop"):
        piece = steps[name].measure
        assert (piece.instrument, piece.engine, piece.unplugged) == (
            whole.instrument,
            whole.engine,
            whole.unplugged,
        )
    supply, wire = steps["supply-drop"].measure, steps["wire-drop"].measure
    assert (supply.probe, supply.clip, wire.probe, wire.clip) == (
        whole.probe,
        wire.probe,
        supply.clip,
        whole.clip,
    )


def test_no_eye_clears_or_condemns_a_feed_or_a_ground() -> None:
    """An eye takes the light behind half an ohm for lit; a meter reads a volt, and is what decides."""
    decided = 0
    for way, target in ways("feed-weak"):
        if target.leads is not Leads.VERDICT:
            continue
        decided += 1
        # Where the whole voltage is lost, a lamp looks for it at the other terminal, and a meter after it.
        lamps = [step for step, _ in way if step.measure.instrument in ("test-lamp", "heavy-lamp")]
        lit = [step for step in lamps if step.name != "other-terminal"]
        assert lit == []
        seen = answered(way)
        assert seen["whole-drop"]
        if target.name == "path-carries":
            assert seen["ground-drop"] == seen["ground-while-cranking"] == "within"
            assert "sound" in (seen["control-wire"], seen.get("control-wire-again"))
            assert seen["control-drop"] == "within"
        if target.name == "ground-poor":
            assert (seen["ground-drop"], seen["ground-ohms"]) == ("above", "poor")
    assert decided > 10


def test_a_ballast_resistor_is_asked_for_before_a_feed_wire_is_named() -> None:
    """Older systems have ohms in the feed on purpose: who does not know is not told that the wire is bad."""
    for way, target in ways("feed-weak"):
        if target.name == "feed-wire-poor":
            assert answered(way)["ballast"] == "absent"
        if answered(way).get("ballast") == "unknown":
            assert not LIBRARY.procedures["feed-weak"].verdicts[target.name].part


def test_a_lit_heavy_lamp_does_not_clear_a_feed_or_a_ground_by_itself() -> None:
    """An eye takes the light behind half an ohm for lit; the meter reads a volt."""
    for name, drop in (
        ("feed-weak", "whole-drop"),
        ("built-in-driver-coil", "supply-drop"),
        ("ground-switched-load", "feed-drop"),
    ):
        after = [answered(way) for way, _ in ways(name) if "ground-drop" in answered(way)]
        assert after
        for seen in after:
            assert {drop, f"{drop}-after-dark"} & set(seen), seen


def test_an_injector_is_not_cranked_as_if_it_were_disabled() -> None:
    """Its fuse is in again and there may be spark: the engine may start with hands at the probes."""
    for step in LIBRARY.procedures["ground-switched-load"].steps.values():
        if step.measure.engine is Engine.CRANKING:
            assert "cranking-to-start" in step.cautions
            assert "cranking" not in step.cautions
    assert "Injectors disabled" not in LIBRARY.cautions["cranking-to-start"].full


def test_a_lamp_goes_on_a_switched_part_only_when_the_diagram_says_ground_side() -> None:
    """Direct injectors carry dangerous voltage; a part that is switched on the power side reads backwards."""
    for way, target in ways("ground-switched-load"):
        seen = answered(way)
        if seen["switching"] == "ground-side":
            continue
        assert len(way) == 1
        assert target.leads is Leads.VERDICT
        assert not LIBRARY.procedures["ground-switched-load"].verdicts[target.name].faults


def test_a_winding_is_measured_before_a_switched_part_is_called_not_switched() -> None:
    """A shorted winding makes a driver protect itself, and kills the next one."""
    for way, target in ways("ground-switched-load"):
        if target.name.startswith("not-switched"):
            assert "resistance-before-driver" in answered(way)


def test_a_part_is_condemned_by_ohms_only_against_the_makers_value() -> None:
    """No load has a usual resistance: an injector has 2 or 16 ohm."""
    for name in ("resistance", "resistance-before-driver"):
        reading = LIBRARY.step("ground-switched-load", name).reading
        assert reading is not None
        assert reading.specified() == ("load-resistance-lowest", "load-resistance-highest")
        assert not [band for band in reading.bands if band.low is not None and band.low == 0]
        assert reading.unjudged is not None
        if reading.unjudged.target.leads is Leads.VERDICT:
            assert not LIBRARY.procedures["ground-switched-load"].verdicts[reading.unjudged.target.name].part
    for way, part in condemned("ground-switched-load"):
        assert "part" not in part, answered(way)


# --- stations -------------------------------------------------------------------------------------


def test_a_fault_that_comes_and_goes_is_looked_for_without_cranking_and_names_no_part() -> None:
    """The harness is moved by hand, so nobody cranks; heat and water come with their cautions."""
    procedure = LIBRARY.procedures["intermittent"]
    assert all(step.measure.engine in (Engine.KEY_OFF, Engine.KEY_ON) for step in procedure.steps.values())
    assert "hot-parts" in procedure.steps["warmed"].cautions
    assert "no-water-on-high-voltage" in procedure.steps["misted"].cautions
    assert not condemned("intermittent")
    asked = {tuple(answered(way)) for way, _ in ways("intermittent")}
    assert ("watched-place", "wiggled", "tapped", "warmed", "misted") in asked


def test_the_crank_sensor_is_measured_at_its_own_pins_and_never_named_as_a_part() -> None:
    """Ohms and A C volts with its connector off, by the manual's values; an open reading is taken twice."""
    procedure = LIBRARY.procedures["crank-sensor"]
    for name in ("sensor-ohms", "sensor-ohms-again", "sensor-ac-volts"):
        assert procedure.steps[name].measure.unplugged == ("crank-sensor",)
    assert not condemned("crank-sensor")
    for way, target in ways("crank-sensor"):
        if target.name == "sensor-winding-bad":
            seen = answered(way)
            assert seen["sensor-ohms"] == "shorted" or seen["sensor-ohms-again"] == "open"


def test_what_blew_a_fuse_is_looked_for_with_a_lamp_in_its_place_before_a_new_one() -> None:
    """The lamp limits the current of a short; every way to a verdict about an open fuse has it."""
    ends = {"fuse-blown", "fuse-blown-by-driver", "fuse-blown-by-control-wire", "feed-wire-shorted"}
    found = set()
    for way, target in ways("feed-dead"):
        if target.name in ends:
            found.add(target.name)
            assert "lamp-for-fuse" in answered(way)
    assert found == ends
    measure = LIBRARY.step("feed-dead", "lamp-for-fuse").measure
    assert (measure.clip, measure.probe, measure.unplugged) == ("fuse-supply", "fuse-load", ("fuse",))


def test_a_silent_coil_of_a_pair_is_swapped_before_anything_is_said_of_it() -> None:
    """A swap with a neighbor is decisive in minutes; who skips it is sent to the control test."""
    for way, target in ways("spark-check"):
        seen = answered(way)
        if seen.get("both-towers") in ("weak-spark", "no-spark"):
            assert "swapped-coil" in {step.name for step, _ in way}
            assert target.name != "coil-fails-swapped" or seen["swapped-coil"] != "strong-spark"
