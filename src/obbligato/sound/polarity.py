"""Which way up a recording is: its asymmetry, and one microphone against another."""

from __future__ import annotations

from typing import Literal

import numpy as np
import scipy.signal

from obbligato.sound.audio import Samples
from obbligato.units import amplitude_to_db

Leaning = Literal["up", "down", "unknown"]
LEAST_LEANING_DB = 2.0
"""By how much the crests of one side must be the higher (common practice, no source)."""
CREST_PERCENTILE = 99.9
FARTHEST_S = 0.01
"""Two microphones on one player hear it within 10 ms of each other: 3.4 m of air."""
CLEARLY = 1.3
_BLOCK_S = 0.5


def leaning(y: Samples) -> tuple[Leaning, float]:
    """To which side the crests of one channel, shape (n_samples,), reach further, and by how many decibels.

    Wind instruments, the voice and bowed strings make pulses that lean to one side; which one means an inverted
    cable depends on instrument and microphone, so that this says only whether two recordings can agree.
    """
    up, down = (float(np.percentile(side, CREST_PERCENTILE)) for side in (y, -y)) if y.size else (0.0, 0.0)
    if up <= 0.0 or down <= 0.0:
        return "unknown", 0.0
    by_db = float(amplitude_to_db(up) - amplitude_to_db(down))
    if abs(by_db) < LEAST_LEANING_DB:
        return "unknown", by_db
    return ("up" if by_db > 0 else "down"), by_db


def opposite(a: Samples, b: Samples, sr: int) -> bool | None:
    """Whether the second microphone is turned over against the first; None where that cannot be told.

    The cross-correlation with its phases alone (the phase transform of Knapp and Carter, IEEE Trans. ASSP 24, 1976)
    has one peak at the difference of the two paths, up for the same polarity and down for the opposite; it is summed
    over blocks of half a second. None unless that peak is 1.3 times as high as the highest one the other way.
    """
    size = round(_BLOCK_S * sr)
    n_blocks = min(len(a), len(b)) // size
    if n_blocks == 0:
        return None
    total = np.zeros(2 * size)
    window = scipy.signal.windows.hann(size)
    for i in range(n_blocks):
        x, y = (np.fft.rfft(side[i * size : (i + 1) * size] * window, 2 * size) for side in (a, b))
        cross = x * np.conj(y)
        magnitude = np.abs(cross)
        if magnitude.max() > 0.0:
            total += np.fft.irfft(cross / (magnitude + 1e-3 * magnitude.mean()), 2 * size)
    reach = round(FARTHEST_S * sr)
    near = np.concatenate([total[-reach:], total[: reach + 1]])
    highest, lowest = float(near.max()), -float(near.min())
    if max(highest, lowest) <= CLEARLY * min(highest, lowest):
        return None
    return lowest > highest
