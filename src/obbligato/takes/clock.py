"""A take's clock against the guide's: where it starts, how fast it runs, and where blocks of it were lost.

An offset alone is the ordinary case. A recorder with a clock of its own drifts by tens of millionths; a computer that
did not keep up loses a block of some milliseconds, from which on everything comes early. Both are seen where the
offset is known at several moments of the take, and told apart by their shape: a line, or a stair.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from obbligato.takes.partials import Floats

LEAST_DRIFT_PPM = 8.0
"""Below this, four minutes move by less than 2 ms."""
MOST_DRIFT_PPM = 300.0
"""No clock of a sound card is that far out."""
PULL_PPM = 1000.0
"""Film and video pull the rate by a thousandth, to 1000/1001 or 1001/1000 of its name."""
_PULL_WITHIN_PPM = 60.0
_DRIFT_SIGNIFICANCE = 4.0
_ENOUGH_NOTES = 20
LEAST_LOSS_S = 0.001
"""The shortest block that is lost at once is 64 samples, 1.3 ms at 48 kHz."""
_OUTLIER_S = 0.001


@dataclass(frozen=True)
class Loss:
    """A block that was lost, or, where `lost_s` is negative, heard twice.

    Attributes
    ----------
    at_s
        Where in the take, seconds from its first sample as recorded.
    lost_s
        How much of the guide's time is missing there.
    after_s, before_s
        Between which moments of the take it certainly lies.
    error_s
        How far `lost_s` may be off, about two standard errors; 0 where that is less than a millisecond.
    """

    at_s: float
    lost_s: float
    after_s: float
    before_s: float
    error_s: float = 0.0

    def moved(self, at_s: float) -> Loss:
        """The same loss at another moment of the take."""
        return replace(self, at_s=at_s)

    def scaled(self, factor: float) -> Loss:
        """The same loss in a take that is stretched; what is lost is measured on the guide, and stays."""
        return replace(self, at_s=self.at_s * factor, after_s=self.after_s * factor, before_s=self.before_s * factor)


@dataclass(frozen=True)
class Clock:
    """Times in a take and times on the guide.

    Attributes
    ----------
    offset_s
        The take's first sample on the guide's time.
    drift_ppm
        Positive: the take runs slow and falls behind.
    losses
        In the order of the take.
    """

    offset_s: float
    drift_ppm: float = 0.0
    losses: tuple[Loss, ...] = ()

    def to_guide_s(self, take_s: Floats | float) -> Floats:
        """Times on the guide of times in the take."""
        take_s = np.asarray(take_s, dtype=np.float64)
        lost_s = sum((np.where(take_s >= loss.at_s, loss.lost_s, 0.0) for loss in self.losses), np.zeros(()))
        return np.asarray(take_s / (1.0 + self.drift_ppm * 1e-6) + lost_s + self.offset_s)

    def to_take_s(self, guide_s: Floats | float) -> Floats:
        """Times in the take of times on the guide; what was lost is where the loss is."""
        rate = 1.0 + self.drift_ppm * 1e-6
        take_s = np.asarray((np.asarray(guide_s, dtype=np.float64) - self.offset_s) * rate)
        for loss in self.losses:
            take_s = np.where(take_s >= loss.at_s, np.maximum(take_s - loss.lost_s * rate, loss.at_s), take_s)
        return take_s


def fit_clock(times_s: Floats, offsets_s: Floats, *, slope: float) -> Clock:
    """The line and stair through offsets known at some moments of a take.

    A step is where three neighbours on either side differ by `LEAST_LOSS_S` or more apart from the slope. The line is
    then fitted by least squares to what lies close to it.

    Parameters
    ----------
    times_s, offsets_s
        Moments in the take, in order, and what is to be added there to reach the guide's time; shape (n,).
    slope
        Of the offsets over the take's time, to some millionths.
    """
    flat_s = offsets_s - slope * times_s
    edges = _steps(flat_s)
    segment = np.searchsorted(edges, np.arange(len(times_s)), side="right")
    centre = np.array([np.quantile(flat_s[segment == k], 0.5, method="nearest") for k in range(len(edges) + 1)])
    close = np.abs(flat_s - centre[segment]) <= _OUTLIER_S
    design = np.column_stack([times_s, *(segment == k for k in range(len(edges) + 1))])[close]
    solved = np.linalg.lstsq(design, offsets_s[close], rcond=None)[0]
    drift_ppm = float(-1e6 * solved[0] / (1.0 + solved[0]))
    error_ppm = 1e6 * _slope_error(design, offsets_s[close] - design @ solved)
    if abs(drift_ppm) < max(LEAST_DRIFT_PPM, _DRIFT_SIGNIFICANCE * error_ppm):
        drift_ppm = 0.0
        levels = np.array([offsets_s[close & (segment == k)].mean() for k in range(len(edges) + 1)])
    else:
        levels = solved[1:]
    losses = tuple(
        Loss(
            at_s=float((times_s[edge - 1] + times_s[edge]) / 2),
            lost_s=float(levels[k + 1] - levels[k]),
            after_s=float(times_s[edge - 1]),
            before_s=float(times_s[edge]),
        )
        for k, edge in enumerate(edges)
        if abs(levels[k + 1] - levels[k]) >= LEAST_LOSS_S
    )
    return Clock(float(levels[0]), drift_ppm, losses)


def _slope_error(design: Floats, rest_s: Floats) -> float:
    """Standard error of the first coefficient of a fit by least squares, by what the fit leaves over."""
    free = len(rest_s) - design.shape[1]
    if free < 1:
        return np.inf
    variance = float(np.sum(rest_s**2)) / free
    return float(np.sqrt(variance * np.linalg.pinv(design.T @ design)[0, 0]))


def _steps(flat_s: Floats) -> list[int]:
    """Positions from which on the values stand on another level."""
    edges: list[int] = []
    for k in range(2, len(flat_s) - 1):
        before, after = flat_s[max(0, k - 3, *edges) : k], flat_s[k : k + 3]
        if len(before) >= 2 and abs(np.median(after) - np.median(before)) >= LEAST_LOSS_S:
            sharpest = max(
                range(max(1, k - 1), min(k + 2, len(flat_s))), key=lambda i: abs(flat_s[i] - flat_s[i - 1])
            )
            if sharpest - max([0, *edges]) >= 2:
                edges.append(sharpest)
    return edges


def drift_of_notes(at_s: Floats, late_s: Floats) -> float:
    """Drift by the lateness of notes along a take, ppm; 0 unless it cannot be the player's wandering.

    Theil's median of slopes over ten or so groups of neighbouring notes; the groups' own scatter about the line says
    how far it can be trusted. It must be `_DRIFT_SIGNIFICANCE` times its error, and as far as clocks differ, or a
    pull, which is then taken as exact.

    Parameters
    ----------
    at_s
        Where the notes stand in the line, in the take's seconds.
    late_s
        How late they come there.
    """
    if len(at_s) < _ENOUGH_NOTES or np.ptp(at_s) < 45.0:
        return 0.0
    groups = np.array_split(np.arange(len(at_s)), min(len(at_s) // 3, 12))
    t = np.array([np.median(at_s[g]) for g in groups])
    r = np.array([np.median(late_s[g]) for g in groups])
    i, j = np.triu_indices(len(t), 1)
    slope = float(np.median((r[j] - r[i]) / (t[j] - t[i])))
    rest = r - slope * t
    every = late_s - slope * at_s
    of_notes = 1.4826 * float(np.median(np.abs(every - np.median(every)))) / float(np.sqrt(len(at_s) / len(groups)))
    scatter = max(1.4826 * float(np.median(np.abs(rest - np.median(rest)))), of_notes, 0.0003)
    error = 1.25 * scatter / float(np.sqrt(np.sum((t - t.mean()) ** 2)))
    drift_ppm = 1e6 * slope
    if abs(slope) < _DRIFT_SIGNIFICANCE * error:
        return 0.0
    if abs(abs(drift_ppm) - PULL_PPM) <= max(_PULL_WITHIN_PPM, 3e6 * error):
        return float(np.copysign(PULL_PPM, drift_ppm))
    return drift_ppm if LEAST_DRIFT_PPM <= abs(drift_ppm) <= MOST_DRIFT_PPM else 0.0


def is_pull(drift_ppm: float) -> bool:
    """Whether a drift is that of a rate pulled by a thousandth."""
    return abs(abs(drift_ppm) - PULL_PPM) <= _PULL_WITHIN_PPM


def robust_mean(values: Floats) -> tuple[float, float]:
    """Mean and spread of what lies within three robust standard deviations of the median."""
    centre = float(np.median(values))
    spread = max(1.4826 * float(np.median(np.abs(values - centre))), 1e-4)
    kept = values[np.abs(values - centre) <= 3.0 * spread]
    return float(kept.mean()), max(float(kept.std()), 1e-4)
