"""The work of the command ``procedures``: what is listed, copied, compared and brought up to date."""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant import __version__, resources
from assistant.core.comparison.change import Alteration
from assistant.core.comparison.procedures import compare
from assistant.core.comparison.three_way import ThreeWay, three_way
from assistant.core.comparison.versions import GRAMMARS, Version, changes, others
from assistant.errors import FileProblem, UsageProblem
from assistant.loading import copying
from assistant.loading.copying import SHIPPED, CopiedFrom, origin_of
from assistant.loading.folder import load_library, problems
from assistant.loading.shop import BUNDLED, procedures_in_use, shop_folder

if TYPE_CHECKING:
    from assistant.core.library.library import Library

SHOP = "shop"


def listed(given: Path | None) -> list[dict[str, Any]]:
    """All procedures in use: ``name``, ``title``, ``steps`` (their number), ``from`` and ``state``.

    ``from`` is "bundled" or "shop"; ``state`` is "as shipped", "changed", or "own" where none of its name was shipped.
    The state compares a copy with the version that it came from, or with this one if the copy does not say.

    Args:
        given: The value of ``--procedures``.

    Raises:
        BayAssistantError: The folder cannot be loaded.
    """
    shop = shop_folder(given)
    library = load_library(shop or resources.directory("procedures"))
    states = _states(shop, library) if shop is not None else {}
    return [
        {
            "name": procedure.name,
            "title": procedure.title,
            "steps": len(procedure.steps),
            "from": SHOP if shop is not None else BUNDLED,
            "folder": str(shop) if shop is not None else "",
            "state": states.get(procedure.name, "as shipped"),
        }
        for procedure in library.procedures.values()
    ]


def _states(shop: Path, library: Library) -> dict[str, str]:
    origin = origin_of(shop)
    before = load_library(resources.directory("procedures") if origin is None else shop / SHIPPED)
    changed = {change.file for change in compare(before, library)}
    return {
        name: "own"
        if name not in before.procedures
        else "changed"
        if f"{name}.yaml" in changed
        else "as shipped"
        for name in library.procedures
    }


@dataclass(frozen=True)
class Copied:
    """A copy that was made.

    Attributes:
        names: Its procedures.
        besides: Those that nobody named, and that the named ones lead to.
    """

    names: list[str]
    besides: list[str]


def copied(given: Path | None, target: Path, names: list[str], *, with_grammars: bool) -> Copied:
    """Copy procedures into a new folder.

    Args:
        given: Folder to copy from, as of ``--procedures``; None for the bundled one, whatever is set.
        target: The new folder.
        names: Procedures; all if there are none.
        with_grammars: Copy the grammars as well.

    Raises:
        BayAssistantError: A procedure is not known, or the folder cannot be written.
    """
    resources.refuse_installed(target)
    source = procedures_in_use(given, {}, heeding=False)
    library = load_library(source)
    wanted = copying.with_what_follows(library, names or list(library.procedures))
    own = source / GRAMMARS
    grammars = own if own.is_dir() else resources.directory("grammars") if with_grammars else None
    copying.copy(source, target, wanted, __version__, grammars)
    return Copied(list(wanted), [name for name in wanted if names and name not in names])


# --- what changed ---------------------------------------------------------------------------------


@dataclass(frozen=True)
class Changes:
    """What changed in a copy and in the program.

    Attributes:
        folder: The copy.
        origin: Where it came from; None if it does not say, and then all differences from this version are its own.
        three: The changes.
        beside: Files of the copy with other comments, or that were made anew.
        shipped_beside: The same of the program.
    """

    folder: Path
    origin: CopiedFrom | None
    three: ThreeWay
    beside: tuple[Alteration, ...] = ()
    shipped_beside: tuple[Alteration, ...] = ()


def changes_of(folder: Path) -> Changes:
    """Compare a copy with the version that it came from, and that with this one.

    Raises:
        BayAssistantError: A folder cannot be loaded, or the originals were changed.
    """
    origin = origin_of(folder)
    spoken = (folder / GRAMMARS).is_dir()
    now = _version(resources.directory("procedures"), resources.directory("grammars") if spoken else None)
    mine = _version(folder, folder / GRAMMARS if spoken else None)
    if origin is None:
        yours = changes(now, mine)
        return Changes(folder, None, ThreeWay(tuple(yours), ()), tuple(others(now, mine, yours)))
    copying.check_originals(folder, origin)
    original = folder / SHIPPED
    base = _version(original, original / GRAMMARS if (original / GRAMMARS).is_dir() else None)
    yours, shipped = changes(base, mine), changes(base, now, origin.left_out)
    return Changes(
        folder,
        origin,
        three_way(yours, shipped),
        tuple(others(base, mine, yours)),
        tuple(others(base, now, shipped)),
    )


def _version(folder: Path, grammars: Path | None) -> Version:
    return copying.version_of(folder, _phrases(grammars) if grammars is not None else None)


