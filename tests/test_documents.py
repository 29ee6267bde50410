"""The documents say what the code does, and the tree keeps its rules."""

from __future__ import annotations

import ast
import re
import shutil
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest
from sample_library import sample_library

from assistant.commands import COMMANDS
from assistant.core.dialogue.states import State
from assistant.core.dialogue.table import diagram
from assistant.core.dialogue.triggers import KEYED
from assistant.core.rules import trade_rules
from assistant.core.values.result import Control
from assistant.grammar.grammar_set import GrammarSet
from assistant.keys.pad import KEYS
from assistant.loading.folder import load_library
from assistant.rehearsal.dialogue import Dialogue

ROOT = Path(__file__).resolve().parent.parent
PACKAGE = ROOT / "assistant"
README, DEVELOPERS = ROOT / "README.md", ROOT / "DEVELOPERS.md"
DIALOGUE = PACKAGE / "core" / "dialogue" / "README.md"
PROCEDURES = ROOT / "procedures" / "README.md"
DOCUMENTS = sorted(
    [
        *ROOT.glob("*.md"),
        *(
            path
            for room in ROOT.iterdir()
            if room.is_dir() and not room.name.startswith(".")  # caches change while tests run
            for path in room.rglob("*.md")
        ),
    ]
)
TESTS = sorted((ROOT / "tests").rglob("test_*.py"))


def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8")


def name_of(path: Path) -> str:
    return str(path.relative_to(ROOT))


def between(path: Path, name: str) -> str:
    """The block of code between the marks of this name."""
    found = re.search(
        rf"<!-- {name} -->\n```\w*\n(.*?)\n```\n<!-- end of {name} -->", text_of(path), re.DOTALL
    )
    assert found is not None, f"{name_of(path)} has no block '{name}'"
    return found.group(1)


def without_code(path: Path) -> str:
    return re.sub(r"```.*?```", "", text_of(path), flags=re.DOTALL)


def test_the_diagram_in_the_documents_is_the_table() -> None:
    """The README of the dialogue shows the transition table as it is in the code."""
    assert diagram() == between(DIALOGUE, "diagram")


def test_readme_opens_with_the_job_and_then_the_two_commands() -> None:
    """One paragraph, then one command that runs the main job and one that passes the tests."""
    text = text_of(README)
    blocks = re.findall(r"```sh\n(.*?)\n```", text, re.DOTALL)
    assert [len(block.splitlines()) for block in blocks[:2]] == [1, 1]
    assert "demo" in blocks[0]
    assert "pytest" in blocks[1]
    title, paragraph = text.split("\n\n")[:2]
    assert title.startswith("# ")
    assert not paragraph.startswith(("#", "`", "-", "|"))


@pytest.mark.parametrize(("path", "fewest", "most"), [(README, 60, 90), (DEVELOPERS, 100, 170)])
def test_the_two_first_documents_are_read_in_one_sitting(path: Path, fewest: int, most: int) -> None:
    """README and DEVELOPERS stay short; details and figures have their place in the rooms."""
    assert fewest <= len(text_of(path).splitlines()) <= most


@cache
def help_of(*command: str) -> str:
    return subprocess.run(
        [sys.executable, "-m", "assistant", *command, "--help"], capture_output=True, text=True, check=True
    ).stdout


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme_and_has_help_with_an_example(command: str) -> None:
    """`--help` of every command ends with an example, and the README names the command."""
    assert f"`{command}" in text_of(README)
    assert re.search(rf"\nexamples?:\n.*bay-assistant {command}", help_of(command))


def test_commands_in_the_documents_have_the_options_that_they_show() -> None:
    """A command line in README or DEVELOPERS names a command that exists, with options that it has."""
    shown = 0
    for path in (README, DEVELOPERS):
        for line in re.findall(r"`(?:\.venv/bin/)?(?:bay-assistant )?([a-z]+(?: [^`]*)?)`", text_of(path)):
            command, *rest = line.split()
            if command not in COMMANDS:
                continue
            options = re.findall(r"(?<![\w-])--[a-z-]+", " ".join(rest))
            shown += len(options)
            assert [] == [option for option in options if option not in help_of(command)], line
    assert shown > 5


