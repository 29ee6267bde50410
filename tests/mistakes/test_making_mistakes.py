"""Mistakes in procedures: each kind changes what it says and only that, and the choice is by lot from a seed."""

from __future__ import annotations

import shutil
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import pytest
import yaml

from assistant import resources
from assistant.loading.folder import load_library
from assistant.mistakes import editing, making
from assistant.mistakes.editing import Edit, Mistake, ProcedureSource

if TYPE_CHECKING:
    from pathlib import Path

    from assistant.core.library.procedure import Procedure

SHIPPED = resources.directory("procedures")

MADE = """\
procedure: made
start: volts
steps:
  volts:
    measure: {with: voltmeter, clip: battery-negative, probe: battery-positive, engine: key-off}
    cautions: [live-circuit, hot-parts]
    good: high
    if_skipped: {next: lamp}
    reading:
      unit: V
      bands:
        low: {below: "9.6", source: s, seen: low, verdict: bad}
        high: {from: "9.6", source: s, seen: high, next: lamp}
  lamp:
    measure: {with: test-lamp, clip: battery-negative, probe: feed, engine: key-on}
    cautions: [live-circuit]
    good: lit
    answers:
      lit: {next: ohms, rules_out: [open-feed]}
      dark: {procedure: other}
  ohms:
    measure: {with: ohmmeter, clip: feed, probe: switched, engine: key-off, unplugged: [coil]}
    asks: [lead-resistance, primary-resistance-lowest]
    cautions: []
    good: right
    reading:
      unit: ohm
      subtract: lead-resistance
      at_20_celsius: coil-temperature
      bands:
        low: {below: {specification: primary-resistance-lowest}, source: s, seen: low, verdict: bad}
        right: {from: {specification: primary-resistance-lowest}, source: s, seen: right, verdict: fine}
      unjudged: {verdict: fine}
verdicts:
  fine: {faults: [], part: ""}
  bad: {faults: [open-primary], part: ignition coil, continue_with: other}
"""

OTHER = """\
procedure: other
start: only
steps:
  only:
    measure: {with: eyes, probe: security-lamp, engine: key-on}
    cautions: []
    answers: {lamp-on: {verdict: on}, lamp-off: {verdict: off}}
verdicts:
  on: {faults: [no-inputs], part: sensor}
  off: {faults: [], part: ""}
"""

FEW_TERMS: dict[str, Any] = {
    "places": {
        name: {"kind": kind}
        for name, kind in (
            ("battery-positive", "node"),
            ("battery-negative", "node"),
            ("feed", "node"),
            ("switched", "node"),
            ("driver-end", "node"),
            ("coil", "part"),
        )
    },
    "instruments": {
        "voltmeter": {"clip": "c", "units": ["V"]},
        "loaded-voltmeter": {"clip": "c", "units": ["V"]},
        "current-clamp": {"clip": "", "units": ["A"]},
        "ohmmeter": {"clip": "c", "units": ["ohm"]},
        "test-lamp": {"clip": "c", "outcomes": ["lit", "dark"]},
        "heavy-lamp": {"clip": "c", "outcomes": ["lit", "dark"]},
        "eyes": {"clip": "", "outcomes": ["lamp-on", "lamp-off", "lit", "dark"]},
    },
    "facts": {
        "lead-resistance": {"kind": "number", "unit": "ohm"},
        "primary-resistance-lowest": {"kind": "number", "unit": "ohm", "specification": "true"},
        "primary-resistance-highest": {"kind": "number", "unit": "ohm", "specification": "true"},
        "feed-drop-highest": {"kind": "number", "unit": "V", "specification": "true"},
    },
}

