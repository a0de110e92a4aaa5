"""The page as a plain object: what is printed in which bar, in written pitch, before any engraving.

Lengths and places inside a bar are exact fractions of a quarter note. Bars carry the song's own numbers.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction

from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import Clef, Instrument
from obbligato.music.notation import Tuplet
from obbligato.music.spans import Mode
from obbligato.music.spelling import Spelling
from obbligato.page.score_marks import NO_SCORE_MARKS, ScoreMarks, closed_marks


@dataclass(frozen=True)
class Heading:
    """What stands at the head and foot of a page.

    Attributes
    ----------
    version
        The line's version, as printed in the foot and checked against the recording.
    guide_sha256
        Fingerprint of the guide that bar numbers and times refer to.
    """

    title: str
    version: int
    guide_sha256: str
    day: date
    player: str = ""

    @property
    def stamp(self) -> str:
        """Version, guide and date in one line."""
        return f"version {self.version} · guide {self.guide_sha256[:12]} · {self.day.isoformat()}"


@dataclass(frozen=True)
class ScoreNote:
    """A note or rest as printed.

    Attributes
    ----------
    onset, quarters
        Place in the bar and length, both in quarter notes as they sound (inside a tuplet: shortened).
    pitch
        Written pitch; None for a rest.
    """

    onset: Fraction
    quarters: Fraction
    pitch: Spelling | None
    tied_from_before: bool = False
    tied_to_next: bool = False
    tuplet: Tuplet | None = None
    breath_after: bool = False
    marks: ScoreMarks = NO_SCORE_MARKS


@dataclass(frozen=True)
class ScoreChord:
    """A chord symbol in written pitch at a place in its bar (quarter notes), as `Cm7/Eb`."""

    onset: Fraction
    text: str


@dataclass(frozen=True)
class WrittenKey:
    """A key signature in written pitch: sharps positive, flats negative."""

    fifths: int
    mode: Mode


@dataclass(frozen=True)
class ScoreBar:
    """One bar of the page; no notes means a whole bar of rest.

    Attributes
    ----------
    number
        The song's bar number; 0 and below lie before bar 1.
    rehearsal
        Section letter where a section begins.
    key
        New key signature where the key changes.
    rest_bars
        In the first bar of a multi-bar rest, how many bars it covers; otherwise 0.
    clef
        New clef where the clef changes.
    tempo
        New tempo where the tempo changes: beats of the metre a minute, or None, and words such as `rit.`.
    cue
        Words that are sung in the guide in this bar, to come in by.
    """

    number: int
    notes: tuple[ScoreNote, ...] = ()
    chords: tuple[ScoreChord, ...] = ()
    rehearsal: str = ""
    key: WrittenKey | None = None
    rest_bars: int = 0
    clef: Clef | None = None
    tempo: tuple[float | None, str] | None = None
    cue: str = ""


def with_closed_marks(bars: Sequence[ScoreBar]) -> tuple[ScoreBar, ...]:
    """Bars cut out of a part, with the slurs and hairpins that reach out of them cut at their ends."""
    closed = iter(closed_marks([note.marks for bar in bars for note in bar.notes if note.pitch]))
    return tuple(
        replace(bar, notes=tuple(replace(note, marks=next(closed)) if note.pitch else note for note in bar.notes))
        for bar in bars
    )


@dataclass(frozen=True)
class Part:
    """A page for one instrument.

    Attributes
    ----------
    instrument
        With the clef that the page begins in.
    grid
        Where the page's bars lie in the guide.
    beats_a_minute
        Tempo in beats of the metre; of a song that is not `steady` the first, which holds about.
    feel
        Words on how to read the rhythm, such as `Swing` or `Straight`; empty where it makes no difference.
    lead_in
        How the song starts before bar 1, in words.
    first_note
        The first note check in words; in a score in concert pitch, how the player's part is written.
    concert_of
        In a score in concert pitch, for a reader who does not play the part: the instrument as its player reads it.
    """

    heading: Heading
    instrument: Instrument
    meter: Meter
    grid: Grid
    key: WrittenKey
    beats_a_minute: float
    steady: bool
    feel: str
    lead_in: str
    first_note: str
    bars: tuple[ScoreBar, ...]
    concert_of: Instrument | None = None

    @property
    def concert(self) -> bool:
        """Whether this is a score in concert pitch."""
        return self.concert_of is not None

    @property
    def reading(self) -> str:
        """How written pitch relates to sounding pitch, in words."""
        semitones = self.instrument.transposition.semitones
        if self.concert_of is not None:
            words = (
                "it sounds as written" if semitones == 0 else f"it sounds {interval_words(semitones)} than written"
            )
            return f"Score in concert pitch: {words}."
        if semitones == 0:
            return "Concert pitch: it sounds as written."
        return f"Written pitch: it sounds {interval_words(semitones)} than written."


_INTERVALS = (
    "",
    "a minor second",
    "a major second",
    "a minor third",
    "a major third",
    "a perfect fourth",
    "an augmented fourth",
    "a perfect fifth",
    "a minor sixth",
    "a major sixth",
    "a minor seventh",
    "a major seventh",
)


def interval_words(semitones: int) -> str:
    """From written to sounding in words, other than a unison.

    >>> interval_words(-14)
    'an octave and a major second lower'
    """
    octaves, rest = divmod(abs(semitones), 12)
    parts = [{0: "", 1: "an octave"}.get(octaves, f"{octaves} octaves"), _INTERVALS[rest]]
    return " and ".join(part for part in parts if part) + (" lower" if semitones < 0 else " higher")
