"""Mains hum: lines at multiples of 50 or 60 Hz that stay whatever is played."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
import soxr
from numpy.typing import NDArray

from obbligato.sound.audio import Samples
from obbligato.units import power_to_db

MAINS_HZ = (50.0, 60.0)
LINE_SR = 2000
"""No line that is looked for lies above 480 Hz."""
_MULTIPLES = 8
_LINE_WINDOW_S = 0.5
_LINE_FFT = 2048
_LINE_OVER_DB = 10.0
_LEAST_LINES = 3
_OFF_HZ = 1.3
_HUM_PERCENTILE = 20.0
UNDER_PLAYING_DB = 55.0
"""A floor less than 50 dB under the playing is audible in quiet music (common practice, no source)."""


@dataclass(frozen=True)
class Hum:
    """A hum that is heard: the mains' nominal frequency, the level of its lines together, how many there are."""

    mains_hz: float
    level_dbfs: float
    lines: int


def find_hum(y: Samples, sr: int, *, playing_dbfs: float) -> Hum | None:
    """The mains' hum in one channel, shape (n_samples,); None where there is none to mind, or under 2 s of sound.

    The lines are looked for in the spectrum below which the stretches of half a second seldom fall. (Our own
    criterion, no source.) A hum 55 dB or more under the playing is not minded.
    """
    if sr != LINE_SR:
        y = np.asarray(soxr.resample(y, sr, LINE_SR), np.float32)
    size = int(_LINE_WINDOW_S * LINE_SR)
    if len(y) < 4 * size:
        return None
    window = np.hanning(size).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(y, size)[:: size // 2]
    n_bins = int((_MULTIPLES + 1) * max(MAINS_HZ) * _LINE_FFT / LINE_SR)
    power = np.abs(scipy.fft.rfft(frames * window, _LINE_FFT)[:, :n_bins]) ** 2
    power = power[power.max(axis=1) > 0]
    if len(power) < 4:
        return None
    lasting = np.percentile(power, _HUM_PERCENTILE, axis=0) * 2.0 / float(window.sum()) ** 2
    mains_hz, lines = max(((hz, _lines(lasting, hz)) for hz in MAINS_HZ), key=lambda found: len(found[1]))
    level_dbfs = float(power_to_db(sum(lines)))
    if len(lines) < _LEAST_LINES or level_dbfs <= playing_dbfs - UNDER_PLAYING_DB:
        return None
    return Hum(mains_hz, level_dbfs, len(lines))


def _lines(power: NDArray[np.float64], mains_hz: float) -> list[float]:
    """Mean squares of the sines at the multiples of the mains' frequency that stand out of what is around them."""
    bin_hz = LINE_SR / _LINE_FFT
    found = []
    for multiple in range(1, _MULTIPLES + 1):
        at = multiple * mains_hz / bin_hz
        near = slice(round(at - 6.0 / bin_hz), round(at + 6.0 / bin_hz) + 1)
        peak = near.start + int(np.argmax(power[near]))
        beside = [slice(round(at + a / bin_hz), round(at + b / bin_hz)) for a, b in ((-22, -9), (9, 22))]
        around = float(np.median(np.concatenate([power[s] for s in beside])))
        if abs(peak - at) * bin_hz <= _OFF_HZ and power[peak] > around * 10 ** (_LINE_OVER_DB / 10):
            found.append(float(power[peak]))
    return found
