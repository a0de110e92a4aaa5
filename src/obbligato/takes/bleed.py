"""Sound from the headphones in a take: what it says of the take's place, and where it disturbs.

The place comes from a generalised cross-correlation: the take's spectrum is whitened, so that the playing does not
drown what lies under it, and its loudness evened out, so that the rests count. The source's spectrum is kept (half of
Roth's processor), for a click has energy at few frequencies, and whitening it as well would bring in the noise of all
the others.

References
----------
Knapp and Carter, "The generalized correlation method for estimation of time delay", IEEE Transactions on Acoustics,
Speech, and Signal Processing 24(4), 1976.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
import scipy.ndimage
import soxr
from numpy.typing import NDArray

from obbligato.takes.pitch import ANALYSIS_SR, Floats

BLEED_SR = 8000
"""Rate at which bleed is looked for, Hz."""
SURE = 8.0
"""A peak this many times the spread of the correlation around it is no chance."""
_LEVELLING_S = 0.05
_WITHIN_S = 0.25
_WINDOW_S = 30.0
_SURE_IN_WINDOW = 7.0
LEAST_CLICKS = 3
"""Fewer clicks than this say nothing about bleed."""
_MACHINE_S = 0.0003
_CLICK_BAND_HZ = (1000.0, 4000.0)


@dataclass(frozen=True)
class Bleed:
    """A copy of `source` in the take.

    Attributes
    ----------
    offset_s
        Where the take's first sample lies on the source's time.
    strength
        Height of the peak over the spread of the correlation; from `SURE` on it is real.
    drift_ppm
        Clock of the take against the source's, None where too little was found to tell.
    """

    offset_s: float
    strength: float
    drift_ppm: float | None


def levelled(y: NDArray[np.float32]) -> NDArray[np.float32]:
    """A recording at `ANALYSIS_SR` brought to `BLEED_SR` with its loudness evened out, so that rests count too."""
    x = np.asarray(soxr.resample(y, ANALYSIS_SR, BLEED_SR), dtype=np.float32)
    x = np.diff(x, prepend=x[:1])
    size = int(_LEVELLING_S * BLEED_SR)
    rms = np.sqrt(np.maximum(scipy.ndimage.uniform_filter1d(x * x, size), 0.0))
    return np.asarray(x / (rms + 1e-6), dtype=np.float32)


def find_bleed(take: NDArray[np.float32], source: NDArray[np.float32], *, near_s: float) -> Bleed | None:
    """Look for a copy of the source in a take, near where the take is believed to lie.

    Parameters
    ----------
    take, source
        As from `levelled`.
    near_s
        The offset to look around, a quarter of a second either way.

    Returns
    -------
    None where no peak stands out.
    """
    offset_s, strength = _peak(take, source, near_s, _WITHIN_S)
    if strength < SURE:
        return None
    return Bleed(offset_s, strength, _drift_ppm(take, source, offset_s))


def _peak(
    take: NDArray[np.float32], source: NDArray[np.float32], near_s: float, within_s: float
) -> tuple[float, float]:
    """Offset of the highest peak, to a fraction of a sample, and its height over the spread around it."""
    size = scipy.fft.next_fast_len(len(take) + len(source), real=True)
    take_spectrum = scipy.fft.rfft(take, size)
    cross = scipy.fft.rfft(source, size) * np.conj(take_spectrum)
    cross /= np.maximum(np.abs(take_spectrum), 1e-12)
    correlation = scipy.fft.irfft(cross, size)
    reach = int(within_s * BLEED_SR)
    lags = round(near_s * BLEED_SR) + np.arange(-reach, reach + 1)
    here = correlation[lags % size]
    best = int(np.argmax(here[1:-1])) + 1
    left, top, right = (float(v) for v in here[best - 1 : best + 2])
    bend = left - 2 * top + right
    fraction = 0.5 * (left - right) / bend if bend < 0 else 0.0
    spread = float(np.median(np.abs(here))) / 0.6745 + 1e-12
    return float((lags[best] + fraction) / BLEED_SR), top / spread


def _drift_ppm(take: NDArray[np.float32], source: NDArray[np.float32], offset_s: float) -> float | None:
    """Slope of the offsets found in windows along the take, where three or more over a minute or more agree."""
    size = int(_WINDOW_S * BLEED_SR)
    times_s, offsets_s = [], []
    for start in range(0, len(take) - size // 2, size):
        at = start + round(offset_s * BLEED_SR)
        piece = source[max(0, at) : max(0, at + size)]
        if len(piece) < size // 2:
            continue
        shift_s = (max(0, at) - start) / BLEED_SR
        found_s, strength = _peak(take[start : start + size], piece, offset_s - shift_s, 0.05)
        if strength >= _SURE_IN_WINDOW:
            times_s.append((start + size / 2) / BLEED_SR)
            offsets_s.append(found_s + shift_s)
    if len(times_s) < 3 or times_s[-1] - times_s[0] < 60.0:
        return None
    pairs = [
        (offsets_s[j] - offsets_s[i]) / (times_s[j] - times_s[i])
        for i in range(len(times_s))
        for j in range(i + 1, len(times_s))
    ]
    return float(-1e6 * np.median(pairs))


def click_likeness(y: NDArray[np.float32], click_times_s: Floats, attacks_s: Floats) -> float:
    """How alike a take sounds at each click, whatever is being played there.

    The stretch is whitened by its own spectrum between 1 and 4 kHz and its loudness evened out, so that held notes
    vanish and short sounds stay; the moments around the clicks are then added up. What is the same at each click
    grows with their number, all else with its root.
    (Coherent averaging, as of evoked responses; the whitening is that of the phase transform.)

    Parameters
    ----------
    y
        The take at `ANALYSIS_SR`.
    click_times_s
        Times of the clicks in the take, seconds, evenly or unevenly spaced.
    attacks_s
        Starts of notes: a click is left out where a note lies exactly as far from it as another note from another
        click, for a machine's notes are alike themselves.

    Returns
    -------
    Power of the sum over the sum of the powers, in the 5 ms where it is greatest: 1 by chance, the number of clicks
    at most; 0 where there are fewer than `LEAST_CLICKS`.
    """
    times_s = _unlike(click_times_s, attacks_s)
    if len(times_s) < LEAST_CLICKS:
        return 0.0
    first = max(0, int((times_s[0] - 0.5) * ANALYSIS_SR))
    x = np.asarray(y[first : int((times_s[-1] + 0.5) * ANALYSIS_SR)])
    size = scipy.fft.next_fast_len(len(x), real=True)
    spectrum = scipy.fft.rfft(x, size)
    spectrum /= np.maximum(np.abs(spectrum), 1e-12)
    edges = [int(hz * size / ANALYSIS_SR) for hz in _CLICK_BAND_HZ]
    spectrum[: edges[0]] = 0.0
    spectrum[edges[1] :] = 0.0
    white = scipy.fft.irfft(spectrum, size)[: len(x)].astype(np.float64)
    local = scipy.ndimage.uniform_filter1d(white * white, int(_LEVELLING_S * ANALYSIS_SR))
    white /= np.sqrt(np.maximum(local, 0.0) + 1e-12)
    before, after, block = (int(s * ANALYSIS_SR) for s in (0.03, 0.05, 0.005))
    starts = np.round(times_s * ANALYSIS_SR).astype(int) - first - before
    starts = starts[(starts >= 0) & (starts + before + after <= len(x))]
    if len(starts) < LEAST_CLICKS:
        return 0.0
    moments = white[starts[:, None] + np.arange(before + after)[None, :]]
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
