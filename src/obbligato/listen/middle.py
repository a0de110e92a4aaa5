"""A song taken apart by place: what stands in the middle of the stereo picture, what stands to its sides.

The voice stands in the middle of nearly every mix. Each place of the spectrum is weighted by how much alike left and
right are there (in the manner of Avendano and Jot, "Frequency domain techniques for stereo to multichannel upmix",
AES 22nd conference, 2002), which also keeps out most of a room's sound, as that differs from side to side. Of the
middle it is also measured how far it is noise: the ratio of geometric to arithmetic mean of the power in a band
(spectral flatness, Gray and Markel, IEEE Trans. ASSP 22, 1974) is about -2.5 dB for noise and far below for vowels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import fft, signal

from obbligato.sound.audio import Samples
from obbligato.units import power_to_db

Array = NDArray[np.float64]

RATE_HZ = 16000
HOP = 512
"""Samples between frames, which are twice as long."""

BANDS = 30
_LOWEST_HZ, _HIGHEST_HZ = 80.0, 7800.0
_FLAT_BANDS = 15
_FLAT_LOWEST_HZ, _FLAT_HIGHEST_HZ = 100.0, 7000.0
_FRAMES_AT_ONCE = 512
_LEAST_POWER = 1e-9
_SHARPER = 3
"""Further times that likeness weighs in the sound of the middle: a singer under a band is better heard so."""


@dataclass(frozen=True, eq=False)
class Places:
    """A song split by place, in frames of `HOP` samples at `RATE_HZ`.

    Attributes
    ----------
    middle
        The middle as sound, shape (n_samples,), what is not quite alike left and right (the band around a singer,
        the room) held back further than in the powers.
    middle_db, side_db
        Power in `BANDS` triangular bands, evenly spaced in mel from 80 to 7800 Hz, shape (n_frames, `BANDS`).
    flatness_db
        How much the middle is like noise, in 15 bands from 100 to 7000 Hz, each half over the next, shape
        (n_frames, 15): -2.5 for noise, lower the more single tones stand out.
    """

    middle: Samples
    middle_db: Array
    side_db: Array
    flatness_db: Array


def taken_apart(channels: Samples) -> Places:
    """Split a song by place.

    Parameters
    ----------
    channels
        The song at `RATE_HZ`, shape (n_channels, n_samples); of more than two channels the outer ones count.

    Notes
    -----
    Frames of a periodic Hann window half overlapped add up to the signal again without a second window.
    """
    n_samples = channels.shape[1]
    frames = _framed(channels[[0, -1]])
    n_blocks = frames.shape[1] + 1
    window = signal.get_window("hann", 2 * HOP).astype(np.float32)
    middle = np.zeros((2, n_blocks, HOP), dtype=np.float32)
    middle_db, side_db = np.empty((n_blocks - 1, BANDS)), np.empty((n_blocks - 1, BANDS))
    triangles = _triangles()
    for first in range(0, n_blocks - 1, _FRAMES_AT_ONCE):
        here = slice(first, min(first + _FRAMES_AT_ONCE, n_blocks - 1))
        left, right = fft.rfft(frames[:, here] * window, axis=2)
        together, apart = left + right, np.abs(left - right)
        alike = np.clip(1.0 - apart / np.maximum(np.abs(together), 1e-9), 0.0, 1.0)
        spectrum = 0.5 * together * alike
        parts = fft.irfft(np.stack([spectrum, spectrum * alike**_SHARPER]), axis=2)
        middle[:, here] += parts[..., :HOP]
        middle[:, here.start + 1 : here.stop + 1] += parts[..., HOP:]
        middle_db[here] = power_to_db(np.abs(spectrum) ** 2 @ triangles)
        side_db[here] = power_to_db((0.5 * apart) ** 2 @ triangles)
    plain, sharp = middle.reshape(2, -1)[:, HOP : HOP + n_samples]
    return Places(sharp, middle_db, side_db, _flatness_db(plain))


def _framed(y: Samples) -> Samples:
    n_blocks = y.shape[-1] // HOP + 2
    padded = np.pad(y, ((0, 0), (HOP, n_blocks * HOP - HOP - y.shape[-1])))
    return np.lib.stride_tricks.sliding_window_view(padded, 2 * HOP, axis=1)[:, ::HOP]


def _flatness_db(middle: Samples) -> Array:
    window = signal.get_window("hann", 2 * HOP).astype(np.float32)
    frames, edges_hz = _framed(middle[None])[0], _mel_edges(_FLAT_LOWEST_HZ, _FLAT_HIGHEST_HZ, _FLAT_BANDS)
    hz = fft.rfftfreq(2 * HOP, 1.0 / RATE_HZ)[:, None]
    inside = ((hz >= edges_hz[:-2]) & (hz < edges_hz[2:])).astype(np.float32)
    inside /= inside.sum(axis=0)
    flatness = np.empty((len(frames), _FLAT_BANDS))
    for first in range(0, len(frames), _FRAMES_AT_ONCE):
        spectrum = fft.rfft(frames[first : first + _FRAMES_AT_ONCE] * window, axis=1)
        power = np.square(spectrum.real) + np.square(spectrum.imag) + np.float32(_LEAST_POWER)
        mean_of_logs = 10.0 * np.log10(power) @ inside
        flatness[first : first + len(power)] = mean_of_logs - 10.0 * np.log10(power @ inside)
    return flatness


def _triangles() -> NDArray[np.float32]:
    """Weights of the bands, shape (`HOP` + 1, `BANDS`)."""
    edges = _mel(_mel_edges(_LOWEST_HZ, _HIGHEST_HZ, BANDS))
    mel = _mel(fft.rfftfreq(2 * HOP, 1.0 / RATE_HZ))[:, None]
    up, down = (mel - edges[:-2]) / np.diff(edges)[:-1], (edges[2:] - mel) / np.diff(edges)[1:]
    return np.asarray(np.maximum(0.0, np.minimum(up, down)), dtype=np.float32)


def _mel(hz: Array) -> Array:
    """The scale of O'Shaughnessy."""
    return np.asarray(2595.0 * np.log10(1.0 + hz / 700.0))


def _mel_edges(lowest_hz: float, highest_hz: float, n_bands: int) -> Array:
    """Edges in Hz of bands evenly spaced in mel, each from one edge to the next but one."""
    lowest, highest = _mel(np.array([lowest_hz, highest_hz]))
    return np.asarray(700.0 * (10.0 ** (np.linspace(lowest, highest, n_bands + 2) / 2595.0) - 1.0))
