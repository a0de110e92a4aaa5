"""Pitch of a single-line recording, frame by frame, to about a cent.

Two steps. A tracker finds which note sounds: the swift-f0 network between 47 and 2093 Hz, the normalised square
difference function of McLeod and Wyvill outside that range. Its answer may lie several cents off, so each voiced
frame is then measured: the instantaneous frequency of the strongest low partials, by the time-derivative window of
Auger and Flandrin, divided by their numbers.

References
----------
McLeod and Wyvill, "A smarter way to find pitch", ICMC 2005.
Auger and Flandrin, "Improving the readability of time-frequency and time-scale representations by the reassignment
method", IEEE Transactions on Signal Processing 43(5), 1995.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ANALYSIS_SR = 16000
"""Rate at which takes are listened to, Hz."""
HOP_LENGTH = 256
HOP_S = HOP_LENGTH / ANALYSIS_SR
NETWORK_LOWEST_HZ = 50.0
NETWORK_HIGHEST_HZ = 2000.0
VOICED = 0.5
"""Confidence from which a frame counts as voiced."""
_N_PARTIALS = 6
_EXPLAINED = 0.8
_OCTAVE_HIGH_DB = 18.0
_SECOND_PARTIAL_DB = 30.0
_OCTAVE_LOW_DB = 30.0
_BATCH = 2048
_DITHER = 0.04
"""Noise given to the network, as a fraction of the level of the 100 ms around."""
_DITHER_SPAN = 1600
_CLOSE = 0.03
"""How far a partial may lie from its place, as a fraction of the frequency, to be measured (about 50 cents)."""


@dataclass(frozen=True, eq=False)
class PitchTrack:
    """Pitch over time.

    Attributes
    ----------
    times_s
        Middle of each frame, seconds from the first sample; `HOP_S` apart.
    f0_hz
        Fundamental frequency; 0 where nothing was measured.
    confidence
        0 to 1; from `VOICED` on the frame counts as pitched.
    """

    times_s: Floats
    f0_hz: Floats
    confidence: Floats

    @property
    def voiced(self) -> NDArray[np.bool_]:
        """Frames with a pitch."""
        return np.asarray((self.confidence >= VOICED) & (self.f0_hz > 0))


def track_pitch(y: NDArray[np.float32], *, lowest_hz: float = 60.0, highest_hz: float = 1900.0) -> PitchTrack:
    """Pitch of a recording at `ANALYSIS_SR`.

    Parameters
    ----------
    y
        Mono samples at `ANALYSIS_SR`, shape (n_samples,). Silence gives confidence 0 everywhere.
    lowest_hz, highest_hz
        The range to expect, which decides the tracker and the length of the measuring window.
    """
    n_frames = max(1, len(y) // HOP_LENGTH)
    times_s: Floats = np.arange(n_frames, dtype=np.float64) * HOP_S
    f0_hz, confidence = np.zeros(n_frames), np.zeros(n_frames)
    inside = lowest_hz >= NETWORK_LOWEST_HZ and highest_hz <= NETWORK_HIGHEST_HZ
    for first, last in _sounding_stretches(y, n_frames):
        part = y[first * HOP_LENGTH : last * HOP_LENGTH]
        if inside:
            found_hz, sure = _by_network(part)
            found_hz = _second_opinion(part, found_hz, sure, lowest_hz, highest_hz)
        else:
            every = np.arange(max(1, len(part) // HOP_LENGTH))
            found_hz, sure = _by_autocorrelation(part, every, lowest_hz, highest_hz)
        n = min(len(found_hz), last - first)
        f0_hz[first : first + n], confidence[first : first + n] = found_hz[:n], sure[:n]
    voiced = np.flatnonzero((confidence >= VOICED) & (f0_hz > 0))
    f0_hz[voiced] = right_octave(y, f0_hz[voiced], times_s[voiced], lowest_hz=lowest_hz)
    f0_hz[voiced] = refine(y, f0_hz[voiced], times_s[voiced], lowest_hz=lowest_hz)
    return PitchTrack(times_s, f0_hz, confidence)


def right_octave(y: NDArray[np.float32], f0_hz: Floats, times_s: Floats, *, lowest_hz: float = 60.0) -> Floats:
    """Put right frames heard an octave or a twelfth too high, or an octave too low.

    Two partials halfway or a third of the way between those of the pitch heard say that it is too high; a pitch of
    whose first six partials only the even ones sound is too low. (Our own criterion, no source.)

    Parameters
    ----------
    y, f0_hz, times_s, lowest_hz
        As for `refine`; nothing is moved below a fifth under `lowest_hz`.
    """
    n_fft = _window_length(lowest_hz)
    padded = np.pad(y, n_fft // 2)
    frames = np.lib.stride_tricks.sliding_window_view(padded, n_fft)
    starts = np.clip(np.round(times_s * ANALYSIS_SR).astype(int), 0, max(0, len(padded) - n_fft))
    window = np.hanning(n_fft).astype(np.float32)
    better_hz = np.array(f0_hz, dtype=np.float64)
    for at in range(0, len(better_hz), _BATCH):
        level_db = 20 * np.log10(np.abs(np.fft.rfft(frames[starts[at : at + _BATCH]] * window)) + 1e-9)
        for _ in range(2):
            better_hz[at : at + _BATCH] *= _octave_factor(level_db, better_hz[at : at + _BATCH], 0.67 * lowest_hz)
    return better_hz


def _octave_factor(level_db: Floats, heard_hz: Floats, least_hz: float) -> Floats:
    """What to multiply a pitch with to reach the octave that the spectrum shows, shape of `heard_hz`."""
    own_db = _loudest_db(level_db, heard_hz, (1.0, 2.0, 3.0))
    odd_db = _loudest_db(level_db, heard_hz, (1.0, 3.0, 5.0))
    even_db = _loudest_db(level_db, heard_hz, (2.0, 4.0, 6.0))
    factor = np.where(odd_db < even_db - _OCTAVE_LOW_DB, 2.0, 1.0)
    for parts in (2, 3):
        between = tuple(k / parts for k in range(1, 3 * parts) if k % parts)
        levels_db = np.sort([_loudest_db(level_db, heard_hz, (multiple,)) for multiple in between], axis=0)
        too_high = (levels_db[-1] > own_db - _OCTAVE_HIGH_DB) & (levels_db[-2] > own_db - _SECOND_PARTIAL_DB)
        factor = np.where(too_high & (heard_hz / parts > least_hz), 1.0 / parts, factor)
    return factor


def _window_length(lowest_hz: float) -> int:
    return int(np.clip(2 ** np.ceil(np.log2(8 * ANALYSIS_SR / lowest_hz)), 1024, 4096))


def _loudest_db(level_db: Floats, f0_hz: Floats, multiples: tuple[float, ...]) -> Floats:
    """The highest level at any of some multiples of the pitch, give or take a bin."""
    n_bins = level_db.shape[1]
    rows = np.arange(len(f0_hz))
    best = np.full(len(f0_hz), -180.0)
    for multiple in multiples:
        bins = np.round(multiple * f0_hz * 2 * (n_bins - 1) / ANALYSIS_SR).astype(int)
        for step in (-1, 0, 1):
            inside = (bins + step > 0) & (bins + step < n_bins)
            at = np.where(inside, bins + step, 0)
            best = np.maximum(best, np.where(inside, level_db[rows, at], -180.0))
    return best


def refine(y: NDArray[np.float32], f0_hz: Floats, times_s: Floats, *, lowest_hz: float = 60.0) -> Floats:
    """Measure frequencies known to within half a semitone.

    Parameters
    ----------
    y
        Mono samples at `ANALYSIS_SR`.
    f0_hz, times_s
        What to measure and where, shape (n,).
    lowest_hz
        The lowest pitch to expect; the window spans at least eight of its periods (64 to 256 ms).

    Returns
    -------
    Frequencies in Hz, shape (n,); where no partial is found near its place, `f0_hz` as given.
    """
    n_fft = _window_length(lowest_hz)
    padded = np.pad(y, n_fft // 2)
    window = np.hanning(n_fft + 1)[:n_fft].astype(np.float32)
    slope = (-np.pi / n_fft * np.sin(-2 * np.pi * np.arange(n_fft) / n_fft)).astype(np.float32)
    measured = np.array(f0_hz, dtype=np.float64)
    starts = np.clip(np.round(times_s * ANALYSIS_SR).astype(int), 0, max(0, len(padded) - n_fft))
    frames = np.lib.stride_tricks.sliding_window_view(padded, n_fft)
    for at in range(0, len(measured), _BATCH):
        block = frames[starts[at : at + _BATCH]]
        measured[at : at + _BATCH] = _measure(
            np.fft.rfft(block * window), np.fft.rfft(block * slope), measured[at : at + _BATCH], n_fft
        )
    return measured


def _measure(spectrum: NDArray[Any], derivative: NDArray[Any], f0_hz: Floats, n_fft: int) -> Floats:
    """Weighted mean of the partials' instantaneous frequencies over their numbers."""
    rows = np.arange(len(f0_hz))
    total, weights = np.zeros(len(f0_hz)), np.zeros(len(f0_hz))
    for partial in range(1, _N_PARTIALS + 1):
        bins = np.round(partial * f0_hz * n_fft / ANALYSIS_SR).astype(int)
        usable = bins < n_fft // 2 - 1 - n_fft // 256
        bins = _nearby_peak(spectrum, rows, np.where(usable, bins, n_fft // 256), n_fft // 256)
        value = spectrum[rows, bins]
        power = np.abs(value) ** 2 + 1e-20
        shift = -np.imag(derivative[rows, bins] * np.conj(value)) / power
        estimate = (bins / n_fft + shift / (2 * np.pi)) * ANALYSIS_SR / partial
        close = usable & (np.abs(estimate / np.maximum(f0_hz, 1.0) - 1.0) < _CLOSE)
        weight = np.where(close, partial * power, 0.0)
        total += weight * estimate
        weights += weight
    return np.where(weights > 0, total / np.maximum(weights, 1e-30), f0_hz)


def _nearby_peak(spectrum: NDArray[Any], rows: NDArray[Any], bins: NDArray[Any], furthest: int) -> NDArray[Any]:
    """The strongest bin within half of `_CLOSE` of the expected one, at most `furthest` away."""
    reach = np.ceil(bins * _CLOSE / 2)
    best, strongest = bins, np.abs(spectrum[rows, bins])
    for step in [*range(-furthest, 0), *range(1, furthest + 1)]:
        strength = np.where(np.abs(step) <= reach, np.abs(spectrum[rows, bins + step]), -1.0)
        best, strongest = np.where(strength > strongest, bins + step, best), np.maximum(strongest, strength)
    return best


def _sounding_stretches(y: NDArray[np.float32], n_frames: int) -> list[tuple[int, int]]:
    """Frames worth tracking, in stretches with half a second of margin; the rest lies at the noise floor."""
    usable = y[: n_frames * HOP_LENGTH]
    if len(usable) < n_frames * HOP_LENGTH:
        return [(0, n_frames)]
    rms = np.sqrt(np.mean(usable.reshape(n_frames, HOP_LENGTH) ** 2, axis=1))
    floor = max(1e-5, 2.0 * float(np.percentile(rms, 10)))
    loud = rms > max(floor, 10 ** (-55 / 20) * float(rms.max()))
    if loud.mean() > 0.9 or float(np.percentile(rms, 10)) > 0.05 * float(rms.max()):
        return [(0, n_frames)]
    margin = int(0.5 / HOP_S)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], loud.astype(int), [0]])))
    stretches: list[tuple[int, int]] = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        start, end = max(0, int(first) - margin), min(n_frames, int(last) + margin)
        if stretches and start <= stretches[-1][1]:
            stretches[-1] = (stretches[-1][0], end)
        else:
            stretches.append((start, end))
    return stretches


