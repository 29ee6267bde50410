"""Procedure files to procedures, and what is said about each mistake."""

from __future__ import annotations

import re
import shutil
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings, strategies as st

from assistant import resources
from assistant.core.library.library import Library
from assistant.core.library.procedure import Leads, NextCheck, Specified
from assistant.core.library.procedure_file import parse_procedure
from assistant.core.library.terms import Hazard
from assistant.core.library.vocabulary import UNJUDGED
from assistant.errors import FileProblem, UsageProblem
from assistant.loading.folder import load_library

SHIPPED = resources.directory("procedures")
GOOD = """\
procedure: small
title: A small test
circuit: none
about: For tests.
needs: [voltmeter]
start: volts
steps:
  volts:
    measure: {with: voltmeter, clip: battery-negative, probe: battery-positive, engine: cranking}
    cautions: [secondary, cranking, live-circuit]
    good: high
    reading:
      unit: V
      plausible: [0, 18]
      bands:
        low:  {below: 9.6, source: s, seen: low, next: lamp}
        high: {from: 9.6, source: s, seen: high, verdict: fine}
  lamp:
    measure: {with: test-lamp, clip: battery-negative, probe: feed, engine: key-on}
    cautions: [live-circuit]
    answers:
      lit:  {verdict: fine}
      dark: {procedure: small}
verdicts:
  fine: {says: Fine., faults: [], part: "", repair: None., verify: []}
"""


ASKING = """\
procedure: small
title: A small test
circuit: none
about: For tests.
needs: [ohmmeter]
asks: [lead-resistance, coil-temperature]
start: primary
steps:
  primary:
    measure: {with: ohmmeter, clip: feed, probe: switched, engine: key-off, unplugged: [coil]}
    asks: [primary-resistance-lowest, primary-resistance-highest]
    cautions: []
    reading:
      unit: ohm
      plausible: [0, 20000000]
      subtract: lead-resistance
      at_20_celsius: coil-temperature
      unjudged: {verdict: fine}
      bands:
        open:   {from: {specification: primary-resistance-highest}, source: s, seen: high, verdict: bad}
        normal:
          from: {specification: primary-resistance-lowest}
          below: {specification: primary-resistance-highest}
          source: s
          seen: normal
          verdict: fine
        shorted: {below: {specification: primary-resistance-lowest}, source: s, seen: low, verdict: bad}
verdicts:
  fine: {says: Fine., faults: [], part: "", repair: None., verify: []}
  bad:  {says: Bad., faults: [], part: "", repair: None., verify: []}
"""
"""A procedure whose reading is judged by facts."""


@pytest.fixture(scope="module")
def library() -> Library:
    return load_library(SHIPPED)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    for name in ("terms.yaml", "cautions.yaml"):
        shutil.copy(SHIPPED / name, tmp_path / name)
    (tmp_path / "small.yaml").write_text(GOOD)
    return tmp_path


def test_the_shipped_procedures_load(library: Library) -> None:
    """Everything that comes with the package is loaded whole."""
    files = {path.stem for path in SHIPPED.glob("*.yaml")} - {"terms", "cautions", "odds"}
    assert files == set(library.procedures)


