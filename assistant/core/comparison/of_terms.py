"""What differs between two versions of the terms and of the cautions: each entry, and each of its keys."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from assistant.core.comparison.change import About, Alteration, quoted, told

if TYPE_CHECKING:
    from collections.abc import Iterator

    from assistant.core.library.library import Library
    from assistant.core.library.terms import Terms

TERMS = "terms.yaml"
CAUTIONS = "cautions.yaml"

SECTIONS = ("places", "instruments", "outcomes", "faults", "facts", "called")
"""Parts of ``terms.yaml``, by the names that they have there and in `Terms`."""

_KEYS = {("called", "instruments"): "with", ("cautions", "instruments"): "with"}
"""Names of keys in a file that are called otherwise in the code."""

_NO_KEY = ("name", "line")

_SAID = {
    "signal": "signal word",
    "full": "full words",
    "short": "short words",
    "covers": "hazards covered",
    "acknowledge": "must be acknowledged",
    "source": "source",
    "with": "for the instruments",
}
"""Keys of a caution in words; other keys are named as they stand in the file."""


def caution_changes(before: Library, after: Library) -> Iterator[Alteration]:
    """Cautions that came, went, or have other words, hazards or rules."""
    yield from _entries(CAUTIONS, "cautions", before.cautions, after.cautions, About.CAUTION)


def term_changes(before: Terms, after: Terms) -> Iterator[Alteration]:
    """Names that came or went, and keys of theirs that changed."""
    for section in SECTIONS:
        yield from _entries(TERMS, section, getattr(before, section), getattr(after, section), About.TERM)


def _entries(
    file: str, section: str, before: Mapping[str, Any], after: Mapping[str, Any], about: About
) -> Iterator[Alteration]:
    for name, entry in after.items():
        if name not in before:
            said = _summary(entry)
            yield Alteration(file, (section, name), about, f"it was added: {said}", "", said)
            continue
        for one in fields(entry):
            was, now = getattr(before[name], one.name), getattr(entry, one.name)
            if one.name in _NO_KEY or (was == now and _words(was) == _words(now)):
                continue
            key = _KEYS.get((section, one.name), one.name)
            what = _SAID.get(key, f"'{key}'") if section == "cautions" else f"'{key}'"
            yield Alteration(
                file,
                (section, name, key),
                about,
                told(what, _words(was), _words(now)),
                _words(was),
                _words(now),
            )
    for name, entry in before.items():
        if name not in after:
            said = _summary(entry)
            yield Alteration(file, (section, name), about, f"it was removed: {said}", said, "")


def _summary(entry: Any) -> str:
    """The words by which an entry is known: those that are spoken or shown."""
    for key in ("full", "question", "plain", "spoken", "name"):
        if text := getattr(entry, key, ""):
            return quoted(str(text))
    return ""


def _words(value: Any) -> str:
    """A value of an entry as a person would read it; "" for none."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if not value:
        return ""
    if isinstance(value, Mapping):
        return ", ".join(f"{name}: {said}" for name, said in value.items())
    if isinstance(value, tuple):
        return ", ".join(str(_plain(one)) for one in value)
    if isinstance(value, (int, float, Decimal)):
        return str(_plain(value))
    return quoted(str(value))


def _plain(value: Any) -> str:
    return (
        f"{value:f}"
        if isinstance(value, Decimal)
        else f"{value:g}"
        if isinstance(value, float)
        else str(value)
    )
