"""True peak: the highest level between the samples too, after ITU-R BS.1770-4, annex 2."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from obbligato.sound.audio import Audio, Samples
from obbligato.units import amplitude_to_db

OVERSAMPLING = 4
TAPS = 32
"""Taps a phase (the annex's example has 12): flat within 0.05 dB up to 0.45 of the sampling rate."""

KAISER_BETA = 5.0
BLOCK = 32
FIRST_SHARE = 0.002
"""Share of the loudest blocks that are oversampled first; what they give rules most others out."""

ROWS_AT_ONCE = 8192


def true_peak_dbtp(audio: Audio) -> float:
    """Highest level in dBTP over all channels, from four-fold oversampling; silence reads `SILENCE_DB`."""
    return float(amplitude_to_db(max((_true_peak(y) for y in audio.y), default=0.0)))


def interpolation_filter() -> NDArray[np.float64]:
    """The three phases between two samples: Kaiser-windowed sinc, each of unit gain at 0 Hz, shape (3, TAPS)."""
    n = np.arange(TAPS) - (TAPS // 2 - 1)
    t = n - np.arange(1, OVERSAMPLING)[:, None] / OVERSAMPLING
    window = np.i0(KAISER_BETA * np.sqrt(np.clip(1.0 - (2.0 * t / TAPS) ** 2, 0.0, 1.0)))
    h = np.sinc(t) * window
    return np.asarray(h / h.sum(axis=1, keepdims=True))


def _true_peak(y: Samples) -> float:
    """The peak of one channel.

    No interpolated value exceeds the highest sample under the filter times the sum of its absolute taps, so blocks
    whose samples are too low to matter are passed over without changing the result.
    """
    if y.size == 0:
        return 0.0
    n_blocks = -(-y.size // BLOCK)
    padded = np.pad(y, (TAPS, n_blocks * BLOCK - y.size + TAPS))
    own_peaks = np.abs(padded.reshape(-1, TAPS)).max(axis=1)
    per_block = BLOCK // TAPS
    reach = np.max([own_peaks[i : i + n_blocks * per_block : per_block] for i in range(per_block + 2)], axis=0)
    h = interpolation_filter()
    highest = float(reach.max())
    first = max(1, round(FIRST_SHARE * n_blocks))
    order = np.argpartition(-reach, min(first, n_blocks - 1))
    highest = max(highest, _peak_of_blocks(padded, order[:first], h))
    rest = order[first:]
    rest = rest[reach[rest] * np.abs(h).sum(axis=1).max() > highest]
    return max(highest, _peak_of_blocks(padded, rest, h))


def _peak_of_blocks(padded: Samples, blocks: NDArray[np.intp], h: NDArray[np.float64]) -> float:
    """Highest interpolated value in the blocks: each row of samples times one matrix of shifted filters."""
    width = BLOCK + TAPS - 1
    shifted = np.zeros((width, BLOCK, len(h)), dtype=np.float32)
    for i in range(BLOCK):
        shifted[i : i + TAPS, i] = h.T
    matrix = shifted.reshape(width, -1)
    rows = np.lib.stride_tricks.sliding_window_view(padded, width)
    highest = 0.0
    for start in range(0, len(blocks), ROWS_AT_ONCE):
        chosen = rows[blocks[start : start + ROWS_AT_ONCE] * BLOCK + TAPS // 2 + 1]
        highest = max(highest, float(np.abs(chosen @ matrix).max()))
    return highest