def test_a_small_procedure_is_read_as_written(folder: Path) -> None:
    """Bands, limits, targets and hand-over come out as they stand in the file."""
    procedure = load_library(folder).procedures["small"]
    reading = procedure.steps["volts"].reading
    assert reading is not None
    assert [("low", None, Decimal("9.6")), ("high", Decimal("9.6"), None)] == [
        (band.outcome, band.low, band.high) for band in reading.bands
    ]
    dark = procedure.steps["lamp"].answer("dark")
    assert dark is not None
    assert (dark.target.leads, dark.target.name) == (Leads.PROCEDURE, "small")


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        ("start: volts", "start: vlots", 6, "did you mean 'volts'"),
        ("probe: battery-positive", "probe: battery-postive", 9, "did you mean 'battery-positive'"),
        (
            "cautions: [secondary, cranking, live-circuit]",
            "cautions: [secondary, live-circuit]",
            9,
            "hazard 'cranking'",
        ),
        (
            "cautions: [secondary, cranking, live-circuit]",
            "cautions: [secondary, crankin, live-circuit]",
            10,
            "did you mean 'cranking'",
        ),
        ("engine: cranking", "engine: spinning", 9, "no engine state 'spinning'"),
        ("below: 9.6", "below: 9.4", 16, "gap or overlap"),
        ("below: 9.6", "below: nine", 16, "not a number"),
        ("high: {from: 9.6, source: s", "high: {from: 9.6", 17, "no 'source'"),
        ("plausible: [0, 18]", "plausible: [18, 0]", 14, "is empty"),
        ("plausible: [0, 18]", "plausible: 18", 14, "not a list"),
        ("unit: V", "unit: A", 13, "no unit of a voltmeter 'A'"),
        ("clip: battery-negative, probe: feed", "clip: feed, probe: feed", 19, "both on 'feed'"),
        (
            "clip: battery-negative, probe: feed",
            "probe: feed",
            19,
            "does not say where the test lamp is clipped",
        ),
        ("lit:  {verdict: fine}", "lit:  {verdict: fine, next: volts}", 22, "exactly one of"),
        ("lit:  {verdict: fine}", "glowing: {verdict: fine}", 22, "no outcome of a test lamp 'glowing'"),
        ("dark: {procedure: small}", "dark: {procedure: smal}", 23, "did you mean 'small'"),
        ("next: lamp", "verdict: fine", 18, "no answer leads to step 'lamp'"),
        ("good: high", "good: hihg", 11, "did you mean 'high'"),
        ("procedure: small", "procedure: big", 1, "its file 'small.yaml'"),
        ("title: A small test", "titel: A small test", 2, "did you mean 'title'"),
        ("faults: []", "faults: [bad-luck]", 25, "no fault 'bad-luck'"),
        ("verify: []", "verify: [], next_check: {do: Look., value: 12 V}", 25, "no 'source'"),
        (
            "verify: []",
            'verify: [], next_check: {do: Look., value: "", source: s}',
            25,
            "'value' of .* is empty",
        ),
        (
            "verify: []",
            "verify: [], next_check: {do: Look., valeu: 12 V, source: s}",
            25,
            "did you mean 'value'",
        ),
        ("verify: []", "verify: [], next_check: Look.", 25, "a map of names is expected"),
        (
            "verify: []",
            "verify: [], next_check: {do: Look., value: 12 V, source: s, come_back: smal}",
            25,
            "did you mean 'small'",
        ),
    ],
)
def test_each_mistake_is_named_with_its_line_and_what_would_be_right(
    folder: Path, old: str, new: str, line: int, words: str
) -> None:
    """A wrong name, limit or reference raises FileProblem at the line where it stands."""
    text = GOOD.replace(old, new, 1)
    assert text != GOOD
    (folder / "small.yaml").write_text(text)
    with pytest.raises(FileProblem, match=re.compile(words, re.IGNORECASE)) as caught:
        load_library(folder)
    assert line == caught.value.line


def test_a_next_check_is_read_as_written_and_is_none_where_there_is_none(folder: Path) -> None:
    """A verdict carries what its file says of the next check; files of earlier versions, which name none, load."""
    assert load_library(folder).procedures["small"].verdicts["fine"].next_check is None
    check = "next_check: {do: Look at it., value: 12 V, source: from memory, come_back: the second bay}"
    (folder / "small.yaml").write_text(GOOD.replace("verify: []", f"verify: [], {check}"))
    verdict = load_library(folder).procedures["small"].verdicts["fine"]
    assert verdict.next_check == NextCheck("Look at it.", "12 V", "from memory", "the second bay")


