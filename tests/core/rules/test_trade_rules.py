"""Rules of the trade: each finds its mistake, names file and line, and says nothing of the right way."""

from __future__ import annotations

import shutil
from dataclasses import replace
from typing import TYPE_CHECKING

import pytest

from assistant import resources
from assistant.core.rules import trade_rules
from assistant.loading.folder import load_library

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.core.values.finding import Finding

VERDICTS = """\
verdicts:
  fine:
    says: Fine.
    faults: []
    part: ""
    repair: None.
    verify: []
    next_check: {do: Look at the fuse., value: whole, source: common practice}
  bad:
    says: It is bad.
    faults: [driver-dead]
    part: driver module
    repair: Replace it.
    verify: [Engine starts]
    continue_with: small
"""

HEAD = """\
procedure: {name}
title: A small test
circuit: {circuit}
about: For tests.
needs: [meter]
asks: [lead-resistance, coil-temperature, primary-resistance-lowest]
start: {start}
steps:
"""

ALL = "secondary, cranking, switched-side, keep-key-on-short, lamp-on-powers-only, no-lamp-on-sensors, injectors"


def step(measure: str, *, more: str = "", answers: str = "", cautions: str = ALL, name: str = "first") -> str:
    """A step in YAML with two answers, or with what is given instead."""
    answers = answers or "answers: {lit: {verdict: fine}, dark: {verdict: bad}}"
    lines = [f"measure: {{{measure}}}", f"cautions: [{cautions}]", *more.splitlines(), *answers.splitlines()]
    return f"  {name}:\n" + "".join(f"    {line}\n" for line in lines)


def bands(unit: str, limit: str, source: str = "chosen", *, more: str = "", low: str = "bad") -> str:
    """A reading of two bands with one border."""
    high = "fine" if low == "bad" else "bad"
    return (
        f"reading:\n  unit: {unit}\n  plausible: [0, 1000]\n{more}  bands:\n"
        f"    low: {{below: {limit}, source: {source!r}, seen: low, verdict: {low}}}\n"
        f"    high: {{from: {limit}, source: {source!r}, seen: high, verdict: {high}}}"
    )


def found(
    folder: Path, steps: str, verdicts: str = VERDICTS, circuit: str = "coil-with-external-driver"
) -> list[Finding]:
    """Return the rules' findings on a folder with one procedure."""
    for name in ("terms.yaml", "cautions.yaml"):
        shutil.copy(resources.directory("procedures") / name, folder / name)
    terms = (folder / "terms.yaml").read_text(encoding="utf-8")
    if "heavy-lamp-lead:" not in terms:
        lead = "  heavy-lamp-lead: {kind: node, spoken: the lamp's lead, short: lamp lead}\n"
        (folder / "terms.yaml").write_text(
            terms.replace("places:\n", f"places:\n{lead}", 1), encoding="utf-8"
        )
    start = steps.split(":", 1)[0].strip()
    text = HEAD.format(name="small", circuit=circuit, start=start) + steps + verdicts
    (folder / "small.yaml").write_text(text, encoding="utf-8")
    return list(trade_rules.findings(load_library(folder)))


LAMP = "with: test-lamp, clip: battery-negative, probe: feed, engine: key-on"
BLINK = "answers: {blinking: {verdict: fine}, dark: {verdict: bad}}"
RAMP = "answers: {slow-ramp: {verdict: fine}, no-current: {verdict: bad}}"
SIGNAL = "answers: {present: {verdict: fine}, missing: {verdict: bad}}"
SPARK = "answers: {strong-spark: {verdict: fine}, no-spark: {verdict: bad}}"
SKIP = "if_skipped: {verdict: fine}"
OHMS = "with: ohmmeter, clip: feed, probe: switched, engine: key-off, unplugged: [coil]"
WIRE = "with: ohmmeter, clip: battery-negative, probe: driver-end, engine: key-off, unplugged: [coil]"
ENDS = "with: ohmmeter, clip: switched, probe: driver-end, engine: key-off, unplugged: [coil, module]"
VOLTS = "with: voltmeter, clip: battery-negative, probe: battery-positive, engine: key-off"
LOADED = "with: loaded-voltmeter, clip: feed, probe: battery-positive, engine: key-on"
GROUND = "with: heavy-lamp, clip: battery-positive, probe: driver-ground, engine: key-off"
SUPPLY = "with: heavy-lamp, clip: battery-negative, probe: driver-supply, engine: key-on"
TOUCH = (
    "with: test-lamp, clip: battery-positive, probe: driver-end, engine: key-off, unplugged: [module, coil]"
)
CLAMP = "with: current-clamp, probe: feed-wire, engine: cranking"
DRIVER_END = "with: test-lamp, clip: battery-negative, probe: driver-end, engine: cranking"
TESTER = "with: spark-tester, clip: engine-block, probe: plug-lead, engine: cranking"
SENSOR = "with: signal-meter, clip: battery-negative, probe: crank-signal, engine: cranking"
REVERSED = "with: test-lamp, clip: battery-positive, probe: switched, engine: key-on"
SUBTRACTED = "  subtract: lead-resistance\n"

