"""The song's own pitch: where its A4 lies, over everything that sounds sustained.

Peaks of a short-time spectrum are placed between bins by the parabola through the logarithms of three magnitudes
(Smith and Serra 1987); each peak is an angle, its distance from the nearest equal-tempered semitone, and the tuning
is the direction in which the weighted sum of all angles points. A histogram would answer in steps; the circular
mean does not, and it has no edge at the half semitone. Peaks count by the square root of their magnitude, so that
one loud instrument does not decide alone, and only where the same pitch was there a frame earlier, so that drums and
consonants stay out.

Differs from the source: the window is a Hann window of 0.37 s with the transform padded to twice its length, where
the parabola misplaces a steady tone by less than 0.2 cents above 80 Hz. From the mean the estimate climbs to where
the angles are densest nearby (mean shift, Fukunaga and Hostetler 1975), so that fifth harmonics (14 cents flat of
equal temperament), vibrato and blue notes pull on it little.

References
----------
J. O. Smith, X. Serra: PARSHL: an analysis/synthesis program for non-harmonic sounds based on a sinusoidal
representation. Proc. ICMC, 1987.
K. Fukunaga, L. Hostetler: The estimation of the gradient of a density function, with applications in pattern
recognition. IEEE Trans. Information Theory 21, 1975, pages 32-40.
N. I. Fisher: Statistical Analysis of Circular Data. Cambridge University Press, 1993, section 2.3.
"""

from __future__ import annotations

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import fft, signal

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

_STEADY_CENTS = 12.0
"""How far a peak may lie from one of the frame before to count as sustained."""

_NEAR_CENTS = 6.0
"""Standard deviation of the kernel of the mean shift."""

_SHIFTS = 30


def find_tuning(audio: Audio) -> Tuning:
    """Estimate a song's A4.

    Parameters
    ----------
    audio
        The song; silence, or a song without sustained pitch, is called 440 Hz.
    """
    midi, weight = _sustained_peaks(audio)
    if weight.sum() == 0.0:
        return Tuning(A4_HZ, 0.0)
    cents = _circular_mean_cents(midi, weight)
    for _ in range(_SHIFTS):
        distance = (100.0 * midi - cents + 50.0) % 100.0 - 50.0
        near = weight * np.exp(-0.5 * (distance / _NEAR_CENTS) ** 2)
        cents += float(np.sum(near * distance) / np.maximum(near.sum(), 1e-12))
    cents = (cents + 50.0) % 100.0 - 50.0
    return Tuning(float(A4_HZ * cents_to_ratio(cents)), cents)


def _circular_mean_cents(midi: NDArray[np.float64], weight: NDArray[np.float64]) -> float:
    direction = np.sum(weight * np.exp(2j * np.pi * midi))
    return float(np.angle(direction) / (2.0 * np.pi) * 100.0)


def _sustained_peaks(audio: Audio) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Pitches (fractional MIDI, A4 = 440 Hz) and weights of the peaks that stand for at least two frames."""
    y = soxr.resample(audio.mono(), audio.sr, _SR)
    if y.size < 2 * _WINDOW:
        return np.zeros(0), np.zeros(0)
    frames = np.lib.stride_tricks.sliding_window_view(y, _WINDOW)[::_HOP]
    window = signal.get_window("hann", _WINDOW).astype(np.float32)
    spectrum = np.abs(fft.rfft(frames * window, n=2 * _WINDOW, axis=1))
    bin_hz = _SR / (2 * _WINDOW)
    inner = spectrum[:, 1:-1]
    hz = bin_hz * np.arange(1, inner.shape[1] + 1)
    is_peak = (inner > spectrum[:, :-2]) & (inner >= spectrum[:, 2:]) & (hz > _LOWEST_HZ) & (hz < _HIGHEST_HZ)
    is_peak &= inner > 10.0 ** (-_RANGE_DB / 20.0) * inner.max()
    frame, k = np.nonzero(is_peak)
    below, here, above = (np.log(np.maximum(spectrum[frame, k + i], 1e-12)) for i in range(3))
    shift = 0.5 * (below - above) / (below - 2.0 * here + above)
    midi = hz_to_midi((k + 1 + shift) * bin_hz)
    steady = _seen_before(frame, midi, n_frames=spectrum.shape[0])
    return midi[steady], np.sqrt(inner[frame[steady], k[steady]].astype(np.float64))


def _seen_before(frame: NDArray[np.intp], midi: NDArray[np.float64], *, n_frames: int) -> NDArray[np.bool_]:
    """Which peaks have a peak of nearly the same pitch one frame earlier."""
    key = frame * 1000.0 + midi
    order = np.argsort(key)
    previous = key - 1000.0
    i = np.clip(np.searchsorted(key[order], previous), 1, max(1, key.size - 1))
    ordered = key[order]
    gap = np.minimum(np.abs(ordered[i - 1] - previous), np.abs(ordered[np.minimum(i, key.size - 1)] - previous))
    return np.asarray((gap < _STEADY_CENTS / 100.0) & (frame > 0) & (frame < n_frames))
