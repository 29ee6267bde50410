"""What a step wants, and what a meter is on."""

from __future__ import annotations

from decimal import Decimal

import pytest

from assistant.meter.readings import Sample
from assistant.meter.wish import Wish


def on(quantity: str, unit: str, **more: bool) -> Sample:
    """A sample of this function."""
    return Sample(0.0, Decimal("1.5"), unit, quantity, Decimal("0.1"), **more)


@pytest.mark.parametrize(
    ("sample", "wish", "why"),
    [
        (on("voltage", "V", dc=True), Wish(("V", "mV")), ""),
        (on("voltage", "mV", dc=True), Wish(("V",)), ""),
        (on("voltage", "V"), Wish(("V",)), ""),
        (on("voltage", "V", ac=True, dc=True), Wish(("V",)), ""),
        (on("voltage", "V", ac=True), Wish(("V",), ac=True), ""),
        (on("resistance", "megohm"), Wish(("ohm", "kilohm")), ""),
        (on("current", "A", dc=True, peak=True, hold=True), Wish(("A",), peak=True), ""),
        (on("resistance", "kilohm"), Wish(("V", "mV")), "The meter is on ohms. This test needs volts."),
        (on("voltage", "V", dc=True), Wish(("ohm",)), "The meter is on D C volts. This test needs ohms."),
        (on("voltage", "V", ac=True), Wish(("V",)), "The meter is on A C volts. This test needs D C volts."),
        (
            on("voltage", "V", dc=True),
            Wish(("V",), ac=True),
            "The meter is on D C volts. This test needs A C volts.",
        ),
        (on("continuity", ""), Wish(("ohm",)), "The meter is on continuity. This test needs ohms."),
        (on("diode", "V"), Wish(("mV",)), "The meter is on the diode test. This test needs volts."),
        (on("frequency", ""), Wish(("A",)), "The meter is on hertz. This test needs amps."),
        (on("other", ""), Wish(("V",)), "This test needs volts."),
        (on("voltage", "V", dc=True, hold=True), Wish(("V",)), "The meter's hold is on. Turn hold off."),
        (on("current", "A", peak=True), Wish(("A",)), "The meter keeps the peak. Turn that off."),
        (
            on("resistance", "ohm", relative=True),
            Wish(("ohm",)),
            "The meter shows a difference. Turn relative off.",
        ),
    ],
)
def test_the_function_switch_is_told_in_words(sample: Sample, wish: Wish, why: str) -> None:
    """A meter that fits is not spoken of; one that does not is told with what the test needs instead."""
    trouble = wish.trouble(sample)
    assert why == ("" if trouble is None else trouble.why)
    assert wish.fits(sample) == (trouble is None)


def test_a_converted_value_has_the_digits_that_were_shown() -> None:
    """1.534 kilohms are 1534 ohms, not 1534.000."""
    sample = Sample(0.0, Decimal("1.534"), "kilohm", "resistance", Decimal("0.001"))
    assert "1534" == str(Wish(("ohm",)).value_in(sample, "ohm"))