PAIRS = {
    "a blink with the engine at rest": (
        step(DRIVER_END, answers=BLINK),
        step(DRIVER_END.replace("cranking", "key-on"), answers=BLINK),
        "'blinking' with key-on",
    ),
    "a ground tested from the wrong post": (
        step(GROUND),
        step(GROUND.replace("battery-positive", "battery-negative").replace("key-off", "key-on")),
        "tests the ground 'driver-ground' with a lamp on battery-negative",
    ),
    "a supply tested from the wrong post": (
        step(SUPPLY),
        step(SUPPLY.replace("battery-negative", "battery-positive")),
        "tests the supply 'driver-supply' with a lamp on battery-positive",
    ),
    "a fed lamp with the key off": (
        step(LAMP),
        step(LAMP.replace("key-on", "key-off")),
        "lamp on battery-negative with the key off",
    ),
    "a reversed lamp while it cranks": (
        step(REVERSED),
        step(REVERSED.replace("key-on", "cranking")),
        "from battery-positive to 'switched' while the engine turns",
    ),
    "a small lamp on a ground": (
        step(GROUND),
        step(GROUND.replace("heavy-lamp", "test-lamp")),
        "'driver-ground' with the small lamp",
    ),
    "a small lamp on a supply": (
        step(SUPPLY),
        step(SUPPLY.replace("heavy-lamp", "test-lamp")),
        "'driver-supply' with the small lamp",
    ),
    "a wire with the coil on it": (
        step(TOUCH),
        step(TOUCH.replace("[module, coil]", "[module]")),
        "has the module unplugged and the coil not",
    ),
    "a clamp with the key on": (
        step(CLAMP, more=SKIP, answers=bands("A", "5")),
        step(CLAMP.replace("cranking", "key-on"), more=SKIP, answers=bands("A", "5")),
        "the current-clamp with key-on",
    ),
    "a signal with the key on": (
        step(SENSOR, answers=SIGNAL),
        step(SENSOR.replace("cranking", "key-on"), answers=SIGNAL),
        "the signal-meter with key-on",
    ),
    "ohms with the key on": (
        step(OHMS, answers=bands("ohm", "10")),
        step(OHMS.replace("key-off", "key-on"), answers=bands("ohm", "10")),
        "measures ohms with key-on",
    ),
    "ohms with the coil plugged in": (
        step(OHMS, answers=bands("ohm", "10")),
        step(OHMS.replace(", unplugged: [coil]", ""), answers=bands("ohm", "10")),
        "with the coil plugged in",
    ),
    "a wire's ohms from end to end with the module plugged in": (
        step(ENDS, answers=bands("ohm", "10")),
        step(ENDS.replace("[coil, module]", "[coil]"), answers=bands("ohm", "10")),
        "with the module plugged in",
    ),
    "a wire's ohms to ground with the coil plugged in": (
        step(WIRE, answers=bands("ohm", "10")),
        step(WIRE.replace(", unplugged: [coil]", ""), answers=bands("ohm", "10")),
        "with the coil plugged in",
    ),
    "a load that the name only says": (
        step(LAMP.replace("test-lamp", "heavy-lamp"), name="feed-under-load"),
        step(LAMP, name="feed-under-load"),
        "not measured with a load, as its name says",
    ),
    "a cranking engine that the name only says": (
        step(LAMP.replace("key-on", "cranking"), name="feed-while-cranking"),
        step(LAMP, name="feed-while-cranking"),
        "not measured with a cranking engine",
    ),
    "a key that the name only says": (
        step(LAMP, name="feed-key-on"),
        step(LAMP.replace("key-on", "cranking"), name="feed-key-on"),
        "not measured with the key on",
    ),
    "a part off that the name only says": (
        step(TOUCH, name="wire-without-module"),
        step(TOUCH.replace("[module, coil]", "[coil]"), name="wire-without-module"),
        "not measured with the module unplugged",
    ),
    "a kilohm that its source does not name": (
        step(ENDS, answers=bands("ohm", "10000", "10 kilohm chosen")),
        step(ENDS, answers=bands("ohm", "5000", "10 kilohm chosen")),
        "the limit 5000",
    ),
    "a drop without a load": (
        step(LOADED, answers=bands("V", "0.5", low="fine")),
        step(LOADED.replace("loaded-voltmeter", "voltmeter"), answers=bands("V", "0.5", low="fine")),
        "judges 0.5 V without a load",
    ),
    "a load on the feed with the key off": (
        step(LOADED, answers=bands("V", "0.5", low="fine")),
        step(LOADED.replace("key-on", "key-off"), answers=bands("V", "0.5", low="fine")),
        "with the key off, when no current flows",
    ),
    "a ground's drop with the load on the feed": (
        step(
            "with: ground-drop-meter, clip: battery-negative, probe: driver-ground, engine: key-on",
            answers=bands("V", "0.1"),
        ),
        step(
            "with: loaded-voltmeter, clip: battery-negative, probe: driver-ground, engine: key-on",
            answers=bands("V", "0.1"),
        ),
        "measures the ground 'driver-ground' with a load on the feed",
    ),
    "a clamp that everybody needs": (
        step(CLAMP, more=SKIP, answers=bands("A", "5")),
        step(CLAMP, answers=bands("A", "5")),
        "cannot be skipped",
    ),
    "a spark tester without its caution": (
        step(TESTER, answers=SPARK, cautions="secondary, cranking, spark-tester, injectors"),
        step(TESTER, answers=SPARK, cautions="secondary, cranking, spark-tester"),
        "without a caution as 'injectors'",
    ),
    "a lamp at a module without its caution": (
        step(GROUND, cautions="live-circuit, lamp-on-powers-only"),
        step(GROUND, cautions="live-circuit"),
        "without a caution as 'lamp-on-powers-only'",
    ),
    "a sensor without its caution": (
        step(SENSOR, answers=SIGNAL, cautions="secondary, cranking, live-circuit, no-lamp-on-sensors"),
        step(SENSOR, answers=SIGNAL, cautions="secondary, cranking, live-circuit"),
        "without a caution as 'no-lamp-on-sensors'",
    ),
    "a reversed lamp without its caution": (
        step(REVERSED, cautions="live-circuit, keep-key-on-short"),
        step(REVERSED, cautions="live-circuit"),
        "without a caution as 'keep-key-on-short'",
    ),
    "small ohms with the leads": (
        step(OHMS, answers=bands("ohm", "0.3", more=SUBTRACTED)),
        step(OHMS, answers=bands("ohm", "0.3")),
        "does not subtract the leads",
    ),
    "the maker's ohms at any temperature": (
        step(
            OHMS,
            answers=bands(
                "ohm",
                "{specification: primary-resistance-lowest}",
                more=f"{SUBTRACTED}  at_20_celsius: coil-temperature\n  unjudged: {{verdict: fine}}\n",
            ),
        ),
        step(
            OHMS,
            answers=bands(
                "ohm",
                "{specification: primary-resistance-lowest}",
                more=f"{SUBTRACTED}  unjudged: {{verdict: fine}}\n",
            ),
        ),
        "which is for 20 degrees Celsius",
    ),
    "a limit that its source does not name": (
        step(VOLTS, answers=bands("V", "9.6", "floor 9.6 V at 20 C, TM 5-3895-382-24")),
        step(VOLTS, answers=bands("V", "4.8", "floor 9.6 V at 20 C, TM 5-3895-382-24")),
        "the limit 4.8 between 'low' and 'high'",
    ),
    "a part that a skipped test names": (
        step(DRIVER_END, more=SKIP, answers=BLINK),
        step(DRIVER_END, more="if_skipped: {verdict: bad}", answers=BLINK),
        "skipped, leads to the verdict 'bad', which names the part 'driver module'",
    ),
}


