"""Tempo marks over a page: the tempo it begins in, and those bars in which a player must know of another.

A change is marked where it is one that listeners notice at once: six per cent (C. Drake and M.-C. Botte, Tempo
sensitivity in auditory sequences, Perception & Psychophysics 54, 1993, pages 277-286). Less than that is followed by
ear, and a page full of numbers is not read.
"""

from __future__ import annotations

from collections.abc import Mapping

from obbligato.listen.songmap import SongMap
from obbligato.music.grid import Grid

NOTICED = 0.06
_SAME_CHANGE_BARS = 4
"""Changes that follow each other within so many bars in one direction are one `rit.` or `accel.`."""


def first_tempo(song: SongMap) -> float:
    """Beats a minute at the head of the page: of the whole song, or where it begins if that is another tempo."""
    changes = song.tempo.changes
    if song.tempo.steady or not changes or not _noticed(changes[0].bpm, song.tempo.bpm):
        return round(song.tempo.bpm, 1)
    return round(changes[0].bpm, 1)


def tempo_marks(song: SongMap, grid: Grid) -> Mapping[int, tuple[float | None, str]]:
    """By bar, the new tempo in beats a minute and words: `rit.` or `accel.` over the first of several changes."""
    if song.tempo.steady:
        return {}
    marks: list[tuple[int, float]] = []
    printed = first_tempo(song)
    for change in song.tempo.changes:
        bar = round(float(grid.sec_to_beat(change.start_s)) / grid.meter.beats_per_bar) + 1
        if bar > 1 and _noticed(change.bpm, printed):
            printed = round(change.bpm, 1)
            marks = [mark for mark in marks if mark[0] != bar] + [(bar, printed)]
    return _gathered(marks, first_tempo(song))


def _gathered(marks: list[tuple[int, float]], first: float) -> dict[int, tuple[float | None, str]]:
    """Runs of changes in one direction as a word where they begin and the tempo where they end."""
    found: dict[int, tuple[float | None, str]] = {}
    start = 0
    tempi = [first, *(bpm for _, bpm in marks)]
    while start < len(marks):
        end = start
        slower = tempi[start + 1] < tempi[start]
        while (
            end + 1 < len(marks)
            and marks[end + 1][0] - marks[end][0] <= _SAME_CHANGE_BARS
            and (tempi[end + 2] < tempi[end + 1]) == slower
        ):
            end += 1
        if end > start:
            found[marks[start][0]] = (None, "rit." if slower else "accel.")
        found[marks[end][0]] = (marks[end][1], "")
        start = end + 1
    return found


def _noticed(bpm: float, other: float) -> bool:
    return abs(bpm / other - 1.0) >= NOTICED
