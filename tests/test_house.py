"""Rooms a stranger can live in: the core is pure, and nothing grows beyond what can be read at once.

`ceilings.json` lists what is still larger than the ceilings, with its size. The list only shrinks: an entry that has
grown, or is no longer needed, fails; so does anything new above a ceiling. After something became smaller,

    python tests/test_house.py

writes the list again; it refuses to make an entry larger or to add one.
"""

from __future__ import annotations

import ast
import json
import sys
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "assistant"
LIST = Path(__file__).with_name("ceilings.json")

CEILINGS = {"module": 400, "function": 60, "class": 12}
"""Lines of a module, lines of a function without its docstring, fields of a class."""

PURE = {
    "__future__", "collections", "dataclasses", "decimal", "difflib", "enum", "functools", "heapq", "itertools",
    "json", "math", "operator", "re", "types", "typing", "unicodedata", "yaml",
}  # fmt: skip
"""What a module of the core may import besides the core and the errors: values in, values out."""

OURS = ("assistant.core", "assistant.errors")

IMPURE = {"open", "print", "input", "exec", "eval", "compile", "breakpoint", "__import__"}
"""Built-in functions that reach out of a computation."""

MODULES = sorted(PACKAGE.rglob("*.py"))
CORE = sorted((PACKAGE / "core").rglob("*.py"))


def name_of(path: Path) -> str:
    """A module as it is imported."""
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imported(tree: ast.Module, package: str) -> list[str]:
    """Every module that is imported, also inside functions; relative imports are written out."""
    found: list[str] = []
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            above = package.split(".")[: -node.level] if node.level else []
            base = ".".join([*above, *([node.module] if node.module else [])])
            found += [f"{base}.{alias.name}" for alias in node.names]
    return found


def impurities(source: str, name: str = "assistant.core.made_up") -> list[str]:
    """List what is not a computation in a module of the core: foreign imports, and calls that reach out."""
    tree = ast.parse(source)
    found = [
        one
        for one in imported(tree, name)
        if not any(one == ours or one.startswith(f"{ours}.") for ours in OURS)
        and one.split(".")[0] not in PURE
    ]
    found += [
        node.func.id
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in IMPURE
    ]
    return found


@pytest.mark.parametrize("path", CORE, ids=name_of)
def test_the_core_only_computes(path: Path) -> None:
    """A module of the core imports the core, the errors and a short list of pure modules, and opens nothing."""
    found = impurities(path.read_text(encoding="utf-8"), name_of(path))
    assert not found


@pytest.mark.parametrize(
    "source",
    [
        "from assistant import live",
        "from assistant import resources",
        "import assistant.resources",
        "from assistant.circuit.solving import solve",
        "from ..resources import directory",
        "def f():\n    import os",
        "from pathlib import Path",
        "import time",
        'words = open("/etc/hostname").read()',
        'print("said")',
    ],
)
def test_an_impure_module_is_found(source: str) -> None:
    """Edges, files, clocks and printing are found in a module of the core however they are written."""
    assert impurities(source)


def fields_of(node: ast.ClassDef) -> int:
    """Fields of a class: those that are declared, and those that its methods set."""
    names = {
        one.target.id
        for one in node.body
        if isinstance(one, ast.AnnAssign)
        and isinstance(one.target, ast.Name)
        and "ClassVar" not in ast.unparse(one.annotation)
    }
    for method in node.body:
        if not isinstance(method, ast.FunctionDef):
            continue
        for one in ast.walk(method):
            targets = one.targets if isinstance(one, ast.Assign) else [getattr(one, "target", None)]
            for target in targets:
                if (
                    isinstance(one, ast.Assign | ast.AnnAssign)
                    and isinstance(target, ast.Attribute)
                    and isinstance(target.value, ast.Name)
                    and target.value.id == "self"
                ):
                    names.add(target.attr)
    return len(names)


