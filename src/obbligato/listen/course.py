"""The course of a song whose beats do not keep to one line: stretches that are straight, steps, and the rest.

A song that is no straight line as a whole may be straight in parts: up to a ritardando, on both sides of a change of
tempo, on both sides of an edit that took half a second out of the file. The beats are cut into straight stretches by
least squares with a price for each stretch (optimal partitioning, Jackson et al., "An algorithm for optimal
partitioning of data on an interval", IEEE SPL 2005). Stretches long enough to be played to keep their own line;
between them, and in a song of nothing but short ones, the beats follow what was heard, smoothed evenly to both sides
so that a click made from them does not come late.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from obbligato.listen.onsets import Events, Floats
from obbligato.listen.tempo import fit_line

_NEAR_S, _NEAR_BEATS = 0.07, 0.18
_SPANS_BEATS = (8.0, 5.0, 3.0)
_NOISE_S = 0.006
_PRICE = 40.0
_MOST_RESIDUAL = 9.0
_SHORTEST_S, _SHORTEST_BEATS = 8.0, 12
_BOW_S = 0.006
"""A stretch that bends by more than this is a tempo that drifts, and has no line of its own."""
_SAME_TEMPO = 0.002


@dataclass(frozen=True)
class Stretch:
    """A straight stretch: beats `first` to `last` (numbers, both inside), beat `k` at `start_s + k * period_s`."""

    first: int
    last: int
    start_s: float
    period_s: float

    def at(self, beats: Floats) -> Floats:
        """Times of beats on this line."""
        return np.asarray(self.start_s + beats * self.period_s)


def follow_beats(events: Events, numbers: Floats, guess_s: Floats) -> tuple[Floats, Floats]:
    """Beats put where the onsets near them are, from a guess.

    Parameters
    ----------
    events
        All onsets.
    numbers, guess_s
        Consecutive beat numbers and where each is thought to be, shape (n,).

    Returns
    -------
    tuple
        Smoothed times of the beats, and the time of the onset heard on each (nan where there is none), both (n,).
    """
    beats_s = guess_s.copy()
    heard = np.full(numbers.size, np.nan)
    for span in _SPANS_BEATS:
        heard = _heard(events, beats_s)
        beats_s = beats_s + _smoothed(heard - beats_s, span)
        beats_s = np.maximum.accumulate(beats_s + 1e-6 * np.arange(beats_s.size))
    return beats_s, _heard(events, beats_s)


def straight_stretches(numbers: Floats, heard_s: Floats) -> list[Stretch]:
    """The stretches of the heard beats that are straight and long enough to be played to."""
    known = np.isfinite(heard_s)
    k, t = numbers[known], heard_s[known]
    if k.size < _SHORTEST_BEATS:
        return []
    stretches = []
    for i, j in _merged(k, t, _partition(k, t)):
        if j - i < _SHORTEST_BEATS or t[j - 1] - t[i] < _SHORTEST_S:
            continue
        if _bow_s(k[i:j], t[i:j]) > _BOW_S:
            continue
        fit = fit_line(k[i:j], t[i:j], np.ones(j - i))
        stretches.append(Stretch(int(k[i]), int(k[j - 1]), fit.first_s, fit.period_s))
    return stretches


def _bow_s(k: Floats, t: Floats) -> float:
    """How far the ends of a stretch bend off its line: a parabola `c k^2` over `L` beats does by `c L^2 / 6`."""
    return float(abs(np.polyfit(k - k.mean(), t, 2)[0]) * np.ptp(k) ** 2 / 6.0)


def _merged(k: Floats, t: Floats, cuts: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Neighbouring pieces put together where one line is as good for both as for a steady song."""
    merged = cuts[:1]
    for i, j in cuts[1:]:
        first, last = merged[-1]
        if min(j - i, last - first) < _SHORTEST_BEATS:
            merged.append((i, j))
            continue
        slopes = [np.polyfit(k[a:b], t[a:b], 1)[0] for a, b in ((first, last), (i, j))]
        if (
            abs(slopes[1] / slopes[0] - 1.0) < _SAME_TEMPO
            and fit_line(k[first:j], t[first:j], np.ones(j - first)).steady
        ):
            merged[-1] = (first, j)
        else:
            merged.append((i, j))
    return merged


def _heard(events: Events, beats_s: Floats) -> Floats:
    """Time of the onsets near each beat, weighted by strength and nearness; nan where there are none."""
    period = np.gradient(beats_s)
    nearest = np.clip(np.searchsorted(0.5 * (beats_s[1:] + beats_s[:-1]), events.times_s), 0, beats_s.size - 1)
    away = events.times_s - beats_s[nearest]
    reach = np.minimum(_NEAR_S, _NEAR_BEATS * period[nearest])
    weight = np.minimum(events.weights, 4.0) * np.square(np.clip(1.0 - np.square(away / reach), 0.0, None))
    total = np.bincount(nearest, weight, beats_s.size)
    mean = np.bincount(nearest, weight * away, beats_s.size) / np.maximum(total, 1e-9)
    return np.where(total > 0.05, beats_s + mean, np.nan)


def _smoothed(residual: Floats, span: float) -> Floats:
    """Local straight lines through the residuals (a Gaussian of `span` beats), stray ones heeded little."""
    n = residual.size
    known = np.flatnonzero(np.isfinite(residual))
    if known.size < 3:
        return np.zeros(n)
    value = residual[known]
    reach = int(4 * span)
    out = np.zeros(n)
    for i in range(n):
        first, last = np.searchsorted(known, (i - reach, i + reach + 1))
        if last - first < 3:
            out[i] = out[i - 1] if i else 0.0
            continue
        x, y = (known[first:last] - i) / span, value[first:last]
        near = np.exp(-0.5 * x * x)
        scale = max(0.01, 3.0 * float(np.median(np.abs(y - np.median(y)))))
        w = near / (1.0 + np.square((y - np.median(y)) / scale))
        s0, s1, s2 = w.sum(), (w * x).sum(), (w * x * x).sum() + 1e-3
        out[i] = ((w * y).sum() * s2 - (w * x * y).sum() * s1) / (s0 * s2 - s1 * s1 + 1e-12)
    return out


def _partition(k: Floats, t: Floats) -> list[tuple[int, int]]:
    """Cuts (first, end) of the beats into straight pieces, the least squares and `_PRICE` a piece in all."""
    t = t - t.mean()
    k = k - k.mean()
    sums = [np.concatenate([[0.0], np.cumsum(v)]) for v in (np.ones_like(k), k, t, k * k, k * t, t * t)]
    n = k.size
    best = np.zeros(n + 1)
    came = np.zeros(n + 1, dtype=np.intp)
    for end in range(1, n + 1):
        start = np.arange(end)
        m, sk, st, skk, skt, stt = (s[end] - s[start] for s in sums)
        var_k = np.maximum(skk - sk * sk / m, 1e-9)
        cov = skt - sk * st / m
        rss = np.maximum(stt - st * st / m - cov * cov / var_k, 0.0)
        cost = best[start] + rss / _NOISE_S**2 + _PRICE
        came[end] = int(cost.argmin())
        best[end] = cost[came[end]]
    cuts, end = [], n
    while end > 0:
        cuts.append((int(came[end]), end))
        end = int(came[end])
    return cuts[::-1]
