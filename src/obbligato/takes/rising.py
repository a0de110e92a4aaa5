"""Where a note starts that begins while the one before it still sounds.

The level alone does not show it, for the old note dies away while the new one grows. So the sound around there is
taken apart into the partials of both pitches, by least squares in short frames, and the rise of the new note's
partials is followed back along a straight line to where it leaves the ground. Which notes were struck anew, and not
slurred, is told by the level: a tongue or a change of bow leaves a dip.

References
----------
Kay, "Fundamentals of Statistical Signal Processing: Estimation Theory", 1993, chapter 8 (sines by linear least
squares). The straight line is our own, from the rise of amplitude of wind and bowed notes being about even.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from obbligato.takes.partials import Floats
from obbligato.takes.pitch import ANALYSIS_SR

STRUCK_DIP_DB = 3.0
"""A dip of level between two notes from which the second was struck anew."""
_BEFORE_S, _AFTER_S = 0.11, 0.13
_STEP_S = 0.002
_LEAST_FRAME_S = 0.016
_PERIODS = 3.0
_HIGHEST_HZ = 6000.0
_MOST_PARTIALS = 10
_APART = 0.35
"""Partials of two notes closer than this fraction of a frame's resolution are taken for the old note's."""
_LOW, _HIGH = 0.25, 0.7
_LONGEST_FOOT_S = 0.06
_SMEAR = 0.6
"""Length of the line that a step becomes under a Hann window, from 0 to 1, as a share of the window's length."""


def rise_begins_s(
    y: NDArray[np.float32], near_s: float, *, f0_hz: float, old_hz: float | None, until_s: float
) -> float | None:
    """When a note's own partials begin to rise.

    Parameters
    ----------
    y
        The take at `ANALYSIS_SR`.
    near_s
        About where the note starts, seconds.
    f0_hz, old_hz
        Its pitch, and that of the note before it; None where that has the same pitch or is not heard any more.
    until_s
        Where the note ends; its rise is looked for up to there.

    Returns
    -------
    Seconds in the take; None where there is no rise to follow.
    """
    times_s = np.arange(near_s - _BEFORE_S, min(near_s + _AFTER_S, until_s - 0.01), _STEP_S)
    slowest_hz = f0_hz if old_hz is None else min(f0_hz, old_hz)
    size = int(max(_LEAST_FRAME_S, _PERIODS / slowest_hz) * ANALYSIS_SR)
    starts = np.round(times_s * ANALYSIS_SR).astype(int) - size // 2
    inside = (starts >= 0) & (starts + size <= len(y))
    times_s, starts = times_s[inside], starts[inside]
    if len(times_s) < 20:
        return None
    frames = y[starts[:, None] + np.arange(size)[None, :]].astype(np.float64)
    amplitude = _amplitudes(frames, f0_hz, old_hz)
    return _foot_s(times_s, amplitude, near_s, frame_s=size / ANALYSIS_SR, alone=old_hz is None)


def dip_db(y: NDArray[np.float32], near_s: float, *, f0_hz: float, reach_s: float = 0.06) -> float:
    """How far the level falls between two notes, against the softer of the two."""
    size = int(max(0.006, 1.2 / f0_hz) * ANALYSIS_SR)
    first = max(0, int((near_s - 2 * reach_s) * ANALYSIS_SR))
    x = np.asarray(y[first : int((near_s + 2 * reach_s) * ANALYSIS_SR)], dtype=np.float64)
    if len(x) < 4 * size:
        return 0.0
    window = np.hanning(size + 2)[1:-1]
    level_db: Floats = (
        10 * np.log10(np.convolve(x * x, window / window.sum(), mode="same") + 1e-14)[size // 2 : -size // 2]
    )
    quarter = len(level_db) // 4
    valley = quarter + int(np.argmin(level_db[quarter:-quarter]))
    return float(min(np.median(level_db[:quarter]), np.median(level_db[-quarter:])) - level_db[valley])


def _amplitudes(frames: Floats, f0_hz: float, old_hz: float | None) -> Floats:
    """Amplitude of the new note in each frame, shape (n_frames,)."""
    size = frames.shape[1]
    resolution_hz = 2.0 * ANALYSIS_SR / size
    own_hz, others_hz = _partials_hz(f0_hz), np.zeros(0)
    if old_hz is not None:
        others_hz = _partials_hz(old_hz)
        distance_hz = np.abs(own_hz[:, None] - others_hz[None, :]).min(axis=1)
        if (distance_hz > _APART * resolution_hz).any():
            own_hz = own_hz[distance_hz > _APART * resolution_hz]
    t = (np.arange(size) - size / 2) / ANALYSIS_SR
    angle = 2 * np.pi * np.concatenate([own_hz, others_hz])[None, :] * t[:, None]
    shapes = np.concatenate([np.cos(angle), np.sin(angle)], axis=1)
    weight = np.sqrt(np.hanning(size + 2)[1:-1])[:, None]
    solve = np.linalg.pinv(shapes * weight, rcond=0.03)
    found = frames @ (solve * weight.T).T
    n = angle.shape[1]
    power = found[:, :n] ** 2 + found[:, n:] ** 2
    return np.asarray(np.sqrt(power[:, : len(own_hz)].sum(axis=1)))


def _partials_hz(f0_hz: float) -> Floats:
    return f0_hz * np.arange(1.0, min(_MOST_PARTIALS, int(_HIGHEST_HZ / f0_hz)) + 1.0)


def _foot_s(times_s: Floats, amplitude: Floats, near_s: float, *, frame_s: float, alone: bool) -> float | None:
    """Where the line through the rise of the amplitude meets the ground.

    The ground is nothing where the partials are all that is heard (`alone`), and what the old note's partials leave
    otherwise. A frame smears a rise; how long that makes a sudden one is taken off in squares, as widths add.
    """
    top = float(np.percentile(amplitude[times_s > near_s], 90)) if (times_s > near_s).any() else 0.0
    middle = (_LOW + _HIGH) / 2
    above = amplitude > middle * top
    crossings = np.flatnonzero(~above[:-1] & above[1:])
    if top <= 0.0 or not crossings.size:
        return None
    at = int(crossings[np.argmin(np.abs(times_s[crossings] - near_s))])
    back = slice(max(0, at - int(_LONGEST_FOOT_S / _STEP_S)), at + 1)
    valley = back.start + int(np.argmin(amplitude[back]))
    ground = 0.0 if alone else float(amplitude[valley])
    height = (amplitude - ground) / max(top - ground, 1e-12)
    low = np.flatnonzero(height[: at + 1] < _LOW)
    high = np.flatnonzero(height[at:] > _HIGH)
    first = max(valley, int(low[-1])) if low.size else valley
    last = at + int(high[0]) if high.size else at + 1
    slope, start = np.polyfit(times_s[first : last + 1], height[first : last + 1], 1)
    if slope <= 0:
        return None
    half_s, length_s = (0.5 - start) / slope, 1.0 / slope
    true_length_s = float(np.sqrt(max(0.0, length_s**2 - (_SMEAR * frame_s) ** 2)))
    return float(max(half_s - true_length_s / 2, times_s[first] - _LONGEST_FOOT_S))
