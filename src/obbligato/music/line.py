"""The line: what the player is to play, in sounding pitch, as it was played."""

from __future__ import annotations

from dataclasses import dataclass

from obbligato.errors import InputError
from obbligato.music.marks import NO_MARKS, NoteMarks


@dataclass(frozen=True)
class Note:
    """One note of a line.

    Attributes
    ----------
    onset_beat, duration_beats
        Place and length in beats of the grid, bar 1 beat 1 being 0.0; as performed, not quantised.
    pitch
        Sounding MIDI pitch; 60 is middle C.
    velocity
        MIDI velocity, 1 to 127.
    marks
        What is written on the note; nothing unless the player put it there.
    """

    onset_beat: float
    duration_beats: float
    pitch: int
    velocity: int = 80
    marks: NoteMarks = NO_MARKS

    @property
    def end_beat(self) -> float:
        """Where the note stops, in beats."""
        return self.onset_beat + self.duration_beats


@dataclass(frozen=True)
class Phrase:
    """What is played in one breath: notes `first_note` to `last_note` (indices into the line, both included)."""

    index: int
    first_note: int
    last_note: int

    @property
    def note_indices(self) -> range:
        """Indices of the phrase's notes."""
        return range(self.first_note, self.last_note + 1)


@dataclass(frozen=True)
class Line:
    """A single-voice part in sounding pitch, in order of onset, with its phrases covering every note once."""

    notes: tuple[Note, ...]
    phrases: tuple[Phrase, ...]

    def __post_init__(self) -> None:
        if not self.notes:
            raise InputError("The line has no notes; give a MIDI file with at least one note.")
        onsets = [note.onset_beat for note in self.notes]
        if onsets != sorted(onsets):
            raise InputError("The notes of a line must be in order of their onsets.")
        covered = [i for phrase in self.phrases for i in phrase.note_indices]
        if covered != list(range(len(self.notes))):
            raise InputError("The phrases of a line must cover its notes once each, in order.")
