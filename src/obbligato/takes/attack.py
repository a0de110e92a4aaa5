"""Where a note starts, to a fraction of a millisecond on clear attacks.

The rise of the smoothed level finds the attack; its first moment is then picked on the samples themselves as the
point that best divides them into a quiet and a loud stretch (the likelihood form of the Akaike criterion that
seismologists pick first arrivals with).

References
----------
Maeda, "A method for reading and checking phase times in auto-processing system of seismic wave data", Zisin 38, 1985.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from obbligato.takes.partials import Floats
from obbligato.takes.pitch import ANALYSIS_SR

CLEAR_RISE_DB = 8.0
"""A rise from which an attack counts as clear."""
_LOOK_S = 0.015
_BEFORE_S = 0.03


@dataclass(frozen=True)
class Attack:
    """The start of a note: seconds in the take, and by how much the level rises there."""

    at_s: float
    rise_db: float

    @property
    def clear(self) -> bool:
        """Whether the level alone shows where the note starts."""
        return self.rise_db >= CLEAR_RISE_DB


def find_attack(
    y: NDArray[np.float32], near_s: float, *, f0_hz: float, before_s: float = 0.09, after_s: float = 0.09
) -> Attack | None:
    """The attack nearest and strongest around `near_s`.

    Parameters
    ----------
    y
        Mono samples at `ANALYSIS_SR`.
    near_s
        Where the note is believed to start, seconds; searched from `before_s` before to `after_s` after.
    f0_hz
        Pitch of the note; the level is smoothed over a little more than one period.

    Returns
    -------
    None where the level does not rise at all.
    """
    margin = int(0.08 * ANALYSIS_SR)
    start = int((near_s - before_s) * ANALYSIS_SR) - margin
    stop = int((near_s + after_s) * ANALYSIS_SR) + margin
    first = max(0, start)
    x = np.asarray(y[first : max(first, stop)], dtype=np.float64)
    if len(x) < 2 * margin:
        return None
    level_db = _smooth_level_db(x, f0_hz)
    look = int(_LOOK_S * ANALYSIS_SR)
    rise_db = np.full(len(x), -np.inf)
    rise_db[look:-look] = level_db[2 * look :] - level_db[: -2 * look]
    times_s = (first + np.arange(len(x))) / ANALYSIS_SR
    allowed = (times_s >= near_s - before_s) & (times_s <= near_s + after_s)
    preference_db = rise_db - 4.0 * np.abs(times_s - near_s) / max(before_s, after_s)
    steepest = int(np.argmax(np.where(allowed, preference_db, -np.inf)))
    if not np.isfinite(rise_db[steepest]) or rise_db[steepest] <= 0:
        return None
    valley, top = _valley_and_top(level_db, steepest)
    rise = float(level_db[top] - level_db[valley])
    begin = max(0, valley - int(_BEFORE_S * ANALYSIS_SR))
    end = top + int(0.003 * ANALYSIS_SR)
    return Attack(float(times_s[begin + _divide(x[begin:end])]), rise)


def _smooth_level_db(x: Floats, f0_hz: float) -> Floats:
    length = max(int(0.006 * ANALYSIS_SR), int(1.2 * ANALYSIS_SR / max(f0_hz, 20.0)))
    window = np.hanning(length + 2)[1:-1]
    smooth = np.convolve(x * x, window / window.sum(), mode="same")
    return np.asarray(10.0 * np.log10(np.maximum(smooth, 1e-14)))


def _valley_and_top(level_db: Floats, steepest: int) -> tuple[int, int]:
    """The lowest point up to 60 ms before the steepest rise, and the first point near the highest 50 ms after."""
    back = max(0, steepest - int(0.06 * ANALYSIS_SR))
    before = level_db[back : steepest + 1]
    valley = back + int(len(before) - 1 - np.argmin(before[::-1]))
    ahead = level_db[steepest : steepest + int(0.05 * ANALYSIS_SR)]
    top = steepest + int(np.argmax(ahead >= ahead.max() - 3.0))
    return valley, max(top, valley + 2)


def _divide(x: Floats) -> int:
    """Index that best divides samples into two of different variance; Maeda's equation for AIC(k)."""
    n = len(x)
    if n < 8:
        return n // 2
    total = np.cumsum(x * x)
    k = np.arange(1, n)
    before = total[:-1] / k
    after = (total[-1] - total[:-1]) / (n - k)
    floor = 1e-14 + 1e-9 * float(total[-1]) / n
    criterion = k * np.log(np.maximum(before, floor)) + (n - k - 1) * np.log(np.maximum(after, floor))
    edge = max(2, int(0.001 * ANALYSIS_SR))
    return int(np.argmin(criterion[edge : n - edge])) + edge + 1 if n > 3 * edge else n // 2
