"""Onset strength: how suddenly sound sets in, in five bands, with a time good to about a millisecond.

Each band is a plain recursive filter; its energy is summed in blocks of two milliseconds, and the strength at a
block's first edge is the rise of log energy from just before that edge to just after it. Windows that end and
begin at the edge put the maximum on the onset itself, which a window centred on it would not (Bello et al., "A
tutorial on onset detection in music signals", IEEE TSAP 2005, section III, on energy and its log derivative).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal

from obbligato.sound.audio import Audio, Samples

Floats = NDArray[np.float64]

BLOCK_S = 0.002
_BANDS_HZ = ((25.0, 150.0), (150.0, 600.0), (600.0, 2400.0), (2400.0, 7000.0), (7000.0, 16000.0))
_AFTER_BLOCKS = (10, 6, 4, 3, 3)
_BEFORE_BLOCKS = (20, 14, 10, 8, 8)
"""Lower bands need longer windows: one cycle of 50 Hz is ten blocks."""
_EVENTS_APART_S, _LEAST_EVENT = 0.03, 0.35
_FLOOR_DB = -45.0
"""Energy this far below the loud parts of a band counts as nothing."""
_CHUNK_BLOCKS = 1 << 16


@dataclass(frozen=True, eq=False)
class Onsets:
    """Onset strength of a piece.

    Attributes
    ----------
    step_s
        Seconds from one value to the next; value `i` belongs to the time `i * step_s`.
    bands
        Strength in each band, low to high, shape (5, n); 1.0 is a rise by a factor of ten in energy.
    energy
        Energy of each block in each band, as mean square, same shape: block `i` lies between values `i` and `i + 1`.
    """

    step_s: float
    bands: NDArray[np.float32]
    energy: NDArray[np.float32]

    @property
    def total(self) -> Floats:
        """Strength summed over the bands, shape (n,)."""
        return np.asarray(self.bands.sum(axis=0), dtype=np.float64)

    @property
    def n(self) -> int:
        """Number of values."""
        return int(self.bands.shape[1])


@dataclass(frozen=True, eq=False)
class Events:
    """Single onsets: `times_s` and `weights` (total strength), shape (n,)."""

    times_s: Floats
    weights: Floats


def onset_strength(audio: Audio) -> Onsets:
    """Onset strength of all channels mixed to one."""
    y = audio.mono()
    block = max(1, round(BLOCK_S * audio.sr))
    energy = np.stack([_band_energy(y, low, high, sr=audio.sr, block=block) for low, high in _BANDS_HZ])
    bands = np.stack([_rise(e, a, b) for e, a, b in zip(energy, _AFTER_BLOCKS, _BEFORE_BLOCKS, strict=True)])
    return Onsets(block / audio.sr, bands, energy)


def find_events(onsets: Onsets) -> Events:
    """Peaks of the total strength, at least 30 ms apart, their times refined between steps by a parabola."""
    strength = ndimage.gaussian_filter1d(onsets.total, 1.0)
    peaks, _ = signal.find_peaks(
        strength, height=_LEAST_EVENT, distance=max(1, round(_EVENTS_APART_S / onsets.step_s))
    )
    if not peaks.size:
        return Events(np.zeros(0), np.zeros(0))
    peaks = np.clip(peaks, 1, onsets.n - 2)
    left, mid, right = strength[peaks - 1], strength[peaks], strength[peaks + 1]
    shift = np.clip(0.5 * (left - right) / np.minimum(left - 2 * mid + right, -1e-12), -0.5, 0.5)
    return Events(np.asarray((peaks + shift) * onsets.step_s), mid)


def _band_energy(y: Samples, low_hz: float, high_hz: float, *, sr: int, block: int) -> NDArray[np.float32]:
    """Mean square of each block of `y` between two frequencies; zeros where the rate holds no such band."""
    n_blocks = -(-y.size // block)
    out = np.zeros(n_blocks, dtype=np.float32)
    if low_hz >= 0.45 * sr:
        return out
    high = min(high_hz, 0.47 * sr)
    sos = signal.butter(2, [low_hz, high], "bandpass", fs=sr, output="sos").astype(np.float32)
    state = np.zeros((sos.shape[0], 2), dtype=np.float32)
    for first in range(0, n_blocks, _CHUNK_BLOCKS):
        part = y[first * block : (first + _CHUNK_BLOCKS) * block]
        filtered, state = signal.sosfilt(sos, part, zi=state)
        padded = np.zeros((-(-part.size // block), block), dtype=np.float32)
        padded.reshape(-1)[: part.size] = filtered
        out[first : first + len(padded)] = np.einsum("ij,ij->i", padded, padded) / block
    return out


def _rise(energy: NDArray[np.float32], after: int, before: int) -> NDArray[np.float32]:
    """Rise of log10 energy at each block edge, from the mean of `before` blocks to the mean of `after` blocks."""
    loud = float(np.percentile(energy, 95.0))
    if loud <= 0.0:
        return np.zeros_like(energy)
    floor = loud * 10.0 ** (_FLOOR_DB / 10.0)
    total = np.concatenate([np.zeros(before), np.cumsum(energy, dtype=np.float64)])
    total = np.concatenate([np.zeros(1), total, np.full(after, total[-1])])
    n = energy.size
    at = np.arange(n) + before
    mean_after = (total[at + after] - total[at]) / after
    mean_before = (total[at] - total[at - before]) / before
    rise = np.log10((np.maximum(mean_after, 0.0) + floor) / (np.maximum(mean_before, 0.0) + floor))
    return np.asarray(np.maximum(rise, 0.0), dtype=np.float32)
