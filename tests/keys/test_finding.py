"""Number pads are found and named, and who may not read one is told how to get leave."""

from __future__ import annotations

import errno
import fcntl
import os
import stat
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, strategies as st
from made_up_devices import PAD_KEYS, WHOLE_KEYBOARD, PipedDevices, bitmap

from assistant.errors import GearProblem
from assistant.keys.finding import InputDevices, keys_in
from assistant.keys.linux_keys import KEY_COUNT


@pytest.fixture
def devices(tmp_path: Path) -> PipedDevices:
    """A machine with a mouse, a keyboard and two pads."""
    made = PipedDevices(tmp_path / "input", tmp_path / "class")
    made.plug_in(0, "Mouse", frozenset({272, 273}))
    made.plug_in(2, "Desk Keyboard", WHOLE_KEYBOARD, "usb-2/input0")
    made.plug_in(10, "Bay Pad", PAD_KEYS, "usb-3/input0")
    made.plug_in(9, "Small Pad")
    return made


@given(codes=st.frozensets(st.integers(0, KEY_COUNT - 1)))
def test_a_bitmap_is_read_back(codes: frozenset[int]) -> None:
    """The codes that were written as ``capabilities/key`` writes them."""
    assert codes == keys_in(bitmap(codes))


@given(text=st.text())
def test_any_bitmap_is_read(text: str) -> None:
    """A file that holds anything else gives no error."""
    assert isinstance(keys_in(text), frozenset)


def test_a_real_keyboards_bitmap() -> None:
    """`capabilities/key` of a common USB keyboard (from memory of Linux on 64 bits) has the keypad and the letters."""
    keys = keys_in("1000000000007 ff9f207ac14057ff febeffdfffefffff fffffffffffffffe")
    assert {*PAD_KEYS, *range(16, 26)} <= keys
    assert 0 not in keys


def test_only_pads_are_found(devices: PipedDevices) -> None:
    """What has the keys of a pad, in the order of the numbers; a keyboard is told as one."""
    assert ["Desk Keyboard", "Small Pad", "Bay Pad"] == [one.name for one in devices.found()]
    assert [True, False, False] == [one.letters for one in devices.found()]
    assert () == InputDevices(described=devices.described / "nothing").found()


def test_a_pad_is_chosen_by_name_part_or_path(devices: PipedDevices) -> None:
    """Its name in any case, a part of it, its path, and a link to it, as udev makes them by make and plug."""
    (devices.devices / "by-id").mkdir()
    link = devices.devices / "by-id" / "usb-bay-event-kbd"
    link.symlink_to("../event10")
    for wanted in ("Bay Pad", "bay  pad", "bay", f"{devices.devices}/event10", str(link)):
        assert ("event10", "1a2b", "0c0d") == (
            devices.chosen(wanted).path.name,
            devices.chosen(wanted).vendor,
            devices.chosen(wanted).product,
        )


@pytest.mark.parametrize("wanted", ["", "nonesuch", "pad", "/dev/null", "event0", "event77", "/"])
def test_a_pad_that_is_not_chosen_is_answered_with_the_list(devices: PipedDevices, wanted: str) -> None:
    """No name, a wrong one, one that fits two, something that is no pad: the pads that there are, with their paths."""
    wanted = f"{devices.devices}/{wanted}" if wanted.startswith("event") else wanted
    with pytest.raises(GearProblem) as problem:
        devices.chosen(wanted)
    for part in ("Bay Pad", "Small Pad", f"{devices.devices}/event9", "a keyboard"):
        assert part in str(problem.value)
    assert "Mouse" not in str(problem.value)


def test_a_name_cannot_write_lines_of_its_own(tmp_path: Path) -> None:
    """A device calls itself whatever it likes; the list shows it on one line, without control characters."""
    devices = PipedDevices(tmp_path / "input", tmp_path / "class")
    devices.plug_in(1, "Pad\x1b[2J\nType your password")
    with pytest.raises(GearProblem) as problem:
        devices.chosen("")
    assert "\x1b" not in str(problem.value)
    assert 1 == len(str(problem.value).splitlines())


def test_no_pad_at_all_is_said(tmp_path: Path) -> None:
    """A machine without a pad, or without input devices."""
    with pytest.raises(GearProblem, match="None is plugged in"):
        InputDevices(tmp_path, tmp_path).chosen("pad")


def test_a_missing_permission_is_told_with_both_ways_to_get_it(
    devices: PipedDevices, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whose it is, the rule for this pad alone, and the group that can read all."""
    pad = devices.chosen("bay")
    pad.path.chmod(0o640)

    def refused(*_arguments: object) -> int:
        raise PermissionError(errno.EACCES, "Permission denied")

    monkeypatch.setattr(os, "open", refused)
    with pytest.raises(GearProblem) as problem:
        InputDevices.open(devices, pad)
    said = str(problem.value)
    for part in ("may not read", "Bay Pad", str(pad.path), "prw-r-----", "usermod -aG input", "rules.d"):
        assert part in said
    assert 'ATTRS{id/vendor}=="1a2b", ATTRS{id/product}=="0c0d", TAG+="uaccess"' in said


def test_a_pad_that_another_program_holds_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The kernel's "busy" becomes a sentence; any other refusal stays an error of the device."""

    def busy(*_arguments: Any) -> None:
        raise OSError(errno.EBUSY, "Device or resource busy")

    monkeypatch.setattr(fcntl, "ioctl", busy)
    with pytest.raises(GearProblem, match="Another program holds"):
        InputDevices().take(0)
    monkeypatch.undo()
    reading, writing = os.pipe()
    with pytest.raises(OSError, match="ioctl"):
        InputDevices().take(reading)
    os.close(reading)
    os.close(writing)


def test_a_device_is_read_only_and_not_handed_on(devices: PipedDevices) -> None:
    """It is opened for reading, and programs that are started do not get it."""
    fd = InputDevices.open(devices, devices.chosen("bay"))
    assert os.O_RDONLY == fcntl.fcntl(fd, fcntl.F_GETFL) & os.O_ACCMODE
    assert fcntl.fcntl(fd, fcntl.F_GETFD) & fcntl.FD_CLOEXEC
    assert stat.S_ISFIFO(os.fstat(fd).st_mode)
    os.close(fd)
