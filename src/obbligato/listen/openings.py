"""Openings: the room the singer leaves, with its place in bars and what kind of room it is.

An opening lasts from where the voice ends (its last consonant heard out) to where it enters again; before the
first line it begins at bar 1, after the last it ends with the last bar that sounds. Gaps of less than a beat are
left alone (rule of thumb of the trade, no source). Its kind:

    break     between two sung lines, the band stops or falls well back for at least half of it
    feature   two bars or more over a playing band: an introduction, a solo, an ending
    fill      anything shorter, from a stab to an answer

Breath is not voice: a singer takes 0.2 to 0.4 s of air before a word (common practice, no source), which a player
should leave free at the end of an opening.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from obbligato.music.grid import Grid
from obbligato.music.spans import Opening, OpeningKind, Span
from obbligato.sound.audio import Audio
from obbligato.units import amplitude_to_db

SHORTEST_BEATS = 1.0
FEATURE_BARS = 2.0

_FRAME_S = 0.05
_FALLEN_DB = -6.0
"""Against the song's usual level: below this for a third of a second or more, the band has fallen back."""

_FALLEN_FRAMES = 7
_SOUNDING_DB = -40.0
"""Against the usual level: where the song no longer counts as sounding."""


def find_openings(audio: Audio, voice: Sequence[Span], grid: Grid) -> tuple[Opening, ...]:
    """Openings of a beat or more between bar 1 and the end of the last sounding bar."""
    level_db = _level_db(audio)
    start_s, end_s = max(0.0, grid.bar_1_s), _music_end_s(level_db, audio, grid)
    ends = [start_s, *(max(start_s, span.end_s) for span in voice)]
    starts = [*(span.start_s for span in voice), end_s]
    fallen = _fallen_back(level_db)
    found = []
    for i, (opens_s, closes_s) in enumerate(zip(ends, starts, strict=True)):
        if closes_s <= opens_s:
            continue
        first, last = (float(b) for b in grid.sec_to_beat([opens_s, closes_s]))
        if last - first >= SHORTEST_BEATS:
            between_lines = 0 < i < len(ends) - 1
            is_break = between_lines and bool(np.mean(fallen[_frames(opens_s, closes_s)]) >= 0.5)
            kind = "break" if is_break else _kind(last - first, grid)
            bars = grid.beat_to_position(first).bar, grid.beat_to_position(last - 0.01).bar
            found.append(Opening(opens_s, closes_s, *bars, beats=last - first, kind=kind))
    return tuple(found)


def _kind(beats: float, grid: Grid) -> OpeningKind:
    return "feature" if beats >= FEATURE_BARS * grid.meter.beats_per_bar - 0.25 else "fill"


def _level_db(audio: Audio) -> NDArray[np.float64]:
    """Level of each frame against the song's usual level (the median of its frames that are not silent)."""
    hop = round(audio.sr * _FRAME_S)
    n_frames = audio.n_samples // hop
    y = audio.mono()[: n_frames * hop].reshape(n_frames, hop)
    level_db = amplitude_to_db(np.sqrt(np.einsum("ij,ij->i", y, y).astype(np.float64) / hop))
    audible = level_db[level_db > level_db.max(initial=-np.inf) - 50.0]
    return np.asarray(level_db - (np.median(audible) if audible.size else 0.0))


def _fallen_back(level_db: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Frames in quiet stretches long enough not to be the space between two strokes."""
    return np.asarray(ndimage.binary_opening(level_db < _FALLEN_DB, np.ones(_FALLEN_FRAMES, dtype=np.bool_)))


def _frames(start_s: float, end_s: float) -> slice:
    return slice(int(start_s / _FRAME_S), int(end_s / _FRAME_S) + 1)


def _music_end_s(level_db: NDArray[np.float64], audio: Audio, grid: Grid) -> float:
    """End of the last bar that sounds; a sound still dying away in the bar after does not count as another bar."""
    sounding = np.flatnonzero(level_db > _SOUNDING_DB)
    if sounding.size == 0:
        return audio.duration_s
    last_s = (int(sounding[-1]) + 1) * _FRAME_S
    attacks = np.flatnonzero(np.diff(level_db) > 6.0)
    last_attack_s = (int(attacks[-1]) + 1) * _FRAME_S if attacks.size else last_s
    last_bar = grid.position_at(last_attack_s + _FRAME_S).bar
    return min(audio.duration_s, grid.bar_to_sec(last_bar + 1))
