"""Mistakes are tried: what catches one, what it is worth when nothing does, and how that is told."""

from __future__ import annotations

import json
import shutil
from typing import TYPE_CHECKING

import pytest

from assistant import resources
from assistant.cli import main
from assistant.mistakes import running, trying
from assistant.mistakes.editing import Edit, Mistake
from assistant.mistakes.report import MistakesReport
from assistant.mistakes.trying import (
    HARM_PART,
    HARM_RIGHT,
    MOVES,
    UNREACHED,
    Baseline,
    Fate,
    Moved,
    TrialSetup,
    Tried,
)

if TYPE_CHECKING:
    from pathlib import Path

SMALL = """\
procedure: small-battery
title: Battery, in short
circuit: battery-and-starter
about: A short way, for tests.
needs: [voltmeter]
start: cranking
steps:
  cranking:
    measure: {with: voltmeter, clip: battery-negative, probe: battery-positive, engine: cranking}
    cautions: [secondary, cranking, live-circuit]
    look_for: Touch the posts.
    good: holds
    reading:
      unit: V
      plausible: [0, 18]
      bands:
        drops: {below: 9.6, source: floor 9.6 V, seen: below the floor, verdict: weak}
        holds: {from: 9.6, source: floor 9.6 V, seen: above the floor, next: cable}
  cable:
    measure: {with: voltmeter, clip: starter-terminal, probe: battery-positive, engine: cranking}
    cautions: [secondary, cranking, live-circuit]
    look_for: From the post.
    good: sound
    reading:
      unit: V
      plausible: [0, 14]
      bands:
        sound: {below: 0.5, source: "0.5 V in all", seen: within, next: ground}
        poor: {from: 0.5, source: "0.5 V in all", seen: above, verdict: weak}
  ground:
    measure: {with: voltmeter, clip: battery-negative, probe: engine-block, engine: cranking}
    cautions: [secondary, cranking, live-circuit]
    look_for: Bare metal.
    good: sound
    reading:
      unit: V
      plausible: [0, 14]
      bands:
        sound: {below: 0.2, source: "0.2 V at most", seen: within, verdict: able}
        poor: {from: 0.2, source: "0.2 V at most", seen: above, verdict: weak}
verdicts:
  weak:
    says: Battery or cables are weak.
    faults: [weak-battery]
    part: ""
    repair: Test the battery.
    verify: [Cranking voltage]
    continue_with: small-battery
  able: {says: They are able., faults: [], part: "", repair: No fault found., verify: []}
"""

NAME = "small-battery"


@pytest.fixture
def bench(tmp_path: Path) -> TrialSetup:
    """A folder with one short procedure, and few cars."""
    folder = tmp_path / "procedures"
    folder.mkdir()
    for name in ("terms.yaml", "cautions.yaml"):
        shutil.copy(resources.directory("procedures") / name, folder / name)
    text = SMALL.replace("    continue_with: small-battery\n", "    continue_with: end\n")
    (folder / f"{NAME}.yaml").write_text(text, encoding="utf-8")
    (folder / "end.yaml").write_text(END, encoding="utf-8")
    return TrialSetup(folder, resources.directory("grammars"), systems=6)


END = """\
procedure: end
title: The end
circuit: none
about: Nothing electrical.
needs: [eyes]
start: look
steps:
  look:
    measure: {with: eyes, probe: security-lamp, engine: key-on}
    cautions: []
    answers: {lamp-on: {verdict: done}, lamp-off: {verdict: done}}
verdicts:
  done: {says: Done., faults: [], part: "", repair: None., verify: []}
"""


@pytest.fixture
def before(bench: TrialSetup, monkeypatch: pytest.MonkeyPatch) -> Baseline:
    """Return the findings on the unchanged procedure; the grammars are linted elsewhere."""
    monkeypatch.setattr(trying, "lint_grammars_for", lambda _library, _grammars: [])
    return trying.sound(bench)


def mistake(*edits: Edit, kind: str = "made up", place: str = "steps/cranking") -> Mistake:
    """A mistake in the short procedure."""
    return Mistake(kind, NAME, place, "something", edits)


BANDS = ("steps", "cranking", "reading", "bands")


