"""How high a microphone hears, told by the noise in the rests."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.signal
from numpy.typing import NDArray

from obbligato.sound.audio import Samples
from obbligato.units import power_to_db

_FFT = 1024
REFERENCE_HZ = (1000.0, 2500.0)
HIGH_HZ = 8000.0
TOP_HZ = 21600.0
"""Up to here every usual rate and microphone reaches; at 96 kHz no more is asked for."""
_NARROW_DB = 25.0
_EDGE_DB = 12.0
_FAINTEST_DENSITY_DB = -130.0
"""Under this, dBFS per Hz, the noise of a file of 16 bits (-142) is too near to tell anything."""


@dataclass(frozen=True)
class Bandwidth:
    """How far up a recording reaches.

    Attributes
    ----------
    known
        False where the rests are too short or too quiet to tell.
    edge_hz
        The frequency above which there is nothing, None where the sound is full (or nothing is known).
    """

    known: bool
    edge_hz: float | None


def find_bandwidth(y: Samples, sr: int, rests: Sequence[tuple[float, float]]) -> Bandwidth:
    """How far up the noise of the room and the amplifier reaches in the rests of one channel, shape (n_samples,).

    Where its density above 8 kHz lies 25 dB or more under that at 1 to 2.5 kHz, something has cut it off. (Our own
    criterion, no source.)
    """
    if 0.45 * sr <= HIGH_HZ:
        return Bandwidth(True, sr / 2.0)
    bins_hz = np.arange(_FFT // 2 + 1) * sr / _FFT
    density_db = _rest_density_db(y, sr, rests)
    if density_db is None:
        return Bandwidth(False, None)
    reference_db = _band_db(density_db, bins_hz, *REFERENCE_HZ)
    if reference_db < _FAINTEST_DENSITY_DB:
        return Bandwidth(False, None)
    if _band_db(density_db, bins_hz, HIGH_HZ, min(0.45 * sr, TOP_HZ)) > reference_db - _NARROW_DB:
        return Bandwidth(True, None)
    under = np.flatnonzero((bins_hz > REFERENCE_HZ[1]) & (density_db < reference_db - _EDGE_DB))
    return Bandwidth(True, float(bins_hz[under[0]]))


def _rest_density_db(y: Samples, sr: int, rests: Sequence[tuple[float, float]]) -> NDArray[np.float64] | None:
    """Median power density of the rests by frequency, dBFS per Hz; None where there are none long enough."""
    window = np.hanning(_FFT).astype(np.float32)
    powers = []
    for start_s, end_s in rests:
        piece = y[int(start_s * sr) : int(end_s * sr)]
        if len(piece) < 2 * _FFT:
            continue
        frames = np.lib.stride_tricks.sliding_window_view(piece, _FFT)[::_FFT]
        powers.append(np.abs(np.fft.rfft(frames * window, axis=1)) ** 2)
    if not powers:
        return None
    density = np.median(np.concatenate(powers), axis=0) * 2.0 / (sr * float(np.sum(window**2)))
    return np.asarray(scipy.signal.medfilt(power_to_db(density), 9))


def _band_db(density_db: NDArray[np.float64], bins_hz: NDArray[np.float64], low_hz: float, high_hz: float) -> float:
    return float(np.median(density_db[(bins_hz >= low_hz) & (bins_hz < high_hz)]))
