"""The files that come with the package: in a checkout, or in an installed wheel."""

from __future__ import annotations

from pathlib import Path

from assistant.errors import UsageProblem

_PACKAGE = Path(__file__).resolve().parent


def directory(name: str) -> Path:
    """The folder ``grammars``, ``procedures`` or ``audio_fixtures`` of this package.

    A checkout has it beside the package; a wheel carries a copy inside.

    Raises:
        UsageProblem: The folder is in neither place, so the installation is incomplete.
    """
    for candidate in (_PACKAGE / "_installed" / name, _PACKAGE.parent / name):
        if candidate.is_dir() and (name != "audio_fixtures" or (candidate / "manifest.json").is_file()):
            return candidate
    raise UsageProblem(
        f"The folder '{name}' that belongs to bay-assistant is missing. Install bay-assistant again."
    )


def bundled_model() -> Path:
    """Directory of the recogniser's model that comes with the package."""
    return _PACKAGE / "hearing" / "model"
