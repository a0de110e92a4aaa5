"""The tempo: a straight line through the onsets that fall on the beats of a whole song.

The line's slope is the beat, its residuals are the verdict: a constant offset is no fault, a slope left over is a
wrong tempo, a step is an edit, scatter is the players. One second-long gap says nothing; four minutes of beats say
where the beat lies to a few millionths.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from obbligato.listen.onsets import Events, Floats
from obbligato.listen.songmap import TempoChange

_NEAR_S = 0.04
"""Onsets farther than this from a beat belong to something else."""
_NEAR_BEATS = 0.15
_TUKEY_S = 0.025
_WINDOW_S = 6.0
_FEWEST_IN_WINDOW = 3
_STEADY_SD_S = 0.012
_ASTRAY_S = 0.03
_ASTRAY_SHARE = 0.03
_ROUND_STEPS = (1.0, 0.5)
_ROUND_AT_LEAST_BPM = 0.004
_ROUND_AT_MOST_BPM = 0.015
_CHANGE = 0.01


@dataclass(frozen=True)
class LineFit:
    """Beats on a straight line.

    Attributes
    ----------
    period_s, first_s
        Beat `k` lies at `first_s + k * period_s`.
    period_error
        Relative standard error of the period, from how the song's stretches differ.
    scatter_s
        Standard deviation of the onsets about the line.
    steady
        Whether all stretches of the song keep to the line.
    coverage
        Share of the beats, between the first and last heard, that have an onset.
    """

    period_s: float
    first_s: float
    period_error: float
    scatter_s: float
    steady: bool
    coverage: float

    @property
    def bpm(self) -> float:
        """Beats a minute."""
        return 60.0 / self.period_s


def onsets_on_beats(events: Events, beat_of_event: Floats) -> tuple[Floats, Floats, Floats]:
    """Beat number, time and weight of the events near a whole beat."""
    beats = np.round(beat_of_event)
    away = np.abs(beat_of_event - beats)
    beat_s = _local_beat_s(events.times_s, beat_of_event)
    near = (away < _NEAR_BEATS) & (away * beat_s < _NEAR_S)
    return beats[near], events.times_s[near], np.minimum(events.weights[near], 4.0)


def fit_line(beats: Floats, times_s: Floats, weights: Floats, *, period_s: float | None = None) -> LineFit:
    """Fit beats to a straight line, heeding stray onsets little (Tukey's biweight).

    Parameters
    ----------
    beats, times_s, weights
        Whole beat numbers, times of the onsets heard on them, and their strength; shape (n,), n at least 4.
    period_s
        Keep this period and fit the phase alone.
    """
    slope = period_s if period_s is not None else _median_slope(beats, times_s)
    start = float(np.median(times_s - slope * beats))
    for _ in range(12):
        residual = times_s - start - slope * beats
        limit = max(_TUKEY_S, 3.0 * 1.4826 * float(np.median(np.abs(residual))))
        robust = weights * np.square(np.clip(1.0 - np.square(residual / limit), 0.0, None))
        if robust.sum() <= 0.0:
            break
        mean_beat, mean_time = np.average(beats, weights=robust), np.average(times_s, weights=robust)
        if period_s is None:
            spread = float(np.sum(robust * np.square(beats - mean_beat)))
            if spread > 0.0:
                slope = float(np.sum(robust * (beats - mean_beat) * (times_s - mean_time)) / spread)
        start = float(mean_time - slope * mean_beat)
    residual = times_s - start - slope * beats
    means = _stretches(times_s, residual, weights)
    span = float(np.ptp(times_s))
    deviation = float(np.std(means)) if means.size > 1 else _STEADY_SD_S
    error = deviation * np.sqrt(12.0) / (max(span, 1.0) * np.sqrt(max(means.size, 1)))
    astray = float(np.mean(np.abs(means) > _ASTRAY_S)) if means.size else 1.0
    kept = np.abs(residual) < _NEAR_S
    variance = np.average(np.square(residual[kept]), weights=weights[kept]) if np.any(kept) else _NEAR_S**2
    steady = deviation < _STEADY_SD_S and astray <= _ASTRAY_SHARE
    heard = np.unique(beats).size / (np.ptp(beats) + 1.0)
    return LineFit(slope, start, error, float(np.sqrt(variance)), bool(steady), float(heard))


def rounded_bpm(fit: LineFit) -> float | None:
    """The whole or half number of beats a minute that the fit cannot be told from, if there is one."""
    allowed = float(np.clip(2.5 * fit.period_error * fit.bpm, _ROUND_AT_LEAST_BPM, _ROUND_AT_MOST_BPM))
    for step in _ROUND_STEPS:
        nearest = round(fit.bpm / step) * step
        if abs(nearest - fit.bpm) <= allowed:
            return float(nearest)
    return None


def tempo_changes(beats_s: Floats, beats_per_bar: int) -> tuple[TempoChange, ...]:
    """The course of a tempo that is not steady, a new entry where two bars differ by more than one per cent."""
    span = 2 * beats_per_bar
    changes: list[TempoChange] = []
    for i in range(0, beats_s.size - 1, span):
        last = min(i + span, beats_s.size - 1)
        bpm = 60.0 * (last - i) / (beats_s[last] - beats_s[i])
        if not changes or abs(bpm / changes[-1].bpm - 1.0) > _CHANGE:
            changes.append(TempoChange(float(beats_s[i]), float(bpm)))
    return tuple(changes)


def _local_beat_s(times_s: Floats, beats: Floats) -> Floats:
    """Length of a beat around each event."""
    if times_s.size < 2:
        return np.ones(times_s.size)
    return np.asarray(np.gradient(times_s) / np.maximum(np.gradient(beats), 1e-9))


def _median_slope(beats: Floats, times_s: Floats) -> float:
    """Theil's slope between the first and the second half of the beats."""
    half = beats.size // 2
    run = beats[half : 2 * half] - beats[:half]
    rise = times_s[half : 2 * half] - times_s[:half]
    return float(np.median(rise[run > 0] / run[run > 0]))


def _stretches(times_s: Floats, residual: Floats, weights: Floats) -> Floats:
    """Weighted mean residual of each stretch of the song that has enough onsets."""
    index = ((times_s - times_s[0]) / _WINDOW_S).astype(int)
    count = np.bincount(index)
    weight = np.bincount(index, weights)
    enough = count >= _FEWEST_IN_WINDOW
    return np.asarray(np.bincount(index, weights * residual)[enough] / weight[enough])