@pytest.mark.parametrize("path", DOCUMENTS, ids=name_of)
def test_every_link_leads_to_a_file(path: Path) -> None:
    """Every file of this repository that a document links to is there."""
    links = re.findall(r"\]\(([^)#:]+)(?:#[^)]*)?\)", text_of(path))
    assert [] == [link for link in links if not (path.parent / link).exists()]


@pytest.mark.parametrize("path", DOCUMENTS, ids=name_of)
def test_every_module_that_is_named_exists(path: Path) -> None:
    """A document names modules that are there, by their path or by their file's name."""
    modules = [
        name_of(one)
        for folder in ("assistant", "tests", "audio_fixtures")
        for one in (ROOT / folder).rglob("*.py")
    ]
    named = [one for one in re.findall(r"`([\w/]+\.py)`", text_of(path)) if "NAME" not in one]
    assert [] == [name for name in named if not any(f"/{one}".endswith(f"/{name}") for one in modules)]


def test_every_document_can_be_found() -> None:
    """Each README of a room is linked from README, DEVELOPERS or a document that they lead to."""
    reached, waiting = set(), [README]
    while waiting:
        path = waiting.pop()
        if path in reached:
            continue
        reached.add(path)
        waiting += [
            (path.parent / link).resolve() for link in re.findall(r"\]\(([^)#:]+\.md)\)", text_of(path))
        ]
    assert [] == [name_of(path) for path in DOCUMENTS if path not in reached]


def test_every_room_has_its_line_in_the_map() -> None:
    """Every package and every module beside them stands in the map of DEVELOPERS.md, and nothing else does."""
    found = re.search(r"## The rooms\n\n```\n(.*?)\n```", text_of(DEVELOPERS), re.DOTALL)
    assert found is not None
    lines = found.group(1).splitlines()
    folders = {line.split()[0].rstrip("/") for line in lines if line.split()[0].endswith("/")}
    modules = {word for line in lines for word in re.findall(r"\b\w+\.py\b", line)}
    rooms = {path.parent.name for path in PACKAGE.rglob("__init__.py")}
    assert rooms <= folders
    assert folders <= rooms | {path.name for path in ROOT.iterdir() if path.is_dir()}
    loose = {path.name for path in PACKAGE.glob("*.py") if not path.name.startswith("__")}
    assert loose <= modules
    assert modules <= {path.name for path in PACKAGE.rglob("*.py")}


def test_every_procedure_is_in_the_readme() -> None:
    """A technician finds each procedure that can be started in the README, by its name."""
    names = [
        found.group(1)
        for path in sorted(PROCEDURES.parent.glob("*.yaml"))
        if (found := re.search(r"^procedure: (\S+)$", text_of(path), re.MULTILINE))
    ]
    assert len(names) > 10
    assert [] == [name for name in names if f"`{name}`" not in text_of(README)]


@pytest.mark.parametrize("path", DOCUMENTS, ids=name_of)
def test_no_sentence_opens_with_a_noun_phrase_of_who_what_or_where(path: Path) -> None:
    """A sentence names its subject first: "Who skips a test" is a technician who skips a test."""
    text = re.sub(r"(?m)^(#|\|| {4}).*$", "", without_code(path))
    sentences = re.findall(r"(?:^|(?<=[.:!?]\s)|(?<=^- )|(?<=^\d\. ))[A-Z][^.!?]*[.!?]?", text, re.MULTILINE)
    opened = [one for one in sentences if re.match(r"(Who|Whom|What|Where)(ever)?\b", one)]
    assert [] == [one for one in opened if not one.endswith("?")]


# The number pad