EXPECTED = {
    "limit halved": ["volts: the limit 9.6 becomes 4.80"],
    "limit doubled": ["volts: the limit 9.6 becomes 19.2"],
    "limit ten times": ["volts: the limit 9.6 becomes 96.0"],
    "maker's value": ["ohms: the maker's primary-resistance-lowest becomes primary-resistance-highest"],
    "bands swapped": [
        "volts: low and high are led where the other one led",
        "ohms: low and right are led where the other one led",
    ],
    "answers swapped": ["lamp: lit and dark are led where the other one led"],
    "answer led elsewhere": [
        "volts: low leads to next lamp, not to verdict bad",
        "volts: high leads to verdict bad, not to next lamp",
        "lamp: lit leads to procedure other, not to next ohms",
        "lamp: dark leads to next ohms, not to procedure other",
        "ohms: low leads to verdict fine, not to verdict bad",
        "ohms: right leads to verdict bad, not to verdict fine",
    ],
    "handed over elsewhere": [
        "lamp: dark hands over to third, not to other",
        "bad: goes on with third, not with other",
    ],
    "hand-over dropped": ["bad: does not go on with other"],
    "skip led elsewhere": ["volts: skipped leads to verdict bad, not to next lamp"],
    "skip dropped": ["volts: cannot be skipped any more"],
    "clip moved": ["lamp: the clip is on battery-positive, not on battery-negative"],
    "probe moved": [
        "volts: the probe is on feed, not on battery-positive",
        "volts: the probe is on switched, not on battery-positive",
        "lamp: the probe is on switched, not on feed",
        "ohms: the probe is on driver-end, not on switched",
    ],
    "engine state": [
        "volts: key-on, not key-off",
        "lamp: cranking, not key-on",
        "lamp: key-off, not key-on",
        "ohms: key-on, not key-off",
    ],
    "not unplugged": ["ohms: coil stays plugged in"],
    "unplugged besides": ["volts: coil is unplugged", "lamp: coil is unplugged"],
    "other lamp": ["lamp: with the heavy-lamp, not the test-lamp"],
    "other instrument": ["volts: with the loaded-voltmeter, not the voltmeter"],
    "step dropped": [
        "volts: dropped; what led there leads to next lamp",
        "lamp: dropped; what led there leads to next ohms",
        "ohms: dropped; what led there leads to verdict fine",
    ],
    "exclusion skirted": [
        "volts: high leads past lamp to next ohms",
        "lamp: lit leads past ohms to verdict fine",
    ],
    "other part": ["bad: names the sensor, not ignition coil"],
    "part named": ["fine: names the ignition coil, not no part", "fine: names the sensor, not no part"],
    "fault added": ["fine: covers open-primary as well"],
    "fault left out": ["bad: does not cover open-primary"],
    "ruled out besides": [
        "volts: low rules out open-primary as well",
        "volts: high rules out open-primary as well",
        "lamp: lit rules out open-primary as well",
        "lamp: dark rules out open-primary as well",
        "ohms: low rules out open-primary as well",
        "ohms: right rules out open-primary as well",
    ],
    "leads not subtracted": ["ohms: 'subtract: lead-resistance' is missing"],
    "temperature ignored": ["ohms: 'at_20_celsius: coil-temperature' is missing"],
    "caution dropped": [
        "volts: the caution live-circuit is missing",
        "volts: the caution hot-parts is missing",
        "lamp: the caution live-circuit is missing",
    ],
}
"""What each kind makes of the procedure above: every place in which it fits, and no other."""


def made() -> ProcedureSource:
    """The procedure above, in a folder with two others."""
    trees = {
        name: yaml.load(text, Loader=yaml.BaseLoader)  # noqa: S506  texts only
        for name, text in (("made", MADE), ("other", OTHER))
    }
    trees["third"] = {"verdicts": {}}
    return ProcedureSource("made", trees["made"], FEW_TERMS, trees)


def flat(tree: Any, keys: tuple[str, ...] = ()) -> dict[tuple[str, ...], Any]:
    """Each text or list of a tree under its keys."""
    if not isinstance(tree, dict):
        return {keys: tree}
    return {place: value for key, below in tree.items() for place, value in flat(below, (*keys, key)).items()}


def changed(before: Any, after: Any) -> set[tuple[str, ...]]:
    """The keys of all that differs."""
    one, two = flat(before), flat(after)
    return {keys for keys in one.keys() | two.keys() if one.get(keys) != two.get(keys)}


def test_every_kind_is_tried() -> None:
    """A kind that is added has its expectation here."""
    assert set(EXPECTED) == set(making.KINDS)


@pytest.mark.parametrize("kind", EXPECTED)
def test_a_kind_finds_its_places_and_says_what_it_changes(kind: str) -> None:
    """On a small procedure each kind makes exactly the mistakes that fit there."""
    mistakes = list(making.KINDS[kind](made()))
    assert [f"{mistake.place.split('/')[1]}: {mistake.what}" for mistake in mistakes] == EXPECTED[kind]
    assert {(mistake.kind, mistake.procedure) for mistake in mistakes} == {(kind, "made")}


@pytest.mark.parametrize("kind", EXPECTED)
def test_a_mistake_changes_what_it_names_and_nothing_else(kind: str) -> None:
    """Every later difference lies under the keys of an edit, or is gone because nothing leads there any more."""
    source = made()
    for mistake in making.KINDS[kind](source):
        after = editing.apply(source.tree, mistake)
        differing = changed(source.tree, after)
        edited = [edit.keys for edit in mistake.edits]
        loose = {keys for keys in differing if not any(keys[: len(one)] == one for one in edited)}
        assert differing
        assert loose == set() or mistake.tidy
        assert all(keys[1] not in after[keys[0]] for keys in loose)
        assert source.tree == made().tree  # the original is untouched


