"""What the documents say is what the code does, and the tree keeps its rules."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from assistant.core.dialogue.table import diagram

ROOT = Path(__file__).resolve().parent.parent
TESTS = sorted((ROOT / "tests").rglob("test_*.py"))
COMMANDS = (
    "run",
    "demo",
    "hear",
    "lint",
    "prove",
    "writeup",
    "review",
    "pack",
    "picture",
    "verify",
    "replay",
    "sessions",
    "gear",
    "bench",
)


def test_the_diagram_in_the_documents_is_the_table() -> None:
    """DEVELOPERS.md shows the transition table as it is in the code."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    found = re.search(r"<!-- diagram -->\n```mermaid\n(.*?)\n```\n<!-- end of diagram -->", text, re.DOTALL)
    assert found is not None
    assert diagram() == found.group(1)


def test_readme_opens_with_the_job_and_then_the_two_commands() -> None:
    """One paragraph, then one command that runs the main job and one that passes the tests."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"```sh\n(.*?)\n```", text, re.DOTALL)
    assert [len(block.splitlines()) for block in blocks[:2]] == [1, 1]
    assert "demo" in blocks[0]
    assert "pytest" in blocks[1]
    title, paragraph = text.split("\n\n")[:2]
    assert title.startswith("# ")
    assert not paragraph.startswith(("#", "`", "-", "|"))


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme_and_has_help_with_an_example(command: str) -> None:
    """`--help` of every command ends with an example, and the README names the command."""
    assert f"`{command}" in (ROOT / "README.md").read_text(encoding="utf-8")
    shown = subprocess.run(
        [sys.executable, "-m", "assistant", command, "--help"], capture_output=True, text=True, check=True
    )
    assert f"Example: bay-assistant {command}" in shown.stdout


@pytest.mark.parametrize("path", TESTS, ids=lambda path: path.stem)
def test_every_test_says_what_it_protects(path: Path) -> None:
    """Each test function has a docstring: the property it protects."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    silent = [
        node.name
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_") and not ast.get_docstring(node)
    ]
    assert silent == []