PAD = {
    ".": "point",
    "\N{MINUS SIGN}": "minus",
    "+": "plus",
    "\N{ASTERISK OPERATOR}": "star",
    "/": "slash",
    "Enter": "enter",
    "Backspace": "erase",
    "Escape": "stop",
    "space": "stop",
    **{word.letter: word.key for word in Control if word.letter},
}
"""Keys as the README writes them and as the dialogue calls them."""


def pad_table() -> dict[str, list[str]]:
    """For each key of the dialogue the cells of its row in the README."""
    found: dict[str, list[str]] = {}
    for line in text_of(README).splitlines():
        if not line.startswith("| **"):
            continue
        first, *cells = (cell.strip() for cell in line.strip("|").split(" | "))
        written = re.findall(r"\*\*(.+?)\*\*", first)
        if " to " in first:
            written = [str(digit) for digit in range(int(written[0]), int(written[1]) + 1)]
        for key in written:
            found[PAD.get(key, key)] = cells
    return found


def test_every_key_of_the_pad_is_in_the_readme() -> None:
    """The table of the number pad has every key that counts, and no other."""
    assert {key for key in KEYS if not (len(key) == 1 and key.isalpha())} == set(pad_table())


def test_keys_that_mean_the_same_everywhere_are_called_by_it() -> None:
    """A key whose meaning does not change with the state is told by the name of that meaning."""
    table = pad_table()
    assert [] == [key for key, trigger in KEYED.items() if trigger.value not in table[key][0]]


def at_a_choice() -> Dialogue:
    """A dialogue that asks for one of a few answers."""
    dialogue = Dialogue(sample_library())
    dialogue.begin("coil-control")
    dialogue.ready()
    return dialogue


def at_a_number() -> Dialogue:
    """A dialogue that asks for a number."""
    dialogue = at_a_choice()
    dialogue.begin("feed-weak")
    return dialogue


def said_and_keyed() -> list[tuple[str, Control]]:
    """Keys whose meaning while an answer is asked for is a word that can be said, with that word."""
    words = {control.value.replace("-", " "): control for control in Control}
    pairs = []
    for key, cells in pad_table().items():
        word = max((word for word in words if cells[0].startswith(word)), key=len, default="")
        if word:
            pairs.append((key, words[word]))
    return pairs


@pytest.mark.parametrize(("key", "control"), said_and_keyed())
def test_a_key_does_what_its_word_does(key: str, control: Control) -> None:
    """While an answer is asked for, the dialogue goes to the same place and says the same for the key and the word."""
    keyed, spoken = at_a_choice(), at_a_choice()
    assert keyed.runner.state is State.ASKING
    keyed.key(key)
    spoken.hear(control=control)
    assert spoken.runner.state is keyed.runner.state
    assert spoken.last == keyed.last


# Adding a procedure


def test_the_example_procedure_can_be_used(tmp_path: Path) -> None:
    """The example in the README of the procedures loads, keeps the rules of the trade, and its name can be said."""
    folder, grammars = tmp_path / "procedures", tmp_path / "grammars"
    shutil.copytree(PROCEDURES.parent, folder)
    shutil.copytree(ROOT / "grammars", grammars)
    (folder / "feed-first.yaml").write_text(between(PROCEDURES, "example") + "\n", encoding="utf-8")
    phrases = grammars / "procedure.jsgf"
    phrases.write_text(
        text_of(phrases).replace("    feed weak", between(PROCEDURES, "phrase") + "\n    feed weak"),
        encoding="utf-8",
    )
    library = load_library(folder)
    assert "feed-first" in library.procedures
    assert [] == list(trade_rules.findings(library))
    assert ["feed first"] == [str(form) for form in GrammarSet.load(grammars).forms("outcome", "feed-first")]


@pytest.mark.parametrize("path", TESTS, ids=lambda path: path.stem)
def test_every_test_says_what_it_protects(path: Path) -> None:
    """Each test function has a docstring: the property it protects."""
    tree = ast.parse(text_of(path))
    silent = [
        node.name
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_") and not ast.get_docstring(node)
    ]
    assert silent == []