@pytest.mark.parametrize(("right", "wrong", "told"), PAIRS.values(), ids=list(PAIRS))
def test_a_rule_tells_its_mistake_and_nothing_of_the_right_way(
    tmp_path: Path, right: str, wrong: str, told: str
) -> None:
    """The wrong step has one finding with file and line, and the same step done rightly has none."""
    assert found(tmp_path, right) == []
    (finding,) = found(tmp_path, wrong)
    assert told in finding.problem
    assert finding.remedy
    assert finding.path == str(tmp_path / "small.yaml")
    assert "measure" in (tmp_path / "small.yaml").read_text(encoding="utf-8").splitlines()[finding.line - 1]


BAD = "faults: [driver-dead]\n    part: driver module"


@pytest.mark.parametrize(
    ("changed", "told"),
    [
        (
            "faults: [driver-dead]\n    part: ignition coil",
            "names the part 'ignition coil', and its faults are of",
        ),
        ("faults: [driver-dead]\n    part: switched part", "names the part 'switched part'"),
        ("faults: [driver-dead]\n    part: ground circuit of the driver", "'ground circuit of the driver'"),
        ("faults: []\n    part: driver module", "its faults are of: no part"),
        ("faults: [driver-dead, shorted-primary]\n    part: driver module", "says nothing of it"),
    ],
)
def test_a_part_that_does_not_fit_the_faults_is_told(tmp_path: Path, changed: str, told: str) -> None:
    """A verdict names a part that carries one of its faults, and is open about a fault of another part."""
    right = step(LAMP)
    assert found(tmp_path, right) == []
    assert BAD in VERDICTS
    findings = found(tmp_path, right, VERDICTS.replace(BAD, changed))
    assert any(told in finding.problem for finding in findings)
    lines = (tmp_path / "small.yaml").read_text(encoding="utf-8").splitlines()
    assert all("says: It is bad." in lines[finding.line - 1] for finding in findings)


