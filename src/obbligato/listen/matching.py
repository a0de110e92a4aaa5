"""Where each stretch of one recording lies in another that holds some of the same sound, to the sample.

Both recordings are whitened by the mean spectrum of the first, so that a peak of their cross-correlation is narrow
whatever instrument is loudest (Knapp and Carter 1976). Peaks of the correlation of the whole songs give the lags that
stretches may have; a stretch that is found at none of them is looked for everywhere. Of all places where stretches
were found, a chain is kept in which both recordings go forward, as genomes are aligned by their common fragments
(Abouelhoda and Ohlebusch 2005): each change of the lag has its price, so that a bar which comes back elsewhere in the
song is not taken for a cut. Last, each lag is made exact at the full rate, by a correlation about it.

References
----------
C. Knapp, G. Carter: The generalized correlation method for estimation of time delay. IEEE Transactions on Acoustics,
Speech, and Signal Processing 24, 1976, pages 320-327.
M. Abouelhoda, E. Ohlebusch: Chaining algorithms for multiple genome comparison. Journal of Discrete Algorithms 3,
2005, pages 321-341.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import fft, ndimage, signal

from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio, Samples

Array = NDArray[np.float64]

_SR = 6000
_N_FFT = 1024
_FLOOR = 1e-3
"""Of the spectrum's highest value: below it nothing is raised any more."""

_LAGS = 40
_LAGS_APART_S = 0.004
_SURE = 0.5
"""A stretch that correlates so well at a known lag is looked for nowhere else."""

_LEAST = 0.3
"""Correlation from which on a stretch found anywhere may be the same; bars of different music seldom reach 0.15."""

_LEAST_AT_A_LAG = 0.1
"""The same at a lag that the whole songs have in common: there is little room for chance."""

_GOOD = 0.7
"""A correlation from which on a stretch's own lag is taken as it was measured."""

_BESIDE_S, _CORE_S = 0.03, 0.001
_STANDS_OUT = 1.5
"""A peak this much above all that is within 30 ms of it is that of the same sound."""

_PLACES = 3
_PROBES = 12
_JUMP = 0.6
"""Price of a change of the lag, in bars that match perfectly."""

_OVERLAP_S = 0.05
_DRIFT = 2e-4
"""Lags that move by less than this share of the time are those of one clock against another, not of a cut."""

_FEWEST_FOR_A_LINE = 4
_LEAST_DRIFT_SAMPLES = 1.5
_QUIET_DB = -60.0
_REFINE_S = 2.0 / _SR


@dataclass(frozen=True, eq=False)
class Copies:
    """Where each stretch of the old recording lies in the new one.

    Attributes
    ----------
    lag_s
        How much later it comes in the new recording, shape (n,); nan where it was not found.
    likeness
        Correlation of the whitened sounds there, -1 to 1 (negative: with reversed polarity), shape (n,).
    silent
        Stretches with nothing in them to find, shape (n,).
    """

    lag_s: Array
    likeness: Array
    silent: NDArray[np.bool_]

    @property
    def found(self) -> NDArray[np.bool_]:
        """Which stretches have a lag."""
        return np.isfinite(self.lag_s)


