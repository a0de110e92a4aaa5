"""What a song is made of before anything sounds: sections, chords, sung lines and the player's phrases, in beats.

Beats count the metre's unit from 0.0 at bar 1, as on the grid. The text forms read here keep a score legible as
data: a place is `bar:eighth` (both from 1), a melody is `Eb4 3, F4 1.5` with lengths in eighths, a word list is
`syllable=onset.vowel.coda` with the phones of `voice`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from obbligato.errors import InputError
from obbligato.music.grid import Grid, Meter
from obbligato.music.harmony import Chord, parse_chord, pitch_class
from obbligato.music.spans import Mode
from obbligato.units import A4_HZ, cents_to_ratio

Groove = Literal["light", "verse", "chorus", "stop", "last"]


@dataclass(frozen=True)
class Section:
    """A stretch of the form: rehearsal letter, name, first bar, number of bars, and how the band plays it."""

    label: str
    name: str
    first_bar: int
    bars: int
    groove: Groove


@dataclass(frozen=True)
class PlacedChord:
    """A chord in force from `onset_beat`, in the syntax of Harte et al., ISMIR 2005."""

    onset_beat: float
    duration_beats: float
    label: str

    @property
    def chord(self) -> Chord:
        """Root, pitch classes and bass."""
        chord = parse_chord(self.label)
        if chord is None:
            raise InputError(f"'{self.label}' names no chord; the band needs one to play.")
        return chord


@dataclass(frozen=True)
class PlacedKey:
    """A key in force from `first_bar`."""

    first_bar: int
    tonic: str
    mode: Mode


@dataclass(frozen=True)
class Syllable:
    """What is sung on one note: its text and phones; empty text carries the vowel of the note before on."""

    text: str
    onset: str = ""
    vowel: str = ""
    coda: str = ""


@dataclass(frozen=True)
class SungNote:
    """One note of the singer, sounding MIDI pitch."""

    onset_beat: float
    duration_beats: float
    pitch: int
    syllable: Syllable


@dataclass(frozen=True)
class ScoreNote:
    """One note of the player as written, sounding MIDI pitch."""

    onset_beat: float
    duration_beats: float
    pitch: int
    velocity: int = 80


@dataclass(frozen=True)
class Song:
    """A whole song as data.

    Attributes
    ----------
    bpm
        Beats of the metre's unit a minute, steady throughout.
    head_s, tail_s
        Silence before the first click, and time left to ring after the last bar.
    count_in_bars
        Bars of clicks before bar 1; the pick-up sounds in the last of them.
    tuning_cents
        The song's pitch above A4 = 440 Hz.
    lines
        What the singer sings, one tuple of notes for each line of text.
    phrases
        What the player is to play, one tuple of notes for each breath.
    """

    title: str
    singer: str
    client: str
    bpm: float
    meter: Meter
    head_s: float
    tail_s: float
    count_in_bars: int
    tuning_cents: float
    sections: tuple[Section, ...]
    chords: tuple[PlacedChord, ...]
    keys: tuple[PlacedKey, ...]
    lines: tuple[tuple[SungNote, ...], ...]
    phrases: tuple[tuple[ScoreNote, ...], ...]

    @property
    def grid(self) -> Grid:
        """The song's grid on the guide's time."""
        count_in_s = self.count_in_bars * self.meter.beats_per_bar * 60.0 / self.bpm
        return Grid.steady(self.bpm, self.head_s + count_in_s, self.meter)

    @property
    def bars(self) -> int:
        """Number of the last bar."""
        return self.sections[-1].first_bar + self.sections[-1].bars - 1

    @property
    def end_beat(self) -> float:
        """Where the last bar ends."""
        return float(self.bars * self.meter.beats_per_bar)

    @property
    def duration_s(self) -> float:
        """Length of the guide."""
        return float(self.grid.beat_to_sec(self.end_beat)) + self.tail_s

    @property
    def a4_hz(self) -> float:
        """The song's own A4."""
        return float(A4_HZ * cents_to_ratio(self.tuning_cents))

    def chord_at(self, beat: float) -> PlacedChord:
        """The chord in force at a beat; before bar 1 the first."""
        return next((c for c in reversed(self.chords) if c.onset_beat <= beat + 1e-9), self.chords[0])


def midi_pitch(name: str) -> int:
    """MIDI pitch of a name with its octave, `C4` being 60 (no Cb or B#, which would cross an octave)."""
    letter = name.rstrip("0123456789")
    return pitch_class(letter) + 12 * (int(name[len(letter) :]) + 1)


def beat_of(place: str) -> float:
    """Beats from bar 1 of a place written `bar:eighth` in 12/8."""
    bar, eighth = place.split(":")
    return (int(bar) - 1) * 4.0 + (float(eighth) - 1.0) / 3.0


def read_melody(place: str, text: str) -> list[tuple[float, float, int | None]]:
    """Onset, length (both in beats) and pitch of each entry of a melody; None is a rest, written `-`."""
    entries: list[tuple[float, float, int | None]] = []
    onset = beat_of(place)
    for entry in text.split(","):
        name, eighths = entry.split()
        length = float(eighths) / 3.0
        entries.append((onset, length, None if name == "-" else midi_pitch(name)))
        onset += length
    return entries


def read_phrase(place: str, text: str, velocity: int) -> tuple[ScoreNote, ...]:
    """A phrase of the player from its text."""
    return tuple(ScoreNote(b, d, p, velocity) for b, d, p in read_melody(place, text) if p is not None)


def read_line(place: str, melody: str, words: str, *, semitones: int = 0) -> tuple[SungNote, ...]:
    """A sung line from its melody and words, one syllable for each note."""
    notes = [(b, d, p) for b, d, p in read_melody(place, melody) if p is not None]
    syllables = [_read_syllable(word) for word in words.split()]
    return tuple(SungNote(b, d, p + semitones, s) for (b, d, p), s in zip(notes, syllables, strict=True))


def read_chords(first_bar: int, text: str, *, beats_per_bar: int = 4) -> tuple[PlacedChord, ...]:
    """Chords from bars divided by `|`; several in a bar share it evenly."""
    chords: list[PlacedChord] = []
    for bar, labels in enumerate(text.split("|")):
        names = labels.split()
        length = beats_per_bar / len(names)
        start = (first_bar - 1 + bar) * beats_per_bar
        chords += [PlacedChord(start + i * length, length, name) for i, name in enumerate(names)]
    return tuple(chords)


def _read_syllable(word: str) -> Syllable:
    text, _, phones = word.partition("=")
    if text == "~":
        return Syllable("")
    onset, vowel, coda = phones.split(".")
    return Syllable(text, onset, vowel, coda)
