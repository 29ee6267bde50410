"""The Speech Intelligibility Index against the working group's own test cases, and a spectrum of known power.

Source of the cases: the development kit of the working group ASA S3-79, which keeps ANSI S3.5 (sii.to), with its files
TO.TST and TO_1.TST and the results 0.445 and 0.438 that its readme gives. Its input and results stand in
``tests/test_sii.R`` of the R package SII 1.0.3 and in ``sii_test.py`` of google/speech_intelligibility_index; ten
decimals are what the working group's SII.C prints, as quoted in the tests of the Python package phonometry 3.3.
"""

from __future__ import annotations

import numpy as np
import pytest

from assistant.hearing_bench.listening import sii

TO_SPEECH = [90, 5, *[40] * 12, *[-10] * 4]
TO_NOISE = [10, -10, -10, 75, *[-10] * 10, *[10] * 4]
TO_THRESHOLD = [90, *[0] * 17]


def test_the_working_groups_case_comes_out() -> None:
    """TO.TST: masking, its spread upwards, a hearing loss and level distortion together."""
    assert sii.index(TO_SPEECH, TO_NOISE, TO_THRESHOLD) == pytest.approx(0.4453910059, abs=1e-9)


def test_another_importance_function_comes_out() -> None:
    """TO_1.TST: the same with other importances."""
    importance = [*[0] * 9, *[0.1] * 7, 0.3, 0]
    found = sii.index(TO_SPEECH, TO_NOISE, TO_THRESHOLD, importance)
    assert found == pytest.approx(0.4382176540, abs=1e-9)


def test_the_standards_own_example_comes_out() -> None:
    """Annex C.2: 54 dB of speech in every band, low noise; R's package SII prints 0.8513749.

    Table C.2 prints the masking of the first three bands as 40.00, 34.66 and 25.04 dB (cut off, not rounded).
    """
    speech, noise = np.full(18, 54.0), [40, 30, 20, *[0] * 15]
    assert sii.index(speech, noise) == pytest.approx(0.8513749, abs=1e-7)
    assert sii.masking(speech, noise)[:3] == pytest.approx([40.00, 34.66, 25.04], abs=0.01)


def test_disturbance_is_the_louder_of_masking_and_the_ears_own_noise() -> None:
    """Normal speech, flat noise of 30 dB, a flat hearing loss of 40 dB: SII.C prints 0.2184539329, a sum 0.184."""
    found = sii.index(sii.NORMAL, np.full(18, 30.0), np.full(18, 40.0))
    assert found == pytest.approx(0.2184539329, abs=1e-9)


def test_normal_speech_in_quiet_is_almost_all_there() -> None:
    """Noise of -80 dB: SII.C prints 0.9958251667."""
    assert sii.index(sii.NORMAL, -80.0) == pytest.approx(0.9958251667, abs=1e-9)


def test_the_shouted_voice_drowns_in_white_noise_as_the_example_says() -> None:
    """Example 2 of the working group's Matlab program: shout in white noise, listened to with both ears.

    Values at 0, 20, 40 and 60 dB of spectrum level, from ``sii_test.py`` (threshold -1.7 is not applied there).
    """
    shout = [
        *(30.77, 36.65, 42.5, 46.51, 47.4, 49.24, 51.21, 51.44, 51.31),
        *(49.63, 47.65, 44.32, 40.8, 38.13, 34.41, 28.24, 23.45, 20.72),
    ]
    expected = {0: 0.9177, 20: 0.8795, 40: 0.5372, 60: 0.0534}
    found = {level: sii.index(shout, float(level)) for level in expected}
    assert found == pytest.approx(expected, abs=1e-4)


def test_the_tables_are_whole() -> None:
    """Table 3: importances add up to 1, and speech of normal effort to 62.35 dB SPL."""
    assert sii.IMPORTANCE.sum() == pytest.approx(1, abs=1e-12)
    width = 10 * np.log10(sii.CENTRES * (2 ** (1 / 6) - 2 ** (-1 / 6)))
    assert 10 * np.log10(np.sum(10 ** ((sii.NORMAL + width) / 10))) == pytest.approx(62.35, abs=0.02)


def test_white_noise_has_the_spectrum_level_of_its_power() -> None:
    """White noise of mean square 1 at 24 kHz has 1/12,000 in each hertz: -40.8 dB in every band (closed form)."""
    noise = np.random.default_rng(3).standard_normal(24_000 * 60)
    found = sii.spectrum_level(noise, 24_000)
    assert found == pytest.approx(np.full(18, -10 * np.log10(12_000)), abs=0.2)


def test_a_tone_is_in_one_band_with_all_its_power() -> None:
    """1 kHz with amplitude 1 has a mean square of a half, all of it in the band from 891 to 1122 Hz."""
    tone = np.sin(2 * np.pi * 1000 * np.arange(24_000) / 24_000)
    found = sii.spectrum_level(tone, 24_000)
    width = 1000 * (2 ** (1 / 6) - 2 ** (-1 / 6))
    assert found[8] == pytest.approx(10 * np.log10(0.5 / width), abs=1e-6)
    assert np.all(np.delete(found, 8) < found[8] - 100)