def test_limits_from_the_maker_are_read_in_their_order(folder: Path) -> None:
    """Bands whose limits are specifications are chained by them; what is asked and subtracted is kept."""
    (folder / "small.yaml").write_text(ASKING)
    procedure = load_library(folder).procedures["small"]
    step = procedure.steps["primary"]
    assert step.reading is not None
    lowest, highest = Specified("primary-resistance-lowest"), Specified("primary-resistance-highest")
    assert [("shorted", None, lowest), ("normal", lowest, highest), ("open", highest, None)] == [
        (band.outcome, band.low, band.high) for band in step.reading.bands
    ]
    assert ("lead-resistance", "coil-temperature") == procedure.asks
    assert ("primary-resistance-lowest", "primary-resistance-highest") == step.asks
    assert step.reading.unjudged == step.answer(UNJUDGED)


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        (
            "asks: [lead-resistance, coil-temperature]",
            "asks: [coil-temperature]",
            9,
            "'lead-resistance', but neither the step",
        ),
        ("asks: [lead-resistance,", "asks: [lead-resistence,", 6, "did you mean 'lead-resistance'"),
        ("subtract: lead-resistance", "subtract: lamp-current", 16, "is a number in A"),
        ("subtract: lead-resistance", "subtract: vin", 16, "of the kind vin"),
        ("      unjudged: {verdict: fine}\n", "", 14, "no 'unjudged'"),
        ("unjudged: {verdict: fine}", "unjudged: {verdict: fin}", 18, "did you mean 'fine'"),
        (
            "{specification: primary-resistance-lowest}, source",
            "{specification: lead-resistance}, source",
            27,
            "is not a specification",
        ),
        (
            "{specification: primary-resistance-lowest}, source",
            "{spec: primary-resistance-lowest}, source",
            27,
            "'spec' is not known",
        ),
        (
            "shorted: {below: {specification: primary-resistance-lowest}",
            "shorted: {below: 0.3",
            27,
            "gap or overlap",
        ),
    ],
)
def test_mistakes_about_facts_are_named_with_their_line(
    folder: Path, old: str, new: str, line: int, words: str
) -> None:
    """A fact that nobody asks for, that is in another unit, or that is no specification is refused."""
    assert ASKING.count(old) == 1
    (folder / "small.yaml").write_text(ASKING.replace(old, new))
    with pytest.raises(FileProblem) as caught:
        load_library(folder)
    assert f"small.yaml:{line}:" in str(caught.value)
    assert words.lower() in str(caught.value).lower()


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("question: What's the VIN?", "question: " + "which " * 13 + "VIN?", "has 14 words"),
        ("longest: 16", "longest: many", "'longest' of 'order'"),
        ("longest: 16", "unit: V", "has no 'unit'"),
        ("unit: celsius", "unit: kelvin", "no unit 'kelvin'"),
        ("kind: vin", "kind: vim", "Did you mean 'vin'"),
        (
            "choices: {helper: a helper, remote-switch: remote switch}",
            "choices: {helper: a helper}",
            "1 choices",
        ),
        ("plausible: [0, 1250000]", "plausible: [0]", "needs two numbers"),
        ("whole: true\n    plausible: [0", "whole: maybe\n    plausible: [0", "'maybe'"),
    ],
)
def test_mistakes_in_the_facts_themselves_are_named(folder: Path, old: str, new: str, words: str) -> None:
    """A fact of the terms that cannot be asked for is refused with its line."""
    terms = (folder / "terms.yaml").read_text()
    assert old in terms
    (folder / "terms.yaml").write_text(terms.replace(old, new, 1))
    with pytest.raises(FileProblem, match=r"terms\.yaml:\d+:") as caught:
        load_library(folder)
    assert words in str(caught.value)


LEADS, WARM = "lead-resistance", "coil-temperature"
LOWEST, HIGHEST = "primary-resistance-lowest", "primary-resistance-highest"