@cache
def _network() -> Any:
    from swift_f0 import SwiftF0

    return SwiftF0(threads=1, spin=False)


def _by_network(y: NDArray[np.float32]) -> tuple[Floats, Floats]:
    """The network's answer, over its whole range.

    It is given the sound with a little noise, for it is lost where there is none at all. Its range is not narrowed:
    it takes some tones (around 349 Hz) for their fourth partial, which can be put right, but says that there is no
    pitch where that partial is forbidden.
    """
    local = np.sqrt(np.maximum(scipy.ndimage.uniform_filter1d(y * y, _DITHER_SPAN), 0.0))
    noise = np.random.default_rng(0).standard_normal(len(y), dtype=np.float32)
    dithered = y + _DITHER * local * noise
    found = _network().detect(dithered, ANALYSIS_SR)
    return np.asarray(found.pitch_hz), np.asarray(found.confidence)


def _second_opinion(
    y: NDArray[np.float32], f0_hz: Floats, confidence: Floats, lowest_hz: float, highest_hz: float
) -> Floats:
    """The network's pitches, with autocorrelation's put in their place where those explain the sound better.

    What a pitch explains is the share of the energy that lies at its multiples. Frames where the network's pitch
    explains `_EXPLAINED` or more of it are left alone; elsewhere the other must explain a fifth more.
    """
    chosen_hz = np.array(f0_hz, dtype=np.float64)
    voiced = np.flatnonzero(confidence >= VOICED)
    share = _explained(y, voiced, chosen_hz[voiced], lowest_hz)
    doubtful = voiced[share < _EXPLAINED]
    if doubtful.size:
        other_hz, _ = _by_autocorrelation(y, doubtful, lowest_hz, highest_hz)
        better = (other_hz > 0) & (_explained(y, doubtful, other_hz, lowest_hz) > share[share < _EXPLAINED] + 0.2)
        chosen_hz[doubtful[better]] = other_hz[better]
    return chosen_hz


