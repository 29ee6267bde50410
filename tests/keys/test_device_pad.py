"""A number pad of its own: read, lost and found again, on pipes and, where the kernel can make pads, on real ones."""

from __future__ import annotations

import fcntl
import os
import select
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from made_up_devices import KernelPad, PipedDevices, Told, can_make_pads, event, struck, waited_for

from assistant.errors import GearProblem
from assistant.keys import device_pad
from assistant.keys.device_pad import DevicePad, PadTold
from assistant.keys.finding import InputDevices, PluggedPad
from assistant.keys.linux_keys import KEY, KEYPAD, SYN, SYN_DROPPED, SYN_REPORT


@pytest.fixture
def devices(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> PipedDevices:
    """A folder for devices; a lost pad is looked for without a pause."""
    monkeypatch.setattr(device_pad, "LOOK_S", 0.01)
    return PipedDevices(tmp_path / "input", tmp_path / "class")


@pytest.fixture
def told() -> Told:
    """What the pad reports."""
    return Told()


def reporting(told: Told) -> PadTold:
    """The callbacks of a pad that note everything in one list."""
    return PadTold(
        told.note,
        lost=lambda why: told.note(f"lost: {why}"),
        back=lambda: told.note("back"),
        remark=lambda text: told.note(f"remark: {text}"),
        interrupt=lambda: told.note("interrupt"),
    )


LOST = f"lost: {device_pad.UNPLUGGED}"


def writing(path: Path) -> int:
    """The other end of a pipe that stands for a device."""
    return waited_for(lambda: _opened(path))


def _opened(path: Path) -> int | None:
    try:
        return os.open(path, os.O_WRONLY | os.O_NONBLOCK)
    except OSError:  # nobody reads it yet
        return None


def test_keys_arrive_and_a_pad_is_taken_once(devices: PipedDevices, told: Told) -> None:
    """Keys in their order, from the moment at which it was taken; a key of which an event came in two pieces too."""
    path = devices.plug_in(3)
    with DevicePad(devices.chosen("small"), devices) as pad:
        end = writing(path)
        os.write(end, struck(KEYPAD["1"], KEYPAD["2"]))
        pad.start(reporting(told))
        whole = struck(KEYPAD["point"], KEYPAD["4"], KEYPAD["enter"], 57)
        os.write(end, whole[:37])
        told.wait_for("1", "2", "point")
        os.write(end, whole[37:])
        told.wait_for("1", "2", "point", "4", "enter", "stop")
    os.close(end)
    assert 1 == len(devices.taken)


def test_a_pad_that_is_plugged_in_again_goes_on(devices: PipedDevices, told: Told) -> None:
    """Its loss and its return are told once each, and its keys count again, also under another number."""
    path = devices.plug_in(3)
    with DevicePad(devices.chosen("small"), devices) as pad:
        pad.start(reporting(told))
        end = writing(path)
        devices.pull_out(3)
        os.close(end)
        told.wait_for(LOST)
        devices.plug_in(4, "Another Pad")
        path = devices.plug_in(7, plug="usb-9/input0")
        end = writing(path)
        told.wait_for(LOST, "back")
        os.write(end, struck(KEYPAD["8"]))
        told.wait_for(LOST, "back", "8")
        assert path == pad.pad.path
    os.close(end)


def test_the_same_plug_comes_first(devices: PipedDevices, told: Told) -> None:
    """Of two pads of one kind, the one in the plug of the lost one is taken."""
    path = devices.plug_in(3)
    with DevicePad(devices.chosen("small"), devices) as pad:
        end = writing(path)
        devices.pull_out(3)
        devices.plug_in(1, plug="usb-9/input0")
        back = devices.plug_in(5)
        pad.start(reporting(told))
        os.close(end)
        end = writing(back)
        told.wait_for(LOST, "back")
        assert back == pad.pad.path
    os.close(end)


def test_another_pad_serves_when_the_first_cannot_be_read(
    devices: PipedDevices, told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that another program holds does not keep its neighbour of the same kind from being used."""
    path = devices.plug_in(3)
    with DevicePad(devices.chosen("small"), devices) as pad:
        end = writing(path)
        devices.pull_out(3)
        held, free = devices.plug_in(1), devices.plug_in(5, plug="usb-9/input0")
        opened = PipedDevices.open

        def refusing(self: PipedDevices, one: PluggedPad) -> int:
            if one.path == held:
                raise GearProblem("held")
            return opened(self, one)

        monkeypatch.setattr(PipedDevices, "open", refusing)
        pad.start(reporting(told))
        os.close(end)
        told.wait_for(LOST, "back")
        assert free == pad.pad.path


def test_a_pad_that_is_back_but_may_not_be_read_is_told_once(
    devices: PipedDevices, told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Leave may come late, so it is told after a while, once; when leave comes, the session goes on with the pad."""
    monkeypatch.setattr(device_pad, "LEAVE_S", 0.05)
    path = devices.plug_in(3)
    with DevicePad(devices.chosen("small"), devices) as pad:
        pad.start(reporting(told))
        devices.refusal.append(GearProblem("no leave"))
        os.close(writing(path))
        told.wait_for(LOST, "remark: no leave")
        assert not select.select([], [], [], 0.2)[0]
        devices.refusal.clear()
        end = writing(path)
        told.wait_for(LOST, "remark: no leave", "back")
    os.close(end)


def test_a_pad_is_taken_when_no_key_is_down(
    devices: PipedDevices, told: Told, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The Enter that started the program comes up first, for else the desktop would repeat it; but not for ever."""
    path = devices.plug_in(3)
    devices.held.add(96)
    asked: list[int] = []
    look = PipedDevices.down

    def looked(self: PipedDevices, fd: int) -> frozenset[int]:
        asked.append(fd)
        if len(asked) == 3:
            assert devices.taken == []
            devices.held.clear()
        return look(self, fd)

    monkeypatch.setattr(PipedDevices, "down", looked)
    with DevicePad(devices.chosen("small"), devices):
        assert 1 == len(devices.taken)
    monkeypatch.setattr(PipedDevices, "down", look)
    monkeypatch.setattr(device_pad, "LET_GO_S", 0.05)
    devices.held.add(96)
    with DevicePad(devices.chosen("small"), devices) as pad:
        pad.start(reporting(told))
        end = writing(path)
        os.write(end, event(KEY, 96, 2) + event(KEY, 96, 0) + struck(57))
        told.wait_for("stop")
    os.close(end)


def test_dropped_events_are_made_up_for(devices: PipedDevices, told: Told) -> None:
    """A stop whose press the kernel had to drop still stops."""
    path = devices.plug_in(3)
    with DevicePad(devices.chosen("small"), devices) as pad:
        pad.start(reporting(told))
        end = writing(path)
        devices.held.add(1)
        os.write(end, event(SYN, SYN_DROPPED, 0) + event(SYN, SYN_REPORT, 0))
        told.wait_for("stop")
    os.close(end)


def test_one_failed_key_does_not_silence_the_pad(devices: PipedDevices, told: Told) -> None:
    """A key that goes wrong further in must not take the stop away; Control-C ends the program."""

    def post(key: str) -> None:
        told.note(key)
        if key == "1":
            raise RuntimeError

    path = devices.plug_in(3)
    with DevicePad(devices.chosen("small"), devices) as pad:
        pad.start(PadTold(post, interrupt=lambda: told.note("interrupt")))
        end = writing(path)
        os.write(end, struck(KEYPAD["1"], 1) + event(KEY, 29, 1) + struck(46))
        told.wait_for("1", "stop", "interrupt")
    os.close(end)


def test_close_gives_everything_back(devices: PipedDevices, told: Told) -> None:
    """Closed twice, before and after it was started, and while it is lost: no thread and no descriptor stays."""
    path = devices.plug_in(3)
    open_before = len(list(Path("/proc/self/fd").iterdir()))
    pad = DevicePad(devices.chosen("small"), devices)
    pad.close()
    pad.close()
    pad = DevicePad(devices.chosen("small"), devices)
    pad.start(reporting(told))
    pad.close()
    pad = DevicePad(devices.chosen("small"), devices)
    pad.start(reporting(told))
    end = writing(path)
    devices.pull_out(3)
    os.close(end)
    told.wait_for(LOST)
    pad.close()
    assert open_before == len(list(Path("/proc/self/fd").iterdir()))


def test_a_pad_that_is_gone_or_is_no_device_is_refused(devices: PipedDevices) -> None:
    """What cannot be opened, or cannot be taken, is a plain sentence with the pads that there are."""
    path = devices.plug_in(3)
    pad = devices.chosen("small")
    with pytest.raises(GearProblem, match="cannot be read"):
        DevicePad(pad, InputDevices(devices.devices, devices.described))
    devices.pull_out(3)
    devices.plug_in(4, "Bay Pad")
    with pytest.raises(GearProblem, match=f"{path.name} cannot be read") as problem:
        DevicePad(pad, devices)
    assert "No such file" in str(problem.value)
    assert "Bay Pad" in str(problem.value)


# --- pads that the kernel makes ---


@pytest.fixture
def kernel_pad() -> Iterator[KernelPad]:
    """A pad of the kernel's own; skipped where it cannot make any (no uinput, or no leave)."""
    if not can_make_pads():
        pytest.skip("the kernel makes no input devices here (/dev/uinput)")
    made = KernelPad(f"Test Pad {os.getpid()}")
    yield made
    made.pull_out()


def test_a_real_pad_is_read_by_us_alone(kernel_pad: KernelPad, told: Told) -> None:
    """Keys come through, held keys once; another reader gets nothing meanwhile, and cannot take the pad."""
    devices = InputDevices()
    found = kernel_pad.found(devices)
    other = waited_for(lambda: _read_only(found.path))
    with DevicePad(found, devices) as pad:
        pad.start(reporting(told))
        with pytest.raises(GearProblem, match="Another program holds"):
            devices.take(other)
        kernel_pad.press(KEYPAD["7"])
        assert frozenset({KEYPAD["7"]}) == waited_for(lambda: devices.down(other) or None)
        assert not select.select([], [], [], 0.7)[0]  # the kernel repeats it meanwhile
        kernel_pad.let_go(KEYPAD["7"])
        kernel_pad.press(KEYPAD["enter"])
        kernel_pad.let_go(KEYPAD["enter"])
        told.wait_for("7", "enter")
        assert not select.select([other], [], [], 0.2)[0]
    devices.take(other)
    fcntl.ioctl(other, 0x40044590, 0)
    kernel_pad.press(KEYPAD["1"])
    kernel_pad.let_go(KEYPAD["1"])
    assert select.select([other], [], [], 10)[0]
    os.close(other)


def test_a_real_pad_waits_for_the_key_that_started_it(kernel_pad: KernelPad, told: Told) -> None:
    """A reader beside us, as a desktop is one, gets the release of the key that was down, before the pad is taken."""
    devices = InputDevices()
    found = kernel_pad.found(devices)
    other = waited_for(lambda: _read_only(found.path))
    kernel_pad.press(KEYPAD["enter"])
    release = threading.Timer(0.3, kernel_pad.let_go, [KEYPAD["enter"]])
    release.start()
    with DevicePad(found, devices) as pad:
        pad.start(reporting(told))
        release.join()
        kernel_pad.press(KEYPAD["2"])
        told.wait_for("2")
    data = os.read(other, 4096)
    assert event(KEY, KEYPAD["enter"], 0)[-8:] in data
    assert event(KEY, KEYPAD["2"], 1)[-8:] not in data
    os.close(other)


def test_a_real_pad_is_pulled_out_and_plugged_in(told: Told) -> None:
    """The loss, the return and the keys after it."""
    if not can_make_pads():
        pytest.skip("the kernel makes no input devices here (/dev/uinput)")
    devices = InputDevices()
    name = f"Loose Pad {os.getpid()}"
    first = KernelPad(name)
    with DevicePad(first.found(devices), devices) as pad:
        pad.start(reporting(told))
        first.pull_out()
        told.wait_for(LOST)
        second = KernelPad(name, frozenset({*KEYPAD.values(), 1}))
        told.wait_for(LOST, "back")
        second.press(KEYPAD["3"])
        told.wait_for(LOST, "back", "3")
        second.pull_out()


def test_a_flood_loses_no_stop(told: Told) -> None:
    """More keys than the kernel holds before they are read: some are dropped, and the stop at their end counts."""
    if not can_make_pads():
        pytest.skip("the kernel makes no input devices here (/dev/uinput)")
    devices = InputDevices()
    made = KernelPad(f"Flooded Pad {os.getpid()}", frozenset({*KEYPAD.values(), 1}))
    with DevicePad(made.found(devices), devices) as pad:
        for _ in range(300):
            made.press(KEYPAD["5"])
            made.let_go(KEYPAD["5"])
        made.press(1)
        pad.start(reporting(told))
        assert "stop" == waited_for(lambda: told.came[-1] if told.came[-1:] == ["stop"] else None)
        assert len(told.came) < 300
    made.pull_out()


def _read_only(path: Path) -> int | None:
    try:
        return os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    except OSError:
        return None
