"""How a meter is named."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, strategies as some

from assistant.errors import UsageProblem
from assistant.meter.spec import ClampSpec, MeterSpec


@pytest.mark.parametrize(
    "text",
    [
        "demo",
        "va-va18b:conn=/dev/ttyUSB0",
        "tekpower-tp4000ZC:conn=/dev/ttyUSB0:serialcomm=2400/8n1/dtr=1",
        "uni-t-ut61e:conn=1a86.e008",
        "scpi-dmm:conn=tcp-raw/192.168.0.5/5025",
        "brymen-bm86x:conn=3.17",
    ],
)
def test_what_sigrok_takes_is_taken(text: str) -> None:
    """Serial ports, USB addresses and network connections of sigrok's manual come through as they were written."""
    spec = MeterSpec.of(text)
    assert text == str(spec)
    assert f"--driver={text}" == spec.sampling(1000)[0].removesuffix(":analog_channels=1:logic_channels=0")


@given(some.text(max_size=300))
def test_anything_else_is_refused_in_words(text: str) -> None:
    """Any text is a spec that comes through unchanged and cannot be taken for an option, or a usage problem."""
    try:
        spec = MeterSpec.of(text)
    except UsageProblem as problem:
        assert "names no meter" in str(problem)
    else:
        assert text == str(spec)
        assert not text.startswith("-")
        assert text.isascii()
        assert text.isprintable()
        assert not set(text) & set(" ;|&$`'\"\\<>(){}*?")


def test_a_port_is_known_by_its_device_file() -> None:
    """Only a device file can be looked for while the cable is out."""
    assert "/dev/ttyUSB0" == MeterSpec.of("va-va18b:conn=/dev/ttyUSB0").port
    assert "" == MeterSpec.of("uni-t-ut61e:conn=1a86.e008").port


def test_a_clamp_has_a_device_or_a_file_a_channel_and_a_scale() -> None:
    """What is the clamp's own is taken out of sigrok's spec; 10 mV per ampere unless told otherwise."""
    assert ClampSpec("hantek-6xxx:conn=1.15", None, "CH1", 10.0) == ClampSpec.of(
        "hantek-6xxx:conn=1.15:channel=CH1:mv-per-a=100"
    )
    assert ClampSpec("demo") == ClampSpec.of("demo")
    assert ClampSpec("", Path("ramp.sr"), "", 1000.0) == ClampSpec.of("ramp.sr:mv-per-a=1")


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("demo:mv-per-a=0", "no scale of a clamp"),
        ("demo:mv-per-a=1e9", "no scale of a clamp"),
        ("demo:channel=A0 --set", "names no channel"),
        ("--help", "names no meter"),
        ("", "names no meter"),
    ],
)
def test_a_clamp_that_is_none_is_refused(text: str, told: str) -> None:
    """In words that show what would be right."""
    with pytest.raises(UsageProblem, match=told):
        ClampSpec.of(text)
