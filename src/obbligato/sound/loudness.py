"""Loudness and loudness range after ITU-R BS.1770-4, EBU Tech 3341 and EBU Tech 3342.

The K filter is realised from the analogue form of its two stages, which at 48 kHz gives the coefficients printed in
the standard, and at other rates the same curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from obbligato.sound.audio import Audio
from obbligato.sound.peaks import true_peak_dbtp
from obbligato.units import SILENCE_DB

__all__ = [
    "Loudness",
    "integrated_lufs",
    "k_filter",
    "loudness_range_lu",
    "measure_loudness",
    "momentary_lufs",
    "short_term_lufs",
    "true_peak_dbtp",
]

OFFSET_DB = -0.691
"""BS.1770-4, equation 2: makes a 997 Hz sine of full scale in one channel read -3.01 LUFS."""

ABSOLUTE_GATE_LUFS = -70.0
RELATIVE_GATE_LU = -10.0
RANGE_GATE_LU = -20.0
RANGE_PERCENTILES = (10.0, 95.0)
STEPS_AT_ONCE = 1000
STEP_S = 0.01
GATING_STEPS = 10
MOMENTARY_STEPS = 40
SHORT_TERM_STEPS = 300
"""Gating blocks start every 100 ms; the windows of 400 ms and 3 s slide by steps of 10 ms, so that the highest
momentary reading does not depend on where a sound falls."""

SHELF_HZ, SHELF_DB, SHELF_Q = 1681.974450955533, 3.999843853973347, 0.7071752369554196
HIGHPASS_HZ, HIGHPASS_Q = 38.13547087602444, 0.5003270373238773
SHELF_BAND_EXPONENT = 0.4996667741545416
"""The analogue form and these figures are those that libebur128 and pyloudnorm publish."""

SURROUND_WEIGHT = 1.41


@dataclass(frozen=True)
class Loudness:
    """The loudness figures of a sound; silence reads `SILENCE_DB`.

    Attributes
    ----------
    integrated_lufs
        Gated over the whole sound.
    max_momentary_lufs, max_short_term_lufs
        Highest reading of the 400 ms and the 3 s window; a sound shorter than the window is taken whole.
    range_lu
        Loudness range; 0 for a sound shorter than 3 s.
    """

    integrated_lufs: float
    max_momentary_lufs: float
    max_short_term_lufs: float
    range_lu: float


def measure_loudness(audio: Audio) -> Loudness:
    """All loudness figures from one pass of the K filter."""
    powers = _step_powers(audio)
    momentary = _windowed_lufs(powers, MOMENTARY_STEPS)
    short_term = _windowed_lufs(powers, SHORT_TERM_STEPS)
    long_enough = len(powers) >= SHORT_TERM_STEPS
    return Loudness(
        integrated_lufs=_gated_lufs(momentary[::GATING_STEPS]),
        max_momentary_lufs=float(momentary.max()),
        max_short_term_lufs=float(short_term.max()),
        range_lu=_range_lu(short_term[::GATING_STEPS]) if long_enough else 0.0,
    )


def integrated_lufs(audio: Audio) -> float:
    """Gated loudness of the whole sound in LUFS (BS.1770-4, equations 3 to 7); silence reads `SILENCE_DB`.

    A sound shorter than the gating block of 400 ms is taken as one block. Mono counts as one channel, so that the
    same sound in both channels of a stereo file reads 3 dB higher.
    """
    return _gated_lufs(_windowed_lufs(_step_powers(audio), MOMENTARY_STEPS)[::GATING_STEPS])


def loudness_range_lu(audio: Audio) -> float:
    """Loudness range in LU (EBU Tech 3342): 10th to 95th percentile of the gated short-term loudness."""
    powers = _step_powers(audio)
    if len(powers) < SHORT_TERM_STEPS:
        return 0.0
    return _range_lu(_windowed_lufs(powers, SHORT_TERM_STEPS)[::GATING_STEPS])


def momentary_lufs(audio: Audio) -> NDArray[np.float64]:
    """Loudness of the 400 ms windows, one every 10 ms, shape (n_windows,)."""
    return _windowed_lufs(_step_powers(audio), MOMENTARY_STEPS)


def short_term_lufs(audio: Audio) -> NDArray[np.float64]:
    """Loudness of the 3 s windows, one every 10 ms, shape (n_windows,)."""
    return _windowed_lufs(_step_powers(audio), SHORT_TERM_STEPS)


def k_filter(sr: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The K filter at the rate `sr` as numerator and denominator, both of shape (5,).

    The standard's high-pass lets high frequencies through at +0.04 dB, which comes from its unscaled numerator; it is
    scaled here so that this holds at every rate (left unscaled, 96 kHz would read 0.02 dB low).
    """
    high = 10.0 ** (SHELF_DB / 20.0)
    band = high**SHELF_BAND_EXPONENT
    k = np.tan(np.pi * SHELF_HZ / sr)
    shelf_b = np.array([high + band * k / SHELF_Q + k * k, 2.0 * (k * k - high), high - band * k / SHELF_Q + k * k])
    shelf_a = np.array([1.0 + k / SHELF_Q + k * k, 2.0 * (k * k - 1.0), 1.0 - k / SHELF_Q + k * k])
    k = np.tan(np.pi * HIGHPASS_HZ / sr)
    highpass_a = np.array([1.0 + k / HIGHPASS_Q + k * k, 2.0 * (k * k - 1.0), 1.0 - k / HIGHPASS_Q + k * k])
    at_48_khz = np.tan(np.pi * HIGHPASS_HZ / 48000)
    level = (1.0 + at_48_khz / HIGHPASS_Q + at_48_khz**2) / highpass_a[0]
    b = np.convolve(shelf_b / shelf_a[0], level * np.array([1.0, -2.0, 1.0]))
    a = np.convolve(shelf_a / shelf_a[0], highpass_a / highpass_a[0])
    return b, a


