"""Building blocks of sound: harmonic tones, struck tones, shaped noise, and putting them in place."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy import signal

Signal = NDArray[np.float64]

_NYQUIST_SHARE = 0.45
"""Harmonics above this share of the sampling rate are left out."""
_BLOCK_HOPS = 128


def harmonic_tone(f0_hz: Signal, amplitudes: Signal, *, sr: int, hop: int) -> Signal:
    """A tone with its harmonics, each with a course of its own.

    Sines of the multiples come from the recurrence sin((k+1)x) = 2 cos x sin kx - sin((k-1)x).

    Parameters
    ----------
    f0_hz
        Fundamental for every sample, shape (n_samples,).
    amplitudes
        Amplitude of harmonics 1, 2, ... at every `hop` samples, shape (n_harmonics, n_frames) with
        n_frames >= n_samples / hop + 1; straight in between.

    Returns
    -------
    Shape (n_samples,).
    """
    n_samples = f0_hz.size
    n_hops = -(-n_samples // hop)
    padded = np.pad(f0_hz, (0, n_hops * hop - n_samples), mode="edge")
    phase = np.mod(2.0 * np.pi * np.cumsum(padded) / sr, 2.0 * np.pi)
    order = np.arange(1, len(amplitudes) + 1)[:, None]
    audible = amplitudes[:, : n_hops + 1] * (order * f0_hz.max() < _NYQUIST_SHARE * sr)
    rows = phase.reshape(n_hops, hop)
    blocks = [
        _harmonic_block(rows[i : i + _BLOCK_HOPS], audible[:, i : i + _BLOCK_HOPS + 1])
        for i in range(0, n_hops, _BLOCK_HOPS)
    ]
    return np.concatenate(blocks).ravel()[:n_samples]


def _harmonic_block(phase: Signal, amplitudes: Signal) -> Signal:
    """Sum of harmonics over (n_hops, hop) phases; blocks are small enough to stay in the processor's cache."""
    ramp = np.arange(phase.shape[1]) / phase.shape[1]
    twice_cos = 2.0 * np.cos(phase)
    previous, current = np.zeros_like(phase), np.sin(phase)
    out = np.zeros_like(phase)
    for course in amplitudes[: 1 + max(np.flatnonzero(amplitudes.any(axis=1)), default=-1)]:
        gain = np.diff(course)[:, None] * ramp
        gain += course[:-1, None]
        gain *= current
        out += gain
        previous, current = current, twice_cos * current - previous
    return out


def struck_tone(
    f0_hz: float, amplitudes: Sequence[float], decay_s: Sequence[float], *, duration_s: float, sr: int
) -> Signal:
    """A plucked or hammered tone: every harmonic dies away exponentially at its own rate.

    `decay_s` are the times in which a harmonic falls to 1/e; the last 30 ms fade to nothing.
    """
    n_samples = round(duration_s * sr)
    t = np.arange(n_samples) / sr
    phase = 2.0 * np.pi * f0_hz * t
    twice_cos = 2.0 * np.cos(phase)
    previous, current = np.zeros(n_samples), np.sin(phase)
    out = np.zeros(n_samples)
    for k, (amplitude, decay) in enumerate(zip(amplitudes, decay_s, strict=True), start=1):
        if k * f0_hz < _NYQUIST_SHARE * sr:
            out += amplitude * np.exp(-t / decay) * current
        previous, current = current, twice_cos * current - previous
    return faded(out, in_s=0.002, out_s=0.03, sr=sr)


def band_noise(n_samples: int, low_hz: float, high_hz: float, *, sr: int, rng: np.random.Generator) -> Signal:
    """Noise between two frequencies (second-order slopes), RMS 1."""
    sos = _band_pass(low_hz, min(high_hz, _NYQUIST_SHARE * sr), sr)
    lead = 256
    noise = np.asarray(signal.sosfilt(sos, rng.standard_normal(n_samples + lead)), dtype=np.float64)[lead:]
    return noise / max(float(np.sqrt(np.mean(noise**2))) if n_samples else 0.0, 1e-12)


@cache
def _band_pass(low_hz: float, high_hz: float, sr: int) -> Signal:
    return np.asarray(signal.butter(2, (low_hz, high_hz), "bandpass", fs=sr, output="sos"))


def faded(y: Signal, *, in_s: float, out_s: float, sr: int) -> Signal:
    """A copy of `y` with raised-cosine fades at both ends, shortened where `y` is too short for them."""
    out = y.copy()
    half = y.size // 2
    for length, edge in ((min(round(in_s * sr), half), "in"), (min(round(out_s * sr), half), "out")):
        if length:
            curve = 0.5 - 0.5 * np.cos(np.pi * (np.arange(length) + 0.5) / length)
            if edge == "in":
                out[:length] *= curve
            else:
                out[-length:] *= curve[::-1]
    return out


def add_at(target: Signal, y: Signal, start_s: float, *, sr: int, gain: float = 1.0) -> None:
    """Add `y` into `target` (last axis time) from `start_s` on, cut off at both of its ends."""
    start = round(start_s * sr)
    first, last = max(start, 0), min(start + y.shape[-1], target.shape[-1])
    if last > first:
        target[..., first:last] += gain * y[..., first - start : last - start]


def smoothed(course: Signal, n_points: int) -> Signal:
    """Moving raised-cosine average over `n_points` of the last axis, the ends held."""
    if n_points < 2:
        return course.copy()
    window = np.hanning(n_points + 2)[1:-1]
    window /= window.sum()
    before = (n_points - 1) // 2
    edges = [(0, 0)] * (course.ndim - 1) + [(before, n_points - 1 - before)]
    padded = np.pad(course, edges, mode="edge")
    kernel = window.reshape((1,) * (course.ndim - 1) + (-1,))
    return np.asarray(signal.oaconvolve(padded, kernel, mode="valid", axes=-1), dtype=np.float64)


def wander(n_points: int, *, step_points: int, rng: np.random.Generator) -> Signal:
    """A slow random course of standard deviation about 1: a new value every `step_points`, straight in between."""
    knots = rng.standard_normal(n_points // step_points + 2)
    return np.interp(np.arange(n_points) / step_points, np.arange(knots.size), knots)


def room(y: Signal, *, sr: int, rng: np.random.Generator, decay_s: float = 0.28, length_s: float = 1.1) -> Signal:
    """The sound of a small live room around `y` (channels, n_samples): decaying noise, another in each channel.

    The highs die twice as fast as the lows; the reverberation alone comes back, as loud as what went in.
    """
    n = round(length_s * sr)
    t = np.arange(n) / sr
    out = np.empty_like(y)
    for channel, dry in enumerate(y):
        low = band_noise(n, 150.0, 2500.0, sr=sr, rng=rng) * np.exp(-t / decay_s)
        high = band_noise(n, 2500.0, 9000.0, sr=sr, rng=rng) * np.exp(-t / (0.5 * decay_s))
        tail = (low + 0.5 * high) * np.clip((t - 0.009) / 0.012, 0.0, 1.0)
        tail /= np.sqrt(np.sum(tail**2))
        out[channel] = signal.oaconvolve(dry, tail)[: dry.size]
    return out
