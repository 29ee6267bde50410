"""`procedures`: a shop lists, reads, copies and edits its own, and is told what an update changed."""

from __future__ import annotations

import copy
import json
import re
import shutil
from typing import TYPE_CHECKING

import pytest
from calling import KEYS_ONLY, Refused, call, change

from assistant import resources
from assistant.cli import main
from assistant.core.library.procedure_file import parse_procedure
from assistant.core.library.terms import Hazard
from assistant.errors import FileProblem
from assistant.loading.folder import load_library
from assistant.mistakes import editing

if TYPE_CHECKING:
    from pathlib import Path

pytestmark = pytest.mark.usefixtures("own_home")

LIBRARY = load_library(resources.directory("procedures"))


@pytest.fixture
def shop(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Path:
    """A copy, as a shop makes it."""
    assert 0 == main(["procedures", "--copy", str(tmp_path / "shop")])
    capsys.readouterr()
    return tmp_path / "shop"


@pytest.fixture
def later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The procedures that a later version ships, to be changed by a test."""
    folder = shutil.copytree(resources.directory("procedures"), tmp_path / "later")
    grammars = resources.directory("grammars")
    monkeypatch.setattr(
        "assistant.resources.directory", lambda name: grammars if name == "grammars" else folder
    )
    return folder


def printed(capsys: pytest.CaptureFixture[str], *arguments: object, status: int = 0) -> str:
    capsys.readouterr()
    assert status == main([str(argument) for argument in arguments])
    return " ".join(capsys.readouterr().out.split())


def as_json(capsys: pytest.CaptureFixture[str], *arguments: object, status: int = 0) -> dict[str, list]:
    capsys.readouterr()
    assert status == main([*map(str, arguments), "--json"])
    found: dict[str, list] = json.loads(capsys.readouterr().out)
    return found


# --- listing and showing --------------------------------------------------------------------------


def test_the_list_has_every_procedure_with_its_steps(capsys: pytest.CaptureFixture[str]) -> None:
    """Name, title, number of steps, and that they are as shipped; in words and as JSON."""
    rows = as_json(capsys, "procedures")
    assert [
        {
            "name": one.name,
            "title": one.title,
            "steps": len(one.steps),
            "from": "bundled",
            "folder": "",
            "state": "as shipped",
        }
        for one in LIBRARY.procedures.values()
    ] == rows
    text = printed(capsys, "procedures")
    for one in LIBRARY.procedures.values():
        assert f"{one.name} {len(one.steps)} step" in text


def test_the_list_tells_what_is_the_shops_own(
    shop: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With a shop's folder set, each procedure is as shipped, changed, or the shop's own; a comment is no change."""
    change(shop / "feed-dead.yaml", "look_for: ", "look_for: Look. ")
    change(shop / "feed-weak.yaml", "procedure:", "# ours\nprocedure:")
    text = (shop / "coil-control.yaml").read_text(encoding="utf-8")
    (shop / "ours.yaml").write_text(
        text.replace("procedure: coil-control", "procedure: ours"), encoding="utf-8"
    )
    monkeypatch.setenv("BAY_ASSISTANT_PROCEDURES", str(shop))
    states = {row["name"]: row["state"] for row in as_json(capsys, "procedures")}
    assert ("changed", "own", "as shipped") == (states["feed-dead"], states["ours"], states["feed-weak"])
    assert {"changed", "own", "as shipped"} == set(states.values())


@pytest.mark.parametrize("name", LIBRARY.procedures)
def test_a_procedure_is_shown_whole(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Every step with its cautions in full and its answers, and every verdict, can be read."""
    procedure = LIBRARY.procedures[name]
    text = printed(capsys, "procedures", name)
    (outline,) = as_json(capsys, "procedures", name)
    assert list(procedure.steps) == [step["name"] for step in outline["steps"]]
    assert list(procedure.verdicts) == [verdict["name"] for verdict in outline["verdicts"]]
    for step, shown in zip(procedure.steps.values(), outline["steps"], strict=True):
        assert list(step.cautions) == [one["name"] for one in shown["cautions"]]
        assert [one.outcome for one in step.ways()] == [one["name"] for one in shown["answers"]]
        assert [(one.target.leads.value, one.target.name) for one in step.ways()] == [
            (one["leads"]["to"], one["leads"]["name"]) for one in shown["answers"]
        ]
        for caution in step.cautions:
            assert LIBRARY.cautions[caution].full in text
    for verdict in procedure.verdicts.values():
        assert verdict.says in text
        assert verdict.repair in text


def test_an_unknown_name_is_refused_with_the_known_ones(refused: Refused, tmp_path: Path) -> None:
    """Showing and copying name the procedures that there are, and no folder is made."""
    assert "coil-control" in refused("procedures", "nonesuch")
    assert "coil-control" in refused("procedures", "nonesuch", "--copy", tmp_path / "shop")
    assert not (tmp_path / "shop").exists()


def test_options_that_do_not_go_together_are_refused(refused: Refused, shop: Path) -> None:
    """Names with a comparison, and grammars without a copy."""
    assert "names" in refused("procedures", "coil-control", "--changes", shop)
    assert "--copy" in refused("procedures", "--with-grammars")


# --- copying and editing --------------------------------------------------------------------------


def test_a_copy_is_refused_where_something_is(refused: Refused, shop: Path) -> None:
    """Nothing that a shop has edited is ever overwritten."""
    assert "there already" in refused("procedures", "--copy", shop)


def test_an_edited_limit_and_sentence_are_told_in_words(
    shop: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The step, what changed there, and both values; a comparison of a copy with itself tells nothing."""
    assert "You changed nothing." in printed(capsys, "procedures", "--changes", shop)
    file = shop / "coil-control.yaml"
    text = file.read_text(encoding="utf-8")
    file.write_text(re.sub(r"(?m)(below|from): 9\.6$", r"\1: 9.8", text), encoding="utf-8")
    change(file, "On the posts.", "On the posts themselves.")
    text = printed(capsys, "procedures", "--changes", shop)
    assert "coil-control, step battery-while-cranking" in text
    assert "Limit between 'low' and 'holds': was 9.6 V, now 9.8 V." in text
    assert "On the posts themselves." in text
    found = as_json(capsys, "procedures", "--changes", shop)
    assert ["limit", "words"] == sorted(one["about"] for one in found["yours"])
    assert ([], []) == (found["program"], found["conflicts"])


def test_a_comment_is_told_as_such(shop: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that differs and means the same is named, so that nobody looks for a change."""
    change(shop / "feed-weak.yaml", "procedure:", "# ours\nprocedure:")
    text = printed(capsys, "procedures", "--changes", shop)
    assert "feed-weak - Only comments or the layout differ." in text


def test_a_broken_copy_is_told_by_file_and_line(refused: Refused, shop: Path) -> None:
    """A copy that does not load is not compared; the mistake is named."""
    line = change(shop / "feed-dead.yaml", "engine: key-on", "engine: key-no")
    said = refused("procedures", "--changes", shop)
    assert f"{shop / 'feed-dead.yaml'}:{line}: " in said
    assert "key-on" in said


def test_phrases_of_a_copys_own_grammars_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A copy with grammars is heard with them, and a phrase that was added is told."""
    shop = tmp_path / "shop"
    printed(capsys, "procedures", "--copy", shop, "--with-grammars")
    change(
        shop / "grammars" / "procedure.jsgf",
        "    feed weak",
        "    feed first {outcome=feed-first} |\n    feed weak",
    )
    found = as_json(capsys, "procedures", "--changes", shop)
    (one,) = found["yours"]
    assert (["outcome", "feed-first"], "can be said: feed first") == (one["path"], one["sentence"])


# --- what an update changes -----------------------------------------------------------------------


def test_an_update_is_told_apart_from_ones_own_changes(
    shop: Path, later: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What the shop changed and what the program changed stand apart, and nothing is in both."""
    change(shop / "feed-dead.yaml", "look_for: ", "look_for: Look. ")
    change(later / "cautions.yaml", "Coil and plug leads can kill.", "Coil and plug leads kill.")
    found = as_json(capsys, "procedures", "--changes", shop)
    assert ["feed-dead.yaml"] == [one["file"] for one in found["yours"]]
    assert [["cautions", "secondary", "full"]] == [one["path"] for one in found["program"]]
    assert [] == found["conflicts"]
    text = printed(capsys, "procedures", "--changes", shop)
    assert "The program changed since: cautions, caution secondary" in text


def test_the_same_step_changed_by_both_is_named(
    shop: Path, later: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A conflict names the step and both changes, and the exit status is 1."""
    old = "look_for: Wiggle the probe in the pin while the engine turns."
    change(shop / "coil-control.yaml", old, "look_for: Wiggle the probe.")
    change(later / "coil-control.yaml", old, "look_for: Press the probe in.")
    text = printed(capsys, "procedures", "--changes", shop, status=1)
    assert "You and the program changed the same: coil-control, step feed-volts-while-cranking" in text
    (one,) = as_json(capsys, "procedures", "--changes", shop, status=1)["conflicts"]
    assert ["steps", "feed-volts-while-cranking"] == one["place"]
    assert "Wiggle the probe." in one["yours"][0]["after"]
    assert "Press the probe in." in one["program"][0]["after"]


def test_an_update_brings_in_what_was_not_edited_and_keeps_what_was(
    shop: Path, later: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Edited files stay byte for byte, others come new; what could not be brought in is said; then all is current."""
    old = "look_for: Wiggle the probe in the pin while the engine turns."
    change(shop / "coil-control.yaml", old, "look_for: Wiggle the probe.")
    mine = (shop / "coil-control.yaml").read_bytes()
    change(later / "coil-control.yaml", old, "look_for: Press the probe in.")
    change(later / "cautions.yaml", "Coil and plug leads can kill.", "Coil and plug leads kill.")
    done = as_json(capsys, "procedures", "--update", shop, status=1)
    assert (["cautions.yaml"], ["coil-control.yaml"]) == (done["taken"], done["kept"])
    assert ["Press the probe in." in one["after"] for one in done["left"]] == [True]
    assert mine == (shop / "coil-control.yaml").read_bytes()
    assert (later / "cautions.yaml").read_bytes() == (shop / "cautions.yaml").read_bytes()
    found = as_json(capsys, "procedures", "--changes", shop)
    assert ([], ["coil-control.yaml"]) == (found["program"], [one["file"] for one in found["yours"]])
    assert "nothing to bring in" in printed(capsys, "procedures", "--update", shop)


def test_an_update_that_would_not_load_writes_nothing(shop: Path, later: Path, refused: Refused) -> None:
    """New files that do not go with the shop's own ones are refused with file and line, and the copy is unchanged."""
    (shop / "terms.yaml").write_text(
        (shop / "terms.yaml").read_text(encoding="utf-8") + "# ours\n", encoding="utf-8"
    )
    for path in later.glob("*.yaml"):
        text = path.read_text(encoding="utf-8")
        path.write_text(text.replace("security-lamp", "security-light"), encoding="utf-8")
    before = {path: path.read_bytes() for path in shop.rglob("*") if path.is_file()}
    said = refused("procedures", "--update", shop)
    assert "security-light" in said
    assert "nothing was written" in said
    assert before == {path: path.read_bytes() for path in shop.rglob("*") if path.is_file()}


def test_an_old_copy_without_a_list_is_compared_with_this_version(
    shop: Path, capsys: pytest.CaptureFixture[str], refused: Refused
) -> None:
    """It says that it cannot know who changed what; it is listed, and an update is refused with the way out."""
    shutil.rmtree(shop / "shipped")
    change(shop / "feed-dead.yaml", "look_for: ", "look_for: Look. ")
    text = printed(capsys, "procedures", "--changes", shop)
    assert "does not say which version it came from" in text
    assert "feed-dead, step" in text
    rows = as_json(capsys, "procedures", "--procedures", shop)
    assert ["feed-dead"] == [row["name"] for row in rows if row["state"] == "changed"]
    assert "procedures --copy" in refused("procedures", "--update", shop)


# --- a session with a shop's folder ---------------------------------------------------------------


def test_a_session_uses_the_shops_folder_and_says_so(shop: Path, tmp_path: Path) -> None:
    """The variable names the folder; the session copies it, and its name stands on the screen."""
    change(shop / "coil-control.yaml", "title: Coil control test", "title: Our coil test")
    done = call(
        "run",
        "coil-control",
        *KEYS_ONLY,
        "--sessions",
        tmp_path / "s",
        environment={"BAY_ASSISTANT_PROCEDURES": str(shop)},
    )
    assert (0, "") == (done.returncode, done.stderr)
    assert f"The procedures are those in {shop}." in done.stdout
    assert "Our coil test" in done.stdout
    (session,) = (tmp_path / "s").iterdir()
    assert "Our coil test" in (session / "procedures" / "coil-control.yaml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("procedure", "step", "dropped", "hazard"),
    [
        ("coil-control", "battery-while-cranking", "cranking", "cranking"),
        ("coil-control", "battery-while-cranking", "secondary", "secondary-voltage"),
    ],
)
def test_a_shops_step_without_its_caution_is_never_begun(
    shop: Path, tmp_path: Path, refused: Refused, procedure: str, step: str, dropped: str, hazard: str
) -> None:
    """A step that cranks or exposes secondary voltage and lost its caution ends the start, with file and line."""
    file = shop / f"{procedure}.yaml"
    text = file.read_text(encoding="utf-8")
    at = text.index(f"  {step}:")
    found = re.compile(rf"cautions: \[(?:[a-z-]+, )*?({dropped}(?:, )?)").search(text, at)
    assert found is not None
    file.write_text(text[: found.start(1)] + text[found.end(1) :], encoding="utf-8")
    said = refused("run", procedure, *KEYS_ONLY, "--procedures", shop, "--sessions", tmp_path / "s")
    assert f"{file}:" in said
    assert f"'{hazard}'" in said
    assert not (tmp_path / "s").exists()


@pytest.mark.parametrize("hazard", [Hazard.CRANKING, Hazard.SECONDARY_VOLTAGE])
def test_no_step_at_all_loads_without_the_caution_for_its_hazard(hazard: Hazard) -> None:
    """Every step that cranks, or exposes secondary voltage, is refused by name once no caution of it covers that."""
    sources = editing.read(resources.directory("procedures"))
    covering = {one.name for one in LIBRARY.cautions.values() if hazard in one.covers}
    tried = 0
    for name, procedure in LIBRARY.procedures.items():
        for step in procedure.steps.values():
            if hazard not in step.measure.hazards():
                continue
            rest = [one for one in step.cautions if one not in covering]
            tree = copy.deepcopy(sources[name].tree)
            tree["steps"][step.name]["cautions"] = rest
            with pytest.raises(FileProblem, match=f"{name}.yaml:[0-9]+: step '{step.name}' .*'{hazard}'"):
                parse_procedure(
                    editing.written(tree).encode(), f"{name}.yaml", LIBRARY.terms, LIBRARY.cautions
                )
            tried += 1
    assert tried > 30


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("short: Hands clear.", 'short: ""', "has no words"),
        ("acknowledge: true", "acknowledge: false", "nobody has to acknowledge it"),
        ("covers: [cranking]", "covers: []", "none of its cautions covers it"),
    ],
)
def test_a_caution_that_warns_nobody_is_refused(
    shop: Path, tmp_path: Path, refused: Refused, old: str, new: str, words: str
) -> None:
    """A caution without words, or one for cranking that nobody acknowledges or that covers nothing, is none."""
    file = shop / "cautions.yaml"
    text = file.read_text(encoding="utf-8")
    at = text.index("\ncranking:")
    file.write_text(text[:at] + text[at:].replace(old, new, 1), encoding="utf-8")
    arguments = ("--procedures", shop, "--sessions", tmp_path / "s")
    done = call("run", *KEYS_ONLY, *arguments)
    assert 2 == done.returncode
    assert words in done.stderr
    assert str(shop) in done.stderr
    assert not (tmp_path / "s").exists()


def test_each_broken_file_is_named_on_a_line_of_its_own(shop: Path, tmp_path: Path) -> None:
    """Two files with a mistake each are told at once, and no session is made."""
    lines = {
        name: change(shop / name, old, new)
        for name, old, new in (
            ("feed-dead.yaml", "engine: key-on", "engine: key-no"),
            ("battery-and-cranking.yaml", "unit: V", "unit: furlong"),
        )
    }
    done = call("run", *KEYS_ONLY, "--procedures", shop, "--sessions", tmp_path / "s")
    assert 2 == done.returncode
    *told, last = done.stderr.strip().splitlines()
    assert sorted(f"{shop / name}:{line}:" for name, line in lines.items()) == sorted(
        one.split(" ")[0] for one in told
    )
    assert "2 mistakes" in last
    assert "no session was begun" in last
    assert not (tmp_path / "s").exists()


def test_a_shops_broken_folder_does_not_keep_a_session_from_going_on(shop: Path, tmp_path: Path) -> None:
    """A session that is resumed has its own copy of the procedures, whatever happened to the folder since."""
    where = ("--procedures", shop, "--sessions", tmp_path / "s")
    assert 0 == call("run", *KEYS_ONLY, *where).returncode
    change(shop / "feed-dead.yaml", "engine: key-on", "engine: key-no")
    done = call("run", *KEYS_ONLY, "--resume", "last", *where)
    assert (0, "") == (done.returncode, done.stderr)
