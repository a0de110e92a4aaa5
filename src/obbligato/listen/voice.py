"""Where somebody sings.

With a stem of the vocal it is a matter of level. Without one it is a matter of opinion (`opinion`). Singing over a
loud band may never reach even odds, and a singer alone may never fall far below them, so what counts as singing lies
between the high and the low of opinion around each moment, within a floor and a ceiling; sung and not sung ask for
evidence before they change (hysteresis). The ends of what was found are then drawn in: the room's ring after a line
is told by its level, the breath before one by being noise. A line without one confident moment is dropped, and so is
one that the network holds for less sung than the usual moment without singing, and all of them where the network
itself is hardly ever sure: then a horn passed for a singer.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from obbligato.listen.opinion import Opinions, singing_odds
from obbligato.listen.singing_network import FRAME_S
from obbligato.music.spans import Span
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio
from obbligato.sound.runs import true_runs
from obbligato.units import amplitude_to_db

Array = NDArray[np.float64]
Runs = list[tuple[int, int]]

BRIDGED_S = 0.25
"""Gaps shorter than this are consonants and breaths inside a line."""

_SHORTEST_S = 0.2

_FLOOR_ODDS, _CEILING_ODDS = -2.0, 0.0
_SUNG_AROUND_S, _NOT_SUNG_AROUND_S = 2.0, 8.0
_SUNG_PERCENTILE, _NOT_SUNG_PERCENTILE = 85, 10
_BETWEEN = 0.5
"""The threshold lies half way between the opinion of the sung parts around and that of the others."""

_CHANGE_COST = 30.0
"""In log-odds summed over frames: a tenth of a second of plain evidence is worth about as much."""

_LARGEST_EVIDENCE = 4.0
_THINNED = 5

_CONFIDENT_ODDS = 1.0
_LEAST_SHARE = 0.015
"""A song sung for less than this share of it (two seconds in two minutes) is taken for one without a singer."""

_BEYOND_DOUBT_ODDS, _LEAST_BEYOND_DOUBT = 2.0, 1.0 / 32.0
"""Where a network without doubt stands behind less than this share of what is called sung, a horn passed for one."""

_RING_DB = -10.0
"""A line begins where its level first comes so near its loud parts, and ends where it does so last."""

_BREATH_S = 0.6
_BREATH_DB = 5.0
"""So much more like noise than the usual of its line is a breath; vowels and noise lie about ten apart."""

_LARGEST_NOISE_DB = 4.0

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
    opinions = singing_odds(audio, progress=progress)
    return _spans(_sung_in_mix(opinions) if opinions.together.size else [], audio.duration_s)


def _sung_in_stem(vocal: Audio) -> Runs:
    y = vocal.mono()
    n_frames = int(vocal.duration_s / FRAME_S)
    if n_frames == 0:
        return []
    edges = np.round(np.arange(n_frames + 1) * FRAME_S * vocal.sr).astype(np.intp)
    power = np.add.reduceat(np.square(y[: edges[-1]], dtype=np.float64), edges[:-1]) / np.diff(edges)
    level_db = amplitude_to_db(np.sqrt(np.maximum(ndimage.uniform_filter1d(power, 3), 0.0)))
    loud_db = float(np.percentile(level_db[level_db > level_db.max() - 40.0], 75))
    if loud_db < _SILENT_STEM_DBFS:
        return []
    above = true_runs(level_db > loud_db + _STEM_FLOOR_DB)
    return [(start, end) for start, end in above if level_db[start:end].max() > loud_db + _STEM_ENTRY_DB]


def _sung_in_mix(opinions: Opinions) -> Runs:
    odds = opinions.together
    high = _around(odds, _SUNG_PERCENTILE, _SUNG_AROUND_S)
    low = _around(odds, _NOT_SUNG_PERCENTILE, _NOT_SUNG_AROUND_S)
    threshold = np.clip(_BETWEEN * high + (1.0 - _BETWEEN) * low, _FLOOR_ODDS, _CEILING_ODDS)
    evidence = np.clip(odds - threshold, -_LARGEST_EVIDENCE, _LARGEST_EVIDENCE)
    lines = [_drawn_in(opinions, *run) for run in _bridged(true_runs(_with_hysteresis(evidence)))]
    sure = [line for line in lines if odds[slice(*line)].max() > _CONFIDENT_ODDS]
    usual = _usual_outside(opinions.network, lines)
    sure = [line for line in sure if opinions.network[slice(*line)].max() > usual]
    n_sung = sum(end - start for start, end in sure)
    n_beyond_doubt = np.sum(opinions.network > _BEYOND_DOUBT_ODDS)
    return sure if n_sung >= _LEAST_SHARE * odds.size and n_beyond_doubt >= _LEAST_BEYOND_DOUBT * n_sung else []


def _around(odds: Array, percentile: int, width_s: float) -> Array:
    """A percentile of the opinion over the time around each moment."""
    size = round(width_s / (_THINNED * FRAME_S)) | 1
    return np.asarray(
        ndimage.percentile_filter(odds[::_THINNED], percentile, size=size).repeat(_THINNED)[: odds.size]
    )


def _with_hysteresis(evidence: Array) -> NDArray[np.bool_]:
    """The best path through sung and not sung (Viterbi), each change at `_CHANGE_COST`.

    With two states only the lead of one over the other matters, and it is never worth more than one change.
    """
    leads = []
    lead = 0.0
    for value in evidence.tolist():
        lead = min(max(lead, -_CHANGE_COST), _CHANGE_COST) + value
        leads.append(lead)
    sung = np.empty(len(leads), dtype=np.bool_)
    singing = leads[-1] > 0.0
    for i in range(len(leads) - 1, -1, -1):
        if i < len(leads) - 1 and abs(leads[i]) > _CHANGE_COST:
            singing = leads[i] > 0.0
        sung[i] = singing
    return sung


def _drawn_in(opinions: Opinions, start: int, end: int) -> tuple[int, int]:
    """A line without the breath before it and the room's ring after it."""
    start += _breath(opinions.noise_db[start:end])
    level_db = opinions.level_db[start:end]
    loud = np.flatnonzero(level_db >= np.percentile(level_db, 80) + _RING_DB)
    return start + int(loud[0]), start + int(loud[-1]) + 1


def _breath(noise_db: Array) -> int:
    """How many frames of a line to leave out so that those are most like noise and the others least.

    The point of change that a cumulative sum finds (Page, Biometrika 41, 1954).
    """
    reach = round(_BREATH_S / FRAME_S)
    if noise_db.size <= reach:
        return 0
    over = noise_db[:reach] - float(np.median(noise_db)) - _BREATH_DB
    tonal = np.cumsum(np.clip(-over, -_LARGEST_NOISE_DB, _LARGEST_NOISE_DB))
    return int(np.argmin(np.concatenate([[0.0], tonal])))


def _usual_outside(network: Array, lines: Runs) -> float:
    """The network's median opinion where no line is."""
    outside = np.ones(network.size, dtype=np.bool_)
    for line in lines:
        outside[slice(*line)] = False
    return float(np.median(network[outside])) if outside.any() else -np.inf


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
        if (end - start) * FRAME_S >= _SHORTEST_S and start * FRAME_S < duration_s
    )
