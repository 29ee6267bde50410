"""The one table of the dialogue: who answers what, and where it may lead."""

from __future__ import annotations

import ast
import inspect
import re
from pathlib import Path

import pytest
from sample_library import sample_library

from assistant.core.dialogue import (
    anywhere,
    at_cautions,
    at_choices,
    at_facts,
    at_notes,
    at_pauses,
    at_questions,
    at_read_backs,
    table,
)
from assistant.core.dialogue.cells import Cell, row
from assistant.core.dialogue.states import State
from assistant.core.dialogue.table import ROWS
from assistant.core.dialogue.triggers import TRIGGERS, Trigger
from assistant.core.values.result import Control
from assistant.keys.pad import decode
from assistant.rehearsal.dialogue import Dialogue

HANDLERS = (
    anywhere,
    at_cautions,
    at_choices,
    at_facts,
    at_notes,
    at_pauses,
    at_questions,
    at_read_backs,
)
"""The modules that hold handlers."""

ROOM = table.__name__.rpartition(".")[0]


def imported(path: Path) -> set[str]:
    """The modules of the dialogue that a file imports, by their short names."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ImportFrom) and node.module == ROOM:
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and str(node.module).startswith(f"{ROOM}."):
            found.add(str(node.module).rpartition(".")[2])
    return found


def test_a_handler_that_leads_elsewhere_than_its_cell_allows_is_a_defect(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The table decides where a handler may lead, not the handler."""
    talk = Dialogue(sample_library())
    talk.begin("coil-control")
    talk.ready()
    astray = row(Cell(Trigger.SAY_AGAIN, lambda _talk, _by: State.FINISHED), over=ROWS[State.ASKING])
    monkeypatch.setitem(ROWS, State.ASKING, astray)
    with pytest.raises(AssertionError, match="say again may not lead to finished"):
        talk.hear(control=Control.SAY_AGAIN)


def test_handlers_stand_above_the_ways_and_never_import_each_other() -> None:
    """A handler for one state leads on through `moving` and `entering`; what two of them need is below both."""
    handlers = {module.__name__.rpartition(".")[2] for module in HANDLERS}
    for module in HANDLERS:
        assert not imported(Path(inspect.getfile(module))) & handlers, module.__name__


def test_every_handler_has_a_cell() -> None:
    """What a handler module offers is in the table: no answer is written that nothing leads to."""
    used = {cell.handler for cells in ROWS.values() for cell in cells.values()}
    idle = [
        f"{module.__name__}.{name}"
        for module in HANDLERS
        for name, one in inspect.getmembers(module, inspect.isfunction)
        if one.__module__ == module.__name__ and not name.startswith("_") and one not in used
    ]
    assert idle == []


def test_no_two_words_share_a_key_or_a_letter() -> None:
    """A key of the dialogue's own means one word, and each word means one thing."""
    for given in (
        [word.key for word in Control if word.key],
        [word.letter for word in Control if word.letter],
        [one.said for one in TRIGGERS if one.said],
    ):
        assert len(given) == len(set(given))


def test_a_letter_is_a_name_for_a_key_of_its_own() -> None:
    """The pad tells the dialogue the key, never the letter."""
    for word in Control:
        if word.letter:
            assert decode(word.letter.encode()) == ((word.key,), b"")


def test_each_module_imports_only_those_that_stand_before_it() -> None:
    """The README lists the modules of the dialogue from the bottom up, and the imports keep that order."""
    room = Path(table.__file__).parent
    listed = (room / "README.md").read_text(encoding="utf-8").split("| module |")[1].split("\n\n")[0]
    order = [name for line in listed.splitlines()[2:] for name in re.findall(r"`(\w+)`", line.split("|")[1])]
    assert sorted(order) == sorted(path.stem for path in room.glob("*.py") if path.stem != "__init__")
    for place, name in enumerate(order):
        for target in imported(room / f"{name}.py"):
            assert target in order[:place], f"{name} imports {target}"
