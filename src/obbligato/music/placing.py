"""Where a performance lies in the song: on the guide's clock, or counted in ticks from bar 1.

A MIDI file comes from a session in which the guide lay at the very start, so that its seconds are the guide's
seconds; or it was written to the song's bars, so that its first tick is bar 1 beat 1. Both are common, and the file
does not say which.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.music.line import Note
from obbligato.music.performance import Performance

Start = Literal["auto", "guide", "bar-1"]

TEMPO_TOLERANCE = 0.005
"""A file written to the song's bars carries the song's tempo to within this share, or it is not taken for one."""
_CLEARLY = 0.3
"""How much better the notes must lie on the grid, on a scale from 0 (anywhere) to 1 (exactly on it)."""
_SHORTEST_BEATS = 1e-3


@dataclass(frozen=True)
class Placed:
    """A performance on the song's grid: its notes, which reading was taken, and why in a sentence."""

    notes: tuple[Note, ...]
    start: Literal["guide", "bar-1"]
    sentence: str


def place(performance: Performance, grid: Grid, *, start: Start = "auto") -> Placed:
    """Put a performance on the grid; nothing is quantised.

    Parameters
    ----------
    start
        `guide`: the file's time zero, by its own tempo map, is the guide's first sample. `bar-1`: its ticks are the
        song's beats, and its first tick is bar 1 beat 1; the file's tempo then only tells which note value it counts
        as the song's beat. `auto`: `guide`, unless the file's tempo is the song's to within `TEMPO_TOLERANCE` and the
        notes, read as `bar-1`, lie clearly better on beats and their divisions.

    Raises
    ------
    InputError
        When `start` is none of these.
    """
    by_clock = _by_clock(performance, grid)
    unit, agrees = _beat_in_file_quarters(performance, grid)
    by_ticks = _by_ticks(performance, unit)
    if start == "guide":
        return Placed(
            _notes(performance, by_clock), "guide", "The file's time zero is taken as the guide's first sample."
        )
    if start == "bar-1":
        return Placed(_notes(performance, by_ticks), "bar-1", "The file's first tick is taken as bar 1 beat 1.")
    if start != "auto":
        raise InputError(f"start='{start}': choose auto, guide or bar-1.")
    if not agrees:
        why = (
            f"The file's tempo ({performance.quarters_per_minute:.2f} quarters a minute) is not the song's, so its "
            "time zero is taken as the guide's first sample; choose bar-1 as its start if its first tick is bar 1."
        )
        return Placed(_notes(performance, by_clock), "guide", why)
    gain = _fit(by_ticks[:, 0], grid) - _fit(by_clock[:, 0], grid)
    chance = 2.0 / math.sqrt(2.0 * len(by_ticks))
    if gain > max(_CLEARLY, chance):
        why = "The notes lie on the song's beats when the file's first tick is bar 1 beat 1, and not by the clock."
        return Placed(_notes(performance, by_ticks), "bar-1", why)
    why = "The file's time zero is taken as the guide's first sample."
    return Placed(_notes(performance, by_clock), "guide", why)


def _by_clock(performance: Performance, grid: Grid) -> NDArray[np.float64]:
    return grid.sec_to_beat([(n.start_s, n.end_s) for n in performance.notes])


def _by_ticks(performance: Performance, unit: float) -> NDArray[np.float64]:
    ticks = np.asarray([(n.start_tick, n.end_tick) for n in performance.notes], dtype=np.float64)
    return np.asarray(ticks / performance.ticks_per_quarter / unit)


def _beat_in_file_quarters(performance: Performance, grid: Grid) -> tuple[float, bool]:
    """How many of the file's quarter notes make a beat of the song, and whether the tempi bear it out.

    A song counted in dotted quarters may be written with its beat as a dotted quarter, or as a plain quarter by a
    program that knows no other; songs are also written at half or double their tempo.
    """
    beat = grid.meter.beat_quarters
    ratio = performance.quarters_per_minute / grid.mean_bpm
    for unit in dict.fromkeys((beat, Fraction(1), beat * 2, beat / 2)):
        if abs(ratio / float(unit) - 1.0) <= TEMPO_TOLERANCE:
            return float(unit), True
    return float(beat), False


def _fit(onsets: NDArray[np.float64], grid: Grid) -> float:
    """How well onsets lie on the beat and its divisions: 1 for all on the beat, about 0 for anywhere.

    The mean cosine of their phase, averaged over beat and divisions, so that onsets a sixteenth off do not pass for
    being on the beat; twos or threes, whichever fits better.
    """
    twos, threes = ((1, 2), (1, 3)) if grid.meter.compound else ((1, 2, 4), (1, 3))
    cosines = {n: float(np.mean(np.cos(2.0 * np.pi * n * onsets))) for n in {*twos, *threes}}
    return max(float(np.mean([cosines[n] for n in divisions])) for divisions in (twos, threes))


def _notes(performance: Performance, beats: NDArray[np.float64]) -> tuple[Note, ...]:
    return tuple(
        Note(float(start), max(float(end - start), _SHORTEST_BEATS), n.pitch, n.velocity)
        for n, (start, end) in zip(performance.notes, beats, strict=True)
    )
