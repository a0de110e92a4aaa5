"""Which bars share a row of the page: a shortest path over all ways to break the part.

Rows want to be comfortably full, to begin with a section and to hold four bars. The weights are ours (common
practice, no source); the search is the one of D. E. Knuth and M. F. Plass, Breaking paragraphs into lines, Software:
Practice and Experience 11 (1981), pages 1119-1184, with bars for words.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

from obbligato.page.part_score import Part, ScoreBar

BARS_A_ROW = 4
_CLEF_AND_KEY_STAVES = 2.0
_CLEF_STAVES, _SIGN_STAVES = 1.2, 0.25
_FULLEST = 1.1
_NOT_FOUR = 0.02
_SECTION_INSIDE = 0.6
_CHARACTER_STAVES, _CUE_CHARACTER_STAVES = 0.27, 0.22
"""Widths are in heights of the stave, so that they hold at any size; these are a character of a chord symbol and
of a cue."""


def row_starts(part: Part, *, width_staves: float) -> tuple[int, ...]:
    """Index into `shown_bars(part)` of the first bar of each row.

    Parameters
    ----------
    width_staves
        Width of a row in heights of the stave.
    """
    bars = shown_bars(part)
    widths = [_natural_width(bar) for bar in bars]
    room = width_staves - _CLEF_AND_KEY_STAVES
    best = [0.0] + [math.inf] * len(bars)
    start_of = [0] * (len(bars) + 1)
    for end in range(1, len(bars) + 1):
        for start in range(end - 1, -1, -1):
            natural = sum(widths[start:end])
            if natural > room * _FULLEST and end - start > 1:
                break
            cost = best[start] + _row_cost(bars[start:end], natural / room, last=end == len(bars))
            if cost < best[end]:
                best[end], start_of[end] = cost, start
    starts = []
    end = len(bars)
    while end > 0:
        end = start_of[end]
        starts.append(end)
    return tuple(reversed(starts))


def narrowest_row(part: Part) -> float:
    """Width in heights of the stave that a row needs to have room for any one bar, with clef and key before it."""
    fifths = max(abs(key.fifths) for key in (part.key, *(bar.key for bar in part.bars if bar.key)))
    return max(map(_natural_width, shown_bars(part))) + _CLEF_STAVES + _SIGN_STAVES * fifths


def shown_bars(part: Part) -> tuple[ScoreBar, ...]:
    """The bars that take room on the page: of a multi-bar rest only the first."""
    shown, covered = [], 0
    for bar in part.bars:
        if covered == 0:
            shown.append(bar)
            covered = bar.rest_bars
        covered = max(0, covered - 1)
    return tuple(shown)


def _row_cost(bars: Sequence[ScoreBar], fill: float, *, last: bool) -> float:
    stretch = 0.0 if last and fill < 1 else math.log(fill) ** 2
    inside = sum(bool(bar.rehearsal) for bar in bars[1:])
    return stretch + _NOT_FOUR * abs(len(bars) - BARS_A_ROW) + _SECTION_INSIDE * inside


def _natural_width(bar: ScoreBar) -> float:
    """Width of a bar set comfortably: its notes, or its chord symbols where these need more."""
    if not bar.notes:
        music = 3.2
    else:
        music = 0.8 + sum(_note_width(note.quarters) for note in bar.notes)
        music += 0.15 * sum(abs(note.pitch.alter) for note in bar.notes if note.pitch)
    chords = sum(len(chord.text) + 1.5 for chord in bar.chords) * _CHARACTER_STAVES
    cue = (len(bar.cue) + 1.5) * _CUE_CHARACTER_STAVES
    return max(music, chords, cue) + (1.2 if bar.key else 0.0) + (0.8 if bar.clef else 0.0)


def _note_width(quarters: Fraction) -> float:
    """Width of a note by its length: each doubling adds the same."""
    return 0.45 + 0.14 * max(0.0, math.log2(float(quarters) * 8))
