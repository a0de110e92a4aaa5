import numpy as np
import pytest
from tests.play.conftest import SR, tone

from obbligato.errors import InputError
from obbligato.play.exposure import Headphones, a_weight, a_weighted_dbfs, exposure, parse_headphones
from obbligato.sound.audio import Audio


# IEC 61672-1:2013, table 3, A-weighting at nominal frequencies (from memory).
@pytest.mark.parametrize(
    ("hz", "weight_db"),
    [(31.5, -39.4), (63.0, -26.2), (125.0, -16.1), (250.0, -8.6), (500.0, -3.2), (1000.0, 0.0), (2000.0, 1.2),
     (4000.0, 1.0), (8000.0, -1.1), (16000.0, -6.6)],
)  # fmt: skip
def test_the_weighting_is_that_of_the_standard(hz: float, weight_db: float) -> None:
    # Nominal frequencies are rounded, as are the table's values.
    assert 10 * np.log10(a_weight(np.array([hz]))[0]) == pytest.approx(weight_db, abs=0.15)


@pytest.mark.parametrize(("hz", "weight_db"), [(125.0, -16.1), (1000.0, 0.0), (4000.0, 1.0)])
def test_a_tone_is_weighted_by_its_frequency(hz: float, weight_db: float) -> None:
    # A sine whose peak is at -20 dBFS has an RMS of -23.01.
    assert a_weighted_dbfs(tone(hz, 2.0, -20.0).y[0], SR) == pytest.approx(-23.01 + weight_db, abs=0.2)


def test_a_data_sheets_figures_give_the_level() -> None:
    # 96 dB at 1 mW, 80 ohm: 1 V is 12.5 mW, 10.97 dB more. A full-scale sine at 1 kHz on 1 V: 106.97 dB.
    stated = parse_headphones("96 dB/mW, 80 ohm")
    assert exposure(tone(1000.0, 2.0, 0.0), stated).level_dba == pytest.approx(106.97, abs=0.1)
    # 20 dB softer, and half the voltage (6.02 dB): 80.95 dBA.
    quieter = parse_headphones("96 dB/mW 80 Ohm", volts=0.5)
    assert exposure(tone(1000.0, 2.0, -20.0), quieter).level_dba == pytest.approx(80.95, abs=0.1)


# NIOSH 98-126 (1998): 85 dBA for 8 hours, 94 dBA for one, 100 dBA for 15 minutes.
@pytest.mark.parametrize(
    ("level_dba", "minutes", "words"),
    [(85.0, 480.0, "within the 85 dBA over 8 hours"), (94.0, 60.0, "60 minutes"), (100.0, 15.0, "15 minutes")],
)
def test_the_time_is_niosh_s(level_dba: float, minutes: float, words: str) -> None:
    found = exposure(tone(1000.0, 2.0, level_dba - 110.0), Headphones(110.0, 1.0, assumed=False))
    assert found.minutes == pytest.approx(minutes, rel=0.03)
    if level_dba > 85.0:
        assert words in found.sentence


def test_what_was_assumed_is_said_with_blanks_to_fill() -> None:
    sentence = exposure(tone(1000.0, 1.0, -20.0), Headphones()).sentence
    assert sentence.startswith("Assuming headphones of 110 dB at 1 V and an output of 1 V (yours: ___ dB, ___ V)")
    assert "audiologist" in sentence
    assert "___" not in exposure(tone(1000.0, 1.0, -20.0), parse_headphones("110 dB/V")).sentence


def test_silence_exposes_nobody() -> None:
    assert exposure(Audio(np.zeros((2, SR), np.float32), SR), Headphones()).level_dba < 0.0


@pytest.mark.parametrize("text", ["loud", "96 dB", "96 dB/mW", "96 dB/mW, 0 ohm", "20 dB/V", "300 dB/V"])
def test_what_is_no_sensitivity_is_refused(text: str) -> None:
    with pytest.raises(InputError, match=r"sensitivity|not that of headphones"):
        parse_headphones(text)


def test_an_output_without_voltage_is_refused() -> None:
    with pytest.raises(InputError, match="volts=0"):
        parse_headphones("110 dB/V", volts=0.0)
