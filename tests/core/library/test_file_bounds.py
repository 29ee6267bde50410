"""Absurd numbers, depths and sizes in the files of a folder of procedures: an error with file, line and the range."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from shipped import shipped_library

from assistant import files, resources
from assistant.core.library.reader import LARGEST_NUMBER
from assistant.core.library.tree import DEEPEST, MOST_NODES, parse
from assistant.core.reasoning.knowledge import parse_table
from assistant.core.reasoning.odds_file import LEAST, MOST, parse_findings
from assistant.errors import FileProblem, UsageProblem
from assistant.loading.folder import load_folder, load_library, load_odds

LIBRARY = shipped_library()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the procedures."""
    return Path(shutil.copytree(resources.directory("procedures"), tmp_path / "procedures"))


def line_with(path: Path, start: str) -> int:
    """The first line that begins so."""
    lines = path.read_text(encoding="utf-8").split("\n")
    return next(number for number, line in enumerate(lines, 1) if line.strip().startswith(start))


def put(path: Path, line: int, value: str) -> None:
    """Another value behind the colon of a line."""
    lines = path.read_text(encoding="utf-8").split("\n")
    lines[line - 1] = lines[line - 1].partition(":")[0] + f": {value}"
    path.write_text("\n".join(lines), encoding="utf-8")


ABSURD = (
    "1e999",
    "-1e999",
    "nan",
    "-1",
    "0",
    "1" + "0" * 400,
    "1e-999",
    "inf",
    "1e999999999",
    "9" * 5000,
    "0.0000001",
)


@pytest.mark.parametrize("value", ABSURD, ids=lambda value: value[:12])
@pytest.mark.parametrize("key", ["prior", "minutes", "once", "weight_cars"])
def test_odds_and_minutes_are_numbers_that_can_be_meant(folder: Path, key: str, value: str) -> None:
    """Odds, minutes and cars that are infinite, zero, negative or none are refused with file, line and the range."""
    path = folder / "odds.yaml"
    line = line_with(path, f"{key}:") + (key != "weight_cars")
    put(path, line, value)
    with pytest.raises(FileProblem) as caught:
        load_odds(folder, LIBRARY.terms)
    said = str(caught.value)
    assert said.startswith(f"{path}:{line}: ")
    assert any(str(limit) in said for limit in (MOST, LARGEST_NUMBER)) or "is not a number" in said
    assert len(said) < 600


def test_the_range_of_odds_reaches_over_all_that_is_meant(folder: Path) -> None:
    """The least and the most odds together are still weighed: no share vanishes or is none."""
    path = folder / "odds.yaml"
    line = line_with(path, "prior:")
    put(path, line + 1, f"{LEAST:f}")
    put(path, line + 2, str(MOST))
    assert all(0 < share < 1 for share in load_odds(folder, LIBRARY.terms).prior.values())


@pytest.mark.parametrize("value", ["1e999999999", "nan", "9" * 400, "1e-999999"])
def test_limits_of_readings_are_numbers_that_can_be_meant(folder: Path, value: str) -> None:
    """A limit that no instrument shows is refused at its line; writing it out would take all memory."""
    path = next(
        path for path in sorted(folder.glob("*.yaml")) if "below:" in path.read_text(encoding="utf-8")
    )
    text = path.read_text(encoding="utf-8")
    at = text.index("below:")
    line = text[:at].count("\n") + 1
    end = next(end for end in range(at, len(text)) if text[end] in ",\n}")
    path.write_text(f"{text[:at]}below: {value}{text[end:]}", encoding="utf-8")
    with pytest.raises(FileProblem) as caught:
        load_library(folder)
    assert str(caught.value).startswith(f"{path}:{line}: ")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("a: " + "[" * 100_000, f"deeper than {DEEPEST}"),
        ("".join(" " * n + "a:\n" for n in range(600)), f"deeper than {DEEPEST}"),
        ("a: " + "{b: " * 50_000, f"deeper than {DEEPEST}"),
        ("- " * 100_000, f"deeper than {DEEPEST}"),
        ("".join(f"a{n}: b\n" for n in range(30_000)), f"more than {MOST_NODES}"),
        ("a: &x [b]\nc: [*x, *x]", "anchors"),
        ("a: " + "x" * (1 << 20), "At most"),
        ("((((" * 10_000, "no map of names"),
        ("a: !!python/object/apply:os.system [true]", "tag"),
    ],
    ids=["lists", "maps", "braces", "dashes", "many", "anchors", "large", "parentheses", "tag"],
)
def test_depth_and_size_of_yaml_are_bounded(text: str, said: str) -> None:
    """Nesting, number of entries and size are limited, each with an error that names the limit."""
    with pytest.raises(FileProblem, match=said):
        parse(text.encode(), "a.yaml")


@pytest.mark.parametrize("count", ["1" + "0" * 400, "1e999", "NaN", "-1", "true", '"1"', "[]", str(MOST + 1)])
def test_counted_cars_are_a_number_that_can_be_meant(count: str) -> None:
    """The findings in a session's copy are refused where a count of cars is none."""
    fault = next(iter(LIBRARY.terms.faults))
    data = f'{{"format": "bay-assistant findings", "version": 1, "cars": {{"": {{"{fault}": {count}}}}}}}'
    with pytest.raises(FileProblem):
        parse_findings(data.encode(), "findings.json", LIBRARY.terms)


@pytest.mark.parametrize("systems", [0, -1, 10**9, 10**30, 1e999, "many", None])
def test_likelihoods_of_so_many_cars_are_refused(folder: Path, systems: object) -> None:
    """A table that says that it is for a billion cars is refused before room is made for them."""
    path = folder / "likelihoods.json"
    body = json.loads(path.read_text(encoding="utf-8"))
    next(iter(body["circuits"].values()))["systems"] = systems
    with pytest.raises(FileProblem, match=r"likelihoods\.json"):
        parse_table(json.dumps(body).encode(), path)


def test_nested_likelihoods_are_refused() -> None:
    """A table of brackets only is an error of that file."""
    with pytest.raises(FileProblem, match=r"likelihoods\.json"):
        parse_table(b"[" * 100_000, "likelihoods.json")


@pytest.mark.parametrize("name", ["terms.yaml", "coil-control.yaml", "likelihoods.json"])
def test_a_large_file_is_refused_by_its_size(folder: Path, name: str) -> None:
    """A file that is too large is refused with its name and the limit, before it is read."""
    limit = files.TABLE if name.endswith(".json") else files.SETTINGS
    with (folder / name).open("r+b") as file:
        file.truncate(limit + 1)
    with pytest.raises(UsageProblem, match=f"{name}.*at most {limit} are read"):
        load_folder(folder)
