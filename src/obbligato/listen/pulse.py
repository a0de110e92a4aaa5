"""The pulse: the fastest regular count that runs through a whole song, followed as a smooth phase.

Three steps. A Fourier tempogram of the onset strength (Grosche & Müller, "Extracting predominant local pulse
information from music recordings", IEEE TASLP 2011) gives the strongest regular frequency; its course along the song
is the best smooth path through the tempogram (dynamic programming); the onset strength is then demodulated at that
course, and what remains of its phase, smoothed over some seconds, is put back. The result cannot jump with a single
late note, and a steady song comes out as a straight line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage, signal

from obbligato.errors import NoBeatError
from obbligato.listen.onsets import Floats, Onsets

LOWEST_HZ, HIGHEST_HZ = 1.5, 9.0
_SMOOTH_S = 0.016
"""Onset strength is blurred by this much before periods are sought, so that slow counts outweigh their harmonics."""
_THINNED = 4
_WINDOW_S, _HOP_S = 12.0, 2.0
_RIDGE_STEP = 0.004
_RIDGE_REACH = 0.22
"""The course may go this far (natural log) above and below the song's own pulse."""
_RIDGE_PENALTY = 8.0
_PHASE_WINDOWS_S = (3.0, 2.0)
_PHASE_STEP_S = 0.05


@dataclass(frozen=True, eq=False)
class Pulse:
    """The phase of the pulse along a song.

    Attributes
    ----------
    times_s, phase
        Matching times and phases in pulses; a pulse falls on every whole number. Shape (n,).
    strength
        How strongly the pulse is heard at each time, 1.0 at its strongest.
    """

    times_s: Floats
    phase: Floats
    strength: Floats

    @property
    def mean_hz(self) -> float:
        """Pulses a second over the whole song."""
        return float((self.phase[-1] - self.phase[0]) / (self.times_s[-1] - self.times_s[0]))

    def at(self, seconds: Floats) -> Floats:
        """Phase at given times."""
        return np.asarray(np.interp(seconds, self.times_s, self.phase))

    def when(self, phase: Floats) -> Floats:
        """Times of given phases."""
        return np.asarray(np.interp(phase, self.phase, self.times_s))


def follow_pulse(onsets: Onsets) -> Pulse:
    """Find and follow the strongest pulse between `LOWEST_HZ` and `HIGHEST_HZ`.

    Raises
    ------
    InputError
        The piece has no onsets at all.
    """
    times_s, course_hz = _course(onsets)
    fine_s = np.arange(0.0, onsets.n * onsets.step_s + _PHASE_STEP_S, _PHASE_STEP_S)
    hz = np.interp(fine_s, times_s, ndimage.gaussian_filter1d(course_hz, 1.0))
    phase = np.concatenate([[0.0], np.cumsum(0.5 * (hz[1:] + hz[:-1]))]) * _PHASE_STEP_S
    sharp = ndimage.gaussian_filter1d(onsets.total, 3.0)
    strength = np.zeros(fine_s.size)
    for window_s in _PHASE_WINDOWS_S:
        angle, strength = _remaining_angle(sharp, onsets.step_s, fine_s, phase, window_s)
        phase = phase + angle / (2.0 * np.pi)
    phase = np.maximum.accumulate(phase + 1e-9 * np.arange(phase.size))
    return Pulse(fine_s, phase, strength / max(float(strength.max()), 1e-12))


def _course(onsets: Onsets) -> tuple[Floats, Floats]:
    """Times of the tempogram's windows and the pulse's frequency in each."""
    blurred = ndimage.gaussian_filter1d(onsets.total, _SMOOTH_S / onsets.step_s)[::_THINNED]
    rate = 1.0 / (onsets.step_s * _THINNED)
    n = min(round(_WINDOW_S * rate), blurred.size)
    hop = max(1, min(round(_HOP_S * rate), n // 2))
    hz, times_s, spectrum = signal.stft(
        blurred - blurred.mean(), rate, nperseg=n, noverlap=n - hop, nfft=max(8192, n), boundary="zeros"
    )
    within = (hz > LOWEST_HZ) & (hz < HIGHEST_HZ)
    hz, strength = hz[within], np.abs(spectrum[within]).astype(np.float64)
    if strength.max() <= 0.0:
        raise NoBeatError("nothing in the file is regular")
    salience = (strength / (strength.max(axis=0) + 0.1 * strength.max())).mean(axis=1)
    centre = hz[int(salience.argmax())]
    grid = centre * np.exp(np.arange(-_RIDGE_REACH, _RIDGE_REACH + 1e-9, _RIDGE_STEP))
    on_grid = np.stack([np.interp(grid, hz, column) for column in strength.T])
    return np.asarray(times_s, dtype=np.float64), np.asarray(grid[_best_path(on_grid / on_grid.max())])


def _best_path(gain: Floats) -> NDArray[np.intp]:
    """Column for each row of `gain` (rows, columns) so that gains less penalties for moving sum to the most."""
    columns = np.arange(gain.shape[1])
    penalty = np.abs(columns[:, None] - columns[None, :]) * _RIDGE_STEP * _RIDGE_PENALTY
    score = gain[0].copy()
    came_from = []
    for row in gain[1:]:
        reached = score[None, :] - penalty
        best = reached.argmax(axis=1)
        came_from.append(best)
        score = reached[columns, best] + row
    path = [int(score.argmax())]
    for best in reversed(came_from):
        path.append(int(best[path[-1]]))
    return np.array(path[::-1], dtype=np.intp)


def _remaining_angle(
    sharp: Floats, step_s: float, fine_s: Floats, phase: Floats, window_s: float
) -> tuple[Floats, Floats]:
    """Angle (rad) by which the onsets lead `phase` at each of `fine_s`, smoothed, and its strength."""
    at_s = np.arange(sharp.size) * step_s
    turned = sharp * np.exp(-2j * np.pi * np.interp(at_s, fine_s, phase))
    index = np.minimum((at_s / _PHASE_STEP_S + 0.5).astype(np.intp), fine_s.size - 1)
    real = np.bincount(index, turned.real, fine_s.size)
    imag = np.bincount(index, turned.imag, fine_s.size)
    sigma = window_s / _PHASE_STEP_S
    smooth = ndimage.gaussian_filter1d(real, sigma) + 1j * ndimage.gaussian_filter1d(imag, sigma)
    return np.asarray(np.unwrap(np.angle(smooth))), np.asarray(np.abs(smooth))
