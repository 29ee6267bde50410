"""The meter as it is used: the real sigrok-cli reads a meter that is made in software."""

from __future__ import annotations

import queue
import shutil
import threading
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

import pytest
from fake_meter import Display, FakeMeter, with_modem_lines

from assistant.errors import GearProblem, UsageProblem
from assistant.meter.meter import Meter
from assistant.meter.readings import MeterReading, MeterTrouble
from assistant.meter.steadiness import SETTLE_S

PATIENCE_S = 30
"""Far more than any of it takes: a test that waits so long has failed."""


class Listening:
    """A meter that is read, and what it delivered."""

    def __init__(self, spec: str) -> None:
        self.told: queue.Queue[MeterReading | MeterTrouble] = queue.Queue()
        self.meter = Meter(spec)
        self.meter.start(self.told.put)

    def reading(self) -> MeterReading:
        """The next reading; trouble meanwhile fails."""
        found = self.told.get(timeout=PATIENCE_S)
        assert isinstance(found, MeterReading), found
        return found

    def trouble(self) -> MeterTrouble:
        """The next trouble, whatever readings come before it."""
        while True:
            found = self.told.get(timeout=PATIENCE_S)
            if isinstance(found, MeterTrouble):
                return found


@pytest.fixture
def fake(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[FakeMeter]:
    """A meter on a pty, quick, so that the tests are."""
    with_modem_lines(tmp_path, monkeypatch)
    with FakeMeter(tmp_path, every_s=0.1) as meter:
        yield meter


@pytest.fixture
def listening(fake: FakeMeter) -> Iterator[Listening]:
    """It is read."""
    one = Listening(fake.spec)
    yield one
    one.meter.close()


SHOWN: list[tuple[Display, tuple[str, ...], bool, tuple[str, str]]] = [
    (Display.of("12.34", "V", "DC", "auto"), ("V", "mV"), False, ("12.34", "V")),
    (Display.of("-12.34", "V", "DC", "auto"), ("V", "mV"), False, ("-12.34", "V")),
    (Display.of("0.050", "V", "DC", "auto"), ("V", "mV"), False, ("0.050", "V")),
    (Display.of("123.4", "m", "V", "DC", "auto"), ("V", "mV"), False, ("0.1234", "V")),
    (Display.of("124.4", "m", "V", "DC", "auto"), ("mV",), False, ("124.4", "mV")),
    (Display.of("0.45", "V", "AC", "auto"), ("V",), True, ("0.45", "V")),
    (Display.of("0.8", "ohm", "auto"), ("ohm", "kilohm", "megohm"), False, ("0.8", "ohm")),
    (Display.of("1.234", "k", "ohm", "auto"), ("ohm", "kilohm", "megohm"), False, ("1.234", "kilohm")),
    (Display.of("1.534", "k", "ohm", "auto"), ("ohm",), False, ("1534", "ohm")),
    (Display.of("2.20", "M", "ohm", "auto"), ("ohm", "kilohm", "megohm"), False, ("2.20", "megohm")),
    (Display.of("6.5", "A", "DC"), ("A",), False, ("6.5", "A")),
    (Display.of("250.0", "m", "A", "DC"), ("A",), False, ("0.2500", "A")),
    (Display.of("0.00", "V", "DC", "auto"), ("V",), False, ("0", "V")),
]
"""What the display shows, what the step wants (units, A C), and the reading."""


def test_units_prefixes_and_signs(fake: FakeMeter, listening: Listening) -> None:
    """What the display shows arrives as that number with its digits, in a unit of the step."""
    for display, units, ac, expected in SHOWN:
        listening.meter.expect(None, ac=False)
        fake.show(display)
        listening.meter.expect(units, ac)
        found = listening.told.get(timeout=PATIENCE_S)
        while not isinstance(found, MeterReading) or (str(found.value), found.unit) != expected:
            found = listening.told.get(timeout=PATIENCE_S)  # what it showed before
        assert not found.over_range
        assert found.span_s >= 0.8
        assert len(found.samples) >= 3


def test_over_range_is_an_answer(fake: FakeMeter, listening: Listening) -> None:
    """An open circuit on ohms is a reading of its own, without a number."""
    fake.show(Display.of("OL", "M", "ohm", "auto"))
    listening.meter.expect(("ohm", "kilohm", "megohm"), ac=False)
    found = listening.reading()
    assert (None, True) == (found.value, found.over_range)


def test_a_value_that_stays_is_told_twice_and_a_new_one_again(fake: FakeMeter, listening: Listening) -> None:
    """It is told when it settled, once more when it was held for two seconds, and then no more until it changes."""
    fake.show(Display.volts(Decimal("12.60")))
    listening.meter.expect(("V",), ac=False)
    first = listening.reading()
    while first.value != Decimal("12.60"):
        first = listening.reading()
    held = listening.reading()
    assert held.value == first.value
    assert held.span_s >= 2.0
    current = listening.meter.latest()
    assert current is not None
    assert current.value == first.value
    fake.show(Display.volts(Decimal("10.10")))
    assert Decimal("10.10") == listening.reading().value


def test_a_wrong_function_is_told_once_and_what_fits_is_read_then(
    fake: FakeMeter, listening: Listening
) -> None:
    """The meter on ohms in a test of volts is told in words; turned to volts, it is read."""
    fake.show(Display.of("0.8", "ohm", "auto"))
    listening.meter.expect(("V", "mV"), ac=False)
    trouble = listening.trouble()
    assert ("wrong function", "ohms") == (trouble.kind, trouble.meter_function)
    assert "The meter is on ohms. This test needs volts." == trouble.why
    fake.show(Display.volts(Decimal("12.40")))
    assert Decimal("12.40") == listening.reading().value


def test_a_pulled_cable_is_told_once_and_it_comes_back_by_itself(
    fake: FakeMeter, listening: Listening
) -> None:
    """Gone is told once, back is told when the cable is in again, and readings follow."""
    listening.meter.expect(("V",), ac=False)
    fake.show(Display.volts(Decimal("12.40")))
    while listening.reading().value != Decimal("12.40"):
        pass
    fake.unplug()
    assert "gone" == listening.trouble().kind
    fake.plug_in()
    assert "back" == listening.trouble().kind
    assert Decimal("12.40") == listening.reading().value


def test_a_silent_meter_is_told_once_and_speaks_again(fake: FakeMeter, listening: Listening) -> None:
    """A meter that is switched off says nothing; that is told, and so is its return."""
    listening.meter.expect(("V",), ac=False)
    while not isinstance(listening.told.get(timeout=PATIENCE_S), MeterReading):
        pass
    fake.show(None)
    assert "silent" == listening.trouble().kind
    assert listening.meter.latest() is None
    fake.show(Display.volts(Decimal("11.90")))
    assert "back" == listening.trouble().kind
    assert Decimal("11.90") == listening.reading().value


def test_noise_on_the_line_does_no_harm(fake: FakeMeter, listening: Listening) -> None:
    """Garbage bytes between the packets neither end the reader nor make a reading."""
    listening.meter.expect(("V",), ac=False)
    for _ in range(20):
        fake.raw(bytes(range(256)))
    fake.show(Display.volts(Decimal("12.40")))
    found = listening.told.get(timeout=PATIENCE_S)
    while not isinstance(found, MeterReading) or found.value == 0:
        found = listening.told.get(timeout=PATIENCE_S)
    assert Decimal("12.40") == found.value


def test_nothing_is_told_while_nothing_is_wanted(fake: FakeMeter, listening: Listening) -> None:
    """Between steps a meter that reports makes no reading; that it sends values is still seen."""
    listening.meter.expect(("V",), ac=False)
    fake.show(Display.volts(Decimal("11.90")))
    assert Decimal("11.90") == listening.reading().value
    listening.meter.expect(None, ac=False)
    fake.show(None)
    assert "silent" == listening.trouble().kind
    fake.show(Display.volts(Decimal("12.40")))
    assert "back" == listening.trouble().kind
    threading.Event().wait(2 * SETTLE_S)
    assert listening.meter.latest() is None
    assert listening.told.empty()


def test_sigroks_own_demo_device_is_read() -> None:
    """The demo driver needs no hardware and no pty; it is a meter on a battery."""
    if shutil.which("sigrok-cli") is None:
        pytest.skip("needs sigrok-cli; '.ci/setup test' installs it")
    one = Listening("demo")
    try:
        one.meter.expect(("V",), ac=False)
        assert Decimal("12.4") == one.reading().value
    finally:
        one.meter.close()
        one.meter.close()


def test_a_meter_that_is_not_there_is_told_and_holds_nobody_up(tmp_path: Path) -> None:
    """A device file that does not exist is told once; closing ends the reader at once."""
    if shutil.which("sigrok-cli") is None:
        pytest.skip("needs sigrok-cli; '.ci/setup test' installs it")
    one = Listening(f"va-va18b:conn={tmp_path}/none")
    assert "gone" == one.trouble().kind
    one.meter.close()
    assert "meter" not in {thread.name for thread in threading.enumerate()}


def test_without_the_program_one_sentence_names_the_package(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Where sigrok-cli is missing, the error says how to install it."""
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(GearProblem, match="apt install sigrok-cli"):
        Meter("demo")


@pytest.mark.parametrize(
    "spec", ["", "-h", "demo;id", "demo:conn=$(id)", "demo:", "a b", "demo:conn=a\nb", "x" * 999]
)
def test_a_spec_is_no_way_to_another_command(spec: str) -> None:
    """What is no driver with options is refused before any program is started."""
    with pytest.raises(UsageProblem, match="names no meter"):
        Meter(spec)