def _explained(y: NDArray[np.float32], frames: NDArray[np.intp], f0_hz: Floats, lowest_hz: float) -> Floats:
    """Share of a frame's energy up to 6 kHz within a window's width of the multiples of a pitch, 0 to 1."""
    n_fft = _window_length(lowest_hz)
    views = np.lib.stride_tricks.sliding_window_view(np.pad(y, n_fft // 2 + HOP_LENGTH), n_fft)
    bins_hz = np.arange(1, int(6000 * n_fft / ANALYSIS_SR)) * ANALYSIS_SR / n_fft
    width_hz = 2.5 * ANALYSIS_SR / n_fft
    share = np.zeros(len(frames))
    for at in range(0, len(frames), _BATCH):
        block = views[frames[at : at + _BATCH] * HOP_LENGTH + HOP_LENGTH] * np.hanning(n_fft).astype(np.float32)
        power = np.abs(np.fft.rfft(block)[:, 1 : len(bins_hz) + 1]) ** 2
        f0 = np.maximum(f0_hz[at : at + _BATCH], 1.0)[:, None]
        near = np.abs(bins_hz - f0 * np.maximum(np.round(bins_hz / f0), 1.0)) < np.minimum(width_hz, 0.25 * f0)
        share[at : at + _BATCH] = (power * near).sum(axis=1) / np.maximum(power.sum(axis=1), 1e-20)
    return share


def _by_autocorrelation(
    y: NDArray[np.float32], at_frames: NDArray[np.intp], lowest_hz: float, highest_hz: float
) -> tuple[Floats, Floats]:
    """Normalised square difference, one octave below to half an octave above the range asked for.

    Differs from the paper: the clarity threshold for the first key maximum is 0.9 of the highest, and lags are
    found on a four times finer grid by zero-padding the spectrum, so that high notes are told apart.
    """
    shortest = ANALYSIS_SR / min(highest_hz * 1.4, ANALYSIS_SR / 3)
    longest = ANALYSIS_SR / (lowest_hz * 0.7)
    size = int(2 ** np.ceil(np.log2(2.5 * longest)))
    finer = 4
    padded = np.pad(y, size // 2 + 1)
    views = np.lib.stride_tricks.sliding_window_view(padded, size)
    lags = np.arange(int(shortest * finer), int(longest * finer) + 2)
    f0_hz, confidence = np.zeros(len(at_frames)), np.zeros(len(at_frames))
    for at in range(0, len(at_frames), 256):
        block = views[at_frames[at : at + 256] * HOP_LENGTH].astype(np.float64)
        block = block - block.mean(axis=1, keepdims=True)
        power = np.abs(np.fft.rfft(block, 2 * size)) ** 2
        similarity = np.fft.irfft(power, 2 * size * finer)[:, lags] * finer
        squares = np.cumsum(np.pad(block**2, ((0, 0), (1, 0))), axis=1)
        shift = np.clip(np.round(lags / finer).astype(int), 1, size - 1)
        energy = squares[:, size - shift] + squares[:, -1:] - squares[:, shift]
        clarity = 2.0 * similarity / np.maximum(energy, 1e-9)
        f0_hz[at : at + 256], confidence[at : at + 256] = _first_key_maximum(clarity, lags / finer)
    return f0_hz, confidence


def _first_key_maximum(clarity: Floats, lags: Floats) -> tuple[Floats, Floats]:
    inner = clarity[:, 1:-1]
    peaks = (inner >= clarity[:, :-2]) & (inner > clarity[:, 2:]) & (inner > 0)
    best = np.where(peaks, inner, -1.0).max(axis=1)
    first = np.argmax(peaks & (inner >= 0.9 * best[:, None]), axis=1) + 1
    sure = np.where(best > 0, np.clip(2.0 * best - 1.0, 0.0, 1.0), 0.0)
    return np.where(best > 0, ANALYSIS_SR / lags[first], 0.0), sure
