"""Correlation of a take with what was heard while playing, window by window, around the place believed in.

A generalised cross-correlation whose weighting `takes.bleed` explains: each bin of the take counts by how little else
sounds in it there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from obbligato.takes.pitch import ANALYSIS_SR, Floats

Windows = NDArray[np.float32]
"""Correlations, one row for each window, one column for each lag."""
FRAME = 4096
HOP = 2048
REACH = 2048
"""How far around the place believed in bleed is looked for, samples (128 ms)."""
SIZE = FRAME + 2 * REACH
WINDOW_FRAMES = 16
"""Frames to a window: two seconds, in which no clock moves by a cycle of a click."""
_BAND_HZ = (150.0, 7500.0)
_SMOOTH_BINS = 5
_WINDOW = np.hanning(FRAME).astype(np.float32)


def source_weight(source: NDArray[np.float32]) -> Floats | None:
    """Weight of each bin of the source, between keeping its spectrum and whitening it; None where it is silent.

    A click has energy at few frequencies, and whitening would bring in the noise of all the others; of a song the
    bass would drown the rest, which headphones do not let out.
    """
    starts = np.arange(0, max(1, len(source) - SIZE), ANALYSIS_SR)
    power = np.zeros(SIZE // 2 + 1)
    for start in starts:
        power += np.abs(scipy.fft.rfft(source[start : start + SIZE], SIZE)) ** 2
    if not power.any():
        return None
    hz = np.arange(len(power)) * ANALYSIS_SR / SIZE
    inside = (hz > _BAND_HZ[0]) & (hz < _BAND_HZ[1])
    return np.asarray(inside * (power / power.max() + 1e-3) ** -0.25)


@dataclass(frozen=True, eq=False)
class TakeFrames:
    """A take's own side of the correlation, the same whatever is looked for in it.

    Attributes
    ----------
    pieces
        The first samples of the frames of each window.
    spectra
        As from `frame_spectra`, for each window.
    """

    pieces: tuple[NDArray[np.intp], ...]
    spectra: tuple[NDArray[np.complex64], ...]

    @classmethod
    def of(cls, take: NDArray[np.float32]) -> TakeFrames:
        """The frames of a take that holds at least one."""
        starts = np.arange(0, len(take) - FRAME + 1, HOP)
        pieces = tuple(np.array_split(starts, max(1, round(len(starts) / WINDOW_FRAMES))))
        return cls(pieces, tuple(frame_spectra(take, piece) for piece in pieces))


def correlations(
    frames: TakeFrames, source: NDArray[np.float32], near: int, weight: Floats
) -> tuple[Floats, Windows]:
    """Correlation of take and source by windows, each divided by its spread.

    Returns
    -------
    Middle of each window in the take in seconds, and the correlation at lags of `-REACH` to `REACH` samples around
    `near`, shape (n_windows, 2 * REACH + 1).
    """
    cross = np.array(
        [
            np.einsum("ij,ij->j", spectra, source_spectra(source, piece, near))
            for piece, spectra in zip(frames.pieces, frames.spectra, strict=True)
        ]
    )
    windows = lags_of(cross, weight)
    spread = np.median(np.abs(windows), axis=1, keepdims=True) / 0.6745
    times_s = np.array([piece.mean() + FRAME / 2 for piece in frames.pieces]) / ANALYSIS_SR
    return times_s, np.divide(windows, spread, out=np.zeros_like(windows), where=spread > 0)


def frame_spectra(take: NDArray[np.float32], starts: NDArray[np.intp]) -> NDArray[np.complex64]:
    """Conjugate spectra of some frames of a take, each bin divided by the power around it."""
    x = scipy.fft.rfft(np.lib.stride_tricks.sliding_window_view(take, FRAME)[starts] * _WINDOW, SIZE)
    noise = _smoothed(x.real**2 + x.imag**2)
    noise = np.maximum(noise, 1e-3 * float(np.median(noise[:, ::_SMOOTH_BINS])) + 1e-15)
    return np.asarray(np.conj(x) * (1.0 / noise))


def _smoothed(power: NDArray[np.float32]) -> NDArray[np.float32]:
    """Mean of each bin with its neighbours in three frames and five bins, mirrored at the edges."""
    half = _SMOOTH_BINS // 2
    padded = np.pad(power, ((1, 1), (half, half)), mode="symmetric")
    frames = padded[:-2] + padded[1:-1]
    frames += padded[2:]
    total = frames[:, : power.shape[1]].copy()
    for step in range(1, _SMOOTH_BINS):
        total += frames[:, step : step + power.shape[1]]
    total /= 3 * _SMOOTH_BINS
    return total


def source_spectra(source: NDArray[np.float32], starts: NDArray[np.intp], near: int) -> NDArray[np.complex64]:
    """Spectra of the longer stretch of the source around each frame."""
    first, last = int(starts[0]) + near - REACH, int(starts[-1]) + near - REACH + SIZE
    part = np.pad(source[max(0, first) : max(0, last)], (max(0, -first), 0))
    part = np.pad(part, (0, max(0, last - first - len(part))))
    return np.asarray(scipy.fft.rfft(np.lib.stride_tricks.sliding_window_view(part, SIZE)[starts - starts[0]]))


def lags_of(cross: NDArray[np.complex64], weight: Floats) -> Windows:
    """Correlations at lags of `-REACH` to `REACH` of some cross-spectra, a row each."""
    return np.asarray(scipy.fft.irfft(cross * weight.astype(np.float32), SIZE)[:, : 2 * REACH + 1], dtype=np.float32)


def stacked(windows: Windows, times_s: Floats, slope_ppm: float) -> Windows:
    """Sum of the windows, each moved by what a slope makes of its time; the lags are those at the take's start."""
    n_lags = windows.shape[1]
    total = np.zeros(n_lags, dtype=windows.dtype)
    shifts = np.clip(np.round(slope_ppm * 1e-6 * times_s * ANALYSIS_SR), -n_lags, n_lags).astype(int).tolist()
    for row, shift in zip(windows, shifts, strict=True):
        if shift > 0:
            total[:-shift] += row[shift:]
        elif shift < 0:
            total[-shift:] += row[:shift]
        else:
            total += row
    return total
