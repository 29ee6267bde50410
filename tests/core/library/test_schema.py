"""The published JSON Schema says what the loader takes.  Outside check: the jsonschema library (MIT)."""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import pytest
import yaml

from assistant import resources
from assistant.core.library.schema import procedure_schema
from assistant.loading.folder import load_library

FOLDER = resources.directory("procedures")
FILES = sorted(path for path in FOLDER.glob("*.yaml") if path.stem not in ("terms", "cautions", "odds"))


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    loaded: dict[str, Any] = json.loads((FOLDER / "procedure.schema.json").read_text())
    return loaded


def test_the_published_file_is_what_the_code_makes(schema: dict[str, Any]) -> None:
    """procedure.schema.json is up to date (write it with: bay-assistant lint --write-schema)."""
    library = load_library(FOLDER)
    assert procedure_schema(library.terms, library.cautions) == schema


def test_the_schema_itself_is_valid(schema: dict[str, Any]) -> None:
    """It follows JSON Schema draft 2020-12, checked by the jsonschema library."""
    jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("path", FILES, ids=lambda path: str(path.stem))
def test_every_shipped_procedure_follows_the_schema(schema: dict[str, Any], path: Any) -> None:
    """The schema accepts every file that the loader accepts."""
    assert list(jsonschema.Draft202012Validator(schema).iter_errors(yaml.safe_load(path.read_text()))) == []


def test_the_schema_refuses_what_the_loader_refuses(schema: dict[str, Any]) -> None:
    """A wrong place, an unknown key and an answer that leads nowhere are refused."""
    good = yaml.safe_load((FOLDER / "coil-control.yaml").read_text())
    step = "feed-and-switched"
    validator = jsonschema.Draft202012Validator(schema)

    def broken(change: Any) -> bool:
        copy = json.loads(json.dumps(good))
        change(copy["steps"][step])
        return not validator.is_valid(copy)

    assert broken(lambda s: s["measure"].update(probe="fed"))
    assert broken(lambda s: s.update(lok_for="x"))
    assert broken(lambda s: s["answers"].update(lit={}))
    assert broken(lambda s: s["answers"].update(lit={"next": "a", "verdict": "b"}))
