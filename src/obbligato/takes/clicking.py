"""A click whose own sound is known, in a stretch of a take: whether it is heard there, and how loud.

The moments at which the click sounds are correlated with it, each counting by how little else sounds in it, and added
up; a click that is heard stands out at the place it must have. Its level is the gain with which it explains those
moments (the median of what each tells), less twice the error of that: it is at least so loud.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.ndimage
import scipy.signal
from numpy.typing import NDArray

from obbligato.takes.partials import Floats
from obbligato.takes.pitch import ANALYSIS_SR
from obbligato.takes.place import Placement
from obbligato.units import power_to_db

SURE = 9.0
"""Height over the spread around it from which the click is heard; phrases without one reach 6."""
_AIR_S, _SLACK_S = 0.005, 0.0005
_ABOVE_HZ = 700.0
_MOMENT_S, _REACH_S = 0.04, 0.04
_TICK_S = 0.01
_LEAST_MOMENTS = 3
_FFT, _NOTHING = 2048, 1e-15
_LEAST_SHARE = 0.3
"""Of the noise usual in a bin, below which a moment counts no more: one without a click must not rule."""
_FAINTEST_DBFS = -100.0


@dataclass(frozen=True, eq=False)
class Clicks:
    """What the player may have heard as a click.

    Attributes
    ----------
    times_s
        When, on the guide's time, one array for each way of clicking; empty where not known.
    sound
        The click itself from the guide's first sample on, mono at `ANALYSIS_SR`; None where not known.
    """

    times_s: tuple[Floats, ...] = ()
    sound: NDArray[np.float32] | None = None


def click_level_dbfs(
    y: NDArray[np.float32], clicks: Clicks, placement: Placement, *, start_s: float, end_s: float
) -> float | None:
    """Level that the known click has at least between two moments of a take: of the 10 ms in which it is loudest.

    Parameters
    ----------
    y
        The take at `ANALYSIS_SR`.
    start_s, end_s
        In the take's seconds.

    Returns
    -------
    DBFS; None where the click is not known or not surely heard.
    """
    found = None if clicks.sound is None else _moments(y, clicks.sound, placement, start_s=start_s, end_s=end_s)
    if found is None:
        return None
    heard, own = found
    together = _correlation(heard, own)
    spread = float(np.median(np.abs(together))) / 0.6745
    middle = round(_REACH_S * ANALYSIS_SR)
    slack_s = min(_SLACK_S + 1e-3 * placement.uncertainty_ms, 0.5 * _REACH_S)
    first, last = (middle + round(s * ANALYSIS_SR) for s in (-slack_s, slack_s + _AIR_S))
    at = first + int(np.argmax(together[first : last + 1]))
    if together[at] < SURE * spread:
        return None
    gain = _least_gain(heard[:, at : at + own.shape[1]], own)
    loudest = float(scipy.ndimage.uniform_filter1d(own * own, round(_TICK_S * ANALYSIS_SR), axis=1).max())
    level_dbfs = float(power_to_db(gain * gain * loudest)) if gain > 0 else -np.inf
    return level_dbfs if level_dbfs > _FAINTEST_DBFS else None


def _least_gain(heard: Floats, own: Floats) -> float:
    """The gain with which the click explains its moments, less twice its error.

    Each moment tells one; their median counts them by how little else sounds in them, and their scatter gives its
    error (1.25 times that of a mean).
    """
    high = scipy.signal.butter(2, _ABOVE_HZ, "highpass", fs=ANALYSIS_SR, output="sos")
    x, s = scipy.signal.sosfilt(high, heard), scipy.signal.sosfilt(high, own)
    gains = np.sum(x * s, axis=1) / np.maximum(np.sum(s * s, axis=1), 1e-20)
    power = np.sum(x * x, axis=1)
    weights = 1.0 / np.maximum(power, _LEAST_SHARE * float(np.median(power)) + _NOTHING)
    order = np.argsort(gains)
    gain = float(gains[order][np.searchsorted(np.cumsum(weights[order]), 0.5 * weights.sum())])
    spread = float(np.median(np.abs(gains - gain))) / 0.6745
    return gain - 2.5 * spread / float(np.sqrt(len(gains)))


def _correlation(heard: Floats, own: Floats) -> Floats:
    """Sum over the clicks of their correlation with the take, bins counting by how little else sounds in them.

    Shape (2 n_reach + 1,): lags from `-_REACH_S` to `_REACH_S`.
    """
    n = heard.shape[1]
    x = scipy.fft.rfft(heard * np.hanning(n), _FFT)
    s = scipy.fft.rfft(own, _FFT)
    noise = scipy.ndimage.uniform_filter(x.real**2 + x.imag**2, (1, 9))
    noise = np.maximum(noise, _LEAST_SHARE * np.median(noise, axis=0)) + _NOTHING
    power = np.sum(s.real**2 + s.imag**2, axis=0)
    hz = np.arange(len(power)) * ANALYSIS_SR / _FFT
    weight = np.where(hz > _ABOVE_HZ / 2, (power / max(power.max(), 1e-20) + 1e-3) ** -0.25, 0.0)
    summed = scipy.fft.irfft(np.sum(x * np.conj(s) * weight / noise, axis=0), _FFT)
    return np.asarray(summed[: n - own.shape[1] + 1])


def _moments(
    y: NDArray[np.float32], sound: NDArray[np.float32], placement: Placement, *, start_s: float, end_s: float
) -> tuple[Floats, Floats] | None:
    """The take around each click, and the click there.

    Returns
    -------
    Shapes (n_clicks, n_moment + 2 n_reach) and (n_clicks, n_moment); None with fewer than three clicks.
    """
    moment, reach = round(_MOMENT_S * ANALYSIS_SR), round(_REACH_S * ANALYSIS_SR)
    first, last = (round(float(placement.to_guide_s(s)) * ANALYSIS_SR) for s in (start_s, end_s))
    first = max(0, first)
    own_power = scipy.ndimage.uniform_filter1d(sound[first:last].astype(np.float64) ** 2, round(0.005 * ANALYSIS_SR))
    loud = own_power > 0.02 * own_power.max(initial=1e-12)
    starts = first + np.flatnonzero(loud & ~np.concatenate([np.zeros(moment, bool), loud])[: len(loud)])
    starts = starts[np.concatenate([[True], np.diff(starts) > moment])] if starts.size else starts
    in_take = np.round(placement.to_take_s(starts / ANALYSIS_SR) * ANALYSIS_SR).astype(int)
    fits = (in_take >= reach) & (in_take + moment + reach <= len(y)) & (starts + moment <= len(sound))
    if np.count_nonzero(fits) < _LEAST_MOMENTS:
        return None
    heard = y[in_take[fits][:, None] + np.arange(-reach, moment + reach)[None, :]]
    own = sound[starts[fits][:, None] + np.arange(moment)[None, :]]
    return heard.astype(np.float64), own.astype(np.float64)
