"""The ending of a song: beats after the last straight stretch, as a final ritardando or on at the same tempo.

Players slow down at the end much as runners come to a stop: `k` beats after the slowing begins the speed `v` follows
`v(k) ** q = 1 - a k` with `q` between 1 and 3 (Friberg & Sundberg, "Does music performance allude to
locomotion? A model of final ritardandi derived from measurements of stopping runners", JASA 105(3), 1999). Where it
begins, how steep it is and which `q` it has are tried, and that course is taken on which the onsets of the ending lie
in the beat as those of the song before it do. Held to it, the beats then go where the onsets near them are.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy import ndimage

from obbligato.listen.course import Stretch, follow_beats
from obbligato.listen.onsets import Events, Floats

_POWERS = (1.0, 2.0, 3.0)
_BEGINS_BEATS = np.arange(-4.0, 12.5, 1.0)
"""Where the slowing may begin, in beats after the last straight one."""
_SLOPES = np.concatenate([[0.0], np.geomspace(0.006, 0.12, 24)])
"""How much of `v ** q` a beat may take."""
_FINER_BEATS, _FINER_SLOPES = np.arange(-1.0, 1.01, 0.25), np.geomspace(0.87, 1.15, 15)
_SLOWEST = 0.25
_SLOWING_COSTS = 2.0
"""A slowing must fit better than the straight line by so many deviations of what onsets at random would."""
_BINS = 24
_BLUR_BINS = 1.0
_LEARNED_BEATS = 64
_KEPT_BEATS = 16
_LOUDEST = 4.0
_NEAR_S = 0.05


@dataclass(frozen=True)
class _Slowing:
    """Where a slowing begins (beats after the last straight one), its slope and power, and how well it fits."""

    begins: float
    slope: float
    power: float
    fit: float


def follow_end(events: Events, stretch: Stretch, duration_s: float) -> tuple[int, Floats]:
    """Beats of the ending.

    Parameters
    ----------
    events
        All onsets of the song.
    stretch
        The last straight stretch.
    duration_s
        Length of the file.

    Returns
    -------
    tuple
        Number of the first beat of the ending, and the times of the beats from it to the end of the file, shape (n,).
    """
    ending = _Ending.after(stretch, events, duration_s)
    coarse = [ending.best(power, _BEGINS_BEATS, _SLOPES) for power in _POWERS]
    slowing = [c for c in coarse if c.slope > 0.0]
    fine = [ending.best(c.power, c.begins + _FINER_BEATS, c.slope * _FINER_SLOPES) for c in slowing]
    best = max([*coarse, *fine], key=lambda one: one.fit)
    first = 1 + (int(np.floor(min(best.begins, 0.0))) if best.slope > 0.0 else 0)
    course_s = ending.course_s(best.begins, best.slope, best.power)[ending.beats >= first]
    return stretch.last + first, _followed(events, stretch, course_s, first, duration_s)


@dataclass(frozen=True, eq=False)
class _Ending:
    """Onsets from a little before the last straight beat on, which is beat 0, and the rhythm they should keep."""

    events: Events
    beats: Floats
    last_s: float
    period_s: float
    rhythm: Floats

    @staticmethod
    def after(stretch: Stretch, events: Events, duration_s: float) -> _Ending:
        last_s = float(stretch.at(np.array([stretch.last]))[0])
        late = events.times_s > last_s + _BEGINS_BEATS[0] * stretch.period_s
        beats = np.arange(_BEGINS_BEATS[0], max((duration_s - last_s) / stretch.period_s, 1.0) + 1.0)
        loud = np.minimum(events.weights[late], _LOUDEST)
        return _Ending(Events(events.times_s[late], loud), beats, last_s, stretch.period_s, _rhythm(events, stretch))

    def course_s(self, begins: float, slope: float, power: float) -> Floats:
        """Times of the beats when they slow down so."""
        return self.last_s + _course(self.beats, begins, slope, power) * self.period_s

    def best(self, power: float, begins: Floats, slopes: Floats) -> _Slowing:
        """The slowing of a power that fits best."""
        weights = self.events.weights
        price = _SLOWING_COSTS * float(self.rhythm.std() * np.sqrt(np.sum(np.square(weights))))
        found = _Slowing(0.0, 0.0, power, -np.inf)
        for first, slope in product(begins[begins < self.beats[-1]], slopes):
            fit = _fit(self.events, self.beats, self.course_s(first, slope, power), self.rhythm)
            fit -= price if slope > 0.0 else 0.0
            if fit > found.fit + 1e-9:
                found = _Slowing(float(first), float(slope), power, fit)
        return found


def _course(beats: Floats, begins: float, slope: float, power: float) -> Floats:
    """Times of beats, in beats of the straight stretch, with speed 1 up to `begins`."""
    fine = np.linspace(beats[0], beats[-1], 8 * (beats.size - 1) + 1)
    left = np.maximum(1.0 - slope * np.maximum(fine - begins, 0.0), _SLOWEST**power)
    slowness = left ** (-1.0 / power)
    steps = 0.5 * (slowness[1:] + slowness[:-1]) * np.diff(fine)
    return np.asarray(beats[0] + np.concatenate([[0.0], np.cumsum(steps)])[::8])


def _rhythm(events: Events, stretch: Stretch) -> Floats:
    """How strongly each place in the beat is struck at the end of a stretch, of mean 0, shape (bins,)."""
    beat = (events.times_s - stretch.start_s) / stretch.period_s
    near = (beat > stretch.last - _LEARNED_BEATS) & (beat < stretch.last + 0.5)
    place = np.round(beat[near] * _BINS).astype(np.intp) % _BINS
    struck = np.bincount(place, np.minimum(events.weights[near], _LOUDEST), _BINS)
    struck = ndimage.gaussian_filter1d(struck, _BLUR_BINS, mode="wrap")
    return np.asarray(struck - struck.mean())


def _fit(ending: Events, beats: Floats, course_s: Floats, rhythm: Floats) -> float:
    """How well the onsets keep to the rhythm of the beat when the beats follow a course."""
    inside = ending.times_s < course_s[-1]
    place = np.round(np.interp(ending.times_s[inside], course_s, beats) * _BINS).astype(np.intp) % _BINS
    return float(np.sum(ending.weights[inside] * rhythm[place]))


def _followed(events: Events, stretch: Stretch, course_s: Floats, first: int, duration_s: float) -> Floats:
    """The course drawn to the onsets up to the last of them, and on as it was thought after."""
    sounding = int(np.sum(course_s < events.times_s[-1] + _NEAR_S))
    before = np.arange(stretch.last + first - _KEPT_BEATS, stretch.last + first, dtype=np.float64)
    guess_s = np.concatenate([stretch.at(before), course_s[:sounding]])
    beats_s, _ = follow_beats(events, np.arange(guess_s.size, dtype=np.float64), guess_s)
    late_s = beats_s[-1] - guess_s[-1]
    times_s = np.concatenate([beats_s[_KEPT_BEATS:], course_s[sounding:] + late_s])
    return np.asarray(times_s[times_s < duration_s])
