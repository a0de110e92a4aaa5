"""Pitch against the chord: how far each note lies from the pure interval over the chord's root.

The ratios are those of five-limit just intonation; a minor seventh is 9/5 over a minor third (a fifth above it) and
16/9 otherwise (a fourth above the fourth).

References
----------
Barbour, "Tuning and Temperament", 1951, chapter V (the ratios).
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

import numpy as np

from obbligato.music.harmony import parse_chord
from obbligato.music.spans import ChordSpan
from obbligato.takes.partials import Floats
from obbligato.takes.readings import TimedLine

JUST = tuple(map(Fraction, ("1", "16/15", "9/8", "6/5", "5/4", "4/3", "45/32", "3/2", "8/5", "5/3", "16/9", "15/8")))
"""Ratio to the root, by semitones above it."""
_SEVENTH_OF_MINOR = Fraction(9, 5)


def pure_cents(semitones: int, *, minor: bool = False) -> float:
    """Where the pure interval lies, in cents from the equal-tempered one.

    >>> round(pure_cents(4), 1), round(pure_cents(3), 1), round(pure_cents(7), 1)
    (-13.7, 15.6, 2.0)
    """
    step = semitones % 12
    ratio = _SEVENTH_OF_MINOR if step == 10 and minor else JUST[step]
    return float(1200.0 * np.log2(float(ratio)) - 100.0 * step)


def pure_places_cents(line: TimedLine, chords: Sequence[ChordSpan]) -> Floats:
    """For each note of the line, where it would be pure over the chord that sounds, in cents from equal temperament.

    The chord is the one in force over most of the note. NaN where there is none.
    """
    places = np.full(len(line.notes), np.nan)
    starts_s = np.array([chord.start_s for chord in chords])
    for note in line.notes:
        first = max(0, int(np.searchsorted(starts_s, note.start_s, side="right")) - 1)
        after = int(np.searchsorted(starts_s, note.end_s))
        shared_s = {
            i: min(chords[i].end_s, note.end_s) - max(chords[i].start_s, note.start_s) for i in range(first, after)
        }
        best = max(shared_s, key=lambda i: shared_s[i], default=None)
        chord = None if best is None or shared_s[best] <= 0 else parse_chord(chords[best].label)
        if chord is not None:
            minor = (chord.root + 3) % 12 in chord.pitch_classes
            places[note.index] = pure_cents(note.midi - chord.root, minor=minor)
    return places