def find_copies(old: Audio, new: Audio, edges_s: Array, *, progress: Progress = silent) -> Copies:
    """Look for the stretches between neighbouring edges of `old` in `new`; both at one sampling rate.

    Parameters
    ----------
    edges_s
        Increasing times inside `old`, shape (n + 1,).
    """
    progress(0.0, "looking for the same sound")
    x, y = _whitened_pair(old, new)
    edges = np.clip(np.round(edges_s * _SR).astype(np.intp), 0, x.size)
    quiet = _silent_stretches(old, edges_s)
    places = _places_at_common_lags(x, y, edges)
    known = {block for block, _, score in places if abs(score) >= _SURE}
    places += _places_anywhere(x, y, edges, known | set(np.flatnonzero(quiet).tolist()), progress)
    chain = _trusted(x, y, edges, _best_chain(places, edges))
    lag_s, likeness = np.full(edges.size - 1, np.nan), np.zeros(edges.size - 1)
    old_rise, new_rise = (np.diff(audio.mono(), prepend=np.float32(0.0)) for audio in (old, new))
    for block, lag, score in chain:
        span = round(float(edges_s[block]) * old.sr), round(float(edges_s[block + 1]) * old.sr)
        lag_s[block] = _exact_lag(old_rise, new_rise, span, lag / _SR, old.sr)
        likeness[block] = score
    lag_s = _evened(lag_s, np.abs(likeness), np.asarray(edges_s, dtype=np.float64), old.sr)
    progress(1.0, "found what is the same")
    return Copies(_one_lag_for_silence(lag_s, quiet), likeness, quiet)


def runs_of_one_lag(lag_s: Array, edges_s: Array) -> list[tuple[int, int]]:
    """First stretch and the one after the last of each run without a cut; stretches that were not found end none."""
    runs: list[tuple[int, int]] = []
    for i in np.flatnonzero(np.isfinite(lag_s)):
        if runs:
            last = runs[-1][1] - 1
            allowed = 2.0 / _SR + _DRIFT * (edges_s[i] - edges_s[last])
            if abs(lag_s[i] - lag_s[last]) <= allowed:
                runs[-1] = runs[-1][0], int(i) + 1
                continue
        runs.append((int(i), int(i) + 1))
    return runs


def _silent_stretches(audio: Audio, edges_s: Array) -> NDArray[np.bool_]:
    power = np.concatenate(([0.0], np.cumsum(np.square(audio.y, dtype=np.float64).sum(axis=0))))
    edges = np.clip(np.round(edges_s * audio.sr).astype(np.intp), 0, power.size - 1)
    mean = np.diff(power[edges]) / np.maximum(np.diff(edges), 1)
    return np.asarray(mean <= max(float(mean.max()) * 10.0 ** (_QUIET_DB / 10.0), 1e-12))


def _evened(lag_s: Array, likeness: Array, edges_s: Array, sr: int) -> Array:
    """One lag (or, between two clocks, one line) for each run; the measured ones scatter where little is the same."""
    evened = lag_s.copy()
    for first, after in runs_of_one_lag(lag_s, edges_s):
        here = np.arange(first, after)
        here = here[np.isfinite(lag_s[here])]
        good = here[likeness[here] >= _GOOD]
        if not good.size:
            good = here[likeness[here] >= likeness[here].max() - 0.05]
        times_s, lags_s = edges_s[good], lag_s[good]
        later, earlier = np.triu_indices(good.size, 1)[::-1]
        slope = (
            float(np.median((lags_s[later] - lags_s[earlier]) / (times_s[later] - times_s[earlier])))
            if good.size >= _FEWEST_FOR_A_LINE
            else 0.0
        )
        if abs(slope) * (times_s[-1] - times_s[0]) * sr < _LEAST_DRIFT_SAMPLES:
            evened[here] = float(np.median(lags_s))
        else:
            evened[here] = float(np.median(lags_s - slope * times_s)) + slope * edges_s[here]
    return evened