@pytest.mark.parametrize(
    ("edits", "fate", "told"),
    [
        ([Edit((*BANDS, "drops", "below"), "9.0")], Fate.LOADER, "small-battery.yaml:"),
        ([Edit(("steps", "cranking", "cautions"), ["secondary", "live-circuit"])], Fate.LOADER, "'cranking'"),
        ([Edit((*BANDS, "drops", "verdict"), "nowhere")], Fate.LOADER, "there is no verdict 'nowhere'"),
        (
            [Edit((*BANDS, "drops", "below"), "4.8"), Edit((*BANDS, "holds", "from"), "4.8")],
            Fate.LINT,
            "has the limit 4.8",
        ),
        ([Edit(("verdicts", "weak", "part"), "ignition coil")], Fate.LINT, "names the part 'ignition coil'"),
        ([Edit(("verdicts", "weak", "continue_with"), None)], Fate.LINT, "leads nowhere"),
        ([Edit(("verdicts", "weak", "faults"), ["open-feed"])], Fate.PROOF, "small-battery"),
        ([Edit(("title",), "Another title")], Fate.NO_FIGURE, ""),
    ],
)
def test_the_first_that_notices_a_mistake_has_caught_it(
    bench: TrialSetup, before: Baseline, edits: list[Edit], fate: Fate, told: str
) -> None:
    """Loader, then lint, then proof, each in its own words; what none of them says moves a figure or does not."""
    before_text = (bench.procedures / f"{NAME}.yaml").read_text(encoding="utf-8")
    tried = trying.attempt(bench, before, mistake(*edits))
    assert (tried.fate, told in tried.told) == (fate, True), tried
    assert str(bench.procedures.parent) not in tried.told
    assert (bench.procedures / f"{NAME}.yaml").read_text(encoding="utf-8") == before_text


def test_what_the_unchanged_procedures_have_is_not_caught_again(bench: TrialSetup, before: Baseline) -> None:
    """A failure that was there before is no failure of the mistake."""
    flawed = mistake(Edit(("verdicts", "weak", "faults"), ["open-feed"]))
    assert trying.attempt(bench, before, flawed).fate is Fate.PROOF
    path = bench.procedures / f"{NAME}.yaml"
    path.write_text(
        path.read_text(encoding="utf-8").replace("faults: [weak-battery]", "faults: [open-feed]"),
        encoding="utf-8",
    )
    known = trying.sound(bench)
    assert known.failures
    assert trying.attempt(bench, known, mistake(Edit(("title",), "Another title"))).fate is Fate.NO_FIGURE


