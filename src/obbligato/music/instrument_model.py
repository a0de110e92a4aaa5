"""What is known of an instrument: transposition, clef, three zones of its range, breath, bow and lip."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from obbligato.music.harmony import note_name, pitch_class

Clef = Literal["treble", "bass", "alto", "tenor", "treble8vb"]
Family = Literal["brass", "woodwind", "strings", "plucked", "voice"]
Zone = Literal["below", "ask low", "low", "comfortable", "high", "ask high", "above"]


@dataclass(frozen=True)
class Interval:
    """From written up to sounding, as MusicXML's `<transpose>` counts it (section 7.5 of MusicXML 4.0).

    `diatonic` and `chromatic` leave whole octaves out; those are in `octaves`.
    """

    diatonic: int = 0
    chromatic: int = 0
    octaves: int = 0

    @property
    def semitones(self) -> int:
        """Semitones from written to sounding."""
        return self.chromatic + 12 * self.octaves


@dataclass(frozen=True)
class WeakNotes:
    """Written pitches from `low` to `high` (both included) that are weak, out of tune or slow, and why."""

    low: int
    high: int
    why: str


@dataclass(frozen=True)
class Instrument:
    """A single-line instrument.

    Attributes
    ----------
    name
        As written at the head of a part, e.g. `Flugelhorn in Bb`.
    transposition
        Written to sounding.
    low, high, strong_low, strong_high, comfortable_low, comfortable_high
        Written MIDI pitches of the outer range, of what a strong player has, and of what is safe for any good one.
        Between the strong and the outer one, ask the player first.
    breath_s
        Comfortable phrase at mezzo-forte in seconds; None where breath sets no limit.
    bow_s
        A full bow at mezzo-forte in seconds; None where there is no bow.
    play_to_rest
        Seconds of playing that go with one of rest before the lip tires; None where it does not.
    weak
        Notes that do not carry, are out of tune or slow to speak.
    gm_program
        General MIDI program, 1-based.
    """

    name: str
    aliases: tuple[str, ...]
    key: str
    family: Family
    transposition: Interval
    clef: Clef
    low: int
    high: int
    strong_low: int
    strong_high: int
    comfortable_low: int
    comfortable_high: int
    breath_s: float | None
    bow_s: float | None
    play_to_rest: float | None
    weak: tuple[WeakNotes, ...]
    gm_program: int

    def to_written(self, sounding: int) -> int:
        """Sounding MIDI pitch to written."""
        return sounding - self.transposition.semitones

    def to_sounding(self, written: int) -> int:
        """Written MIDI pitch to sounding."""
        return written + self.transposition.semitones

    def zone(self, written: int) -> Zone:
        """Where a written pitch lies in the range."""
        if written < self.low:
            return "below"
        if written > self.high:
            return "above"
        if written < self.comfortable_low:
            return "ask low" if written < self.strong_low else "low"
        if written > self.comfortable_high:
            return "ask high" if written > self.strong_high else "high"
        return "comfortable"


def pitch_text(pitch: int) -> str:
    """Name and octave of a pitch; black keys by their flat names.

    >>> pitch_text(70)
    'Bb4'
    """
    return f"{note_name(pitch)}{pitch // 12 - 1}"


def parse_pitch(name: str) -> int:
    """MIDI pitch of a name with its octave in one digit; the other way round of `pitch_text`.

    >>> parse_pitch("F#3")
    54
    """
    return 12 * (int(name[-1]) + 1) + pitch_class(name[:-1])
