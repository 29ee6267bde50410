"""Lines of sigrok-cli as samples."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given, strategies as some

from assistant.meter.lines import LONGEST, SigrokLines, parsed
from assistant.meter.steadiness import Steadiness
from assistant.meter.wish import Wish


@pytest.mark.parametrize(
    ("line", "value", "unit", "quantity"),
    [
        ("P1: 12.34 V DC AUTO", "12.34", "V", "voltage"),
        ("P1: -12.34 V DC", "-12.34", "V", "voltage"),
        ("P1: 123 mV DC AUTO", "123", "mV", "voltage"),
        ("P1: 500 \N{MICRO SIGN}A DC AUTO", "0.000500", "A", "current"),
        ("P1: 250 mA", "0.250", "A", "current"),
        ("P1: 6.8 \N{OHM SIGN} AUTO", "6.8", "ohm", "resistance"),
        ("P1: 1.234 k\N{OHM SIGN} AUTO", "1.234", "kilohm", "resistance"),
        ("P1: 1.234 M\N{GREEK CAPITAL LETTER OMEGA}", "1.234", "megohm", "resistance"),
        ("P1: inf M\N{OHM SIGN} AUTO", None, "megohm", "resistance"),
        ("P1: -inf V DC", None, "V", "voltage"),
        ("P1: 500 mV DC DIODE AUTO", "500", "mV", "diode"),
        ("P1: TRUE", "1", "", "continuity"),
        ("P1: 10.0 Hz AUTO", "10.0", "", "frequency"),
        ("P1: 21.5 \N{DEGREE SIGN}C", "21.5", "celsius", "temperature"),
        ("P1: 700 RPM", "700", "rpm", "speed"),
        ("P1: 4.2 ms", "4.2", "ms", "time"),
        ("P1: 0  AUTO", "0", "", "other"),
        ("P1: 12,34 V DC", "12.34", "V", "voltage"),
        ("A0: -10.0000 V DC", "-10.0000", "V", "voltage"),
    ],
)
def test_what_sigrok_prints_is_read(line: str, value: str | None, unit: str, quantity: str) -> None:
    """Lines as sigrok-cli 0.7.2 printed them, and those of other locales and units: number, our unit, quantity."""
    found = parsed(line.encode(), 1.0)
    assert found is not None
    sample = found[1]
    assert (value, unit, quantity) == (
        None if sample.value is None else str(sample.value),
        sample.unit,
        sample.quantity,
    )


def test_flags_are_told_apart() -> None:
    """A C, D C, hold, peak, autorange and relative are each read from their own word."""
    found = parsed(b"P1: 500 mV AC HOLD MAX AUTO REL", 0.0)
    assert found is not None
    sample = found[1]
    assert (True, False, True, True, True, True) == (
        sample.ac, sample.dc, sample.hold, sample.peak, sample.autorange, sample.relative
    )  # fmt: skip


@pytest.mark.parametrize(
    "line",
    [b"", b"FRAME-BEGIN", b"P1: nan V DC", b"P1: 1e99 V", b"P1:", b"P1: 1.2.3 V", b"P1: \xb2 V", b"P1: \xd9\xa3 V",
     b"META samplerate: 5", b"x" * 10000, b"P1: " + b"9" * 100 + b" V"],
)  # fmt: skip
def test_what_is_no_value_gives_none(line: bytes) -> None:
    """Notes, not-a-number, absurd numbers and garbage give no sample."""
    assert parsed(line, 0.0) is None


@given(some.lists(some.binary(max_size=300), max_size=10))
def test_any_bytes_in_any_pieces_raise_nothing(chunks: list[bytes]) -> None:
    """Whatever comes, lines stay short and samples are samples."""
    lines = SigrokLines()
    for chunk in chunks:
        for line in lines.feed(chunk):
            assert len(line) <= LONGEST
            parsed(line, 0.0)


_NUMBERS = some.from_regex(r"-?[0-9]{1,12}([.,][0-9]{1,12})?|inf|nan|TRUE", fullmatch=True)
_UNITS = some.sampled_from(
    [
        "V",
        "mV",
        "\N{MICRO SIGN}V",
        "kV",
        "A",
        "GA",
        "\N{OHM SIGN}",
        "G\N{OHM SIGN}",
        "p\N{OHM SIGN}",
        "",
        "Hz",
        "\N{DEGREE SIGN}F",
    ]
)
_FLAGS = some.sampled_from(["", " DC", " AC", " AC DC", " HOLD", " DC MAX", " REL", " DIODE"])
_WISHES = some.sampled_from(
    [("V", "mV"), ("mV",), ("ohm", "kilohm", "megohm"), ("A",), ("celsius",), ("rpm",)]
)


@given(some.lists(some.tuples(_NUMBERS, _UNITS, _FLAGS), max_size=12), _WISHES, some.booleans())
def test_any_samples_of_any_step_raise_nothing(
    shown: list[tuple[str, str, str]], units: tuple[str, ...], ac: bool
) -> None:
    """From the line to the reading nothing raises, and what is told is in a unit of the step."""
    watch = Steadiness(Wish(units, ac, limits=(Decimal(3),)))
    for place, (number, unit, flags) in enumerate(shown):
        found = parsed(f"P1: {number} {unit}{flags}".encode(), 0.3 * place)
        if found is None:
            continue
        for told in watch.take(found[1]):
            assert not hasattr(told, "unit") or told.unit in units
        current = watch.current
        assert current is None or current.unit in units


@given(some.binary(max_size=400), some.lists(some.integers(0, 400), max_size=6))
def test_pieces_make_no_difference(text: bytes, cuts: list[int]) -> None:
    """Bytes that come in pieces make the same short lines as in one piece."""
    whole = SigrokLines().feed(text + b"\n")
    pieces, at = [], 0
    for cut in [*sorted(cuts), len(text)]:
        pieces.append(text[at:cut])
        at = max(at, cut)
    lines = SigrokLines()
    assert whole == [line for piece in [*pieces, b"\n"] for line in lines.feed(piece)]
