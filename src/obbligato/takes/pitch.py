"""Pitch of a single-line recording, frame by frame, to about a cent.

Two steps. A tracker finds which note sounds: the swift-f0 network between 47 and 2093 Hz, the normalised square
difference function of McLeod and Wyvill outside that range. Its answer may lie several cents off, so each voiced
frame is then measured by its partials (`partials`).

References
----------
McLeod and Wyvill, "A smarter way to find pitch", ICMC 2005.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import scipy.fft
import scipy.ndimage
from numpy.typing import NDArray

from obbligato.sound.runs import true_runs
from obbligato.takes import partials
from obbligato.takes.partials import Spectra, frames_around, window_length

Floats = partials.Floats

ANALYSIS_SR = 16000
"""Rate at which takes are listened to, Hz."""
HOP_LENGTH = 256
HOP_S = HOP_LENGTH / ANALYSIS_SR
NETWORK_LOWEST_HZ = 50.0
NETWORK_HIGHEST_HZ = 2000.0
VOICED = 0.5
"""Confidence from which a frame counts as voiced."""
_EXPLAINED = 0.8
_BATCH = 512
_AT_ONCE, _CONTEXT = 256, 12
"""Frames given to the network at a time, so that its layers stay in the processor's cache, and the frames on either
side that its answer depends on."""
_MARGIN_S = 0.25
_DITHER = 0.04
"""Noise given to the network, as a fraction of the level of the 100 ms around."""
_DITHER_SPAN = 1600


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
        if inside:
            found_hz, sure = _by_network(y[first * HOP_LENGTH : last * HOP_LENGTH])
        else:
            found_hz, sure = _by_autocorrelation(y, np.arange(first, last), lowest_hz, highest_hz)
        n = min(len(found_hz), last - first)
        f0_hz[first : first + n], confidence[first : first + n] = found_hz[:n], sure[:n]
    voiced = np.flatnonzero((confidence >= VOICED) & (f0_hz > 0))
    for at in range(0, len(voiced), _BATCH):
        here = voiced[at : at + _BATCH]
        n_fft = window_length(lowest_hz, ANALYSIS_SR)
        spectra = Spectra.at(y, here * HOP_LENGTH, n_fft=n_fft, sr=ANALYSIS_SR)
        known_hz = f0_hz[here]
        if inside:
            known_hz = _second_opinion(y, here, spectra, known_hz, range_hz=(lowest_hz, highest_hz))
        f0_hz[here] = spectra.measured(spectra.right_octave(known_hz, least_hz=0.67 * lowest_hz))
    return PitchTrack(times_s, f0_hz, confidence)


def _sounding_stretches(y: NDArray[np.float32], n_frames: int) -> list[tuple[int, int]]:
    """Frames worth tracking, in stretches with some margin; the rest lies at the noise floor."""
    usable = y[: n_frames * HOP_LENGTH]
    if len(usable) < n_frames * HOP_LENGTH:
        return [(0, n_frames)]
    rms = np.sqrt(np.mean(usable.reshape(n_frames, HOP_LENGTH) ** 2, axis=1))
    floor = max(1e-5, 2.0 * float(np.percentile(rms, 10)))
    loud = rms > max(floor, 10 ** (-55 / 20) * float(rms.max()))
    if loud.mean() > 0.9 or float(np.percentile(rms, 10)) > 0.05 * float(rms.max()):
        return [(0, n_frames)]
    margin = int(_MARGIN_S / HOP_S)
    stretches: list[tuple[int, int]] = []
    for first, last in true_runs(loud):
        start, end = max(0, first - margin), min(n_frames, last + margin)
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
    n_frames = max(1, len(y) // HOP_LENGTH)
    f0_hz, confidence = np.zeros(n_frames), np.zeros(n_frames)
    for first in range(0, n_frames, _AT_ONCE):
        last = min(first + _AT_ONCE, n_frames)
        begin, end = max(0, first - _CONTEXT), last + _CONTEXT if last < n_frames else n_frames + 1
        found = _network().detect(dithered[begin * HOP_LENGTH : end * HOP_LENGTH], ANALYSIS_SR)
        f0_hz[first:last] = found.pitch_hz[first - begin : last - begin]
        confidence[first:last] = found.confidence[first - begin : last - begin]
    return f0_hz, confidence


def _second_opinion(
    y: NDArray[np.float32],
    frames: NDArray[np.intp],
    spectra: Spectra,
    f0_hz: Floats,
    *,
    range_hz: tuple[float, float],
) -> Floats:
    """The network's pitches, with autocorrelation's put in their place where those explain the sound better.

    What a pitch explains is the share of the energy that lies at its multiples. Frames where the network's pitch
    explains `_EXPLAINED` or more of it are left alone; elsewhere the other must explain a fifth more.
    """
    share = spectra.explained(f0_hz)
    doubtful = np.flatnonzero(share < _EXPLAINED)
    if not doubtful.size:
        return f0_hz
    other_hz = np.array(f0_hz)
    other_hz[doubtful], _ = _by_autocorrelation(y, frames[doubtful], *range_hz)
    better = (other_hz > 0) & (spectra.explained(other_hz) > share + 0.2)
    return np.where(better, other_hz, f0_hz)


def _by_autocorrelation(
    y: NDArray[np.float32], at_frames: NDArray[np.intp], lowest_hz: float, highest_hz: float
) -> tuple[Floats, Floats]:
    """Normalised square difference, one octave below to half an octave above the range asked for.

    Differs from the paper: the clarity threshold for the first key maximum is 0.9 of the highest, and lags are
    found on a four times finer grid by zero-padding the spectrum, and between its points by a parabola, so that high
    notes are told apart.
    """
    shortest = ANALYSIS_SR / min(highest_hz * 1.4, ANALYSIS_SR / 3)
    longest = ANALYSIS_SR / (lowest_hz * 0.7)
    size = int(2 ** np.ceil(np.log2(2.5 * longest)))
    finer = 4
    lags = np.arange(int(shortest * finer), int(longest * finer) + 2)
    f0_hz, confidence = np.zeros(len(at_frames)), np.zeros(len(at_frames))
    for at in range(0, len(at_frames), 256):
        block = frames_around(y, at_frames[at : at + 256] * HOP_LENGTH, size).astype(np.float64)
        block = block - block.mean(axis=1, keepdims=True)
        power = np.abs(scipy.fft.rfft(block, 2 * size)) ** 2
        similarity = scipy.fft.irfft(power, 2 * size * finer)[:, lags] * finer
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
    left, top, right = (clarity[np.arange(len(clarity)), first + step] for step in (-1, 0, 1))
    bend = np.minimum(left - 2.0 * top + right, -1e-12)
    lag = lags[first] + (lags[1] - lags[0]) * np.clip(0.5 * (left - right) / bend, -0.5, 0.5)
    return np.where(best > 0, ANALYSIS_SR / lag, 0.0), sure
