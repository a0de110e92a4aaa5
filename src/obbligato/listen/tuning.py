"""The song's own pitch: where its A4 lies, over everything that sounds sustained.

Peaks of a short-time spectrum are placed between bins by the parabola through the logarithms of three magnitudes
(Smith and Serra 1987); each peak is an angle, its distance from the nearest equal-tempered semitone, and the tuning
is the direction in which the weighted sum of all angles points. A histogram would answer in steps; the circular
mean does not, and it has no edge at the half semitone. Peaks count by the square root of their magnitude, and only
where the same pitch was there a frame earlier, so that drums and consonants stay out. All peaks of one semitone share
one vote, whose size grows with their number n as n / (n + 4): in rendered songs whole notes stray from the tuning by
about 5 cents (standard deviation, measured) and single peaks from their note by 10, and with these two variances this
is the weight of a group in a random-effects mean (DerSimonian and Laird 1986). A note held all through a song thus
says no more of the tuning than one held for some seconds.

Differs from the source: the window is a Hann window of 0.37 s with the transform padded to twice its length, where
the parabola misplaces a steady tone by less than 0.2 cents above 80 Hz. From the mean the estimate climbs to where
the angles are densest nearby (mean shift, Fukunaga and Hostetler 1975), first by a wide kernel, then by one so narrow
that fifth harmonics (14 cents flat of equal temperament), vibrato and blue notes hardly pull on it.

How sure the answer is follows from how far the notes disagree. Peaks of one pitch class hang together, since a
string or a pipe that is off stays off, in its octaves too, so each pitch class counts as one witness: the standard
error is that of an M-estimator (the mean shift's fixed point is one) whose observations come in clusters (Liang and
Zeger 1986).

References
----------
J. O. Smith, X. Serra: PARSHL: an analysis/synthesis program for non-harmonic sounds based on a sinusoidal
representation. Proc. ICMC, 1987.
K. Fukunaga, L. Hostetler: The estimation of the gradient of a density function, with applications in pattern
recognition. IEEE Trans. Information Theory 21, 1975, pages 32-40.
F. J. Harris: On the use of windows for harmonic analysis with the discrete Fourier transform. Proc. IEEE 66, 1978,
pages 51-83 (side lobes).
R. DerSimonian, N. Laird: Meta-analysis in clinical trials. Controlled Clinical Trials 7, 1986, pages 177-188.
K.-Y. Liang, S. L. Zeger: Longitudinal data analysis using generalized linear models. Biometrika 73, 1986, pages 13-22
(the variance of an estimate from clusters).
N. I. Fisher: Statistical Analysis of Circular Data. Cambridge University Press, 1993, section 2.3.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import fft, ndimage, signal

from obbligato.listen.songmap import Tuning
from obbligato.sound.audio import Audio
from obbligato.units import A4_HZ, cents_to_ratio, hz_to_midi

_SR = 5512.5
_WINDOW = 2048
_HOP = 1024
_LOWEST_HZ = 80.0
_HIGHEST_HZ = 1400.0
_RANGE_DB = 50.0
"""How far under the strongest peak of the song a peak still counts."""

_LOBE_BINS = 12
_LOBE_DB = 26.0
"""Within six bins of the window (twice as many of the padded transform) of a stronger peak a weaker one must reach
this far under it: the side lobes of a Hann window lie 31 dB and more below the tone (Harris 1978)."""

_STEADY_CENTS = 12.0
"""How far a peak may lie from one of the frame before to count as sustained."""

_KERNELS_CENTS = (12.0, 4.0)
"""Standard deviations of the kernels of the mean shift, one after the other; a fifth harmonic lies more than three of
the last away."""

_SHIFTS = 30
_GROWING_PEAKS = 4.0
"""How many peaks of a semitone make half its vote: the variance of single peaks over that of notes, 10 and 5 cents
squared."""

_SURE_CENTS = 3.0
"""Twice the standard error at which a stretch still has a tuning of its own."""

_FEWEST_WITNESSES = 3
"""Pitch classes below which nothing is known of their spread; overtones of a tone bear no witness of their own."""

_WITNESS_SHARE = 0.02
_OVERTONES = 12.0 * np.log2(np.arange(2, 9))
_OVERTONE_NEAR = 0.2
"""In semitones: so near to an overtone of a lower peak of its frame a peak is taken for one."""


@dataclass(frozen=True, eq=False)
class Peaks:
    """Sustained partials of a sound, in order of time; all arrays have the shape (n_peaks,).

    Attributes
    ----------
    times_s
        Centre of the frame each was found in.
    midi
        Pitch as a fractional MIDI number, A4 = 440 Hz.
    weight
        Root of the magnitude.
    """

    times_s: NDArray[np.float64]
    midi: NDArray[np.float64]
    weight: NDArray[np.float64]


def find_tuning(audio: Audio) -> Tuning:
    """Estimate a song's A4.

    Parameters
    ----------
    audio
        The song; silence, or a song without sustained pitch, is called 440 Hz.
    """
    return song_tuning(sustained_peaks(audio))


def song_tuning(peaks: Peaks) -> Tuning:
    """The same from the peaks of the whole song."""
    return _as_tuning(_densest_cents(peaks)) if peaks.weight.any() else Tuning(A4_HZ, 0.0)


def tuning_of(peaks: Peaks, *, first_s: float = 0.0, end_s: float = np.inf) -> Tuning | None:
    """The tuning of a stretch of a song, None where it cannot be told to about 3 cents.

    Counted are the frames that lie wholly in the stretch. It cannot be told when fewer than three pitch classes are
    sustained, or when twice the standard error (pitch classes as clusters) is more than 3 cents.

    Parameters
    ----------
    peaks
        Of the whole song.
    first_s, end_s
        The stretch, in seconds of the song.
    """
    half_s = 0.5 * _WINDOW / _SR
    inside = (peaks.times_s - half_s >= first_s - 1e-9) & (peaks.times_s + half_s <= end_s + 1e-9)
    here = Peaks(peaks.times_s[inside], peaks.midi[inside], peaks.weight[inside])
    if not here.weight.any():
        return None
    cents = _densest_cents(here)
    return _as_tuning(cents) if 2.0 * _standard_error_cents(here, cents) <= _SURE_CENTS else None


def sustained_peaks(audio: Audio) -> Peaks:
    """The peaks that stand for at least two frames; none in a sound shorter than two windows (0.74 s)."""
    y = soxr.resample(audio.mono(), audio.sr, _SR)
    if y.size < 2 * _WINDOW:
        return Peaks(np.zeros(0), np.zeros(0), np.zeros(0))
    frames = np.lib.stride_tricks.sliding_window_view(y, _WINDOW)[::_HOP]
    window = signal.get_window("hann", _WINDOW).astype(np.float32)
    spectrum = np.abs(fft.rfft(frames * window, n=2 * _WINDOW, axis=1))
    bin_hz = _SR / (2 * _WINDOW)
    inner = spectrum[:, 1:-1]
    hz = bin_hz * np.arange(1, inner.shape[1] + 1)
    is_peak = (inner > spectrum[:, :-2]) & (inner >= spectrum[:, 2:]) & (hz > _LOWEST_HZ) & (hz < _HIGHEST_HZ)
    is_peak &= inner > 10.0 ** (-_RANGE_DB / 20.0) * inner.max()
    around = ndimage.maximum_filter1d(inner, 2 * _LOBE_BINS + 1, axis=1)
    frame, k = np.nonzero(is_peak & (inner > 10.0 ** (-_LOBE_DB / 20.0) * around))
    below, here, above = (np.log(np.maximum(spectrum[frame, k + i], 1e-12)) for i in range(3))
    shift = 0.5 * (below - above) / (below - 2.0 * here + above)
    midi = hz_to_midi((k + 1 + shift) * bin_hz)
    steady = _seen_before(frame, midi)
    times_s = np.asarray((frame[steady] * _HOP + 0.5 * _WINDOW) / _SR, dtype=np.float64)
    return Peaks(times_s, midi[steady], np.sqrt(inner[frame[steady], k[steady]].astype(np.float64)))


def _seen_before(frame: NDArray[np.intp], midi: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which peaks have a peak of nearly the same pitch one frame earlier."""
    key = frame * 1000.0 + midi
    order = np.argsort(key)
    previous = key - 1000.0
    i = np.clip(np.searchsorted(key[order], previous), 1, max(1, key.size - 1))
    ordered = key[order]
    gap = np.minimum(np.abs(ordered[i - 1] - previous), np.abs(ordered[np.minimum(i, key.size - 1)] - previous))
    return np.asarray((gap < _STEADY_CENTS / 100.0) & (frame > 0))