def _phrases(folder: Path) -> dict[tuple[str, str], tuple[str, ...]]:
    from assistant.grammar.grammar_set import GrammarSet  # noqa: PLC0415  only for copies that have grammars

    loaded = GrammarSet.load(folder)
    kinds = {
        "outcome": loaded.outcomes(),
        "place": loaded.places(),
        "unit": loaded.units(),
        "control": tuple(control.value for control in loaded.controls()),
    }
    return {
        (kind, name): tuple(str(form) for form in loaded.forms(kind, name))
        for kind, names in kinds.items()
        for name in names
    }


def change_json(change: Alteration) -> dict[str, Any]:
    """A change as JSON."""
    return {
        "file": change.file,
        "path": list(change.path),
        "about": change.about.value,
        "sentence": change.sentence,
        "before": change.before,
        "after": change.after,
    }


def changes_json(found: Changes) -> dict[str, Any]:
    """All changes as JSON: ``yours``, ``program``, ``alike``, ``conflicts``; in ``besides`` comments, made files."""
    three = found.three
    return {
        "folder": str(found.folder),
        "copied_from": found.origin.version if found.origin else None,
        "this_version": __version__,
        "yours": list(map(change_json, three.yours)),
        "program": list(map(change_json, three.shipped)),
        "alike": list(map(change_json, three.alike)),
        "conflicts": [
            {
                "file": one.file,
                "place": list(one.place),
                "yours": list(map(change_json, one.yours)),
                "program": list(map(change_json, one.shipped)),
            }
            for one in three.conflicts
        ],
        "besides": {
            "yours": list(map(change_json, found.beside)),
            "program": list(map(change_json, found.shipped_beside)),
        },
    }


# --- bringing a copy up to date -------------------------------------------------------------------


@dataclass
class Updated:
    """What an update did, by names of files.

    Attributes:
        taken: Files that only the program had changed, or that are new.
        removed: Files that the program does not have any more, and that nobody had edited.
        kept: Files that both had changed: they stay as they were.
        left: Changes of the program in those, which are not in the copy.
    """

    taken: list[str] = field(default_factory=list)
    removed: list[str] = field(default_factory=list)
    kept: list[str] = field(default_factory=list)
    left: list[Alteration] = field(default_factory=list)


def updated(folder: Path) -> Updated:
    """Bring what the program changed into a copy, file by file; a file that was edited stays as it is.

    Nothing is written unless the copy can be loaded afterwards.

    Raises:
        BayAssistantError: The copy does not say where it came from, or it could not be loaded afterwards.
    """
    resources.refuse_installed(folder)
    origin = origin_of(folder)
    if origin is None:
        raise UsageProblem(
            f"{folder} does not say which version it came from, so nobody can tell what you changed. Make a new copy "
            "with 'bay-assistant procedures --copy DIR' and carry your changes over; "
            f"'bay-assistant procedures --changes {folder}' lists them."
        )
    found = changes_of(folder)
    base = copying.contents(folder / SHIPPED, origin.sums)
    new = copying.shipped_now(origin, resources.directory("procedures"), resources.directory("grammars"))
    mine = copying.contents(folder, {*base, *new})
    done, wanted = Updated(), dict(mine)
    for name in sorted({*base, *new}):
        if new.get(name) == base.get(name) or mine.get(name) == new.get(name):
            continue
        if mine.get(name) != base.get(name):
            done.kept.append(name)
        elif name in new:
            done.taken.append(name)
            wanted[name] = new[name]
        else:
            done.removed.append(name)
            wanted.pop(name, None)
    done.left = [
        change for change in found.three.shipped if change.file in done.kept or _in(change, done.kept)
    ]
    _must_load(folder, wanted, {*base, *new})
    changed = {name: wanted.get(name) for name in (*done.taken, *done.removed)}
    copying.renew(folder, changed, new, CopiedFrom(__version__, {}, origin.left_out))
    return done


def _in(change: Alteration, kept: list[str]) -> bool:
    """Whether a change of what can be said is in a file of grammars that was kept."""
    return change.file == GRAMMARS and any(name.startswith(f"{GRAMMARS}/") for name in kept)


def _must_load(folder: Path, wanted: dict[str, bytes], known: set[str]) -> None:
    """Try the folder as it would be, with the files that are the shop's alone.

    Raises:
        FileProblem: It would not load.
    """
    own = {path.name: path.read_bytes() for path in folder.glob("*.yaml") if path.name not in known}
    with tempfile.TemporaryDirectory(prefix="bay-assistant-update-") as name:
        trial = Path(name)
        for file, data in {**own, **wanted}.items():
            path = trial / file
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        for problem in problems(trial):
            raise FileProblem(
                folder / problem.path.name,
                problem.line,
                f"{problem.problem}, once the new files are beside it, so nothing was written",
                problem.remedy,
            )
