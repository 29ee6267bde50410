"""Pretends, in a process of its own, to be another system, as far as Python lets a system show.

``python other_systems.py darwin COMMAND...`` runs bay-assistant with a standard library that lacks what it lacks on
that system, and without Linux's own folders. What is lacking comes from typeshed, the library's types that mypy
carries: it states for each name of `os`, `signal` and so on which systems have it.
It shows that nothing is called that is not there, and no more: the libraries that do the work (recogniser, voice,
sound files) are those of the system that it really is.
"""

from __future__ import annotations

import ast
import errno
import fcntl
import importlib
import os
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import mypy

MODULES = (
    "fcntl",
    "grp",
    "os",
    "pty",
    "pwd",
    "resource",
    "select",
    "signal",
    "socket",
    "termios",
    "time",
    "tty",
)

ABSENT = {"darwin": (), "win32": ("fcntl", "grp", "pty", "pwd", "resource", "termios", "tty")}
"""Modules that a system does not have at all (the library's manual: "Availability: Unix")."""

LINUX_FOLDERS = ("/proc", "/sys", "/dev/shm", "/dev/input")  # noqa: S108  they are hidden, not used

FULL_SYNC = 51
"""F_FULLFSYNC on macOS, from memory."""


def names_on(platform: str, module: str) -> set[str]:
    """The names that typeshed gives a module of the standard library on a system."""
    sight = {"sys": SimpleNamespace(platform=platform, version_info=sys.version_info)}
    found: set[str] = set()

    def visit(body: list[ast.stmt]) -> None:
        for node in body:
            match node:
                case ast.If():
                    test = compile(ast.Expression(node.test), module, "eval")
                    visit(node.body if eval(test, dict(sight)) else node.orelse)  # noqa: S307  typeshed's own words
                case ast.FunctionDef(name=name) | ast.ClassDef(name=name):
                    found.add(name)
                case ast.AnnAssign(target=ast.Name(id=name)) | ast.Assign(targets=[ast.Name(id=name)]):
                    found.add(name)
                case ast.ImportFrom(names=names):
                    found.update(one.asname or one.name for one in names)

    stdlib = Path(mypy.__file__).parent / "typeshed" / "stdlib"
    file = stdlib / ("os/__init__.pyi" if module == "os" else f"{module}.pyi")
    visit(ast.parse(file.read_text(encoding="utf-8")).body)
    return found


def lacking(platform: str, module: str) -> set[str]:
    """The names that a module has on Linux and not on a system."""
    return names_on("linux", module) - names_on(platform, module)


def become(platform: str) -> None:
    """From now on this process is another system, as far as this module can tell."""
    gone = {name: lacking(platform, name) for name in MODULES if name not in ABSENT[platform]}
    for name, names in gone.items():
        module = importlib.import_module(name)
        for one in names & set(vars(module)):
            delattr(module, one)
    for name in ABSENT[platform]:
        vars(sys)["modules"][name] = None  # importing it raises an ImportError (the manual, sys.modules)
    if platform == "darwin":
        _without_full_sync()
    sys.addaudithook(_hide)
    sys.platform = platform


def _without_full_sync() -> None:
    """Like a network share on macOS: the number for a full sync is known, and the file system answers ENOTSUP."""
    really = fcntl.fcntl

    def asked(descriptor: int, number: int, *rest: Any) -> Any:
        if number == FULL_SYNC:
            raise OSError(errno.ENOTSUP, os.strerror(errno.ENOTSUP))
        return really(descriptor, number, *rest)

    vars(fcntl).update(F_FULLFSYNC=FULL_SYNC, fcntl=asked)


def _hide(event: str, values: tuple[object, ...]) -> None:
    if event in ("open", "os.listdir", "os.scandir") and isinstance(values[0], str | bytes):
        path = os.fsdecode(values[0])
        if any(path == folder or path.startswith(f"{folder}/") for folder in LINUX_FOLDERS):
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), path)


if __name__ == "__main__":
    if sys.argv[1] == "darwin":
        # These choose the file of their library by the system's name, and so load this system's first.
        import sounddevice  # noqa: F401
        import soundfile  # noqa: F401
        import vosk  # noqa: F401
    become(sys.argv[1])
    from assistant.cli import main

    try:
        status = main(sys.argv[2:])
    finally:
        if sys.argv[1] == "win32":
            print("loaded:", *sorted(name for name in sys.modules if name.startswith("assistant")))
    sys.exit(status)