def _as_tuning(cents: float) -> Tuning:
    return Tuning(float(A4_HZ * cents_to_ratio(cents)), cents)


def _densest_cents(peaks: Peaks) -> float:
    """Where the deviations from equal temperament are densest, near their circular mean; -50 to 50."""
    votes = _votes(peaks)
    direction = np.sum(votes * np.exp(2j * np.pi * peaks.midi))
    cents = float(np.angle(direction) / (2.0 * np.pi) * 100.0)
    for kernel_cents in _KERNELS_CENTS:
        for _ in range(_SHIFTS):
            distance = _distance_cents(peaks, cents)
            near = votes * np.exp(-0.5 * (distance / kernel_cents) ** 2)
            cents += float(np.sum(near * distance) / np.maximum(near.sum(), 1e-12))
    return (cents + 50.0) % 100.0 - 50.0


def _votes(peaks: Peaks) -> NDArray[np.float64]:
    """Each peak's share of the vote of its semitone."""
    semitone = np.round(peaks.midi).astype(np.intp)
    total, number = np.bincount(semitone, peaks.weight), np.bincount(semitone)
    return peaks.weight / total[semitone] * (number / (number + _GROWING_PEAKS))[semitone]


def _standard_error_cents(peaks: Peaks, cents: float) -> float:
    """Root of sum over clusters of (sum of w psi)^2 over (sum of w psi')^2, for psi(d) = d exp(-d^2 / 2 h^2)."""
    distance = _distance_cents(peaks, cents) / _KERNELS_CENTS[-1]
    near = _votes(peaks) * np.exp(-0.5 * distance**2)
    pitch_class = np.round(peaks.midi - cents / 100.0).astype(np.intp) % 12
    pull = np.bincount(pitch_class, near * distance, minlength=12)
    hold = float(np.sum(near * (1.0 - distance**2)))
    of_its_own = np.bincount(pitch_class, near * ~_overtones(peaks), minlength=12)
    witnesses = int(np.count_nonzero(of_its_own > _WITNESS_SHARE * near.sum()))
    if witnesses < _FEWEST_WITNESSES or hold <= 0.0:
        return float(np.inf)
    return _KERNELS_CENTS[-1] * float(np.sqrt(witnesses / (witnesses - 1) * np.sum(pull**2))) / hold


def _overtones(peaks: Peaks) -> NDArray[np.bool_]:
    """Which peaks lie at an overtone of a lower peak of the same frame; peaks come by frame, the lower first."""
    found = np.zeros(peaks.midi.size, dtype=np.bool_)
    for lag in range(1, int(np.unique(peaks.times_s, return_counts=True)[1].max())):
        above = peaks.midi[lag:] - peaks.midi[:-lag]
        near = np.abs(above[:, None] - _OVERTONES).min(axis=1) < _OVERTONE_NEAR
        found[lag:] |= near & (peaks.times_s[lag:] == peaks.times_s[:-lag])
    return found


def _distance_cents(peaks: Peaks, cents: float) -> NDArray[np.float64]:
    """From the nearest semitone of the scale that lies so many cents above equal temperament; -50 to 50."""
    return np.asarray((100.0 * peaks.midi - cents + 50.0) % 100.0 - 50.0)
