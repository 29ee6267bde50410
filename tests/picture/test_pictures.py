"""Every step on every fault as a picture that can be read."""

from __future__ import annotations

import itertools
import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from shipped import shipped_library

from assistant.circuit.catalogue import CIRCUITS, mechanisms
from assistant.circuit.network import nodes_of
from assistant.circuit.parameters import PARAMETERS
from assistant.circuit.places import CABLES
from assistant.circuit.problems import CircuitProblem
from assistant.cli import main
from assistant.commands import picturing
from assistant.core.library.procedure import Engine, Measurement
from assistant.core.library.vocabulary import NO_CIRCUIT, SENSES
from assistant.errors import UsageProblem
from assistant.picture import connection, marks, plots, svg, whole

if TYPE_CHECKING:
    from assistant.core.library.procedure import Procedure, Step
    from assistant.picture.svg import Canvas

LIBRARY = shipped_library()
MEASURED = [
    (procedure, step)
    for procedure in LIBRARY.procedures.values()
    for step in procedure.steps.values()
    if step.measure.instrument not in SENSES and procedure.circuit != NO_CIRCUIT
]
STEPS = [pytest.param(*pair, id=f"{pair[0].name}-{pair[1].name}") for pair in MEASURED]
CONTROL = LIBRARY.procedures["coil-control"]
SWITCHED = CONTROL.steps["feed-and-switched"]


def unreadable(canvas: Canvas) -> list[str]:
    """Return what a reader would stumble over: words on words, words over the edge, a lead through words."""
    sheet = svg.Box(0, 0, canvas.width, canvas.height)
    found = [f"'{label.text}' leaves the sheet" for label in canvas.labels if not label.box.inside(sheet)]
    found += [
        f"'{one.text}' touches '{other.text}'"
        for one, other in itertools.combinations(canvas.labels, 2)
        if one.box.touches(other.box)
    ]
    found += [
        f"a lead runs through '{label.text}'"
        for label in canvas.labels
        for lead in canvas.leads
        if label.text != "(fault)" and label.box.crossed(lead)
    ]
    return found


@pytest.mark.parametrize(("procedure", "step"), STEPS)
def test_every_step_can_be_drawn_and_read_for_every_fault(procedure: Procedure, step: Step) -> None:
    """On each way in which a fault comes about: a sheet that can be read, and curves of what a car can do.

    No word on another, none cut off, none under a lead; no voltage above the driver's clamp behind an open switch,
    none far below ground, no current of a welder.
    """
    every = mechanisms(procedure.circuit)
    clamp = PARAMETERS["clamp-voltage"].default
    for mechanism, said in zip(every, picturing.each_said(LIBRARY, procedure, step, every), strict=True):
        assert [] == unreadable(whole.sheet(LIBRARY, procedure, step, said)), mechanism
        assert pytest.approx(1.0, abs=1e-6) == sum(said.shares)
        trace = said.trace
        assert trace is not None
        for volts in (trace.probe_v, trace.feed_v, trace.clip_v):
            assert -20 < volts.min() <= volts.max() < 1.1 * clamp, mechanism
        assert np.abs(trace.current_a).max() < 60, mechanism


@pytest.mark.parametrize("circuit", connection.CIRCUITS)
def test_every_point_of_every_circuit_can_be_probed_in_the_drawing(circuit: str) -> None:
    """Each node of the circuit model has a place in the drawing, whatever is unplugged and wherever the clip is."""
    drawn = connection.nodes(circuit)
    if circuit != marks.STARTER:
        assert set(drawn) >= set(nodes_of(CIRCUITS[circuit])) - {"coil-low", "starter-terminal"}
    for probe in drawn:
        clip = "battery-positive" if probe == "battery-negative" else "battery-negative"
        for unplugged in ((), ("coil",), ("module",), ("module", "coil")):
            if (probe.endswith("-signal") or probe in ("sensor-supply", "command")) and "module" in unplugged:
                continue  # the model refuses it: the signal is probed at the module, which also gives the supply
            measure = Measurement("test-lamp", clip, probe, Engine.KEY_ON, unplugged)
            if probe in CABLES:
                measure = Measurement("current-clamp", None, probe, Engine.CRANKING, unplugged)
            assert [] == unreadable(connection.drawn(circuit, measure, LIBRARY.terms)), (probe, unplugged)


