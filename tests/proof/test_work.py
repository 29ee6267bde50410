"""The proof of the shipped procedures: it holds, and it fails when a safeguard of the trade is taken out."""

from __future__ import annotations

import functools
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from leading import alone
from shipped import shipped_library

from assistant import resources
from assistant.circuit import catalogue
from assistant.circuit.catalogue import Mechanism
from assistant.core.library.vocabulary import NO_CIRCUIT
from assistant.errors import FileProblem, UsageProblem
from assistant.loading.folder import load_library, load_odds
from assistant.proof import order as proof_order, report as proof_report
from assistant.proof.cases import circuit_of
from assistant.proof.judging import NO_FAULT, Worth, judge
from assistant.proof.limits import CAUTION, FULL, LIMITS, MOST_UNDECIDED, PART_ONLY
from assistant.proof.result import Proof, Proven, Request
from assistant.proof.story import tell
from assistant.proof.work import _SYSTEMS_AT_ONCE, prove

if TYPE_CHECKING:
    from assistant.core.library.library import Library

FOLDER = resources.directory("procedures")
LIBRARY = shipped_library()
SYSTEMS = 20
PIECES = _SYSTEMS_AT_ONCE + 5
"""More cars than one piece of the work has."""
Few = Callable[..., None]


@functools.cache
def shipped() -> Proof:
    """The proof of all shipped procedures, made once."""
    return prove(LIBRARY, Request(systems=SYSTEMS, processes=2))


