"""System packages are named as the machine's own system does, also where a library cannot be found."""

from __future__ import annotations

import ctypes
import sys
from pathlib import Path

import pytest

from assistant import packages
from assistant.packages import ATOMIC, PORTAUDIO, absent_library, installing, tool_in

# The lines ID and ID_LIKE as these systems ship them, from memory except Debian's, which is this project's base.
RELEASES = {
    'PRETTY_NAME="Debian GNU/Linux 12 (bookworm)"\nVERSION_ID="12"\nID=debian\n': "apt",
    "NAME=Ubuntu\nID=ubuntu\nID_LIKE=debian\n": "apt",
    'ID=raspbian\nID_LIKE="debian"\n': "apt",
    "ID=linuxmint\nID_LIKE='ubuntu debian'\n": "apt",
    "NAME='Fedora Linux'\nID=fedora\n": "dnf",
    'ID="rocky"\nID_LIKE="rhel centos fedora"\n': "dnf",
    "ID=arch\n": "",
    "": "",
    "ID=\n\0\N{REPLACEMENT CHARACTER}": "",
}


@pytest.mark.parametrize(("release", "tool"), RELEASES.items())
def test_the_system_tells_its_package_tool(release: str, tool: str) -> None:
    """Systems that derive from another, by os-release's ID_LIKE, have its tool; an unknown system has none."""
    assert tool == tool_in(release)


@pytest.mark.parametrize(
    ("platform", "release", "told"),
    [
        ("linux", "ID=debian\n", "Run: sudo apt install libportaudio2"),
        ("linux", "ID=fedora\n", "Run: sudo dnf install portaudio"),
        ("linux", "", "Install PortAudio (Debian's package: libportaudio2; Fedora's: portaudio)"),
        ("darwin", "", "Run: brew install portaudio"),
        ("win32", "", "Install PortAudio (Debian's package: libportaudio2; Fedora's: portaudio)"),
    ],
)
def test_the_same_library_has_its_name_on_each_system(
    platform: str, release: str, told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The sentence has the command and the package of the system that the program runs on."""
    file = tmp_path / "os-release"
    file.write_text(release, encoding="utf-8")
    monkeypatch.setattr(packages, "OS_RELEASE", (tmp_path / "none", file))
    monkeypatch.setattr(sys, "platform", platform)
    packages._about_system.cache_clear()
    try:
        assert told == installing(PORTAUDIO)
    finally:
        packages._about_system.cache_clear()


def test_the_loaders_own_complaint_is_understood() -> None:
    """What the system's loader says of a library that is not there becomes a sentence with the library's name."""
    with pytest.raises(OSError, match="libnot-there") as caught:
        ctypes.CDLL("libnot-there.so.7")
    assert absent_library(caught.value) == (
        "The system library libnot-there.so.7 is not installed. Install the package that holds it"
    )


def test_a_missing_libatomic_is_named_with_its_package() -> None:
    """As cffi words it when the recogniser's library cannot be loaded for want of libatomic."""
    error = OSError(
        "cannot load library '/x/vosk/libvosk.so': libatomic.so.1: cannot open shared object file: "
        "No such file or directory.  Additionally, ctypes.util.find_library() did not manage to locate a library"
    )
    assert (
        absent_library(error) == f"The system library libatomic.so.1 is not installed. {installing(ATOMIC)}"
    )
    assert absent_library(OSError("invalid ELF header")) is None