def test_every_node_of_the_terms_is_on_a_drawing() -> None:
    """A point has a position, unless only procedures without an electrical circuit measure there."""
    drawn = {node for circuit in connection.CIRCUITS for node in connection.nodes(circuit)}
    touched: dict[bool, set[str | None]] = {True: set(), False: set()}
    for procedure in LIBRARY.procedures.values():
        for step in procedure.steps.values():
            measure = step.measure
            touched[procedure.circuit != NO_CIRCUIT] |= {measure.clip, measure.probe, measure.compared_with}
    elsewhere = touched[False] - touched[True] - drawn
    nodes = {place.name for place in LIBRARY.terms.places.values() if place.kind == "node"}
    assert nodes - elsewhere == drawn


def test_every_circuit_of_the_model_has_a_drawing() -> None:
    """No circuit is left without a picture."""
    assert set(CIRCUITS) == set(connection.CIRCUITS)


def test_every_fault_is_marked_where_it_is() -> None:
    """Each mechanism changes something that has a place in the drawing, so the mark is never missing."""
    measure = SWITCHED.measure
    for circuit in ("coil-with-external-driver", "built-in-driver-coil", "ground-switched-load"):
        for mechanism in mechanisms(circuit):
            canvas = connection.drawn(circuit, measure, LIBRARY.terms, picturing.changed(mechanism))
            marked = any(label.text == "(fault)" for label in canvas.labels)
            assert (mechanism.fault != "none") is marked, mechanism


def test_every_change_of_a_fault_has_its_place() -> None:
    """Nothing that a fault changes is left without a mark, but what shows a fault and is in no drawing."""
    changed = {name for circuit in CIRCUITS for one in mechanisms(circuit) for name in picturing.changed(one)}
    assert marks.NOT_DRAWN == changed - set(marks.WHERE)


def test_a_spark_that_breaks_down_is_marked_where_it_does() -> None:
    """Inside the coil for a bad coil, behind the coil for a bad lead or plug."""
    (coil,) = marks.places(("breakdown-voltage", "burning-voltage"), CONTROL.circuit)
    (lead,) = marks.places(("breakdown-voltage", "lead-to-ground"), CONTROL.circuit)
    assert coil[0] < 668 < lead[0]


def test_instruments_that_show_something_else_look_different() -> None:
    """A filament lamp, an LED light, a voltmeter and an ohmmeter at the same places are four drawings."""
    drawings = {
        connection.inline(
            CONTROL.circuit,
            Measurement(name, "feed", "driver-end", Engine.KEY_OFF, ("coil",)),
            LIBRARY.terms,
            "a",
        ).replace(LIBRARY.terms.instruments[name].short, "")
        for name in ("test-lamp", "led-light", "voltmeter", "ohmmeter")
    }
    assert 4 == len(drawings)


def test_a_borrowed_and_a_refitted_coil_are_named_in_the_drawing() -> None:
    """The picture shows which coil is in the place."""
    for step, name in (("sound-coil", "sound coil, borrowed"), ("old-coil", "old coil, refitted")):
        measure = LIBRARY.step("coil-and-driver", step).measure
        labels = {label.text for label in connection.drawn(CONTROL.circuit, measure, LIBRARY.terms).labels}
        assert name in labels
        assert "ignition coil" not in labels


def test_the_known_load_of_a_clamp_is_drawn_with_its_lamp() -> None:
    """The heavy lamp is there on the battery's posts, and only for this measurement."""
    measure = Measurement("current-clamp", None, "heavy-lamp-lead", Engine.KEY_OFF)
    other = replace(measure, probe="feed-wire")
    for one, there in ((measure, True), (other, False)):
        labels = {label.text for label in connection.drawn(CONTROL.circuit, one, LIBRARY.terms).labels}
        assert there is ("heavy lamp" in labels)


