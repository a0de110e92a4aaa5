"""Instruments: transposition, clef, ranges, breath; the table and how to look one up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Clef = Literal["treble", "bass", "alto", "tenor", "treble8vb"]


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
class Instrument:
    """A single-line instrument.

    Attributes
    ----------
    name
        As written at the head of a part, e.g. `Flugelhorn in Bb`.
    transposition
        Written to sounding.
    low, high, comfortable_low, comfortable_high
        Written MIDI pitches of the outer and the comfortable range.
    breath_s
        Comfortable phrase at mezzo-forte in seconds; None where nobody breathes.
    gm_program
        General MIDI program, 1-based.
    """

    name: str
    aliases: tuple[str, ...]
    key: str
    family: Literal["brass", "woodwind", "strings", "plucked", "voice"]
    transposition: Interval
    clef: Clef
    low: int
    high: int
    comfortable_low: int
    comfortable_high: int
    breath_s: float | None
    gm_program: int
