"""Noise suppression and gates: silence between the notes that no room leaves, and what they leave of its noise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from obbligato.sound.audio import Samples
from obbligato.units import power_to_db

_STEP_S = 0.002
_NEAR_SILENCE_DB = -82.0
_CUT_FROM_DB = -72.0
_CLIFF_DB = 15.0
_CLIFF_STEPS = 8
_MOSTLY = 0.5
_LONGEST_TAIL_S = 1.5
SHORTEST_REST_S = 0.25

_FFT = 1024
_GRAIN_HZ = (300.0, 6000.0)
_FEWEST_FRAMES = 20
GRAINY = 2.0
"""Between 1, which noise has, and the 3 to 4 measured after spectral subtraction (our own criterion, no source)."""


@dataclass(frozen=True)
class Suppression:
    """Silence made by a machine: the level dropped to, dBFS, and after how many of the notes that rests follow."""

    silence_dbfs: float
    cut: int
    rests: int


def find_suppression(
    y: Samples, sr: int, gaps: Sequence[tuple[float, float]], *, fewest: int = 3
) -> Suppression | None:
    """Whether notes are cut off into near silence, where a sound in a room would die away.

    Cut off is what is still audible at one moment and near to digital silence a hundredth of a second later, after
    half of the notes or more. (Our own criterion, no source.)

    Parameters
    ----------
    y
        One channel, shape (n_samples,).
    gaps
        From where a note ends to where the next begins, seconds; those under 0.25 s are left out.
    fewest
        With fewer gaps than this nothing is said.
    """
    falls = [
        _fall(y, sr, end_s, min(next_s - 0.02, end_s + _LONGEST_TAIL_S))
        for end_s, next_s in gaps
        if next_s - end_s > SHORTEST_REST_S
    ]
    cut = [silence_db for is_cut, silence_db in falls if is_cut]
    if len(falls) < fewest or len(cut) < _MOSTLY * len(falls):
        return None
    return Suppression(float(np.median(cut)), len(cut), len(falls))


def grain(y: Samples, sr: int, rests: Sequence[tuple[float, float]]) -> float | None:
    """How unevenly the noise of the rests is strewn over time and frequency; None where they are too short.

    The power of one frequency in steady noise is distributed exponentially, so that its standard deviation is its
    mean: 1. A machine that takes noise away frequency by frequency leaves single grains of it, the musical noise of
    spectral subtraction (Berouti, Schwartz and Makhoul, "Enhancement of speech corrupted by acoustic noise", ICASSP
    1979, from memory), and the ratio rises. Given is its median over 300 Hz to 6 kHz, each moment set to one level
    first, so that noise which comes and goes as a whole does not count.
    """
    window = np.hanning(_FFT).astype(np.float32)
    pieces = [y[int(start_s * sr) : int(end_s * sr)] for start_s, end_s in rests]
    cut = [np.lib.stride_tricks.sliding_window_view(p, _FFT)[::_FFT] for p in pieces if len(p) >= _FFT]
    if not cut:
        return None
    hz = np.arange(_FFT // 2 + 1) * sr / _FFT
    inside = (hz >= _GRAIN_HZ[0]) & (hz < _GRAIN_HZ[1])
    power = np.abs(np.fft.rfft(np.concatenate(cut) * window, axis=1)[:, inside]).astype(np.float64) ** 2
    power = power[power.min(axis=1) > 0.0]
    if len(power) < _FEWEST_FRAMES:
        return None
    power = power / np.median(power, axis=0)
    power = power / np.median(power, axis=1, keepdims=True)
    return float(np.median(power.std(axis=0) / power.mean(axis=0)))


def _fall(y: Samples, sr: int, from_s: float, to_s: float) -> tuple[bool, float]:
    """Whether the sound is cut off between two moments, and the level it is cut off to."""
    step = int(_STEP_S * sr)
    x = np.asarray(y[max(0, int((from_s - 0.1) * sr)) : int(to_s * sr)], dtype=np.float64)
    n = len(x) // step
    if n <= 4 * _CLIFF_STEPS:
        return False, 0.0
    level_db = np.asarray(power_to_db(np.mean(x[: n * step].reshape(n, step) ** 2, axis=1)))
    silence_db = float(np.percentile(level_db, 20))
    if silence_db > _NEAR_SILENCE_DB:
        return False, silence_db
    loud = np.flatnonzero(level_db > max(_CUT_FROM_DB, silence_db + _CLIFF_DB))
    if not loud.size or loud[-1] + _CLIFF_STEPS >= n:
        return False, silence_db
    after_db = level_db[loud[-1] + 1 + _CLIFF_STEPS // 2 : loud[-1] + 1 + _CLIFF_STEPS]
    return bool(np.median(after_db) < level_db[loud[-1]] - _CLIFF_DB), silence_db