def test_the_drawing_follows_from_the_measurement() -> None:
    """Another place, instrument, engine state or unplugged part gives another drawing; the same gives the same."""
    measure = SWITCHED.measure
    others = [
        measure,
        replace(measure, probe="driver-end"),
        replace(measure, clip="battery-positive"),
        replace(measure, instrument="voltmeter"),
        replace(measure, engine=Engine.KEY_ON),
        replace(measure, unplugged=("coil",)),
        replace(measure, compared_with=None),
    ]
    drawings = [connection.inline(CONTROL.circuit, one, LIBRARY.terms, "a") for one in others]
    assert len(drawings) == len(set(drawings))
    assert drawings[0] == connection.inline(CONTROL.circuit, measure, LIBRARY.terms, "a")


def test_the_lead_ends_on_the_point_that_is_named() -> None:
    """With the coil unplugged, an ohmmeter is on the coil's own terminals and a lamp in its plug."""
    lamp = Measurement("test-lamp", "battery-negative", "switched", Engine.KEY_ON, ("coil",))
    ohm = Measurement("ohmmeter", "feed", "switched", Engine.KEY_OFF, ("coil",))
    plug = connection.drawn(CONTROL.circuit, lamp, LIBRARY.terms).leads[-1][-1]
    coil = {lead[-1] for lead in connection.drawn(CONTROL.circuit, ohm, LIBRARY.terms).leads}
    assert 2 == len(coil)
    assert all(x > plug[0] for x, _ in coil)


def test_a_picture_is_one_whole_file_that_says_where_it_comes_from() -> None:
    """Well-formed, nothing from elsewhere, with title and description, and the model named as a model."""
    text = picturing.picture(LIBRARY, "coil-control", "feed-and-switched", "shorted-primary")
    root = ET.fromstring(text)  # noqa: S314
    assert "http" not in text.replace("http://www.w3.org/2000/svg", "")
    space = "{http://www.w3.org/2000/svg}"
    title, about = root.find(f"{space}title"), root.find(f"{space}desc")
    assert title is not None
    assert about is not None
    assert whole.MODEL_ONLY in (about.text or "")
    words = " ".join(element.text or "" for element in root.iter(f"{space}text"))
    assert whole.MODEL_ONLY in words
    for unit in ("Voltage (V)", "(A)", "(%", "(in thresholds", "time (s)", "time (ms)"):
        assert unit in words


def test_curves_are_told_apart_without_colour() -> None:
    """A compared line is dashed, a measured one is whole, and each has its name beside it."""
    canvas = svg.Canvas(800, 400)
    time = np.linspace(0, 1, 50)
    panel = plots.Panel(
        "Voltage (V)",
        (plots.Curve(time, "feed side", compared=True), plots.Curve(2 * time, "switched side")),
        0,
        2,
    )
    plots.draw(canvas, 0, time, [panel])
    assert {"feed side", "switched side"} <= {label.text for label in canvas.labels}
    strokes = re.findall(r'stroke-width="2(?:\.6)?"( stroke-dasharray="[^"]+")?', canvas.svg("", ""))
    assert 1 == sum(bool(stroke) for stroke in strokes)


def test_a_spike_between_two_columns_stays_visible() -> None:
    """A flyback of one sample among a hundred thousand is drawn, cut off at the axis, marked and said."""
    time = np.linspace(0, 1, 100_000)
    values = np.full_like(time, 12.0)
    values[54_321] = 380.0
    canvas = svg.Canvas(800, 300)
    plots.draw(canvas, 0, time, [plots.Panel("Voltage (V)", (plots.Curve(values, "x"),), 0, 14, -2, 16, "V")])
    assert "arrows: on to 380 V" in {label.text for label in canvas.labels}


@pytest.mark.parametrize(
    ("low", "high", "expected"),
    [(0, 14, [0, 5, 10]), (0, 0.9, [0, 0.5]), (-15, 30, [0, 20]), (0, 120, [0, 50, 100])],
)
def test_axes_have_round_numbers(low: float, high: float, expected: list[float]) -> None:
    """Steps of 1, 2 or 5 times a power of ten, none outside the axis."""
    assert expected == pytest.approx(plots.ticks(low, high, 4))


