"""Silence before the sound, clipping, and the long-term spectrum with its edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from obbligato.sound.audio import Audio, Samples
from obbligato.units import SILENCE_DB, amplitude_to_db, db_to_amplitude, power_to_db

SILENCE_WINDOW_S = 0.01
SILENT_BELOW_LOUDEST_DB = 60.0
OPENING_S = 0.1
QUIET_OPENING_BELOW_LOUDEST_DB = 40.0
RISE_ABOVE_OPENING_DB = 12.0

SHORTEST_FLAT_RUN = 3
FULL_SCALE = 1.0 - 2.0 / 32768
FLATNESS = 1.5 / 32768
EDGE_STEP = 8.0 / 32768
SOFTEST_FLAT_TOP = 0.1
FEWEST_FLAT_TOPS = 3

SPECTRUM_FRAME = 8192
SPECTRUM_FRAMES = 400
BAND_HZ = 100.0
EDGE_SIDE_HZ = 1000.0
EDGE_WIDTH_HZ = 600.0
COMEBACK_DB = 6.0

SUMMED_AT_ONCE = 1 << 14


def lead_silence_s(audio: Audio) -> float:
    """Time before the first sound; the whole length for silence.

    The sound begins in the first 10 ms window whose power comes within 60 dB of the loudest window's: dither
    (-93 dBFS at 16 bits) and the ripple before the first attack of a lossy file stay below that in any music at a
    usual level. Where the file opens with noise (the first 100 ms more than 40 dB below the loudest window), the
    window must also stand 12 dB out of that noise. Within the window, the first sample that passes the threshold.
    """
    window = max(1, round(SILENCE_WINDOW_S * audio.sr))
    power = _window_powers(audio.y, window)
    if power.max(initial=0.0) <= 0.0:
        return audio.duration_s
    threshold = power.max() * db_to_amplitude(-SILENT_BELOW_LOUDEST_DB) ** 2
    opening = float(np.max(power[: round(OPENING_S / SILENCE_WINDOW_S)]))
    if opening < power.max() * db_to_amplitude(-QUIET_OPENING_BELOW_LOUDEST_DB) ** 2:
        threshold = max(threshold, opening * db_to_amplitude(RISE_ABOVE_OPENING_DB) ** 2)
    first = int(np.argmax(power >= threshold))
    inside = np.abs(audio.y[:, first * window : (first + 1) * window]).max(axis=0)
    return (first * window + int(np.argmax(inside >= np.sqrt(threshold)))) / audio.sr


def _window_powers(y: Samples, window: int) -> NDArray[np.float64]:
    """Mean square of each window in the loudest channel, shape (n_windows,); silence fills up the last."""
    n_whole = y.shape[1] // window
    whole = y[:, : n_whole * window].reshape(y.shape[0], n_whole, window)
    rest = y[:, n_whole * window :]
    powers = np.einsum("cij,cij->ci", whole, whole)
    if rest.size:
        powers = np.concatenate([powers, np.einsum("cj,cj->c", rest, rest)[:, None]], axis=1)
    return np.asarray(powers.max(axis=0), dtype=np.float64) / window


def clipped_samples(audio: Audio) -> int:
    """Samples in flat runs of three or more at full scale, or at one flat top below it, over all channels.

    A top below full scale is what clipping leaves that was turned down later. It counts when the channel's highest
    (or lowest) value is held, to within 16-bit rounding, in three or more places, and each of them is entered or left
    by a step that the crest of a smooth wave cannot have.
    """
    return sum(_clipped_at_top(y, float(y.max())) + _clipped_at_top(-y, -float(y.min())) for y in audio.y if y.size)


def _clipped_at_top(y: Samples, top: float) -> int:
    if top < SOFTEST_FLAT_TOP:
        return 0
    at_full_scale = top >= FULL_SCALE
    held = np.flatnonzero(y >= (FULL_SCALE if at_full_scale else top - FLATNESS))
    breaks = np.flatnonzero(np.diff(held) > 1)
    starts, ends = held[np.append(0, breaks + 1)], held[np.append(breaks, held.size - 1)] + 1
    long_enough = ends - starts >= SHORTEST_FLAT_RUN
    starts, ends = starts[long_enough], ends[long_enough]
    if at_full_scale:
        return int(np.sum(ends - starts))
    before = top - y[np.maximum(starts - 1, 0)]
    after = top - y[np.minimum(ends, y.size - 1)]
    sharp = np.maximum(before, after) > EDGE_STEP
    return int(np.sum((ends - starts)[sharp])) if np.sum(sharp) >= FEWEST_FLAT_TOPS else 0


@dataclass(frozen=True)
class SpectrumEdge:
    """Where the long-term spectrum ends abruptly, and by how much it falls there."""

    hz: float
    drop_db: float


def band_levels_db(audio: Audio) -> NDArray[np.float64]:
    """Long-term power in bands of 100 Hz, in dB, shape (n_bands,): 400 frames spread over the sound, all channels."""
    frame = min(SPECTRUM_FRAME, audio.n_samples)
    starts = np.linspace(0, audio.n_samples - frame, SPECTRUM_FRAMES if audio.n_samples > frame else 1).astype(
        np.intp
    )
    window = np.hanning(frame).astype(np.float32)
    power = np.zeros(frame // 2 + 1)
    for y in audio.y:
        frames = np.stack([y[start : start + frame] for start in np.unique(starts)])
        power += np.square(np.abs(np.fft.rfft(frames * window, axis=1))).mean(axis=0)
    edges = np.arange(0.0, audio.sr / 2, BAND_HZ) * frame / audio.sr
    bands = np.add.reduceat(power, np.minimum(edges.astype(np.intp), power.size - 1))
    return power_to_db(bands)


def spectrum_edge(levels_db: NDArray[np.float64], *, low_hz: float, high_hz: float) -> SpectrumEdge | None:
    """The steepest fall between two frequencies, over 600 Hz, from the kilohertz below to all that lies above.

    Medians make it blind to single tones. None where there are fewer than five bands above the edge, or the sound
    comes back above it (by more than 6 dB).
    """
    side, gap = round(EDGE_SIDE_HZ / BAND_HZ), round(EDGE_WIDTH_HZ / BAND_HZ)
    best: SpectrumEdge | None = None
    for band in range(max(side, round(low_hz / BAND_HZ)), round(high_hz / BAND_HZ)):
        above = levels_db[band + gap : len(levels_db) - 2]
        if len(above) < 5:
            break
        just_above = float(np.median(above[:side]))
        drop_db = float(np.median(levels_db[band - side : band])) - just_above
        comes_back = float(np.max(above[side:], initial=just_above)) > just_above + COMEBACK_DB
        if not comes_back and (best is None or drop_db > best.drop_db):
            best = SpectrumEdge((band + gap / 2) * BAND_HZ, drop_db)
    return best


def level_dbfs(y: Samples) -> float:
    """Root-mean-square level of some samples in dBFS (a full-scale sine reads -3); silence reads `SILENCE_DB`."""
    if y.size == 0:
        return SILENCE_DB
    power = sum(inner_product(channel, channel) for channel in np.atleast_2d(y)) / y.size
    return float(amplitude_to_db(np.sqrt(power)))


def inner_product(a: Samples, b: Samples) -> float:
    """Sum of the products of two sounds of equal length, in stretches short enough for single precision."""
    starts = range(0, a.size, SUMMED_AT_ONCE)
    return sum(float(np.dot(a[i : i + SUMMED_AT_ONCE], b[i : i + SUMMED_AT_ONCE])) for i in starts)
