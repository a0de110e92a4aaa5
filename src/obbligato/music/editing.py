"""Changing a line note by note: each function gives new notes and leaves the old ones as they were.

A change applies to the notes that begin in a stretch of beats. What a change makes of its neighbours is left to
whoever builds the line from the notes: there, a note that runs into the next one is ended at it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from obbligato.errors import InputError
from obbligato.music import marking
from obbligato.music.grid import Grid
from obbligato.music.line import Note

Notes = tuple[Note, ...]

NEAR_BEATS = 0.2
"""A note meant for a place lies this near to it: sixteenths, a quarter of a beat apart, are told apart."""
_SHORTEST_BEATS = 0.05


@dataclass(frozen=True)
class Reach:
    """The notes a change is for: those that begin from one beat of the grid to another, or the one nearest a place.

    `last_beat` is None for a single place.
    """

    first_beat: float
    last_beat: float | None = None

    def indices(self, notes: Sequence[Note]) -> tuple[int, ...]:
        """Indices of the notes, in order; none where nothing begins there."""
        if self.last_beat is not None:
            span = (self.first_beat - NEAR_BEATS, self.last_beat + NEAR_BEATS)
            return tuple(i for i, note in enumerate(notes) if span[0] <= note.onset_beat <= span[1])
        near = min(range(len(notes)), key=lambda i: abs(notes[i].onset_beat - self.first_beat), default=None)
        if near is None or abs(notes[near].onset_beat - self.first_beat) > NEAR_BEATS:
            return ()
        return (near,)


def move(notes: Sequence[Note], reach: Reach, *, beats: float) -> Notes:
    """Begin the notes later by so many beats (earlier if negative)."""
    return _each(notes, reach, lambda note: replace(note, onset_beat=note.onset_beat + beats))


def transpose(notes: Sequence[Note], reach: Reach, *, semitones: int) -> Notes:
    """Raise the notes by so many semitones.

    Raises
    ------
    InputError
        When a note would leave the 128 pitches of MIDI.
    """
    changed = _each(notes, reach, lambda note: replace(note, pitch=note.pitch + semitones))
    if any(not 0 <= note.pitch <= 127 for note in changed):
        raise InputError(f"{semitones} semitones would leave the range of MIDI; transpose by less.")
    return changed


def lengthen(notes: Sequence[Note], reach: Reach, *, beats: float) -> Notes:
    """Hold the notes longer by so many beats (shorter if negative).

    Raises
    ------
    InputError
        When nothing would be left of a note.
    """
    changed = _each(notes, reach, lambda note: replace(note, duration_beats=note.duration_beats + beats))
    if any(note.duration_beats < _SHORTEST_BEATS for note in changed):
        raise InputError("Nothing would be left of a note; shorten it by less, or delete it.")
    return changed


def set_velocity(notes: Sequence[Note], reach: Reach, *, velocity: int) -> Notes:
    """Play the notes at one loudness."""
    return _each(notes, reach, lambda note: replace(note, velocity=velocity))


def delete(notes: Sequence[Note], reach: Reach) -> Notes:
    """Take the notes out."""
    return marking.kept_by_neighbours(notes, reach.indices(notes))


def add(notes: Sequence[Note], note: Note) -> Notes:
    """Put a note in, in its place; inside a slur or a hairpin it belongs to it."""
    place = sum(other.onset_beat <= note.onset_beat for other in notes)
    before = notes[place - 1] if place else None
    after = notes[place] if place < len(notes) else None
    return (*notes[:place], marking.joined_by_neighbours(note, before, after), *notes[place:])


def breathe_after(notes: Sequence[Note], reach: Reach, grid: Grid, *, breath_s: float) -> Notes:
    """End each of the notes early enough that so many seconds are silent before the next one begins, and mark it so.

    Raises
    ------
    InputError
        When nothing would be left of a note.
    """
    changed = list(notes)
    for index in reach.indices(notes):
        if index + 1 == len(notes):
            continue
        note = notes[index]
        next_s = float(grid.beat_to_sec(notes[index + 1].onset_beat))
        end = min(note.end_beat, float(grid.sec_to_beat(next_s - breath_s)))
        if end - note.onset_beat < _SHORTEST_BEATS:
            raise InputError(f"A breath of {breath_s:.1f} s is longer than the note before it; breathe elsewhere.")
        (changed[index],) = marking.put([replace(note, duration_beats=end - note.onset_beat)], [0], "breath")
    return tuple(changed)


def _each(notes: Sequence[Note], reach: Reach, change: Callable[[Note], Note]) -> Notes:
    """The notes in order of onset, those within reach changed."""
    reached = set(reach.indices(notes))
    changed = [change(note) if index in reached else note for index, note in enumerate(notes)]
    order = sorted(range(len(changed)), key=lambda index: changed[index].onset_beat)
    return marking.parted_where_reordered(changed, order)
