"""Phrases: what is played in one breath, found from the line's own rests and long notes.

A phrase boundary is likely after a gap in sound and after a note that is long for its surroundings, and phrases of a
few seconds are likelier than very short or very long ones. The boundaries with the best total are found by dynamic
programming, as in the phrase model of Temperley (gap score and preferred length). Gaps are measured in seconds, as a
breath is, and against the gaps around them, so that a line played short is not cut up. Where a breath is marked on
the page a phrase ends; no phrase ends under a slur, unless there is a full breath's rest in it.

Notes: Temperley prefers a number of notes, this a length in seconds, a breath. Gaps of at least `_FULL_BREATH_S`
always part phrases.

References
----------
D. Temperley: The Cognition of Basic Musical Structures. MIT Press, 2001, chapter 3.
"""

from __future__ import annotations

from collections.abc import Sequence
from statistics import median

import numpy as np
from numpy.typing import NDArray

from obbligato.music.grid import Grid
from obbligato.music.line import Note, Phrase

_Array = NDArray[np.float64]

_FULL_BREATH_S = 1.0
"""Time for a full breath; 0.5 to 0.8 is a normal one, 0.3 a snatched one (trade rule of thumb, no source)."""
_NORMAL_BREATH_S = 0.5
_LONGEST_S = 8.0
"""A comfortable breath of most winds at mezzo-forte (trade rule of thumb, no source)."""
_NEVER_S = 6 * _LONGEST_S
_SHORTEST_S = 1.5
_AROUND = 4
_BOUNDARY = 1.5
"""Above what a long note alone can give, so that phrases part where there is at least a little gap as well."""
_TOO_LONG = 2.0
_TOO_SHORT = 0.8
_UNDER_A_SLUR = 1e3
"""More than any length can cost: a slur says that its notes are one breath."""


def find_phrases(notes: Sequence[Note], grid: Grid) -> tuple[Phrase, ...]:
    """Part a line into phrases that cover every note once.

    Parameters
    ----------
    notes
        In order of onset, as performed; none gives no phrases.
    """
    if not notes:
        return ()
    starts_s = grid.beat_to_sec([n.onset_beat for n in notes])
    ends_s = grid.beat_to_sec([n.end_beat for n in notes])
    gaps_s = np.maximum(starts_s[1:] - ends_s[:-1], 0.0)
    gains = _gap_strength(gaps_s) + _length_strength(np.diff(starts_s)) - _BOUNDARY
    gains = np.where([n.marks.slurred for n in notes[:-1]], -_UNDER_A_SLUR, gains)
    parted = (gaps_s >= _FULL_BREATH_S) | np.array([n.marks.breath for n in notes[:-1]], dtype=bool)
    firsts = _best_firsts(starts_s, ends_s, parted, gains)
    lasts = [first - 1 for first in firsts[1:]] + [len(notes) - 1]
    return tuple(Phrase(index, first, last) for index, (first, last) in enumerate(zip(firsts, lasts, strict=True)))


def _around(values: _Array, index: int) -> list[float]:
    """The values next to one, without it."""
    return [*values[max(0, index - _AROUND) : index].tolist(), *values[index + 1 : index + 1 + _AROUND].tolist()]


def _gap_strength(gaps_s: _Array) -> _Array:
    """How much each gap speaks for a boundary: its excess over the gaps around it, in normal breaths, at most 3."""
    usual = [median(_around(gaps_s, i)) if len(gaps_s) > 1 else 0.0 for i in range(len(gaps_s))]
    return np.asarray(np.clip((gaps_s - usual) / _NORMAL_BREATH_S, 0.0, 3.0))


def _length_strength(steps_s: _Array) -> _Array:
    """The same for the time to the next onset: doublings over what is usual around it, at most 2, half as strong."""
    usual = [median(_around(steps_s, i)) if len(steps_s) > 1 else steps_s[i] for i in range(len(steps_s))]
    return np.asarray(0.5 * np.clip(np.log2(np.maximum(steps_s, 1e-3) / np.maximum(usual, 1e-3)), 0.0, 2.0))


def _best_firsts(starts_s: _Array, ends_s: _Array, parted: NDArray[np.bool_], gains: _Array) -> list[int]:
    """First notes of the phrases with the best total of boundaries and lengths; where `parted`, one always begins."""
    n = len(starts_s)
    best = [0.0] * (n + 1)
    came_from = [0] * (n + 1)
    for end in range(1, n + 1):
        options = []
        for first in range(end - 1, -1, -1):
            gain = gains[first - 1] if first else 0.0
            length_s = float(ends_s[end - 1] - starts_s[first])
            options.append((best[first] + gain + _length_score(length_s), first))
            if length_s > _NEVER_S or (first and parted[first - 1]):
                break
        best[end], came_from[end] = max(options)
    firsts = []
    end = n
    while end:
        end = came_from[end]
        firsts.append(end)
    return firsts[::-1]


def _length_score(length_s: float) -> float:
    """Nothing for a length that is easily one breath, less for every breath beyond, and less for a fragment."""
    if length_s > _LONGEST_S:
        return -_TOO_LONG * (length_s / _LONGEST_S - 1.0)
    return -_TOO_SHORT * max(0.0, 1.0 - length_s / _SHORTEST_S)
