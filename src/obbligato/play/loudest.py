"""The loudest bars of a line: where the input level has to be set."""

from __future__ import annotations

import math

from obbligato.music.grid import Grid
from obbligato.music.line import Line, Note
from obbligato.music.remarks import bar_of
from obbligato.units import db_to_power

BARS = 4
HIGHER_DB_PER_OCTAVE = 6.0
"""How much louder high notes come out at the same dynamic (winds and strings alike; common practice, no source)."""


def loudest_bars(line: Line, grid: Grid, *, bars: int = BARS) -> range:
    """The consecutive bars, at most `bars`, in which the line is loudest and highest.

    A note counts with its velocity and its height; a stretch with its loudest note in each bar, added up by power,
    so that one high note stands above three middling bars.
    """
    loudest: dict[int, float] = {}
    for note in line.notes:
        bar = bar_of(grid, note.onset_beat)
        loudest[bar] = max(loudest.get(bar, -math.inf), _weight_db(note))
    first, last = min(loudest), max(loudest)
    length = min(bars, last - first + 1)

    def power(start: int) -> float:
        return sum(float(db_to_power(loudest[bar])) for bar in range(start, start + length) if bar in loudest)

    best = max(range(first, last - length + 2), key=power)
    played = [bar for bar in range(best, best + length) if bar in loudest]
    return range(played[0], played[-1] + 1)


def _weight_db(note: Note) -> float:
    """Loudness of a note: 40 dB to a factor of ten in velocity, as General MIDI advises (from memory), and height."""
    return 40.0 * math.log10(note.velocity / 127.0) + HIGHER_DB_PER_OCTAVE * note.pitch / 12.0
