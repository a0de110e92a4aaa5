"""What is wrong with the sound of a stretch of a take, whatever was played: clipping, gaps, bursts of noise."""

from __future__ import annotations

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from obbligato.sound.audio import Audio, Samples
from obbligato.sound.runs import true_runs
from obbligato.takes.hearing import Heard
from obbligato.takes.partials import Floats
from obbligato.takes.pitch import HOP_S

_FLAT_RUN = 4
_FLATNESS = 2e-5
_LEAST_CLIP_PEAK = 0.1
_BLOCK = 65536
_LEAST_FLAT_RUNS = 3
_DROP_DB = 25.0
_SHORTEST_GAP_S = 0.004
_SMOOTH_FRAMES = 4
_ATTACK_S = 0.08
_TAIL_S = 0.2
_BREATH_FRAMES = 6
_BREATH_OVER_ROOM_DB = 8.0


def flat_tops(take: Audio) -> Floats:
    """Times in the take at which its peaks are cut flat, seconds.

    A peak is cut where four or more samples in a row stand within 2e-5 of the same value, outermost in their
    neighbourhood of 3 ms; a wave above 40 Hz cannot do that at 44.1 kHz. It is found below full scale too, where a
    recording was clipped before it was turned down. (Our own criterion, no source.) It tells where, to the phrase;
    tops that are flat but not exactly so are left to `sound.flat_tops.has_flat_tops`, which looks at a level check.
    """
    times: list[Floats] = []
    for y in take.y:
        peak = max(float(y.max(initial=0.0)), -float(y.min(initial=0.0)))
        if peak < _LEAST_CLIP_PEAK:
            continue
        times.append(_outermost(y, _flat_and_loud(y, peak), reach=int(0.003 * take.sr)) / take.sr)
    return np.sort(np.concatenate(times)) if times else np.zeros(0)


def _outermost(y: Samples, flat: NDArray[np.intp], *, reach: int) -> NDArray[np.intp]:
    """The first sample of each flat run that nothing within `reach` samples of it stands out over."""
    if not flat.size:
        return flat
    starts = np.flatnonzero(np.concatenate([[True], np.diff(flat) > _FLAT_RUN]))
    firsts, lasts = flat[starts], flat[np.concatenate([starts[1:], [len(flat)]]) - 1]
    heights = np.maximum.reduceat(np.abs(y[flat]), starts)
    ceilings = [np.abs(y[max(0, a - reach) : b + reach]).max() for a, b in zip(firsts, lasts, strict=True)]
    return firsts[heights >= np.array(ceilings) * (1 - 2 * _FLATNESS)]


def _flat_and_loud(y: Samples, peak: float) -> NDArray[np.intp]:
    """Second samples of runs of four of about the same value, not softer than a quarter of the peak.

    By blocks that stay in the processor's cache.
    """
    found = []
    for at in range(0, len(y), _BLOCK):
        block = y[at : at + _BLOCK + 3]
        flat = np.abs(np.diff(block)) <= _FLATNESS * peak
        runs = np.flatnonzero(flat[:-2] & flat[1:-1] & flat[2:])
        found.append(at + 1 + runs[np.abs(block[runs + 2]) > 0.25 * peak])
    return np.concatenate(found)


def is_clipped(flat_tops_s: Floats, start_s: float, end_s: float) -> bool:
    """Whether a stretch holds enough flat tops to be clipped."""
    return int(np.sum((flat_tops_s >= start_s) & (flat_tops_s <= end_s))) >= _LEAST_FLAT_RUNS


def find_gap_s(take: Audio, start_s: float, end_s: float, *, f0_hz: float) -> float | None:
    """Where the sound is gone for some milliseconds within a held note, seconds in the take; None if nowhere.

    Looked for in the level of short steps, of 2 ms or three quarters of a period where that is longer: down by 25 dB
    within two steps, and back within two.
    """
    step = max(1, int(max(0.002, 0.75 / f0_hz) * take.sr))
    first = max(0, int(start_s * take.sr))
    x = take.mono()[first : max(first, int(end_s * take.sr))]
    n = len(x) // step
    if n < 30:
        return None
    rms_db = 10 * np.log10(np.mean(np.asarray(x[: n * step], np.float64).reshape(n, step) ** 2, axis=1) + 1e-14)
    body_db = scipy.ndimage.median_filter(rms_db, 51, mode="nearest")
    gone = rms_db < body_db - _DROP_DB
    for a, b in true_runs(gone):
        long_enough = (b - a) * step / take.sr >= _SHORTEST_GAP_S
        inside = a > 2 and b < n - 2
        if long_enough and inside and min(rms_db[a - 2], rms_db[b + 1]) > body_db[a] - 12.0:
            return float((first + a * step) / take.sr)
    return None


def loudest_stray_db(heard: Heard, start_s: float, end_s: float, attacks_s: Floats) -> tuple[float, float]:
    """The loudest 64 ms of sound that is no partial of the note played, and where, away from attacks.

    Returns
    -------
    Level in dBFS and seconds in the take; `-inf` and `start_s` where nothing is left to judge.
    """
    frames = heard.frames_between(start_s, end_s)
    times_s = heard.track.times_s[frames]
    if not times_s.size:
        return -np.inf, start_s
    stray = heard.stray_db[frames]
    stray = scipy.ndimage.minimum_filter1d(stray, _SMOOTH_FRAMES, mode="nearest")
    if attacks_s.size:
        position = np.searchsorted(attacks_s, times_s)
        after = times_s - attacks_s[np.maximum(position - 1, 0)]
        before = attacks_s[np.minimum(position, len(attacks_s) - 1)] - times_s
        stray = np.where((np.abs(after) < _ATTACK_S) | (np.abs(before) < _ATTACK_S / 2), -np.inf, stray)
    at = int(np.argmax(stray))
    return float(stray[at]), float(times_s[at])


def loudest_breath_dbfs(heard: Heard, start_s: float, end_s: float, edges_s: Floats) -> float | None:
    """The loudest breath before a phrase: a tenth of a second or more of sound without pitch, well above the room.

    Parameters
    ----------
    start_s, end_s
        The rest before the phrase, in the take.
    edges_s
        Starts and ends of notes in rising order; right after the last one before `end_s` nothing counts, for there
        the room still sounds.
    """
    before = edges_s[edges_s < end_s - _ATTACK_S]
    begin_s = max(start_s, float(before[-1]) + _TAIL_S) if before.size else start_s
    frames = heard.frames_between(begin_s, end_s - HOP_S)
    if frames.stop - frames.start < _BREATH_FRAMES:
        return None
    breathing = ~heard.track.voiced[frames] & (heard.level_db[frames] > heard.floor_db + _BREATH_OVER_ROOM_DB)
    lasting = scipy.ndimage.binary_opening(breathing, np.ones(_BREATH_FRAMES, dtype=bool))
    return float(heard.level_db[frames][lasting].max()) if lasting.any() else None
