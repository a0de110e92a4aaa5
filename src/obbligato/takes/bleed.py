"""Sound from the headphones in a take: what it says of the take's place, and where it disturbs.

The place comes from a generalised cross-correlation, frame by frame: each bin of the take counts by how far the
source stands above what else sounds in it there, so that the rests, and the gaps between the partials of the playing,
say most (the maximum-likelihood weighting of Hannan and Thomson, with the take's own smoothed power for the noise).
The sum over windows of some seconds tells where the take lies there; windows that move against one another tell its
clock.

References
----------
Knapp and Carter, "The generalized correlation method for estimation of time delay", IEEE Transactions on Acoustics,
Speech, and Signal Processing 24(4), 1976 (which gives Hannan and Thomson's weighting, and Roth's).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy.fft
import scipy.ndimage
from numpy.typing import NDArray

from obbligato.takes.clock import LEAST_DRIFT_PPM, MOST_DRIFT_PPM, Clock, Loss, fit_clock
from obbligato.takes.correlating import (
    FRAME,
    HOP,
    REACH,
    WINDOW_FRAMES,
    TakeFrames,
    Windows,
    correlations,
    frame_spectra,
    lags_of,
    source_spectra,
    source_weight,
    stacked,
)
from obbligato.takes.pitch import ANALYSIS_SR, Floats

SURE = 7.0
"""A peak this many times the spread of the correlation around it is no chance: among a few hundred thousand places
chance reaches 5."""
_SURE_AT_SLOPE, _BETTER_AT_SLOPE = 9.0, 1.5
"""The same where a slope was sought as well, by which notes near clicks reach 7; and how much better than without a
slope it must be, for a few clicks in one place fit any slope."""
_SURE_IN_WINDOW = 6.5
_GROUP = 4
"""Windows that, moved together, tell a place."""
_AROUND_LINE_S = 0.06
_MOST_LOST_S = 0.11
_AS_GOOD = 0.8
_MOVES_S = 0.0007
"""By how much two slopes next to each other part at the end of the take: a cycle of a high click."""
_LONG_ENOUGH_S, _SHORTEST_DRIFT_S = 30.0, 20.0
_RIVAL_S = 0.005
_RIVAL_SPREADS = 4.0
_LEAST_ERROR_S = 0.0001
_OF_SLOPE_S = 0.003
"""How far a place may be off where a slope comes from few moments (own, from recorded guitars over their songs)."""
_ALIKE_S = 0.001
_MOST = 0.7
_ENOUGH_CLICKS = 16
_SURE_OF_PULSES = 7.5
_SWING_S = 0.002
_FINE_HOP = 512
_COPY = 0.5
_COPY_SPAN = 10 * ANALYSIS_SR
_LEVELLING_S = 0.05
LEAST_CLICKS = 3
"""Fewer clicks than this say nothing about bleed."""
_MACHINE_S = 0.0003
_CLICK_BAND_HZ = (1000.0, 4000.0)


@dataclass(frozen=True)
class Bleed:
    """A copy of `source` in the take.

    Attributes
    ----------
    clock
        Where the take's first sample lies on the source's time, and how it goes on from there.
    strength
        Height of the peak over the spread of the correlation; from `SURE` on it is real.
    error_s
        How far the place may be off: the peaks of a click repeat with its pitch, and where little is heard of it one
        may pass for another.
    """

    clock: Clock
    strength: float
    error_s: float


def find_bleed(
    take: NDArray[np.float32], source: NDArray[np.float32], *, near_s: float, frames: TakeFrames | None = None
) -> Bleed | None:
    """Look for a copy of the source in a take, near where the take is believed to lie.

    Parameters
    ----------
    take, source
        Mono samples at `ANALYSIS_SR`.
    near_s
        The offset to look around, 128 ms either way.
    frames
        Those of the take, where several sources are looked for in it.

    Returns
    -------
    None where no peak stands out.
    """
    near = round(near_s * ANALYSIS_SR)
    weight = source_weight(source)
    if weight is None or len(take) < FRAME:
        return None
    times_s, windows = correlations(frames or TakeFrames.of(take), source, near, weight)
    slope_ppm, at, strength = _best_line(times_s, windows)
    if strength < SURE:
        return None
    known_s, offsets_s = _by_group(times_s, windows, slope_ppm, at)
    base_s = near / ANALYSIS_SR
    clock = _clock_of(known_s, offsets_s + base_s, slope_ppm, spans_s=float(np.ptp(times_s)))
    if clock is not None:
        if not _agree(offsets_s + base_s, clock.to_guide_s(known_s) - known_s):
            return None
        losses = tuple(_located(take, source, loss, clock, weight) for loss in clock.losses)
        return Bleed(replace(clock, losses=losses), strength, _LEAST_ERROR_S)
    total = stacked(windows, times_s, slope_ppm)
    clock = Clock(base_s + _peak_at(total, at), 0.0 if abs(slope_ppm) < LEAST_DRIFT_PPM else -slope_ppm, ())
    error_s = max(_LEAST_ERROR_S, _rival_s(total, at)) + (_OF_SLOPE_S if slope_ppm else 0.0)
    return Bleed(clock, strength, error_s)


def _clock_of(known_s: Floats, offsets_s: Floats, slope_ppm: float, *, spans_s: float) -> Clock | None:
    """The clock that offsets known at some moments of a take tell; None where they are too few to tell it.

    Of a take of which `spans_s` was heard they must lie over half; a place without a slope needs only one.
    """
    if len(known_s) >= 3 and np.ptp(known_s) >= 0.5 * spans_s:
        clock = fit_clock(known_s, offsets_s, slope=1e-6 * slope_ppm)
        return clock if np.ptp(known_s) >= _SHORTEST_DRIFT_S else replace(clock, drift_ppm=0.0)
    return Clock(float(np.median(offsets_s))) if len(known_s) and not slope_ppm else None


def _agree(offsets_s: Floats, told_s: Floats) -> bool:
    """Whether most offsets are what one clock says: bleed keeps its time, whereas notes near clicks do not."""
    return float(np.mean(np.abs(offsets_s - told_s) <= _ALIKE_S)) >= _MOST


def find_clicks(
    take: NDArray[np.float32], click_times_s: Floats, *, near_s: float, frames: TakeFrames | None = None
) -> Bleed | None:
    """Look for clicks whose times are known and whose sound is not, likewise.

    Their sound is taken to be a pulse, so that the place found is that of their first great swing, which lies a
    millisecond or two from their start. The attacks of a player on the beat are not alike enough to be taken for
    clicks; those of a machine are.
    """
    times_s = click_times_s[click_times_s >= 0.0]
    if len(times_s) < _ENOUGH_CLICKS:
        return None
    pulses = np.zeros(int((times_s.max() + 1.0) * ANALYSIS_SR), dtype=np.float32)
    pulses[np.round(times_s * ANALYSIS_SR).astype(int)] = 1.0
    found = find_bleed(take, pulses, near_s=near_s, frames=frames)
    if found is None or found.strength < _SURE_OF_PULSES:
        return None
    return replace(found, error_s=max(found.error_s, _SWING_S))


def _best_line(times_s: Floats, windows: Windows) -> tuple[float, int, float]:
    """The slope (ppm of the offset over the take's time) and lag at which all windows together stand out most."""
    slopes: NDArray[np.floating] = np.zeros(1)
    long_s = float(np.ptp(times_s))
    if long_s >= _LONG_ENOUGH_S:
        most = int(MOST_DRIFT_PPM * 1e-6 * long_s / _MOVES_S)
        slopes = np.arange(-most, most + 1, dtype=np.float64) * (1e6 * _MOVES_S / long_s)
    best, least = (0.0, REACH, 0.0), 0.0
    for slope_ppm in slopes[np.argsort(np.abs(slopes))]:
        total = stacked(windows, times_s, slope_ppm)
        at = int(np.argmax(total[1:-1])) + 1
        strength = float(total[at]) / (_middle(np.abs(total)) / 0.6745 + 1e-12)
        if strength > max(best[2], least):
            best = (float(slope_ppm), at, strength)
        if not slope_ppm:
            least = max(_SURE_AT_SLOPE, _BETTER_AT_SLOPE * strength)
    return best


def _middle(values: Windows) -> float:
    """The median of an odd number of values, the number of lags being odd."""
    half = len(values) // 2
    return float(np.partition(values, half)[half])


def _by_group(times_s: Floats, windows: Windows, slope_ppm: float, at: int) -> tuple[Floats, Floats]:
    """Times and offsets (seconds around the place believed) of the groups whose own peak near the line is sure.

    After a lost block the peak lies further away, and is believed only where none as good lies near: clicks in quick
    succession are alike.
    """
    reaches = [round(reach_s * ANALYSIS_SR) for reach_s in (_AROUND_LINE_S, _MOST_LOST_S)]
    known_s, offsets_s = [], []
    for first in range(0, len(times_s), _GROUP):
        here_s = times_s[first : first + _GROUP]
        centre_s = float(here_s.mean())
        row = stacked(windows[first : first + _GROUP], here_s - centre_s, slope_ppm)
        spread = float(np.median(np.abs(row))) / 0.6745
        middle = at + round(slope_ppm * 1e-6 * centre_s * ANALYSIS_SR)
        peaks = [_highest(row, middle, reach) for reach in reaches]
        peak = peaks[0] if row[peaks[0]] >= _AS_GOOD * row[peaks[1]] else peaks[1]
        if row[peak] >= max(_SURE_IN_WINDOW * spread, 1e-9):
            known_s.append(centre_s)
            offsets_s.append(_peak_at(row, peak))
    return np.array(known_s), np.array(offsets_s)


def _highest(row: Windows, middle: int, reach: int) -> int:
    """The lag of the highest value around one, the outermost lags left out."""
    begin = min(max(1, middle - reach), len(row) - 2)
    return begin + int(np.argmax(row[begin : max(begin + 1, min(len(row) - 1, middle + reach))]))


def _peak_at(correlation: Windows, at: int) -> float:
    """Seconds of a peak from the middle of the lags, to a fraction of a sample."""
    left, top, right = (float(v) for v in correlation[at - 1 : at + 2])
    bend = left - 2 * top + right
    return (at - REACH + (0.5 * (left - right) / bend if bend < 0 else 0.0)) / ANALYSIS_SR


def _rival_s(correlation: Windows, at: int) -> float:
    """How far away the furthest place near the peak is that chance may have put below it."""
    reach = round(_RIVAL_S * ANALYSIS_SR)
    first = max(0, at - reach)
    near = correlation[first : at + reach + 1]
    spread = float(np.median(np.abs(correlation))) / 0.6745
    as_good = np.flatnonzero(near >= correlation[at] - _RIVAL_SPREADS * spread) + first
    return float(np.abs(as_good - at).max()) / ANALYSIS_SR


def _located(
    take: NDArray[np.float32], source: NDArray[np.float32], loss: Loss, clock: Clock, weight: Floats
) -> Loss:
    """A loss known to lie between or in two groups, with the moment at which one offset gives way to the other."""
    half = _GROUP * WINDOW_FRAMES * HOP // 2
    first, last = int(loss.after_s * ANALYSIS_SR) - half, int(loss.before_s * ANALYSIS_SR) + half
    starts = np.arange(max(0, first - FRAME // 2), min(last, len(take)) - FRAME // 2 + 1, _FINE_HOP)
    starts = starts[starts + FRAME <= len(take)]
    if len(starts) < 2:
        return loss
    middle_s = (starts + FRAME // 2) / ANALYSIS_SR
    slope = 1.0 / (1.0 + clock.drift_ppm * 1e-6) - 1.0
    lines_s = [float(clock.to_guide_s(t)) - t + slope * (middle_s - t) for t in (loss.after_s, loss.before_s)]
    near = round(float(np.mean(lines_s)) * ANALYSIS_SR)
    lags = np.clip(np.round(np.array(lines_s) * ANALYSIS_SR).astype(int) - near + REACH, 2, 2 * REACH - 2)
    gain = np.zeros(len(starts))
    for piece in np.array_split(np.arange(len(starts)), max(1, len(starts) // WINDOW_FRAMES)):
        cross = frame_spectra(take, starts[piece]) * source_spectra(source, starts[piece], near)
        rows = lags_of(cross, weight)
        old, new = (rows[np.arange(len(piece))[:, None], line[piece][:, None] + np.arange(-2, 3)] for line in lags)
        gain[piece] = new.max(axis=1) - old.max(axis=1)
    balance = np.concatenate([[0.0], np.cumsum(gain)])
    at = int(np.argmin(balance))
    at_s = (starts[min(at, len(starts) - 1)] + FRAME // 2) / ANALYSIS_SR
    return loss.moved(float(at_s))


def is_copy(take: NDArray[np.float32], source: NDArray[np.float32], clock: Clock) -> bool:
    """Whether a take is for the most part the source itself: correlated with it by a half or more, sample by sample.

    Looked at in ten seconds around its middle; a drift of 100 ppm moves them by a millisecond, which only the treble
    notices.
    """
    span = min(_COPY_SPAN, len(take))
    first = (len(take) - span) // 2
    at = round(float(clock.to_guide_s((first + span / 2) / ANALYSIS_SR)) * ANALYSIS_SR - span / 2)
    x = np.asarray(take[first : first + span], dtype=np.float64)
    s = np.asarray(np.pad(source[max(0, at) : max(0, at + span)], (max(0, -at), 0)), dtype=np.float64)
    s = np.pad(s, (0, max(0, span - len(s))))[:span]
    power = float(np.sqrt(np.dot(x, x) * np.dot(s, s)))
    return power > 0 and abs(float(np.dot(x, s))) >= _COPY * power


def click_likeness(y: NDArray[np.float32], ways_s: Sequence[Floats], attacks_s: Floats) -> float:
    """How alike a take sounds at each click, whatever is being played there.

    The stretch is whitened by its own spectrum between 1 and 4 kHz and its loudness evened out, so that held notes
    vanish and short sounds stay; the moments around the clicks are then added up. What is the same at each click
    grows with their number, all else with its root.
    (Coherent averaging, as of evoked responses; the whitening is that of the phase transform.)

    Parameters
    ----------
    y
        The take at `ANALYSIS_SR`.
    ways_s
        Times of the clicks in the take, seconds, evenly or unevenly spaced, one array for each way of clicking.
    attacks_s
        Starts of notes: a click is left out where a note lies exactly as far from it as another note from another
        click, for a machine's notes are alike themselves.

    Returns
    -------
    Power of the sum over the sum of the powers, in the 5 ms where it is greatest, of the way that sounds most alike:
    1 by chance, the number of clicks at most; 0 where there are fewer than `LEAST_CLICKS`.
    """
    unlike = [_unlike(times_s, attacks_s) for times_s in ways_s]
    ways = [times_s for times_s in unlike if len(times_s) >= LEAST_CLICKS]
    if not ways:
        return 0.0
    first = max(0, int((min(times_s[0] for times_s in ways) - 0.5) * ANALYSIS_SR))
    last = int((max(times_s[-1] for times_s in ways) + 0.5) * ANALYSIS_SR)
    white = _whitened(np.asarray(y[first:last]))
    return max(_likeness(white, np.round(times_s * ANALYSIS_SR).astype(int) - first) for times_s in ways)


def _whitened(x: NDArray[np.float32]) -> NDArray[np.float32]:
    """A stretch whose spectrum is even within the clicks' band, and nothing outside."""
    size = scipy.fft.next_fast_len(len(x), real=True)
    spectrum = scipy.fft.rfft(x, size)
    low, high = (int(hz * size / ANALYSIS_SR) for hz in _CLICK_BAND_HZ)
    spectrum[:low] = 0.0
    spectrum[high:] = 0.0
    band = spectrum[low:high]
    band /= np.maximum(np.abs(band), 1e-12)
    return np.asarray(scipy.fft.irfft(spectrum, size)[: len(x)])


def _likeness(white: NDArray[np.float32], clicks: NDArray[np.intp]) -> float:
    """How alike a whitened stretch is around some of its samples; 0 where too few lie well inside."""
    before, after, block, span = (int(s * ANALYSIS_SR) for s in (0.03, 0.05, 0.005, _LEVELLING_S))
    starts = clicks - before
    starts = starts[(starts >= 0) & (starts + before + after <= len(white))]
    if len(starts) < LEAST_CLICKS:
        return 0.0
    around = np.pad(white, span)[starts[:, None] + np.arange(before + after + 2 * span)[None, :]]
    around /= np.sqrt(np.maximum(scipy.ndimage.uniform_filter1d(around * around, span, axis=1), 0.0) + 1e-12)
    moments = around[:, span:-span].astype(np.float64)
    together = scipy.ndimage.uniform_filter1d(moments.sum(axis=0) ** 2, block)
    apart = scipy.ndimage.uniform_filter1d((moments**2).sum(axis=0), block)
    return float((together / np.maximum(apart, 1e-20)).max())


def _unlike(click_times_s: Floats, attacks_s: Floats) -> Floats:
    if not attacks_s.size or not click_times_s.size:
        return click_times_s
    nearest = attacks_s[np.argmin(np.abs(attacks_s[None, :] - click_times_s[:, None]), axis=1)] - click_times_s
    close = np.abs(nearest) < 0.1
    alike = close & ((np.abs(nearest[:, None] - nearest[None, :]) < _MACHINE_S).sum(axis=1) > 1)
    return np.asarray(click_times_s[~alike])
