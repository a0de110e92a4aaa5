"""A second voice made from a line: an octave, a unison, or a third below that keeps to the chord.

A note of the chord is doubled by the next chord tone at least a minor third below it, so a root is given the fifth
below and not a third that the chord does not have. A note foreign to the chord, which is passing or leaning, is
followed at two steps of the key's scale. This is common practice in writing for pairs of horns, without a source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Literal

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.music.harmony import parse_chord, pitch_class
from obbligato.music.line import Note
from obbligato.music.remarks import place_text
from obbligato.music.spans import ChordSpan, KeySpan, Mode

Layer = Literal["unison", "octave-below", "octave-above", "third-below"]

SCALES: dict[Mode, tuple[int, ...]] = {"major": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 8, 10)}
"""Semitones above the tonic: the major scale and the natural minor."""
_MINOR_THIRD = 3
_SHIFTS: dict[Layer, int] = {"unison": 0, "octave-below": -12, "octave-above": 12}


def scale_classes(key: KeySpan) -> frozenset[int]:
    """Pitch classes of the key's scale, sounding."""
    tonic = pitch_class(key.tonic)
    return frozenset((tonic + step) % 12 for step in SCALES[key.mode])


def make_layer(
    notes: Sequence[Note], layer: Layer, grid: Grid, *, chords: Sequence[ChordSpan], keys: Sequence[KeySpan]
) -> tuple[Note, ...]:
    """The notes of a second voice, each with the place, length and loudness of the line's own.

    Raises
    ------
    InputError
        When a third is asked for where neither chord nor key is known, or a note leaves the range of MIDI.
    """
    find = _third_below(grid, chords, keys) if layer == "third-below" else _shifted(_SHIFTS[layer])
    made = tuple(replace(note, pitch=find(note)) for note in notes)
    if any(not 0 <= note.pitch <= 127 for note in made):
        raise InputError(f"The layer {layer} would leave the range of MIDI; choose another one.")
    return made


def _shifted(semitones: int) -> Callable[[Note], int]:
    return lambda note: note.pitch + semitones


def _third_below(grid: Grid, chords: Sequence[ChordSpan], keys: Sequence[KeySpan]) -> Callable[[Note], int]:
    def find(note: Note) -> int:
        # The first tenth of a note may lie before its chord, as early notes do.
        at_s = float(grid.beat_to_sec(note.onset_beat + 0.1 * note.duration_beats))
        span = next((c for c in chords if c.start_s <= at_s < c.end_s), None)
        chord = None if span is None else parse_chord(span.label)
        if chord is not None and note.pitch % 12 in chord.pitch_classes:
            return _next_below(note.pitch - _MINOR_THIRD, chord.pitch_classes)
        key = next((k for k in keys if k.start_s <= at_s < k.end_s), None)
        if key is None:
            where = place_text(grid, note.onset_beat)
            raise InputError(f"No chord and no key is known at {where}; name one with: obbligato map JOB --key")
        scale = scale_classes(key)
        step = _next_below(note.pitch - 1, scale)
        return _next_below(step - 1, scale)

    return find


def _next_below(pitch: int, classes: frozenset[int]) -> int:
    """The highest pitch, this one or below it, that is in the classes."""
    return next(p for p in range(pitch, pitch - 12, -1) if p % 12 in classes)