@pytest.mark.parametrize(
    ("kind", "keys", "value"),
    [
        ("limit doubled", ("steps", "volts", "reading", "bands", "low", "below"), "19.2"),
        ("limit doubled", ("steps", "volts", "reading", "bands", "high", "from"), "19.2"),
        ("answers swapped", ("steps", "lamp", "answers", "dark", "next"), "ohms"),
        ("answers swapped", ("steps", "lamp", "answers", "lit", "rules_out"), ["open-feed"]),
        ("maker's value", ("steps", "ohms", "asks"), ["lead-resistance", "primary-resistance-highest"]),
        ("clip moved", ("steps", "lamp", "measure", "clip"), "battery-positive"),
        ("step dropped", ("start",), "lamp"),
        ("fault left out", ("verdicts", "bad", "faults"), []),
    ],
)
def test_the_change_stands_in_the_tree(kind: str, keys: tuple[str, ...], value: Any) -> None:
    """The first mistake of some kinds, by what stands in the file afterwards."""
    mistake = next(iter(making.KINDS[kind](made())))
    assert flat(editing.apply(made().tree, mistake))[keys] == value


def test_what_nothing_leads_to_is_gone_after_a_tidy_mistake() -> None:
    """A dropped step takes along what only it led to, so that the loader does not find that alone."""
    dropped = list(making.KINDS["step dropped"](made()))[2]
    after = editing.apply(made().tree, dropped)
    assert set(after["steps"]) == {"volts", "lamp"}
    assert after["steps"]["lamp"]["answers"]["lit"] == {"verdict": "fine", "rules_out": ["open-feed"]}
    kept = editing.apply(made().tree, replace(dropped, tidy=False, edits=dropped.edits[:1]))
    assert "ohms" in kept["steps"]


def test_a_file_that_is_written_again_is_loaded_as_before(tmp_path: Path) -> None:
    """Reading and writing a folder changes no procedure but for its lines."""
    folder = shutil.copytree(SHIPPED, tmp_path / "procedures")
    for name, source in editing.read(folder).items():
        nothing = Mistake("none", name, "steps/none", "nothing", ())
        text = editing.written(editing.apply(source.tree, nothing))
        (folder / f"{name}.yaml").write_text(text, encoding="utf-8")

    def plain(procedure: Procedure) -> Procedure:
        steps = {name: replace(step, line=0) for name, step in procedure.steps.items()}
        return replace(procedure, file="", steps=steps)

    before, after = load_library(SHIPPED), load_library(folder)
    assert {name: plain(one) for name, one in before.procedures.items()} == {
        name: plain(one) for name, one in after.procedures.items()
    }


def test_the_choice_is_by_lot_from_its_seed() -> None:
    """The same seed gives the same mistakes, another one gives others."""
    everything = making.everything(editing.read(SHIPPED))
    assert making.choose(everything, 60, 1) == making.choose(everything, 60, 1)
    assert making.choose(everything, 60, 1) != making.choose(everything, 60, 2)


def test_the_choice_is_spread_over_kinds_and_procedures() -> None:
    """No kind gets two more than another that has as many, and a kind goes through all procedures first."""
    everything = making.everything(editing.read(SHIPPED))
    chosen = making.choose(everything, 90, 1)
    assert len(chosen) == len({f"{one.kind} {one}" for one in chosen}) == 90
    counts = {kind: sum(one.kind == kind for one in chosen) for kind in everything}
    least = min(count for kind, count in counts.items() if len(everything[kind]) > max(counts.values()))
    assert max(counts.values()) - least <= 1
    for kind, count in counts.items():
        places = {one.procedure for one in everything[kind]}
        assert len({one.procedure for one in chosen if one.kind == kind}) == min(count, len(places))


def test_a_kind_that_is_short_gives_all_and_the_others_more() -> None:
    """Asked for more than there is, the choice is everything."""
    few = {"a": [_mistake("a", "1")], "b": [_mistake("b", str(number)) for number in range(5)]}
    assert [one.kind for one in making.choose(few, 4, 1)] == ["a", "b", "b", "b"]
    assert sorted(map(str, making.choose(few, 99, 1))) == sorted(
        str(one) for many in few.values() for one in many
    )


def _mistake(kind: str, what: str) -> Mistake:
    return Mistake(kind, "made", "steps/volts", what, (Edit(("start",), what),))