@pytest.mark.parametrize(
    ("value", "facts", "judged", "band"),
    [
        ("0.7", {LEADS: "0.2", LOWEST: "0.4", HIGHEST: "0.6"}, "0.5", "normal"),
        ("0.7", {LOWEST: "0.4", HIGHEST: "0.6"}, "0.7", "open"),
        ("0.1", {LEADS: "0.2", LOWEST: "0.4", HIGHEST: "0.6"}, "0", "shorted"),
        ("0.4", {LOWEST: "0.4", HIGHEST: "0.6"}, "0.4", "normal"),
        ("0.5", {}, "0.5", None),
        ("0.7", {HIGHEST: "0.6"}, "0.7", "open"),
        ("0.5", {HIGHEST: "0.6"}, "0.5", None),
        ("0.3", {LOWEST: "0.4"}, "0.3", "shorted"),
        ("0.5", {LOWEST: "0.6", HIGHEST: "0.4"}, "0.5", None),
        # 0.5 ohm of copper at 20 degrees is 0.5982 ohm at 70 degrees: 0.5 (1 + 0.00393 * 50).
        ("0.59825", {WARM: "70", LOWEST: "0.4", HIGHEST: "0.55"}, "0.5", "normal"),
    ],
)
def test_a_reading_is_judged_by_what_was_given(
    folder: Path, value: str, facts: dict[str, str], judged: str, band: str | None
) -> None:
    """Leads off, copper as at 20 degrees, the maker's limits; without the limit that decides there is no band."""
    (folder / "small.yaml").write_text(ASKING)
    reading = load_library(folder).procedures["small"].steps["primary"].reading
    assert reading is not None
    found = reading.judge(Decimal(value), {name: Decimal(number) for name, number in facts.items()})
    assert Decimal(judged) == found.value
    assert band == (found.band.outcome if found.band else None)


def test_no_shipped_step_that_can_hurt_loads_without_its_caution(library: Library) -> None:
    """Taking any one needed caution out of any shipped step makes the file unloadable."""
    for procedure in library.procedures.values():
        path = Path(procedure.file)
        for step in procedure.steps.values():
            for hazard in step.measure.hazards():
                covering = [name for name in step.cautions if hazard in library.cautions[name].covers]
                kept = [name for name in step.cautions if name not in covering]
                head, tail = path.read_text().split(f"\n  {step.name}:\n", 1)
                tail = re.sub(r"cautions: \[[^]]*\]", f"cautions: [{', '.join(kept)}]", tail, count=1)
                broken = f"{head}\n  {step.name}:\n{tail}".encode()
                with pytest.raises(FileProblem, match="none of its cautions covers"):
                    parse_procedure(broken, procedure.file, library.terms, library.cautions)


def test_steps_that_crank_or_touch_high_voltage_have_the_hazard(library: Library) -> None:
    """Hazards derive from the measurement alone, so no file can forget to state them."""
    for procedure in library.procedures.values():
        for step in procedure.steps.values():
            hazards = step.measure.hazards()
            assert (step.measure.engine in ("cranking", "running")) == (Hazard.CRANKING in hazards)
            if step.measure.probe in ("switched", "driver-end") and step.measure.engine == "cranking":
                assert Hazard.SWITCHED_VOLTAGE in hazards


def test_a_missing_folder_is_named() -> None:
    """A folder without terms is refused with the file's path."""
    with pytest.raises(UsageProblem, match=r"terms\.yaml"):
        load_library(Path("does-not-exist"))


def test_a_name_used_by_two_files_is_refused(folder: Path) -> None:
    """The second file with a mistake in its name is found by its own check."""
    (folder / "other.yaml").write_text(GOOD)
    with pytest.raises(FileProblem, match=r"its file 'other\.yaml'"):
        load_library(folder)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150)
@given(data=st.data())
def test_any_damage_to_a_file_gives_a_procedure_or_the_one_documented_error(
    library: Library, data: st.DataObject
) -> None:
    """Cutting, doubling or overwriting any stretch of a file never raises anything but FileProblem."""
    text = GOOD.encode()
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, len(text)))
    put = data.draw(st.sampled_from([b"", b"[", b"{", b": ", b"\n", b"- ", b"'", text[start:end] * 2]))
    try:
        parse_procedure(text[:start] + put + text[end:], "small.yaml", library.terms, library.cautions)
    except FileProblem as problem:
        assert str(problem).startswith("small.yaml")
