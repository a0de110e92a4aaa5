"""Where somebody sings.

With a stem of the vocal it is a matter of level. Without one it is a matter of opinion (`opinion`). Singing over a
loud band may never reach even odds, so what counts as singing follows the opinion around each moment, between a
floor and a ceiling, and a best path through sung and not sung asks for evidence before it changes its mind
(hysteresis). Where the singer was clear, both ends are then drawn in to the point of change: the start by the opinion
that is prompt there, the end by the one that does not take the room's ring for the singer. A stretch without one
confident moment is dropped.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from obbligato.listen.opinion import Opinions, singing_odds
from obbligato.listen.paths import best_path
from obbligato.listen.singing_network import FRAME_S
from obbligato.music.spans import Span
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio
from obbligato.units import amplitude_to_db

Array = NDArray[np.float64]
Runs = list[tuple[int, int]]

BRIDGED_S = 0.25
"""Gaps shorter than this are consonants and breaths inside a line."""

_SHORTEST_S = 0.2

_FLOOR_ODDS = float(np.log(0.12 / 0.88))
_CEILING_ODDS = float(np.log(0.4 / 0.6))
_UNDER_LOCAL = 3.0
"""The threshold lies this far (in log-odds) under the opinion of the loudest part of the two seconds around."""

_CONFIDENT_ODDS = float(np.log(0.3 / 0.7))
_CHANGE_COST = 30.0
"""In log-odds summed over frames: a tenth of a second of plain evidence is worth about as much."""

_LARGEST_EVIDENCE = 4.0
_LEAST_SHARE = 0.015
"""A song sung for less than this share of it (two seconds in two minutes) is taken for one without a singer."""

_EDGE_UNDER = 3.0
_EDGE_CEILING_ODDS = 2.0
_EDGE_MOVES_S = 1.0

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


def _sung_in_mix(opinions: Opinions) -> Runs:
    odds = opinions.together
    around = ndimage.percentile_filter(odds[::5], 85, size=41).repeat(5)[: odds.size]
    threshold = np.clip(around - _UNDER_LOCAL, _FLOOR_ODDS, _CEILING_ODDS)
    evidence = np.clip(odds - threshold, -_LARGEST_EVIDENCE, _LARGEST_EVIDENCE)
    sung = best_path(np.column_stack([np.zeros_like(evidence), evidence]), _CHANGE_COST) == 1
    runs = _bridged(_runs(sung))
    sure = [_drawn_in(opinions, *run) for run in runs if odds[slice(*run)].max() > _CONFIDENT_ODDS]
    return sure if sum(end - start for start, end in sure) >= _LEAST_SHARE * odds.size else []


def _drawn_in(odds: Opinions, start: int, end: int) -> tuple[int, int]:
    """Move both ends inwards, to where an opinion has changed its mind about the clear singing next to them."""
    reach, near = round(_EDGE_MOVES_S / FRAME_S), round(1.5 / FRAME_S)
    head, tail = odds.entries[start : min(end, start + reach)], odds.ends[max(start, end - reach) : end][::-1]
    clear_head, clear_tail = odds.entries[start : min(end, start + near)], odds.ends[max(start, end - near) : end]
    new_start = start + _turning_point(head, clear_head)
    new_end = end - _turning_point(tail, clear_tail)
    return (new_start, new_end) if new_end > new_start else (start, end)


def _turning_point(opinion: Array, clear: Array) -> int:
    """How many frames to leave out so that those left out speak most against singing, and the rest most for it.

    The point of change that a cumulative sum finds (Page, Biometrika 41, 1954), the level between the two being set
    by the clear singing nearby: reverberation after a line is less like the singer than the line itself.
    """
    level = min(np.percentile(clear, 85) - _EDGE_UNDER, _EDGE_CEILING_ODDS)
    evidence = np.clip(opinion - level, -_LARGEST_EVIDENCE, _LARGEST_EVIDENCE)
    return int(np.argmin(np.concatenate([[0.0], np.cumsum(evidence)])))


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
