import numpy as np
import pytest
from scipy import signal

from obbligato.sound.audio import Audio
from obbligato.sound.rate import resample, round_trip_db

SR = 48000


@pytest.fixture
def noise():
    return Audio(0.1 * np.random.default_rng(5).standard_normal((2, 3 * SR)).astype(np.float32), SR)


@pytest.mark.parametrize("to_sr", [44100, 88200, 96000])
def test_a_conversion_of_white_noise_loses_a_droop_at_its_upper_edge(noise, to_sr):
    """soxr's documentation allows a droop of 0.01 dB at the end of the passband: -59 dB there, less over all."""
    assert round_trip_db(noise, resample(noise, to_sr)) < -59


@pytest.mark.parametrize("to_sr", [44100, 88200, 96000])
def test_below_ten_kilohertz_a_conversion_loses_next_to_nothing(noise, to_sr):
    """float32 holds 24 bits: rounding at some -145 dB, three times."""
    low = Audio(signal.sosfiltfilt(signal.butter(24, 10_000, fs=SR, output="sos"), noise.y).astype(np.float32), SR)
    assert round_trip_db(low, resample(low, to_sr)) < -120


def test_an_error_of_known_size_is_measured(noise):
    """One thousandth of another noise put in: -60 dB by construction."""
    other = np.random.default_rng(6).standard_normal(noise.y.shape).astype(np.float32)
    spoilt = Audio(noise.y + 1e-4 * other, SR)
    assert round_trip_db(noise, spoilt) == pytest.approx(-60.0, abs=0.2)
