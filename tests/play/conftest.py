import numpy as np
import pytest
from numpy.typing import NDArray

from obbligato.sound.audio import Audio

SR = 48000


@pytest.fixture(scope="session")
def rng() -> np.random.Generator:
    return np.random.default_rng(20)


def tone(hz: float, seconds: float, dbfs: float, *, sr: int = SR, channels: int = 1) -> Audio:
    """A sine whose peak is at `dbfs`."""
    y = 10 ** (dbfs / 20) * np.sin(2 * np.pi * hz * np.arange(round(seconds * sr)) / sr)
    return Audio(np.tile(y.astype(np.float32), (channels, 1)), sr)


def strongest_hz(y: NDArray[np.float32], sr: int, near_hz: float) -> float:
    """The highest spectral peak within a semitone of `near_hz`, by a parabola through the log spectrum."""
    spectrum = np.abs(np.fft.rfft(y * np.hanning(len(y)), 8 * len(y)))
    hz = np.fft.rfftfreq(8 * len(y), 1 / sr)
    near = np.flatnonzero((hz > near_hz / 1.06) & (hz < near_hz * 1.06))
    i = near[spectrum[near].argmax()]
    a, b, c = np.log(spectrum[i - 1 : i + 2])
    return float(hz[i] + (a - c) / (2 * (a - 2 * b + c)) * hz[1])
