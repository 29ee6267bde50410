"""The write-up as JSON, and its published schema."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import jsonschema
import pytest
from hypothesis import given, settings, strategies as st
from recorded import OPEN_CONTROL_WIRE, folder, library, scripted, session, wandering
from small_shop import small_library
from test_draft import stories
from test_provenance import REVIEWS

from assistant.writeup import draft, write_json
from assistant.writeup.data import SCHEMA_FILE, schema_text, to_json

if TYPE_CHECKING:
    from pathlib import Path

    from small_shop import Story

PUBLISHED = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))


def test_the_published_schema_is_the_one_of_the_code() -> None:
    """The file is what the classes say: write it anew with ``bay-assistant writeup --schema``."""
    assert schema_text() == SCHEMA_FILE.read_text(encoding="utf-8")


def test_the_schema_is_a_json_schema() -> None:
    """The outside library `jsonschema` accepts it under the draft that it names."""
    assert "https://json-schema.org/draft/2020-12/schema" == PUBLISHED["$schema"]
    jsonschema.Draft202012Validator.check_schema(PUBLISHED)


@given(st.integers(0, 100_000), st.booleans())
@settings(max_examples=10)
def test_every_session_fits_the_published_schema(seed: int, reviewed: bool) -> None:
    """Another program can rely on the shape, whatever happened."""
    made = draft(session(wandering(seed)), library(), REVIEWS if reviewed else ())
    jsonschema.validate(json.loads(to_json(made)), PUBLISHED)


@given(stories())
@settings(max_examples=20)
def test_every_made_up_session_fits_it_too(story: Story) -> None:
    """Also entries that no dialogue would put in this order."""
    jsonschema.validate(json.loads(to_json(draft(story.session(), small_library()))), PUBLISHED)


@pytest.mark.parametrize(
    "spoil",
    [
        lambda body: body.pop("cause"),
        lambda body: body.update(version=2),
        lambda body: body.update(guess="the coil, surely"),
        lambda body: body["tests"][0].pop("sources"),
        lambda body: body["tests"][0].update(number="1"),
    ],
)
def test_the_schema_refuses_something_else(spoil: Any) -> None:
    """A missing part, another version, an addition, a result without sources: none of them is this format."""
    body = json.loads(to_json(draft(session(scripted(*OPEN_CONTROL_WIRE)), library())))
    jsonschema.validate(body, PUBLISHED)
    spoil(body)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(body, PUBLISHED)


def test_a_session_folder_as_json(tmp_path: Path) -> None:
    """Format and version come first; the record's checksum is that of the seal."""
    place = folder(tmp_path, scripted(*OPEN_CONTROL_WIRE))
    body = json.loads(write_json(place))
    assert ["format", "version"] == list(body)[:2]
    assert ("bay-assistant write-up", 1) == (body["format"], body["version"])
    assert 64 == len(body["record"])