@pytest.fixture
def few(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Has the proof know these ways of faults alone, beside a sound car: it takes a second then."""

    def only(*wanted: Mechanism) -> None:
        known = (*wanted, alone(NO_FAULT, "sound"))

        def mechanisms(_circuit: str, fault: str | None = None) -> tuple[Mechanism, ...]:
            return tuple(one for one in known if fault in (None, one.fault))

        monkeypatch.setattr(catalogue, "mechanisms", mechanisms)

    return only


def led(library: Library, entry: str, systems: int = 6) -> Proven:
    """The proof of one procedure over a few cars."""
    (proven,) = prove(library, Request((entry,), systems=systems, processes=1)).procedures
    return proven


def failed(proven: Proven) -> set[tuple[str, str, str]]:
    """Return what failed: for whom, which fault, how."""
    return {
        (
            one.counter.observer.name if one.counter.observer else "honest",
            one.counter.case.fault,
            one.counter.worth,
        )
        for one in proven.failures
        if one.counter
    }


def in_step(file: str, step: str, *changes: str) -> tuple[str, str]:
    """Changes within one step of a shipped file, old and new by turns, as a piece that stands there once."""
    text = (FOLDER / file).read_text(encoding="utf-8")
    lines = text.splitlines(keepends=True)
    start = lines.index(f"  {step}:\n")
    end = next(n for n in range(start + 1, len(lines)) if not lines[n].startswith("    "))
    block = after = "".join(lines[start:end])
    for old, new in zip(changes[::2], changes[1::2], strict=True):
        assert after.count(old) == 1, old
        after = after.replace(old, new)
    return block, after


def changed(folder: Path, file: str, *changes: tuple[str, str]) -> Library:
    """The shipped procedures with pieces of one file replaced, each once."""
    copy = shutil.copytree(FOLDER, folder / "procedures")
    path = copy / file
    text = path.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path.write_text(text, encoding="utf-8")
    return load_library(copy)


@pytest.mark.parametrize(
    "name", [one.name for one in LIBRARY.procedures.values() if one.circuit != NO_CIRCUIT]
)
def test_no_good_part_is_named_in_the_shipped_procedures(name: str) -> None:
    """To nobody of all who are led through, in more cars than the limit; what costs a test, on the mean of the faults.

    Few cars are led here, of which one is already more than the limit for a single way of a fault of what costs a
    further test: those limits one by one are held by `bay-assistant prove` with its 200 cars.
    """
    (proven,) = (one for one in shipped().procedures if one.name == name)
    told = {"a good part is named", "rules out"}
    assert [one.sentence for one in proven.failures if any(words in one.sentence for words in told)] == []
    counted = [
        (case, number)
        for number, case in enumerate(proven.cases)
        if case.fault not in (NO_FAULT, *proven.presumed) and proven.cars[number]
    ]
    for observer in ("honest", "without values"):
        rows = [proven.rows[observer][number] for _, number in counted]
        assert sum(one.undecided for one in rows) / len(rows) <= MOST_UNDECIDED
        assert sum(one.wrong_path + one.wrong_on_the_way for one in rows) / len(rows) <= 0.05


def test_every_procedure_is_proven_or_said_to_be_about_nothing_electrical() -> None:
    """None is left out in silence."""
    report = shipped()
    proven = {proven.name for proven in report.procedures}
    assert proven | set(report.nothing_electrical) == set(LIBRARY.procedures)
    assert "no-start" in report.nothing_electrical
    assert "About nothing electrical, so not proven: after-repair" in proof_report.text(report, LIBRARY)


def test_all_shares_of_a_case_add_up_to_one() -> None:
    """Every car of every case that counts ends somewhere, for every observer; where none counts, nowhere."""
    for proven in shipped().procedures:
        assert set(proven.rows) == {*FULL, *PART_ONLY} - (
            set() if "wrong end" in proven.rows else {"wrong end"}
        )
        for observer in proven.ends:
            for number, ends in enumerate(proven.ends[observer]):
                assert sum(ends.values()) == pytest.approx(1 if proven.cars[number] else 0)
                assert proven.cars[number] <= SYSTEMS
        for number, case in enumerate(proven.cases):
            honest, ends = proven.rows["honest"][number], proven.ends["honest"][number]
            shares = dict.fromkeys(Worth, 0.0)
            for end, share in ends.items():
                shares[judge(LIBRARY, end, case)] += share
            if proven.cars[number]:
                assert honest.right == pytest.approx(shares[Worth.RIGHT])
                assert honest.wrong_path == pytest.approx(shares[Worth.WRONG_PATH])
                assert honest.undecided == pytest.approx(shares[Worth.UNDECIDED])
                assert honest.wrong_part >= shares[Worth.WRONG_PART] - 1e-9


def test_every_fault_of_the_terms_is_proven() -> None:
    """The control test is led through every fault of the catalogue, and a car without one."""
    faults = {case.fault for proven in shipped().procedures for case in proven.cases}
    assert faults == {*LIBRARY.terms.faults, NO_FAULT}


# --- a safeguard is taken out -----------------------------------------------------------------------

AND_DRIVER, INPUTS = "coil-and-driver", "driver-supply-and-inputs"


def test_without_a_sound_coil_in_its_place_a_good_coil_is_condemned(tmp_path: Path, few: Few) -> None:
    """An older coil of three ohm sparks a little thinner: skipping the sound coil buys a new one, and fails."""
    few(older := alone(NO_FAULT, "three-ohm-coil"))
    library = changed(
        tmp_path,
        "coil-and-driver.yaml",
        in_step(
            "coil-and-driver.yaml",
            "control-drop",
            "next: sound-coil",
            "verdict: coil-bad",
            "procedure: feed-weak",
            "next: sound-coil",
        ),
    )
    proven = led(library, AND_DRIVER, 20)
    assert ("honest", NO_FAULT, "wrong part") in failed(proven)
    sentences = " ".join(one.sentence for one in proven.failures)
    assert "a good part is named to an honest observer" in sentences
    assert "the limit is 1%, as at the end coil-and-driver: coil-bad" in sentences
    counter = next(one.counter for one in proven.failures if one.counter)
    told = tell(library, proven.circuit, counter, Request((AND_DRIVER,), systems=20))
    assert f"with none ({older.name})" in told
    assert "Verdict coil-and-driver: coil-bad (wrong part)" in told
    assert CAUTION in told


def test_without_the_leak_tests_another_fault_is_told(tmp_path: Path, few: Few) -> None:
    """A leak that no test looks for ends at another fault, in more than 5 % of its cars: that fails as well."""
    few(alone("control-wire-to-battery", "wire"), alone("coil-secondary", "winding-open"))
    library = changed(
        tmp_path,
        "coil-and-driver.yaml",
        in_step("coil-and-driver.yaml", "primary-ohms", "next: live-volts", "next: leak-ohms"),
    )
    assert failed(led(LIBRARY, AND_DRIVER)) == set()
    assert failed(led(library, AND_DRIVER)) == {
        ("honest", "control-wire-to-battery", "wrong path"),
        ("without values", "control-wire-to-battery", "wrong path"),
    }


def test_a_coil_that_one_open_reading_condemns_fails_for_one_who_misses_a_pin(
    tmp_path: Path, few: Few
) -> None:
    """An honest observer sees nothing wrong with it: only who misses a pin now and then does."""
    few(alone("none", "sound"))
    library = changed(
        tmp_path,
        "coil-and-driver.yaml",
        in_step(
            "coil-and-driver.yaml",
            "primary-ohms",
            "next: primary-ohms-again",
            "verdict: primary-open",
            "next: live-volts",
            "next: primary-ohms-again",
        ),
    )
    assert failed(led(LIBRARY, AND_DRIVER)) == set()
    wrong = failed(led(library, AND_DRIVER))
    assert ("misses contact", "none", "wrong part") in wrong
    assert {who for who, _, _ in wrong} == {"misses contact"}


def test_a_driver_that_a_clamp_condemns_fails_for_who_has_an_ordinary_one_or_none(
    tmp_path: Path, few: Few
) -> None:
    """A pulse of milliseconds is nothing on a clamp that shows the mean; and who has none has not looked."""
    few(alone("coil-secondary", "winding-open"), alone("shorted-primary", "full"))
    library = changed(
        tmp_path,
        "driver-supply-and-inputs.yaml",
        in_step(
            "driver-supply-and-inputs.yaml", "led-first", "verdict: driver-switches", "next: engine-speed"
        ),
        in_step(
            "driver-supply-and-inputs.yaml",
            "led-in-coils-place",
            "verdict: driver-switches",
            "next: wire-ohms",
        ),
        in_step(
            "driver-supply-and-inputs.yaml",
            "led-at-module",
            "verdict: driver-switches",
            "next: primary-current",
        ),
        in_step(
            "driver-supply-and-inputs.yaml",
            "primary-current",
            "          next: primary-resistance",
            "          verdict: driver-does-not-switch",
        ),
    )
    assert failed(led(LIBRARY, INPUTS)) == set()
    wrong = {who for who, _, how in failed(led(library, INPUTS)) if how == "wrong part"}
    assert {"mean clamp", "no clamp"} <= wrong
    assert not wrong & {"honest", "without values"}


def test_a_driver_that_a_look_at_the_speed_condemns_fails_where_nobody_cranks(
    tmp_path: Path, few: Few
) -> None:
    """The light stays dark and the speed is missing, because the engine stands."""
    few(alone("coil-secondary", "winding-open"))
    library = changed(
        tmp_path,
        "driver-supply-and-inputs.yaml",
        in_step(
            "driver-supply-and-inputs.yaml",
            "engine-speed",
            "next: crank-signal-first",
            "verdict: driver-does-not-switch",
            "if_skipped: {next: driver-supply}",
            "if_skipped: {next: crank-signal-first}",
        ),
    )
    assert failed(led(LIBRARY, INPUTS)) == set()
    assert ("nobody cranks", "coil-secondary", "wrong part") in failed(led(library, INPUTS))
    assert "honest" not in {who for who, _, _ in failed(led(library, INPUTS))}


def test_a_driver_that_a_wires_ohms_condemn_fails_for_who_probes_the_wrong_end(
    tmp_path: Path, few: Few
) -> None:
    """A light that blinks at the module is not believed: then ohms from a pin to itself clear an open wire."""
    few(alone("control-wire-open", "wire"))
    library = changed(
        tmp_path,
        "driver-supply-and-inputs.yaml",
        in_step(
            "driver-supply-and-inputs.yaml",
            "led-at-module",
            "verdict: driver-switches",
            "next: primary-current",
        ),
    )
    assert failed(led(LIBRARY, INPUTS)) == set()
    proven = led(library, INPUTS)
    assert ("wrong end", "control-wire-open", "wrong part") in failed(proven)
    assert "honest" not in {who for who, _, _ in failed(proven)}
    counter = next(one.counter for one in proven.failures if one.counter and one.counter.observer)
    assert counter.observer is not None
    assert counter.observer.wrong_end == (INPUTS, "wire-ohms")


def test_a_good_part_that_is_named_on_the_way_fails(tmp_path: Path, few: Few) -> None:
    """A verdict that goes on with another procedure is spoken and written: its part is judged like one at the end."""
    few(alone("coil-secondary", "winding-open"))
    library = changed(
        tmp_path,
        "feed-weak.yaml",
        (
            '    part: ""\n    repair: The current path is good.',
            "    part: driver module\n    repair: The current path is good.",
        ),
    )
    assert failed(led(LIBRARY, "feed-weak")) == set()
    assert ("honest", "coil-secondary", "wrong part") in failed(led(library, "feed-weak"))


def test_the_proof_is_the_same_for_a_seed_and_any_number_of_processes() -> None:
    """One process or two, the figures are the same to the last digit; another seed gives other cars."""
    asked = Request(("battery-and-cranking",), systems=PIECES, seed=3, processes=1)
    one = proof_report.to_json(prove(LIBRARY, asked))
    two = proof_report.to_json(
        prove(LIBRARY, Request(("battery-and-cranking",), systems=PIECES, seed=3, processes=2))
    )
    assert one == two
    other = proof_report.to_json(
        prove(LIBRARY, Request(("battery-and-cranking",), systems=PIECES, seed=4, processes=1))
    )
    assert one["procedures"] != other["procedures"]


def test_progress_is_told_up_to_the_end(few: Few) -> None:
    """The progress counts the pieces of the work and ends with all of them."""
    few(alone("weak-battery", "worn-out", "battery-and-starter"))
    told: list[float] = []
    prove(
        LIBRARY,
        Request(("battery-and-cranking",), systems=_SYSTEMS_AT_ONCE + 1, processes=1),
        lambda done, of, _ahead=0.0: told.append(done / of),
    )
    assert (0, 1, 3) == (told[0], told[-1], len(told))
    assert 0 < told[1] < 1


def test_a_presumed_fault_is_reported_and_fails_nothing(tmp_path: Path, few: Few) -> None:
    """A weak battery is excluded before coil and driver; without that word in the file, the test fails it."""
    few(alone("weak-battery", "worn-out"), alone("coil-secondary", "winding-open"))
    proven = led(LIBRARY, AND_DRIVER)
    (weak,) = (
        row
        for case, row in zip(proven.cases, proven.rows["honest"], strict=True)
        if case.fault == "weak-battery"
    )
    assert weak.right < 0.9
    assert proven.presumed == ("weak-battery",)
    assert proven.failures == ()
    library = changed(tmp_path, "coil-and-driver.yaml", ("presumes_no: [weak-battery]\n", ""))
    assert {fault for _, fault, _ in failed(led(library, AND_DRIVER))} == {"weak-battery"}


def test_a_wrong_exclusion_is_found(tmp_path: Path, few: Few) -> None:
    """An answer that rules out a fault that clearly gives it fails, with file and line."""
    few(alone("driver-dead", "never-switches"))
    library = changed(
        tmp_path,
        "coil-control.yaml",
        (
            "same:          {procedure: coil-and-driver}",
            "same:          {procedure: coil-and-driver, rules_out: [open-feed, driver-dead]}",
        ),
    )
    (failure,) = led(library, "coil-control").failures
    line = library.step("coil-control", "feed-and-switched").line
    assert f"coil-control.yaml:{line}: 'same' rules out driver-dead" in failure.sentence


def test_a_step_that_no_fault_reaches_and_a_verdict_that_covers_nothing_are_named(
    tmp_path: Path, few: Few
) -> None:
    """A step behind an answer that no car gives is told, and the verdicts that nothing comes to."""
    few(alone("driver-dead", "never-switches"), alone("coil-secondary", "winding-open"))
    report = prove(LIBRARY, Request((AND_DRIVER,), systems=5, processes=1))
    assert ("coil-and-driver", "leak-without-module") in report.unreached
    assert ("coil-and-driver", "led-in-coils-place") not in report.unreached
    assert "coil-and-driver: control-wire-to-ground (no fault leads there)" in report.idle
    assert any(one.startswith("coil-and-driver: coil-bad (names shorted-primary") for one in report.idle)


def test_a_step_that_the_circuit_cannot_have_is_told_with_file_and_line(tmp_path: Path) -> None:
    """A refusal of the circuit model is a sentence that starts with the step's file and line."""
    library = changed(
        tmp_path,
        "battery-and-cranking.yaml",
        (
            "{with: voltmeter, clip: battery-negative, probe: battery-positive, engine: key-off}",
            "{with: voltmeter, clip: battery-negative, probe: feed-wire, engine: key-off}",
        ),
    )
    with pytest.raises(
        FileProblem, match=r"battery-and-cranking\.yaml:\d+: step 'battery-at-rest' cannot be"
    ):
        prove(library, Request(("battery-and-cranking",), systems=10, processes=1))


def test_an_unknown_circuit_is_told(tmp_path: Path) -> None:
    """A procedure for a circuit that the model lacks is refused, unless it leads to one that the model has."""
    library = changed(
        tmp_path, "coil-control.yaml", ("circuit: coil-with-external-driver", "circuit: steam-engine")
    )
    # The first that the model has of those that it hands over to.
    assert circuit_of(library, "coil-control") in catalogue.CIRCUITS
    alone = changed(
        tmp_path / "alone",
        "battery-and-cranking.yaml",
        ("circuit: battery-and-starter", "circuit: steam-engine"),
        ("    continue_with: spark-check\n", ""),
    )
    with pytest.raises(
        FileProblem, match=r"battery-and-cranking\.yaml: the circuit 'steam-engine' is not in"
    ):
        prove(alone, Request(("battery-and-cranking",)))


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (Request(("no-such",)), "There is no procedure 'no-such'"),
        (Request(systems=0), "0 systems cannot be proven"),
        (Request(misreading=0.5), "A rate of misreading of 0.5"),
        (Request(seed=-1), "The seed -1"),
    ],
)
def test_bad_input_is_a_sentence(asked: Request, message: str) -> None:
    """A procedure that cannot be proven is refused before anything is simulated."""
    with pytest.raises(UsageProblem, match=message):
        prove(LIBRARY, asked)


SEARCHED_QUICKLY = ("battery-and-cranking", "built-in-driver-coil", "ground-switched-load")
"""Those of the coil with an external driver go on with each other and have too many sets of faults for a test."""


def test_the_order_is_never_better_than_the_optimum() -> None:
    """No procedure takes fewer expected minutes than the best order of its own tests."""
    for one in proof_order.order(LIBRARY, load_odds(FOLDER, LIBRARY.terms), SEARCHED_QUICKLY):
        assert one.minutes >= one.best.minutes - 1e-9
        assert one.wrong == 0


def test_every_output_says_where_the_figures_come_from() -> None:
    """Text and JSON say that a model without a bench measurement stands behind them."""
    report = shipped()
    assert CAUTION in proof_report.text(report, LIBRARY)
    assert proof_report.to_json(report)["caution"] == CAUTION
    assert proof_report.to_json(report)["limits"] == LIMITS
    assert LIMITS["honest"]["wrong_part"] == 0.01