def length_of(node: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    """Lines of a function without its docstring."""
    assert node.end_lineno is not None
    whole = node.end_lineno - node.lineno + 1
    first = node.body[0]
    if ast.get_docstring(node, clean=False) is not None and first.end_lineno is not None:
        whole -= first.end_lineno - first.lineno + 1
    return whole


def sizes() -> dict[str, dict[str, int]]:
    """Return what is above a ceiling, by kind and name."""
    found: dict[str, dict[str, int]] = {kind: {} for kind in CEILINGS}
    for path in MODULES:
        text = path.read_text(encoding="utf-8")
        name = name_of(path)
        found["module"][name] = len(text.splitlines())

        def visit(node: ast.AST, within: str) -> None:
            for one in ast.iter_child_nodes(node):
                inner = within
                if isinstance(one, ast.ClassDef):
                    inner = f"{within}.{one.name}"
                    found["class"][inner] = fields_of(one)
                elif isinstance(one, ast.FunctionDef | ast.AsyncFunctionDef):
                    inner = f"{within}.{one.name}"
                    found["function"][inner] = length_of(one)
                visit(one, inner)

        visit(ast.parse(text), name)
    return {
        kind: {name: size for name, size in sorted(found[kind].items()) if size > most}
        for kind, most in CEILINGS.items()
    }


def test_nothing_grows_beyond_the_ceilings() -> None:
    """Modules, functions and classes are below the ceilings, but for a list of exceptions that only shrinks."""
    listed: dict[str, dict[str, int]] = json.loads(LIST.read_text(encoding="utf-8"))
    now = sizes()
    for kind, most in CEILINGS.items():
        grown = {name: size for name, size in now[kind].items() if size > listed[kind].get(name, most)}
        assert not grown, f"larger than {most}, or than listed"
        small = sorted(set(listed[kind]) - set(now[kind]))
        assert not small, "below the ceiling now: python tests/test_house.py takes them off the list"


def circles() -> list[list[str]]:
    """Groups of modules that import each other when they are loaded, or for the types; none is meant to be."""
    names = {name_of(path): path for path in MODULES}
    arrows: dict[str, set[str]] = {}
    for name, path in names.items():
        package = f"{name}.x" if path.name == "__init__.py" else name
        tree = ast.parse(path.read_text(encoding="utf-8"))
        found = set()
        for one in imported(tree, package):
            target = one if one in names else one.rpartition(".")[0]
            if target in names and target != name:
                found.add(target)
        arrows[name] = found
    index: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    groups: list[list[str]] = []

    def visit(name: str) -> None:  # Tarjan's strongly connected components
        index[name] = low[name] = len(index)
        stack.append(name)
        for target in sorted(arrows[name]):
            if target not in index:
                visit(target)
                low[name] = min(low[name], low[target])
            elif target in stack:
                low[name] = min(low[name], index[target])
        if low[name] == index[name]:
            group = []
            while True:
                group.append(stack.pop())
                if group[-1] == name:
                    break
            if len(group) > 1:
                groups.append(sorted(group))

    for name in sorted(arrows):
        if name not in index:
            visit(name)
    return sorted(groups)


KNOWN_CIRCLES: list[list[str]] = []
"""Circles that still have to be opened; the list only shrinks."""


def test_no_modules_import_each_other_in_a_circle() -> None:
    """A module needs only modules below it: no group of modules needs each other, not even for the types."""
    assert circles() == KNOWN_CIRCLES


def twice() -> set[str]:
    """Names of classes that more than one module defines."""
    homes: dict[str, set[Path]] = {}
    for path in MODULES:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ClassDef):
                homes.setdefault(node.name, set()).add(path)
    return {name for name, paths in homes.items() if len(paths) > 1}


KNOWN_TWICE = {
    "Found",
}  # fmt: skip
"""Names that still stand for several classes; the list only shrinks."""


