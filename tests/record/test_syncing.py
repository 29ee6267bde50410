"""What is said to be on the disk is on the disk, also where `fsync` alone does not mean that."""

from __future__ import annotations

import errno
import fcntl
import os
import sys
from typing import TYPE_CHECKING

import pytest

from assistant.record.syncing import sync, sync_data

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

FULL = 51
"""F_FULLFSYNC on macOS (from memory); any number that is no other call of Linux would do."""


@pytest.fixture
def calls(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The calls that reach the system, in order."""
    seen: list[str] = []
    for name in ("fsync", "fdatasync"):
        monkeypatch.setattr(os, name, lambda _descriptor, name=name: seen.append(name))
    return seen


def mac(monkeypatch: pytest.MonkeyPatch, seen: list[str], error: int = 0) -> None:
    """A system that calls itself macOS, whose file system carries out a full sync or answers with an error."""

    def full(_descriptor: int, number: int) -> None:
        assert number == FULL
        seen.append("full")
        if error:
            raise OSError(error, os.strerror(error))

    monkeypatch.setattr(sys, "platform", "darwin")
    monkeypatch.setattr(fcntl, "F_FULLFSYNC", FULL, raising=False)
    monkeypatch.setattr(fcntl, "fcntl", full)
    monkeypatch.delattr(os, "fdatasync")


def test_linux_waits_for_all_or_for_the_data(calls: list[str]) -> None:
    """Each of the two kinds is the system call of that kind, once."""
    sync(1)
    sync_data(1)
    assert ["fsync", "fdatasync"] == calls


@pytest.mark.parametrize("kind", [sync, sync_data])
def test_macos_empties_the_drives_cache(
    kind: Callable[[int], None], calls: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """On macOS both kinds are the full sync (Apple's fsync(2)), and nothing weaker follows."""
    mac(monkeypatch, calls)
    kind(1)
    assert ["full"] == calls


def test_a_file_system_without_a_full_sync_gets_the_next_best(
    calls: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """ENOTSUP means that the file system cannot do it, so the record can still be kept there."""
    mac(monkeypatch, calls, errno.ENOTSUP)
    sync(1)
    assert ["full", "fsync"] == calls


def test_a_failed_full_sync_is_not_tried_again(calls: list[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """After an error of the disk a second call could wrongly succeed, so the error gets through."""
    mac(monkeypatch, calls, errno.EIO)
    with pytest.raises(OSError, match=os.strerror(errno.EIO)):
        sync(1)
    assert ["full"] == calls


def test_files_and_folders_can_be_waited_for(tmp_path: Path) -> None:
    """The real calls accept a file and a folder."""
    file = tmp_path / "file"
    file.write_bytes(b"data")
    for path in (file, tmp_path):
        descriptor = os.open(path, os.O_RDONLY)
        try:
            sync(descriptor)
        finally:
            os.close(descriptor)
