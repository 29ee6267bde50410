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


def refuse_installed(path: Path) -> None:
    """Nothing is written into an installed program: an update would throw it away, and another user may own it.

    A checkout is no installed copy: there the files are the contributor's own.

    Args:
        path: A file or folder that is about to be written.

    Raises:
        UsageProblem: It lies in the installed package.
    """
    if (_PACKAGE / "_installed").is_dir() and path.resolve().is_relative_to(_PACKAGE):
        raise UsageProblem(
            f"{path} belongs to the installed program, and nothing is written there. Name another place. To edit "
            "procedures, make a copy with 'bay-assistant procedures --copy DIR' and name it with --procedures DIR."
        )


def bundled_model() -> Path:
    """Directory of the recogniser's model that comes with the package."""
    return _PACKAGE / "hearing" / "model"