@pytest.mark.parametrize(
    ("fault", "part"),
    [
        ("open-feed", "ignition fuse"),
        ("open-feed", "supply wire of the ignition relay"),
        ("open-feed", "control of the ignition relay"),
        ("weak-module-ground", "ground circuit of the coil"),
        ("weak-battery", "engine ground connection"),
        ("weak-battery", "starter cable"),
        ("no-driver-supply", "supply circuit of the driver"),
    ],
)
def test_a_part_may_be_named_more_exactly_than_its_circuit(tmp_path: Path, fault: str, part: str) -> None:
    """The feed wire, its fuse and its relay are the feed circuit; the words before "of" decide."""
    verdicts = VERDICTS.replace(BAD, f"faults: [{fault}]\n    part: {part}")
    assert found(tmp_path, step(LAMP), verdicts) == []


def test_a_fault_of_another_part_that_is_told_is_no_finding(tmp_path: Path) -> None:
    """A driver that a shorted coil may have killed: named, with the coil in the words beside it."""
    told = (
        BAD.replace("driver-dead", "driver-dead, shorted-primary")
        + "\n    still_possible: A bad coil killed it."
    )
    assert found(tmp_path, step(LAMP), VERDICTS.replace(BAD, told)) == []


@pytest.mark.parametrize(
    ("removed", "told"),
    [
        ("    continue_with: small\n", "names a fault and leads nowhere"),
        ("    verify: [Engine starts]\n", "nothing to verify"),
    ],
)
def test_a_verdict_that_leaves_a_person_alone_is_told(tmp_path: Path, removed: str, told: str) -> None:
    """After a fault the technician is led on, and after a part he learns what shows that it was the right one."""
    kept = VERDICTS.replace(removed, "    verify: []\n" if "verify" in removed else "")
    (finding,) = found(tmp_path, step(LAMP), kept)
    assert told in finding.problem


def test_a_stop_without_a_next_check_is_told(tmp_path: Path) -> None:
    """A verdict that names no part and leads to no test has to name the one check that comes next."""
    check = "    next_check: {do: Look at the fuse., value: whole, source: common practice}\n"
    assert check in VERDICTS
    (finding,) = found(tmp_path, step(LAMP), VERDICTS.replace(check, ""))
    assert "'fine' names no part, leads to no test and names no check" in finding.problem
    led_on = VERDICTS.replace(check, "    continue_with: small\n")
    assert found(tmp_path, step(LAMP), led_on) == []