def _whitened_pair(old: Audio, new: Audio) -> tuple[Array, Array]:
    x, y = (soxr.resample(audio.mono(), audio.sr, _SR).astype(np.float64) for audio in (old, new))
    if min(x.size, y.size) < _N_FFT:
        return x, y
    _, spectrum = signal.welch(x, _SR, nperseg=_N_FFT)
    response = 1.0 / np.sqrt(spectrum + _FLOOR * spectrum.max() + 1e-30)
    kernel = np.roll(fft.irfft(response), _N_FFT // 2) * signal.get_window("hann", _N_FFT)
    return tuple(signal.oaconvolve(z, kernel, mode="same") for z in (x, y))  # type: ignore[return-value]


Places = list[tuple[int, int, float]]
"""Stretch, lag in samples at the low rate, correlation."""


def _places_at_common_lags(x: Array, y: Array, edges: NDArray[np.intp]) -> Places:
    """Stretches at the lags that stand out in the correlation of the whole."""
    n = fft.next_fast_len(x.size + y.size)
    whole = np.abs(fft.irfft(np.conj(fft.rfft(x, n)) * fft.rfft(y, n), n))
    tops = np.flatnonzero(whole == ndimage.maximum_filter1d(whole, 2 * round(_LAGS_APART_S * _SR) + 1, mode="wrap"))
    tops = tops[np.argsort(whole[tops])[::-1][:_LAGS]]
    own = np.concatenate(([0.0], np.cumsum(x**2)))
    theirs = np.concatenate(([0.0], np.cumsum(y**2)))
    places: Places = []
    for top in tops:
        lag = int(top) if top < y.size else int(top) - n
        first, last = max(0, -lag), min(x.size, y.size - lag)
        if last <= first:
            continue
        common = np.concatenate(([0.0], np.cumsum(x[first:last] * y[first + lag : last + lag])))
        for block, (a, b) in enumerate(pairwise(edges)):
            i, j = max(a, first), min(b, last)
            if j - i < 0.9 * (b - a):
                continue
            power = (own[j] - own[i]) * (theirs[j + lag] - theirs[i + lag])
            score = (common[j - first] - common[i - first]) / np.sqrt(power) if power > 0.0 else 0.0
            if abs(score) >= _LEAST_AT_A_LAG:
                places.append((block, lag, float(score)))
    return places


def _places_anywhere(x: Array, y: Array, edges: NDArray[np.intp], known: set[int], progress: Progress) -> Places:
    """Places of the stretches that are not known yet; none where a first few are found nowhere."""
    open_ = [i for i in range(edges.size - 1) if i not in known and edges[i + 1] - edges[i] >= _N_FFT]
    if not open_:
        return []
    places: Places = []
    probes = set(open_[:: max(1, len(open_) // _PROBES)])
    n = fft.next_fast_len(y.size + int(np.diff(edges).max()))
    spectrum = fft.rfft(y, n)
    theirs = np.concatenate(([0.0], np.cumsum(y**2)))
    for number, block in enumerate([*sorted(probes), *(i for i in open_ if i not in probes)]):
        if number == len(probes) and not (known or places):
            return []
        progress(number / len(open_), "looking for the same sound")
        a, b = int(edges[block]), int(edges[block + 1])
        if y.size <= b - a:
            continue
        part = x[a:b]
        products = fft.irfft(np.conj(fft.rfft(part, n)) * spectrum, n)[: y.size - part.size]
        power = theirs[part.size :][: products.size] - theirs[: products.size]
        score = products / np.sqrt(np.maximum(power * np.sum(part**2), 1e-9 * max(float(power.max()), 1e-20)))
        tops, _ = signal.find_peaks(np.abs(score), height=_LEAST, distance=round(_LAGS_APART_S * _SR))
        for top in tops[np.argsort(np.abs(score[tops]))[::-1][:_PLACES]]:
            places.append((block, int(top) - a, float(np.clip(score[top], -1.0, 1.0))))
    return places


def _trusted(x: Array, y: Array, edges: NDArray[np.intp], chain: Places) -> Places:
    """The chain without those of its runs of one lag in which no stretch is plainly the same sound."""
    lag_s, edges_s = np.full(edges.size - 1, np.nan), edges / _SR
    for block, lag, _ in chain:
        lag_s[block] = lag / _SR
    kept: Places = []
    for first, after in runs_of_one_lag(lag_s, edges_s):
        run = [place for place in chain if first <= place[0] < after]
        if any(_stands_alone(x, y, edges, place) for place in run):
            kept += run
    return kept


def _stands_alone(x: Array, y: Array, edges: NDArray[np.intp], place: tuple[int, int, float]) -> bool:
    """Whether the correlation has a peak at a lag: tones alike in pitch correlate as well a little beside it."""
    block, lag, score = place
    if abs(score) >= _GOOD:
        return True
    reach, core = round(_BESIDE_S * _SR), round(_CORE_S * _SR)
    first = max(int(edges[block]), reach - lag)
    last = min(int(edges[block + 1]), y.size - lag - reach)
    if last - first < _N_FFT:
        return False
    around = np.abs(signal.correlate(y[first + lag - reach : last + lag + reach], x[first:last], mode="valid"))
    beside = np.concatenate((around[: reach - core], around[reach + core + 1 :]))
    return bool(around[reach - 2 : reach + 3].max() >= _STANDS_OUT * beside.max())


def _best_chain(places: Places, edges: NDArray[np.intp]) -> Places:
    """The chain of places, forward in both recordings, that explains most at the least changes of the lag."""
    if not places:
        return []
    ordered = sorted(set(places))
    block = np.array([p[0] for p in ordered])
    lag = np.array([p[1] for p in ordered], dtype=np.float64)
    length = np.diff(edges)
    usual = float(np.median(length))
    worth = np.array([(abs(p[2]) - 0.5 * _LEAST_AT_A_LAG) * min(1.0, length[p[0]] / usual) for p in ordered])
    start, end = edges[block] + lag, edges[block + 1] + lag
    best, before = worth.copy(), np.full(block.size, -1)
    for j in range(block.size):
        earlier = np.flatnonzero((block[:j] < block[j]) & (end[:j] <= start[j] + _OVERLAP_S * _SR))
        if not earlier.size:
            continue
        passed = edges[block[j]] - edges[block[earlier]]
        jumps = np.abs(lag[earlier] - lag[j]) > 2.0 + _DRIFT * passed
        value = best[earlier] - _JUMP * jumps
        i = int(np.argmax(value))
        if value[i] > 0.0:
            best[j], before[j] = worth[j] + value[i], earlier[i]
    chain, j = [], int(np.argmax(best))
    while j >= 0:
        chain.append(ordered[j])
        j = int(before[j])
    return chain[::-1]


def _exact_lag(x: Samples, y: Samples, span: tuple[int, int], lag_s: float, sr: int) -> float:
    """The lag of a stretch in seconds, whole samples where that is as good as any fraction of one."""
    first, last = span
    about, reach = round(lag_s * sr), round(_REFINE_S * sr) + 1
    first, last = max(first, reach - about, 0), min(last, x.size, y.size - about - reach)
    if last - first < reach:
        return lag_s
    part = x[first:last]
    shifts = range(about - reach, about + reach + 1)
    values = np.array([float(part @ y[first + s : last + s]) for s in shifts])
    top = int(np.clip(np.argmax(np.abs(values)), 1, values.size - 2))
    left, mid, right = np.abs(values[top - 1 : top + 2])
    bend = left - 2.0 * mid + right
    fraction = 0.5 * (left - right) / bend if bend < 0.0 else 0.0
    copied = y[first + shifts[top] : last + shifts[top]]
    gain = float(part @ copied) / max(float(part @ part), 1e-20)
    whole = float(np.sum((copied - gain * part) ** 2)) <= 1e-4 * float(copied @ copied)
    return (about - reach + top + (0.0 if whole else float(np.clip(fraction, -0.5, 0.5)))) / sr


def _one_lag_for_silence(lag_s: Array, quiet: NDArray[np.bool_]) -> Array:
    """Silent stretches take the lag of the next that sounds; at the end, of the last."""
    filled = lag_s.copy()
    for i in range(lag_s.size - 2, -1, -1):
        if quiet[i]:
            filled[i] = filled[i + 1]
    for i in range(1, lag_s.size):
        if quiet[i] and not np.isfinite(filled[i]):
            filled[i] = filled[i - 1]
    return filled
