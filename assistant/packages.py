"""What this system calls the packages that a library or program comes in, and the command that installs them.

Some parts of the program rest on a system library that no Python package brings everywhere: PortAudio on Linux,
``libatomic.so.1`` under the recogniser on some processors. The errors about them name the package as the machine's
own system does, known from ``/etc/os-release`` (freedesktop.org's os-release(5): ``ID``, and ``ID_LIKE`` for systems
that derive from another).

The names for apt were tried on Debian 12 and 13. Those for dnf were looked up in Fedora's package index, but for
``alsa-plugins-pulseaudio`` (`tests/newcomer/README.md`); those for brew are from memory.
"""

from __future__ import annotations

import functools
import re
import sys
from dataclasses import dataclass
from pathlib import Path

from assistant import files

OS_RELEASE = (Path("/etc/os-release"), Path("/usr/lib/os-release"))
"""The files that tell what system this is; the first that is there counts."""

_APT, _DNF = ("debian", "ubuntu", "raspbian"), ("fedora", "rhel", "centos")


@dataclass(frozen=True)
class Need:
    """Something that a system package brings.

    Attributes:
        what: Its own name.
        apt: Packages on Debian and its kin.
        dnf: Packages on Fedora and its kin.
        brew: Formula of Homebrew on macOS; "" if macOS needs none.
    """

    what: str
    apt: str
    dnf: str
    brew: str = ""


PORTAUDIO = Need("PortAudio", "libportaudio2", "portaudio", "portaudio")
ATOMIC = Need("libatomic", "libatomic1", "libatomic")
ALSA_TO_PULSE = Need("ALSA's way to the sound server", "libasound2-plugins", "alsa-plugins-pulseaudio")
PACTL = Need("pactl", "pulseaudio-utils", "pulseaudio-utils", "pulseaudio")
PANGO = Need(
    "Pango",
    "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-liberation",
    "pango liberation-sans-fonts",
    "pango",
)
CAIRO = Need("Cairo", "libcairo2", "cairo", "cairo")
SIGROK = Need("sigrok-cli", "sigrok-cli", "sigrok-cli", "sigrok-cli")

_LIBRARIES = {
    "libatomic.so.1": ATOMIC,
    "libportaudio.so.2": PORTAUDIO,
    "libstdc++.so.6": Need("the C++ library", "libstdc++6", "libstdc++"),
    "libgomp.so.1": Need("GNU OpenMP", "libgomp1", "libgomp"),
}
"""Libraries that a loader can miss, by the names that it complains about."""

_ABSENT = re.compile(r"(lib[\w+.-]+\.so[\w.]*): cannot open shared object file")
"""The words of the GNU C library's loader (from memory, and seen on Debian 12)."""


def installing(need: Need) -> str:
    """How to install it here, such as ``Run: sudo apt install libatomic1``: a sentence without its full stop."""
    tool = _tool()
    if tool == "brew" and need.brew:
        return f"Run: brew install {need.brew}"
    if tool in ("apt", "dnf"):
        return f"Run: sudo {tool} install {need.apt if tool == 'apt' else need.dnf}"
    return f"Install {need.what} (Debian's package: {need.apt}; Fedora's: {need.dnf})"


def absent_library(error: BaseException) -> str | None:
    """What to install if a module failed to load because the system lacks a library.

    Args:
        error: From the import, or from loading the library.

    Returns:
        Two sentences, the second as from `installing`; None if something else is wrong.
    """
    found = _ABSENT.search(str(error))
    if found is None:
        return None
    need = _LIBRARIES.get(found[1])
    if need is None:
        return f"The system library {found[1]} is not installed. Install the package that holds it"
    return f"The system library {found[1]} is not installed. {installing(need)}"


def _tool() -> str:
    """The package tool of this system: ``apt``, ``dnf`` or ``brew``; "" if it is another or unknown."""
    if sys.platform == "darwin":
        return "brew"
    if not sys.platform.startswith("linux"):
        return ""
    return tool_in(_about_system())


def tool_in(release: str) -> str:
    """The package tool of the system that an ``os-release`` file describes; "" for another than apt and dnf."""
    told = dict(re.findall(r"^(ID|ID_LIKE)=[\"']?([^\"'\n]*)[\"']?\s*$", release, re.MULTILINE))
    for name in f"{told.get('ID', '')} {told.get('ID_LIKE', '')}".split():
        if name in _APT:
            return "apt"
        if name in _DNF:
            return "dnf"
    return ""


@functools.cache
def _about_system() -> str:
    for path in OS_RELEASE:
        try:
            return files.read_text(path, files.SETTINGS, errors="replace")
        except OSError:
            continue
    return ""