def test_the_same_measurement_has_the_same_limit_unless_its_source_differs(tmp_path: Path) -> None:
    """Two steps of one measurement and one source: two limits are a finding, another source explains it."""
    one = step(VOLTS, answers=bands("V", "9.6").replace("verdict: fine", "next: second"))
    same = step(VOLTS, answers=bands("V", "9.6"), name="second")
    other = step(VOLTS, answers=bands("V", "9.0"), name="second")
    explained = step(VOLTS, answers=bands("V", "9.0", "in the cold, chosen"), name="second")
    assert found(tmp_path, one + same) == []
    assert found(tmp_path, one + explained) == []
    (finding,) = found(tmp_path, one + other)
    assert "has the limit 9.0, and the same measurement has 9.6" in finding.problem
    assert "step 'first'" in finding.problem


def test_the_same_measurement_has_the_same_cautions(tmp_path: Path) -> None:
    """A caution that only one of two equal steps has is missing in the other."""
    leads_on = "answers: {lit: {next: second}, dark: {verdict: bad}}"
    one = step(LAMP, cautions="live-circuit, hot-parts", answers=leads_on)
    (finding,) = found(tmp_path, one + step(LAMP, cautions="live-circuit", name="second"))
    assert "step 'second' is without the caution 'hot-parts'" in finding.problem
    assert found(tmp_path, one + step(LAMP, cautions="live-circuit, hot-parts", name="second")) == []


def test_a_second_clamp_reading_needs_no_skip(tmp_path: Path) -> None:
    """A technician who has just read a clamp has one: the next reading with it need not be skipped, unless the
    first was.
    """
    ramp = CLAMP.replace("current-clamp", "clamp-scope")
    first = step(ramp, more=SKIP, answers=RAMP.replace("verdict: fine", "next: second"))
    second = step(CLAMP, answers=bands("A", "5"), name="second")
    assert found(tmp_path, first + second) == []
    skipped = first.replace(SKIP, "if_skipped: {next: second}")
    (finding,) = found(tmp_path, skipped + second)
    assert "step 'second'" in finding.problem
    assert "cannot be skipped" in finding.problem


def test_a_clamp_may_be_tried_on_a_load_that_stays(tmp_path: Path) -> None:
    """The heavy lamp draws its current with the engine at rest, so that a clamp can be shown to work."""
    lead = CLAMP.replace("feed-wire", "heavy-lamp-lead").replace("cranking", "key-on")
    assert found(tmp_path, step(lead, more=SKIP, answers=bands("A", "5"))) == []


def test_the_small_lamp_may_touch_a_ground_again_that_the_heavy_one_has_loaded(tmp_path: Path) -> None:
    """After a dark heavy lamp the small one proves the contact; alone it hides some ohms."""
    first = step(GROUND, answers="answers: {lit: {verdict: fine}, dark: {next: second}}")
    second = step(GROUND.replace("heavy-lamp", "test-lamp"), name="second")
    assert found(tmp_path, first + second) == []


def test_a_kind_of_coil_leads_to_the_tests_of_that_kind() -> None:
    """A filament lamp on the trigger of a coil with a built-in driver harms it: the two ways may not change places."""
    library = load_library(resources.directory("procedures"))
    kinds = library.procedures["spark-check"].steps["coil-driver"]
    assert trade_rules.kind_fits(library, library.procedures["spark-check"], kinds) is None
    led = {answer.outcome: answer.target for answer in kinds.answers}
    other = {"built-in": "separate", "separate": "built-in"}
    swapped = tuple(
        replace(answer, target=led[other.get(answer.outcome, answer.outcome)]) for answer in kinds.answers
    )
    told = trade_rules.kind_fits(library, library.procedures["spark-check"], replace(kinds, answers=swapped))
    assert told is not None
    assert "the other kind of coil" in told[0]


def test_what_is_shipped_keeps_the_rules() -> None:
    """The procedures of the package have no finding."""
    assert list(trade_rules.findings(load_library(resources.directory("procedures")))) == []
