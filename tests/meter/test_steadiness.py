"""When a value stands still."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from decimal import Decimal

from assistant.meter.readings import MeterReading, MeterTrouble, Sample
from assistant.meter.steadiness import HELD_S, Steadiness
from assistant.meter.wish import Wish

VOLTS = Wish(("V", "mV"))


def sample(
    at_s: float, value: str | Decimal | None, unit: str = "V", quantity: str = "voltage", **more: bool
) -> Sample:
    """A sample of D C volts with its digits."""
    number = None if value is None else Decimal(value)
    exponent = 0 if number is None else int(number.as_tuple().exponent)
    return Sample(at_s, number, unit, quantity, Decimal(1).scaleb(exponent), **{"dc": unit == "V", **more})


def told(
    values: Iterable[str | None], every_s: float = 0.3, wish: Wish = VOLTS, watch: Steadiness | None = None
) -> list[MeterReading | MeterTrouble]:
    """What is told of values that come at this pace."""
    watch = watch or Steadiness(wish)
    return [one for place, value in enumerate(values) for one in watch.take(sample(place * every_s, value))]


def rounded(curve: Callable[[float], float], seconds: float, every_s: float = 0.3) -> list[str]:
    """A curve as a meter with 0.01 V shows it."""
    return [f"{curve(place * every_s):.2f}" for place in range(round(seconds / every_s))]


def readings(found: list[MeterReading | MeterTrouble]) -> list[str]:
    """The values of the readings."""
    return [str(one.value) for one in found if isinstance(one, MeterReading)]


def test_a_steady_value_is_told_when_it_settled_and_when_it_was_held() -> None:
    """One reading after 0.8 s, one more after two seconds, and then none."""
    found = told(["12.40"] * 30)
    assert ["12.40", "12.40"] == readings(found)
    first, second = found
    assert isinstance(first, MeterReading)
    assert isinstance(second, MeterReading)
    assert 0.8 <= first.span_s < HELD_S <= second.span_s


def test_a_last_digit_that_flickers_still_stands() -> None:
    """One digit up and down is what every meter does, and makes no second reading."""
    assert 2 == len(told(["12.40", "12.41", "12.40", "12.39"] * 8))


def test_a_charging_capacitor_is_not_taken_early() -> None:
    """A value that creeps to 12 V with a time constant of two seconds is told within half a percent of the end."""
    found = readings(told(rounded(lambda t: 12 * (1 - math.exp(-t / 2)), 30)))
    assert found
    assert all(abs(Decimal(one) - 12) <= Decimal("0.06") for one in found)


def test_bounce_is_never_told() -> None:
    """Values that jump between two levels settle nowhere."""
    assert [] == told(["12.40", "0.31", "7.70"] * 10)


def test_a_glitch_is_no_second_reading() -> None:
    """A single sample away and back tells nothing new."""
    assert ["12.40", "12.40"] == readings(told(["12.40"] * 9 + ["9.00"] + ["12.40"] * 4))


def test_a_new_value_is_a_new_reading() -> None:
    """After the value left for another, that one is told."""
    assert ["12.40", "12.40", "9.80"] == readings(told(["12.40"] * 9 + ["9.80"] * 5))


def test_a_small_change_is_followed() -> None:
    """A value that goes by a little more than the tolerance is told anew, and what stands now is what is shown now."""
    watch = Steadiness(VOLTS)
    found = readings(told(["12.40"] * 9 + ["12.45"] * 9, watch=watch))
    assert ["12.40", "12.40", "12.45", "12.45"] == found
    watch = Steadiness(VOLTS)
    told(["12.40"] * 9 + ["12.42"] * 9, watch=watch)
    assert watch.current is not None
    assert "12.42" == str(watch.current.value)


def test_over_range_stands_longer_before_it_is_told() -> None:
    """A meter that looks for its range shows over range in passing; only what stays is told."""
    assert [] == told([None, None, None])
    found = told([None] * 10)
    assert any(isinstance(one, MeterReading) and one.over_range and one.value is None for one in found)


def test_a_value_that_wavers_across_a_limit_stands_later() -> None:
    """Where a band of the step ends between two digits, the reading takes two seconds instead of one."""
    flicker = ["0.49", "0.50"] * 3
    plain, near = VOLTS, Wish(("V", "mV"), limits=(Decimal("0.5"),))
    assert readings(told(flicker, wish=plain))
    assert [] == told(flicker, wish=near)
    assert readings(told(flicker * 2, wish=near))


def test_a_knob_that_passes_other_functions_tells_nothing() -> None:
    """A wrong function is told after a second, once, and not on the way to the right one."""
    watch = Steadiness(VOLTS)
    passing = [sample(0.3 * n, "0.8", "ohm", "resistance") for n in range(3)]
    assert [] == [one for each in passing for one in watch.take(each)]
    staying = [sample(0.9 + 0.3 * n, "0.8", "ohm", "resistance") for n in range(20)]
    found = [one for each in staying for one in watch.take(each)]
    assert ["The meter is on ohms. This test needs volts."] == [
        one.why for one in found if isinstance(one, MeterTrouble)
    ]


def test_after_an_interruption_nothing_stands() -> None:
    """What the meter showed before it fell silent is not the reading now."""
    watch = Steadiness(VOLTS)
    told(["12.40"] * 5, watch=watch)
    assert watch.current is not None
    watch.interrupted()
    assert watch.current is None