def test_a_program_error_is_a_defect_and_not_caught(
    bench: TrialSetup, before: Baseline, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An exception that is no message for a person is reported as the program's own fault."""

    def broken(*_: object) -> list[object]:
        raise KeyError("oh")

    monkeypatch.setattr(trying, "lint_procedures", broken)
    tried = trying.attempt(bench, before, mistake(Edit(("title",), "Another title")))
    assert tried.fate is Fate.DEFECT
    assert "KeyError" in tried.told
    assert not _report(tried).holds


def test_a_step_that_no_car_comes_to_is_told_apart(bench: TrialSetup, before: Baseline) -> None:
    """That no figure moves shows nothing, where no car of the proof comes to the changed step."""
    path = bench.procedures / f"{NAME}.yaml"
    text = path.read_text(encoding="utf-8")
    text = text.replace("seen: below the floor, verdict: weak", "seen: below the floor, next: cable").replace(
        "plausible: [0, 18]", "plausible: [-1, 18]"
    )
    never = (
        "        never: {below: 0, source: never, seen: never, next: unreached}\n        drops: {from: 0, "
    )
    text = text.replace("        drops: {", never, 1)
    block = text[text.index("  cable:\n") : text.index("  ground:\n")].replace("  cable:", "  unreached:")
    path.write_text(text.replace("verdicts:\n", f"{block}verdicts:\n", 1), encoding="utf-8")
    sound = trying.sound(bench)
    there = mistake(Edit(("steps", "unreached", "look_for"), "From a post."), place="steps/unreached")
    assert trying.attempt(bench, sound, there).told == UNREACHED
    here = mistake(Edit(("steps", "cable", "look_for"), "From a post."), place="steps/cable")
    assert trying.attempt(bench, sound, here).told == ""


PLACE = ("a", "honest", "open-feed", "wire")


def rows(**figures: float) -> dict[trying.Place, dict[str, float]]:
    """One row of a proof."""
    return {
        PLACE: {"right": 0.9, "wrong_part": 0.0, "wrong_path": 0.0, "undecided": 0.1, "clear_wrong": 0.0}
        | figures
    }


@pytest.mark.parametrize(
    ("figures", "fate"),
    [
        ({}, Fate.NO_FIGURE),
        ({"undecided": 0.1 + 0.9 * MOVES, "right": 0.9 - 0.9 * MOVES}, Fate.NO_FIGURE),
        ({"undecided": 0.1 + 1.1 * MOVES}, Fate.LITTLE),
        ({"right": 1.0, "undecided": 0.0}, Fate.LITTLE),
        ({"wrong_part": 0.9 * HARM_PART}, Fate.LITTLE),
        ({"wrong_part": 1.1 * HARM_PART}, Fate.HARMFUL),
        ({"right": 0.9 - 0.9 * HARM_RIGHT}, Fate.LITTLE),
        ({"right": 0.9 - 1.1 * HARM_RIGHT}, Fate.HARMFUL),
    ],
)
def test_a_mistake_is_weighed_by_the_worst_figure(figures: dict[str, float], fate: Fate) -> None:
    """Good parts condemned and right verdicts have their stated limits; what moves less is harmless."""
    moved = list(trying.differences(rows(), rows(**figures)))
    assert trying.fate(moved, frozenset()) is fate


def test_who_does_a_test_wrong_is_promised_no_verdict_but_no_wrong_part_either() -> None:
    """A fall of the right verdicts of one who misreads is no harm; a good part that is named to him is."""
    careless = {("a", "misreading", *place[2:]): row for place, row in rows().items()}
    fallen = {place: {**row, "right": 0.1} for place, row in careless.items()}
    named = {place: {**row, "wrong_part": 0.5} for place, row in careless.items()}
    assert trying.fate(trying.differences(careless, fallen), frozenset()) is Fate.LITTLE
    assert trying.fate(trying.differences(careless, named), frozenset()) is Fate.HARMFUL


def test_a_fault_that_is_presumed_excluded_does_no_harm() -> None:
    """As in the proof: where a procedure presumes a fault excluded, its cases have no limit."""
    presumed = frozenset({("a", "open-feed")})
    moved = list(trying.differences(rows(), rows(wrong_part=0.5), presumed))
    assert trying.fate(moved, presumed) is Fate.LITTLE
    assert trying.fate(moved, frozenset({("b", "open-feed")})) is Fate.HARMFUL


def test_the_worst_move_is_told_first() -> None:
    """The good part comes before the right verdict that moved further, and the sentence has both figures."""
    moved = list(trying.differences(rows(), rows(wrong_part=0.1, right=0.7)))
    assert [one.figure for one in moved] == ["wrong_part", "right"]
    assert str(moved[0]) == "a, honest, open-feed (wire): wrong part 0.0% to 10.0%"


def _report(*tried: Tried) -> MistakesReport:
    return MistakesReport(tried, seed=1, systems=6, findings=0, failures=0, seconds=2.0, machine="a machine")


def test_the_report_lists_every_survivor_and_fails_on_a_harmful_one() -> None:
    """The table has a row for each kind and one for all; harmful ones are listed with what they moved."""
    worse = Moved(PLACE, "wrong_part", 0.0, 0.5)
    harmful = Tried(mistake(kind="clip moved"), Fate.HARMFUL, moved=(worse,))
    harmless = Tried(mistake(kind="fault added"), Fate.NO_FIGURE)
    unseen = Tried(mistake(kind="fault added"), Fate.NO_FIGURE, UNREACHED)
    caught = Tried(mistake(kind="fault added"), Fate.LOADER, "no")
    report = _report(harmful, harmless, unseen, caught)
    text = report.text()
    assert "| clip moved | 1 |  |  |  |  |  | 1 |  |" in text
    assert "| fault added | 3 | 1 |  |  | 2 |  |  |  |" in text
    assert "| all | 4 | 1 |  |  | 2 |  | 1 |  |" in text
    assert (
        "- clip moved: small-battery.yaml, steps/cranking: something\n    a, honest, open-feed (wire): wrong part"
        in text
    )
    assert "moves no figure" in text
    assert not report.holds
    assert _report(harmless, unseen, caught).holds
    shown = report.to_json()
    assert not shown["holds"]
    assert shown["kinds"]["all"]["harmful"] == 1
    assert [one["caught"] for one in shown["mistakes"]] == [False, False, False, True]


def test_the_command_tries_mistakes_and_ends_with_its_finding(
    bench: TrialSetup, before: Baseline, capsys: pytest.CaptureFixture[str]
) -> None:
    """One command makes, tries and counts; exit status 1 says that something harmful or a defect is among them."""
    few = [
        "--count",
        "8",
        "--systems",
        str(bench.systems),
        "--processes",
        "1",
        "--procedures",
        str(bench.procedures),
    ]
    status = main(["bench", "procedures", *few, "--json"])
    shown = json.loads(capsys.readouterr().out)
    assert len({one["kind"] for one in shown["mistakes"]}) == 8
    assert status == (0 if shown["holds"] else 1)
    assert shown["kinds"]["all"]["defect"] == 0
    assert shown["unchanged"]["failures"] == len(before.failures)


def test_the_same_seed_gives_the_same_fates(bench: TrialSetup, before: Baseline) -> None:
    """Choice, cars and fates depend on the seed and on nothing else."""
    measured = [
        running.measure(bench.procedures, bench.grammars, count=5, systems=4, seed=3, processes=1).tried
        for _ in range(2)
    ]
    assert measured[0] == measured[1]
    assert before.entries == (NAME,)


def test_a_missing_folder_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Wrong use ends with 2 and a sentence."""
    assert main(["bench", "procedures", "--procedures", str(tmp_path / "none")]) == 2
    assert "terms.yaml" in capsys.readouterr().err
