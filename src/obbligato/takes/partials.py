"""What the partials of a sound say about a pitch believed to be in it: how well it fits, and its exact value.

One spectrum per frame serves all three questions. It is taken without a window; the Hann window and its derivative
then are sums of neighbouring bins, so that both come from the one transform.

References
----------
Auger and Flandrin, "Improving the readability of time-frequency and time-scale representations by the reassignment
method", IEEE Transactions on Signal Processing 43(5), 1995.
Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform", Proceedings of the IEEE
66(1), 1978 (the Hann window as a sum of three bins).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import scipy.fft
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_N_PARTIALS = 6
_OCTAVE_HIGH_DB = 18.0
_SECOND_PARTIAL_DB = 30.0
_OCTAVE_LOW_DB = 30.0
_FAINTEST_DB = 80.0
"""What lies this far under the loudest bin of a frame is no partial but the rounding of the transform."""
_HIGHEST_HZ = 6000.0
_CLOSE = 0.03
"""How far a partial may lie from its place, as a fraction of the frequency, to be measured (about 50 cents)."""


def window_length(lowest_hz: float, sr: int) -> int:
    """Samples of a window that spans at least eight periods of the lowest pitch, 1024 to 4096."""
    return int(np.clip(2 ** np.ceil(np.log2(8 * sr / lowest_hz)), 1024, 4096))


def frames_around(y: NDArray[np.float32], centres: NDArray[np.intp], size: int) -> NDArray[np.float32]:
    """Stretches of a recording around some of its samples, in rising order; beyond its ends it is silent.

    Returns
    -------
    Shape (n_centres, size).
    """
    first, last = int(centres[0]) - size // 2, int(centres[-1]) - size // 2 + size
    part = np.pad(y[max(0, first) : max(0, last)], (max(0, -first), 0))
    part = np.pad(part, (0, max(0, last - first - len(part))))
    return np.asarray(np.lib.stride_tricks.sliding_window_view(part, size)[centres - centres[0]])


@dataclass(frozen=True, eq=False)
class Spectra:
    """Spectra of some frames of a recording, shape (n_frames, n_fft / 2 + 1).

    Attributes
    ----------
    hann
        Under a Hann window, which may be scaled as one likes.
    slope
        Under the derivative of that window by the sample.
    """

    hann: NDArray[np.complex64]
    slope: NDArray[np.complex64]
    sr: int

    @classmethod
    def at(cls, y: NDArray[np.float32], centres: NDArray[np.intp], *, n_fft: int, sr: int) -> Spectra:
        """Spectra around some samples of a recording, as from `frames_around`."""
        plain = scipy.fft.rfft(frames_around(y, centres, n_fft))
        below = np.concatenate([np.conj(plain[:, 1:2]), plain[:, :-1]], axis=1)
        above = np.concatenate([plain[:, 1:], np.conj(plain[:, -2:-1])], axis=1)
        hann = 0.5 * plain - 0.25 * (below + above)
        slope = np.complex64(-0.5j * np.pi / n_fft) * (below - above)
        return cls(hann.astype(np.complex64), slope.astype(np.complex64), sr)

    @property
    def n_fft(self) -> int:
        """Samples per frame."""
        return 2 * (int(self.hann.shape[1]) - 1)

    @cached_property
    def power(self) -> NDArray[np.float32]:
        """Square of the magnitude of each bin."""
        return np.asarray(self.hann.real**2 + self.hann.imag**2)

    def explained(self, f0_hz: Floats) -> Floats:
        """Share of each frame's energy up to 6 kHz within a window's width of the multiples of a pitch, 0 to 1."""
        bins_hz = np.arange(1, int(_HIGHEST_HZ * self.n_fft / self.sr), dtype=np.float32) * (self.sr / self.n_fft)
        power = self.power[:, 1 : len(bins_hz) + 1]
        f0 = np.maximum(f0_hz, 1.0).astype(np.float32)[:, None]
        width_hz = np.minimum(np.float32(2.5 * self.sr / self.n_fft), 0.25 * f0)
        near = np.abs(bins_hz - f0 * np.maximum(np.round(bins_hz / f0), 1.0)) < width_hz
        return np.asarray((power * near).sum(axis=1) / np.maximum(power.sum(axis=1), 1e-20), dtype=np.float64)

    def right_octave(self, f0_hz: Floats, *, least_hz: float) -> Floats:
        """Put right frames heard an octave or a twelfth too high, or an octave too low.

        Two partials halfway or a third of the way between those of the pitch heard say that it is too high; a pitch
        of whose first six partials only the even ones sound is too low. (Our own criterion, no source.)

        Parameters
        ----------
        f0_hz
            The pitch heard, shape (n_frames,).
        least_hz
            Nothing is moved below this.
        """
        factor = self._octave_factor(f0_hz, least_hz)
        better_hz = f0_hz * factor
        moved = np.flatnonzero(factor != 1.0)
        if moved.size:
            some = Spectra(self.hann[moved], self.slope[moved], self.sr)
            better_hz[moved] *= some._octave_factor(better_hz[moved], least_hz)
        return better_hz

    def _octave_factor(self, heard_hz: Floats, least_hz: float) -> Floats:
        """What to multiply a pitch with to reach the octave that the spectrum shows."""
        own_db = self._loudest_db(heard_hz, (1.0, 2.0, 3.0))
        odd_db = self._loudest_db(heard_hz, (1.0, 3.0, 5.0))
        even_db = self._loudest_db(heard_hz, (2.0, 4.0, 6.0))
        faintest_db = 10.0 * np.log10(self.power.max(axis=1) + 1e-18) - _FAINTEST_DB
        factor = np.where(odd_db < even_db - _OCTAVE_LOW_DB, 2.0, 1.0)
        for parts in (2, 3):
            between = tuple(k / parts for k in range(1, 3 * parts) if k % parts)
            levels_db = np.sort([self._loudest_db(heard_hz, (multiple,)) for multiple in between], axis=0)
            too_high = (levels_db[-1] > own_db - _OCTAVE_HIGH_DB) & (levels_db[-2] > own_db - _SECOND_PARTIAL_DB)
            too_high &= levels_db[-2] > faintest_db
            factor = np.where(too_high & (heard_hz / parts > least_hz), 1.0 / parts, factor)
        return factor

    def _loudest_db(self, f0_hz: Floats, multiples: tuple[float, ...]) -> Floats:
        """The highest level at any of some multiples of the pitch, give or take a bin."""
        n_bins = self.power.shape[1]
        rows = np.arange(len(f0_hz))
        best = np.full(len(f0_hz), 1e-18)
        for multiple in multiples:
            bins = np.round(multiple * f0_hz * self.n_fft / self.sr).astype(int)
            for step in (-1, 0, 1):
                inside = (bins + step > 0) & (bins + step < n_bins)
                best = np.maximum(best, np.where(inside, self.power[rows, np.where(inside, bins + step, 0)], 0.0))
        return np.asarray(10.0 * np.log10(best))

    def measured(self, f0_hz: Floats) -> Floats:
        """Frequencies known to within half a semitone, measured to about a cent.

        The mean of the partials' instantaneous frequencies over their numbers, weighted by their power and number.
        Where no partial is found near its place, `f0_hz` as given.
        """
        n_fft, rows = self.n_fft, np.arange(len(f0_hz))
        total, weights = np.zeros(len(f0_hz)), np.zeros(len(f0_hz))
        for partial in range(1, _N_PARTIALS + 1):
            bins = np.round(partial * f0_hz * n_fft / self.sr).astype(int)
            usable = bins < n_fft // 2 - 1 - n_fft // 256
            bins = self._nearby_peak(rows, np.where(usable, bins, n_fft // 256))
            value = self.hann[rows, bins].astype(np.complex128)
            power = np.abs(value) ** 2 + 1e-20
            shift = -np.imag(self.slope[rows, bins] * np.conj(value)) / power
            estimate = (bins / n_fft + shift / (2 * np.pi)) * self.sr / partial
            close = usable & (np.abs(estimate / np.maximum(f0_hz, 1.0) - 1.0) < _CLOSE)
            weight = np.where(close, partial * power, 0.0)
            total += weight * estimate
            weights += weight
        return np.where(weights > 0, total / np.maximum(weights, 1e-30), f0_hz)

    def _nearby_peak(self, rows: NDArray[np.intp], bins: NDArray[np.intp]) -> NDArray[np.intp]:
        """The strongest bin within half of `_CLOSE` of the expected one, at most four in a thousand of them away."""
        furthest = self.n_fft // 256
        reach = np.ceil(bins * _CLOSE / 2)
        best, strongest = bins, self.power[rows, bins]
        for step in [*range(-furthest, 0), *range(1, furthest + 1)]:
            strength = np.where(np.abs(step) <= reach, self.power[rows, bins + step], -1.0)
            best, strongest = np.where(strength > strongest, bins + step, best), np.maximum(strongest, strength)
        return best
