"""Openings: the room the singer leaves, with its place in bars and what kind of room it is.

An opening lasts from where the voice ends (its last consonant heard out) to where it enters again; before the
first line it begins at bar 1, after the last it ends with the last bar in which something is struck. Gaps of less
than a beat are left alone (rule of thumb of the trade, no source). Its kind:

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
from scipy import fft, ndimage, signal

from obbligato.music.grid import Grid
from obbligato.music.spans import Opening, OpeningKind, Span
from obbligato.sound.audio import Audio
from obbligato.units import amplitude_to_db, power_to_db

SHORTEST_BEATS = 1.0
FEATURE_BARS = 2.0

_FRAME_S = 0.05
_FALLEN_DB = -6.0
"""Against the song's usual level: below this for a third of a second or more, the band has fallen back."""

_FALLEN_FRAMES = 7
_SOUNDING_DB = -40.0
"""Against the usual level: where the song no longer counts as sounding."""

_ENDING_S = 30.0
_LOWEST_HZ, _BANDS = 55.0, 22
"""Bands of a third of an octave, up to about 9 kHz."""

_ATTACK_DB = 2.0
"""Mean rise of all bands from one frame to the next that counts as a note struck; what dies away does not rise."""

_HEARD_DB, _LARGEST_RISE_DB = -20.0, 30.0
"""A band's rise counts where it ends within the first of the band's loud level, for the second at most."""


def find_openings(audio: Audio, voice: Sequence[Span], grid: Grid) -> tuple[Opening, ...]:
    """Openings of a beat or more between bar 1 and the end of the last bar in which something is struck."""
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
    edges = np.round(np.arange(int(audio.duration_s / _FRAME_S) + 1) * _FRAME_S * audio.sr).astype(np.intp)
    y = audio.mono()[: edges[-1]]
    if y.size == 0:
        return np.zeros(0)
    level_db = amplitude_to_db(np.sqrt(np.add.reduceat(np.square(y, dtype=np.float64), edges[:-1]) / np.diff(edges)))
    audible = level_db[level_db > level_db.max(initial=-np.inf) - 50.0]
    return np.asarray(level_db - (np.median(audible) if audible.size else 0.0))


def _fallen_back(level_db: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Frames in quiet stretches long enough not to be the space between two strokes."""
    return np.asarray(ndimage.binary_opening(level_db < _FALLEN_DB, np.ones(_FALLEN_FRAMES, dtype=np.bool_)))


def _frames(start_s: float, end_s: float) -> slice:
    return slice(int(start_s / _FRAME_S), int(end_s / _FRAME_S) + 1)


def _music_end_s(level_db: NDArray[np.float64], audio: Audio, grid: Grid) -> float:
    """End of the last bar in which something is struck; what only dies away in a bar does not count for one."""
    sounding = np.flatnonzero(level_db > _SOUNDING_DB)
    if sounding.size == 0:
        return audio.duration_s
    last_s = (int(sounding[-1]) + 1) * _FRAME_S
    last_bar = grid.position_at(_last_attack_s(audio, last_s) + _FRAME_S).bar
    return min(audio.duration_s, grid.bar_to_sec(last_bar + 1))


def _last_attack_s(audio: Audio, end_s: float) -> float:
    """Where something is struck for the last time before `end_s`; `end_s` itself where nothing is.

    The rise of the level in bands, as an onset is told in Klapuri, "Sound onset detection by applying
    psychoacoustic knowledge" (ICASSP 1999): a chord held after a fill is no louder than the fill, but new in its
    bands.
    """
    hop = round(audio.sr * _FRAME_S)
    first = max(0, round((end_s - _ENDING_S) / _FRAME_S)) * hop
    y = np.pad(audio.mono()[first : round(end_s * audio.sr)], hop)
    frames = np.lib.stride_tricks.sliding_window_view(y, 2 * hop)[::hop]
    power = np.abs(fft.rfft(frames * signal.get_window("hann", 2 * hop).astype(np.float32), axis=1)) ** 2
    edges_hz = _LOWEST_HZ * 2.0 ** (np.arange(_BANDS + 1) / 3.0)
    edges = np.searchsorted(fft.rfftfreq(2 * hop, 1.0 / audio.sr), edges_hz)
    summed = np.concatenate([np.zeros((power.shape[0], 1)), np.cumsum(power, axis=1, dtype=np.float64)], axis=1)
    edges = np.minimum(edges, summed.shape[1] - 1)
    bands_db = power_to_db(summed[:, edges[1:]] - summed[:, edges[:-1]])
    heard = bands_db[1:] > np.percentile(bands_db, 75, axis=0) + _HEARD_DB
    rises = np.mean(np.clip(np.diff(bands_db, axis=0), 0.0, _LARGEST_RISE_DB) * heard, axis=1)
    attacks = np.flatnonzero(rises > _ATTACK_DB)
    return first / audio.sr + (int(attacks[-1]) + 1) * _FRAME_S if attacks.size else end_s