def test_a_class_has_its_name_for_itself() -> None:
    """One name for one thing: no two modules define a class of the same name."""
    assert twice() == KNOWN_TWICE


TESTS = ROOT / "tests"

ROOMLESS = {
    "dependability": "attacks on the record by whole programs that are started and killed",
    "live": "whole sessions on a microphone and a loudspeaker made in software",
    "newcomer": "README's commands on fresh systems, and what other systems would install",
    "whole_job": "three jobs from the first question to the proof of the repair",
}
"""Folders of tests that no room of the package is named like, with what they test."""


def test_a_folder_of_tests_is_named_like_the_room_that_it_tests() -> None:
    """The tests of a room are found by the room's name; the few other folders are listed with their reason."""
    folders = {str(path.parent.relative_to(TESTS)) for path in TESTS.rglob("test_*.py")} - {"."}
    roomless = {name for name in folders if not (PACKAGE / name / "__init__.py").is_file()}
    assert roomless == set(ROOMLESS)


def test_a_file_among_the_tests_has_its_name_for_itself() -> None:
    """Tests are no packages and import each other's helpers by name, so a name may stand for one file only."""
    seen: dict[str, list[str]] = {}
    for path in sorted(TESTS.rglob("*.py")):
        if path.name not in {
            "conftest.py",
            "__main__.py",
        }:  # pytest and Python tell these apart by their folders
            seen.setdefault(path.name, []).append(str(path.relative_to(TESTS)))
    assert [] == [paths for paths in seen.values() if len(paths) > 1]


@pytest.fixture
def sharing(pytestconfig: pytest.Config) -> Any:
    """What `tests/conftest.py` says of the work that tests share."""
    return pytestconfig.pluginmanager.get_plugin(str(TESTS / "conftest.py"))


def test_what_runs_apart_or_first_exists(sharing: Any) -> None:
    """A folder or a file that was renamed does not silently lose its place in the order of the tests."""
    files = list(TESTS.rglob("test_*.py"))
    names = {part for path in files for part in path.relative_to(TESTS).parts}
    assert sharing.APART <= names
    assert set(sharing.LONG_FIRST) <= {path.relative_to(TESTS).parts[0] for path in files}


def test_tests_that_share_nothing_run_one_by_one_and_others_by_their_file(sharing: Any) -> None:
    """The list of what runs apart has its effect on each kind of name in it."""
    apart = sorted(
        str(path.relative_to(ROOT))
        for path in TESTS.rglob("test_*.py")
        if not sharing.APART.isdisjoint(path.relative_to(TESTS).parts)
    )
    for file in (
        "tests/live/test_live_session.py",
        "tests/test_linting.py",
        "tests/picture/test_pictures.py",
    ):
        assert file in apart
    for file in apart:
        assert sharing.shared_by(f"{file}::test_one") != sharing.shared_by(f"{file}::test_other")
    file = "tests/core/dialogue/test_runner.py"
    assert sharing.shared_by(f"{file}::test_one") == sharing.shared_by(f"{file}::test_other")
    file = "tests/whole_job/test_whole_job.py"
    assert sharing.shared_by(f"{file}::test_one[job]") == sharing.shared_by(f"{file}::test_other[job]")
    assert sharing.shared_by(f"{file}::test_one[job]") != sharing.shared_by(f"{file}::test_one[other]")


if __name__ == "__main__":
    now = sizes()
    if LIST.exists() and "--first" not in sys.argv:
        before = json.loads(LIST.read_text(encoding="utf-8"))
        grown = [
            f"{name}: {size}, listed {before[kind].get(name, 'not at all')}"
            for kind, found in now.items()
            for name, size in found.items()
            if size > before[kind].get(name, 0)
        ]
        if grown:
            sys.exit("Above a ceiling and not listed as such:\n" + "\n".join(grown))
    LIST.write_text(json.dumps(now, indent=1) + "\n", encoding="utf-8")