def test_the_room_of_words_is_never_too_small() -> None:
    """A letter that the table lacks counts as the widest, and bold takes at least the room of plain."""
    assert svg.text_width("\N{OHM SIGN}", 10) >= svg.text_width("W", 10)
    for sign in map(chr, range(32, 127)):
        assert svg.text_width(sign, 10, bold=True) >= svg.text_width(sign, 10)


# --- the command ----------------------------------------------------------------------------------

GOOD = ["picture", "--procedure", "coil-control", "--step", "feed-and-switched"]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (["--procedure", "coil"], "There is no procedure 'coil'. Known are: after-repair"),
        (
            ["--step", "nowhere"],
            "The procedure 'coil-control' has no step 'nowhere'. It has: battery-while-cranking, feed-and-switched",
        ),
        (["--fault", "gremlin"], "has no fault 'gremlin'. Known are: none, coil-secondary"),
        (["--fault", "open-feed", "--mechanism", "rust"], "has no mechanism 'rust'. Known are: fuse-blown"),
        (["--lamp", "7"], "There is no lamp '7'. Known are: 53, 194"),
        (["--system", "mine"], "'mine' is not a system. Use 'typical', or 'seed:7'"),
        (
            ["--procedure", "driver-supply-and-inputs", "--step", "security-lamp"],
            "only looks at something and connects nothing, so there is nothing to draw. Steps with a connection",
        ),
        (["--out", "no/such/folder/x.svg"], "x.svg cannot be written"),
    ],
)
def test_a_wrong_question_is_answered_with_what_there_is(
    change: list[str], says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit 2 and one sentence that names what can be asked for."""
    assert 2 == main([*GOOD, *change])
    assert says in capsys.readouterr().err


def test_svg_and_png_are_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both files from one call; the PNG has two dots for each unit of the SVG."""
    pytest.importorskip("cairosvg", reason="PNG needs the extra bay-assistant[picture]", exc_type=ImportError)
    vector, dots = tmp_path / "x.svg", tmp_path / "x.png"
    assert 0 == main([*GOOD, "--system", "seed:3", "--out", str(vector), "--png", str(dots)])
    head = dots.read_bytes()[:24]
    assert b"\x89PNG\r\n\x1a\n" == head[:8]
    width = float(ET.fromstring(vector.read_text(encoding="utf-8")).attrib["width"])  # noqa: S314
    assert 2 * width == int.from_bytes(head[16:20], "big")
    assert "" == capsys.readouterr().out


def test_without_the_optional_package_a_png_is_refused_in_a_sentence(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It says what to install, and that the SVG needs nothing."""
    monkeypatch.setitem(sys.modules, "cairosvg", None)
    assert 2 == main([*GOOD, "--png", str(tmp_path / "x.png")])
    assert "pip install 'bay-assistant[picture]'" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_nothing_is_drawn_that_the_circuit_does_not_have() -> None:
    """An unknown circuit or point, or a look, is refused by name; a write-up leaves it out."""
    look = Measurement("eyes", None, "security-lamp", Engine.KEY_ON)
    nowhere = Measurement("voltmeter", "battery-negative", "feed", Engine.CRANKING)
    for circuit, measure, says in (
        ("steam", SWITCHED.measure, "The circuit 'steam' has no drawing"),
        (CONTROL.circuit, look, "Nothing is connected"),
        (marks.STARTER, nowhere, "has no point 'feed' to draw a lead to. It has: battery-positive"),
    ):
        with pytest.raises(UsageProblem, match=re.escape(says)):
            connection.drawn(circuit, measure, LIBRARY.terms)
        assert "" == connection.inline(circuit, measure, LIBRARY.terms, "a")


def test_a_fault_that_the_circuit_cannot_have_is_refused() -> None:
    """Battery and starter have no coil."""
    with pytest.raises(CircuitProblem, match="has no fault 'open-primary'"):
        picturing.picture(LIBRARY, "battery-and-cranking", "ground-drop", "open-primary")
