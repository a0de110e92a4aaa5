"""Beats tapped by hand: how fast, where, and what of what was heard they agree with.

People tap with a spread of some 10 to 40 ms, and tens of milliseconds early (Repp 2005). Over a song that is too
little to lay a grid by: sixteen taps leave the tempo uncertain by tenths of a per cent, a beat adrift within a few
minutes. So taps say how the beats that were heard are to be counted and which of them are meant; only where they
agree with no way of counting those do they make a grid of their own.

Tempo and place of the taps are robust: the median of all slopes between two taps (Theil 1950, Sen 1968), so that a
tap missed, doubled or far off does no harm.

References
----------
B. H. Repp: Sensorimotor synchronization: a review of the tapping literature. Psychonomic Bulletin & Review 12 (2005),
pages 969-992.
P. K. Sen: Estimates of the regression coefficient based on Kendall's tau. JASA 63 (1968), pages 1379-1389.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.music.grid import Grid, Meter

FEWEST_TAPS = 4
_DOUBLED = 0.4
"""A tap sooner after the one before than this share of the usual gap is the same one, tapped twice."""
_PAUSE_BEATS = 4.5
_UNEVEN = 0.15
"""Taps that scatter by more than this share of a beat show no beat."""
_LEAST_SCATTER_S = 0.01
_FACTORS = tuple(map(Fraction, ("1", "2", "1/2", "3/2", "2/3", "3", "1/3", "4", "1/4")))
_SURE = 3.0
"""Standard errors within which the taps agree with a way of counting what was heard."""
_NEAR = 0.06
"""Taps this near to a way of counting mean it: what was heard fits the whole song, they a few bars (rule of ours)."""


@dataclass(frozen=True)
class TappedBeat:
    """A beat tapped by hand.

    Attributes
    ----------
    period_s, first_s
        Length of a beat, and the place of the first on the line through all taps.
    taps_s
        The taps used: the longest run without a pause.
    scatter_s
        Robust standard deviation of the taps about their line.
    period_error
        Standard error of the period as a share of it.
    """

    period_s: float
    first_s: float
    taps_s: tuple[float, ...]
    scatter_s: float
    period_error: float

    @property
    def bpm(self) -> float:
        """Taps a minute."""
        return 60.0 / self.period_s


def tapped_beat(taps_s: Sequence[float]) -> TappedBeat:
    """The even beat that taps show.

    Raises
    ------
    InputError
        With fewer than four taps, or taps that are not even.
    """
    times = np.unique(np.asarray(taps_s, dtype=np.float64))
    if times.size < FEWEST_TAPS:
        raise InputError(f"{times.size} taps are too few to show a beat; tap at least {FEWEST_TAPS}.")
    usual_s = float(np.median(np.diff(times)))
    times = times[np.concatenate(([True], np.diff(times) > _DOUBLED * usual_s))]
    times = _longest_run(times, usual_s)
    if times.size < FEWEST_TAPS:
        raise InputError("The taps have too many pauses to show a beat; tap some eight beats in a row.")
    beats = np.concatenate(([0.0], np.cumsum(np.maximum(1.0, np.round(np.diff(times) / usual_s)))))
    later, earlier = np.triu_indices(times.size, 1)[::-1]
    period_s = float(np.median((times[later] - times[earlier]) / (beats[later] - beats[earlier])))
    first_s = float(np.median(times - beats * period_s))
    scatter_s = 1.4826 * float(np.median(np.abs(times - first_s - beats * period_s)))
    if scatter_s > _UNEVEN * period_s:
        raise InputError(
            f"The taps scatter by {1e3 * scatter_s:.0f} ms about {60.0 / period_s:.0f} a minute and so show no beat; "
            "tap again, evenly, to the music."
        )
    spread = float(np.sqrt(np.sum(np.square(beats - beats.mean()))))
    error = max(scatter_s, _LEAST_SCATTER_S) / (period_s * spread)
    return TappedBeat(period_s, first_s, tuple(times.tolist()), scatter_s, error)


def grid_from_taps(heard: Grid, taps_s: Sequence[float]) -> Grid:
    """The heard beats counted as the taps count them, or the taps' own steady beat where they agree with none.

    Bar 1 is the beat of the new grid nearest to where it was.
    """
    tapped = tapped_beat(taps_s)
    grid = _counted_as_tapped(heard, tapped) or steady_from_taps(tapped, heard.meter)
    return grid.moved(round(float(grid.sec_to_beat(heard.bar_1_s))))


def steady_from_taps(tapped: TappedBeat, meter: Meter) -> Grid:
    """A steady grid on the taps alone, bar 1 at the first of them."""
    return Grid.steady(tapped.bpm, tapped.first_s, meter)


def nearest_beat_s(grid: Grid, seconds: float) -> float:
    """The beat meant by one tap: the nearest, or the half beat where the tap is plainly there."""
    beat = float(grid.sec_to_beat(seconds))
    whole = round(beat)
    meant = whole if abs(beat - whole) <= 0.35 else round(2.0 * beat) / 2.0
    return float(grid.beat_to_sec(meant))


def _longest_run(times: NDArray[np.float64], usual_s: float) -> NDArray[np.float64]:
    pauses = np.flatnonzero(np.diff(times) > _PAUSE_BEATS * usual_s) + 1
    return max(np.split(times, pauses), key=len)


def _counted_as_tapped(heard: Grid, tapped: TappedBeat) -> Grid | None:
    """The heard grid counted at the taps' rate and moved onto them; None where no way of counting fits.

    The taps then are some of the heard beats; where nothing else differs, they may also lie between them.
    """
    first, last = (float(b) for b in heard.sec_to_beat([tapped.taps_s[0], tapped.taps_s[-1]]))
    heard_s = (tapped.taps_s[-1] - tapped.taps_s[0]) / (last - first)
    ratio = heard_s / tapped.period_s
    factor = min(_FACTORS, key=lambda f: abs(np.log(ratio / float(f))))
    if abs(ratio / float(factor) - 1.0) > max(_SURE * tapped.period_error, _NEAR):
        return None
    grid = heard.counted_times(factor)
    steps = 2 if factor == 1 else factor.denominator
    places = grid.sec_to_beat(tapped.taps_s)
    return grid.moved(round(_middle_of_circle(places) * steps) / steps)


def _middle_of_circle(places: NDArray[np.float64]) -> float:
    """Where in a beat the places lie on the whole, 0 to 1: the one with the least total way round to the others."""
    shares = places % 1.0
    away = np.abs((shares[:, None] - shares[None, :] + 0.5) % 1.0 - 0.5)
    centre = float(shares[int(np.argmin(away.sum(axis=1)))])
    return centre + float(np.median((shares - centre + 0.5) % 1.0 - 0.5))