def _channel_weights(channels: int) -> tuple[float, ...]:
    """BS.1770-4, table 3; six channels are taken as L, R, C, LFE, Ls, Rs (the order of a WAV file)."""
    if channels == 5:
        return (1.0, 1.0, 1.0, SURROUND_WEIGHT, SURROUND_WEIGHT)
    if channels == 6:
        return (1.0, 1.0, 1.0, 0.0, SURROUND_WEIGHT, SURROUND_WEIGHT)
    return (1.0,) * channels


def _step_powers(audio: Audio) -> NDArray[np.float64]:
    """Weighted power of the K-filtered channels in steps of 10 ms, shape (n_steps,), at least one step."""
    if audio.n_samples == 0:
        return np.zeros(1)
    n_steps = max(1, int(audio.duration_s / STEP_S + 1e-9))
    edges = np.rint(np.arange(n_steps + 1) * STEP_S * audio.sr).astype(np.intp)
    edges[-1] = min(edges[-1], audio.n_samples) if n_steps > 1 else audio.n_samples
    b, a = k_filter(audio.sr)
    powers = np.zeros(n_steps)
    for y, weight in zip(audio.y, _channel_weights(audio.channels), strict=True):
        if weight > 0.0:
            state = np.zeros(len(a) - 1)
            for first in range(0, n_steps, STEPS_AT_ONCE):
                here = edges[first : first + STEPS_AT_ONCE + 1]
                filtered, state = signal.lfilter(b, a, y[here[0] : here[-1]].astype(np.float64), zi=state)
                np.square(filtered, out=filtered)
                powers[first : first + here.size - 1] += weight * np.add.reduceat(filtered, here[:-1] - here[0])
    return np.asarray(powers / np.diff(edges))


def _windowed_lufs(powers: NDArray[np.float64], steps: int) -> NDArray[np.float64]:
    """Loudness of every window of so many steps; of all steps as one window when there are fewer."""
    steps = min(steps, len(powers))
    sums = np.cumsum(np.concatenate(([0.0], powers)))
    return _to_lufs(np.maximum(sums[steps:] - sums[:-steps], 0.0) / steps)


def _to_lufs(power: NDArray[np.float64]) -> NDArray[np.float64]:
    floor = 10.0 ** ((SILENCE_DB - OFFSET_DB) / 10.0)
    return np.asarray(OFFSET_DB + 10.0 * np.log10(np.maximum(power, floor)))


def _mean_lufs(lufs: NDArray[np.float64]) -> float:
    return float(_to_lufs(np.mean(10.0 ** ((lufs - OFFSET_DB) / 10.0), keepdims=True))[0])


def _gated_lufs(blocks: NDArray[np.float64]) -> float:
    audible = blocks[blocks > ABSOLUTE_GATE_LUFS]
    if audible.size == 0:
        return SILENCE_DB
    return _mean_lufs(audible[audible > _mean_lufs(audible) + RELATIVE_GATE_LU])


def _range_lu(short_term: NDArray[np.float64]) -> float:
    audible = short_term[short_term > ABSOLUTE_GATE_LUFS]
    if audible.size == 0:
        return 0.0
    kept = audible[audible > _mean_lufs(audible) + RANGE_GATE_LU]
    low, high = np.percentile(kept, RANGE_PERCENTILES)
    return float(high - low)
