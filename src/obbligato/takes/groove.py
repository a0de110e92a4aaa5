"""Where the guide itself plays around each note: if its snare is 22 ms late there, so should the player be.

The guide's onsets near a note's place in the bar, in that bar and the two on either side, say how far from the grid
the guide lies at that place; where it has too few of them, its onsets on all eighths of those bars do.
(The median against outliers; "common practice" for judging by the guide's own playing, no source.)
"""

from __future__ import annotations

import numpy as np

from obbligato.listen.onsets import find_events, onset_strength
from obbligato.music.grid import Grid
from obbligato.sound.audio import Audio
from obbligato.takes.partials import Floats
from obbligato.takes.readings import TimedLine

_BARS = 2
_NEAR_S = 0.06
_ENOUGH_HERE = 3
_ENOUGH_AROUND = 6


def groove_s(guide: Audio, line: TimedLine, grid: Grid) -> Floats:
    """How late the guide plays around each note of the line, seconds against the grid; NaN where it does not say."""
    events = find_events(onset_strength(guide))
    late = np.full(len(line.notes), np.nan)
    if not events.times_s.size:
        return late
    per_bar = grid.meter.beats_per_bar
    bars: Floats = per_bar * np.arange(-_BARS, _BARS + 1, dtype=np.float64)
    parts = 3 if grid.meter.compound else 2
    around: Floats = np.arange(-_BARS * per_bar * parts, _BARS * per_bar * parts + 1) / parts
    for note in line.notes:
        beat = float(grid.sec_to_beat(note.start_s))
        here_s = _deviations_s(events.times_s, grid, beat + bars)
        if len(here_s) >= _ENOUGH_HERE:
            late[note.index] = np.median(here_s)
            continue
        near_s = _deviations_s(events.times_s, grid, round(beat * parts) / parts + around)
        if len(near_s) >= _ENOUGH_AROUND:
            late[note.index] = np.median(near_s)
    return late


def _deviations_s(onsets_s: Floats, grid: Grid, beats: Floats) -> Floats:
    """How late the guide's nearest onset lies at some places of the grid, where there is one near enough."""
    places_s = grid.beat_to_sec(beats)
    after = np.clip(np.searchsorted(onsets_s, places_s), 0, len(onsets_s) - 1)
    before = np.maximum(after - 1, 0)
    deviations = np.stack([onsets_s[after] - places_s, onsets_s[before] - places_s])
    nearest = deviations[np.argmin(np.abs(deviations), axis=0), np.arange(len(places_s))]
    return np.asarray(nearest[np.abs(nearest) <= _NEAR_S])
