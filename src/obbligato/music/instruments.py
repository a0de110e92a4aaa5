"""Instruments: transposition, clef, ranges, breath; the table and how to look one up.

Transpositions and clefs are those of any orchestration handbook and are checked against music21 where it has them.
Outer ranges follow the handbooks in the tradition of Adler (The Study of Orchestration) and Blatter
(Instrumentation and Orchestration), from memory; comfortable ranges and breaths are common practice without a
source. All of them depend on the player and are defaults to differ from.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from typing import Literal

from obbligato.errors import InputError
from obbligato.music.harmony import note_name, pitch_class

Clef = Literal["treble", "bass", "alto", "tenor", "treble8vb"]
Family = Literal["brass", "woodwind", "strings", "plucked", "voice"]


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
        Comfortable phrase at mezzo-forte in seconds; None where breath sets no limit.
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
    comfortable_low: int
    comfortable_high: int
    breath_s: float | None
    gm_program: int

    def to_written(self, sounding: int) -> int:
        """Sounding MIDI pitch to written."""
        return sounding - self.transposition.semitones

    def to_sounding(self, written: int) -> int:
        """Written MIDI pitch to sounding."""
        return written + self.transposition.semitones


def pitch_text(pitch: int) -> str:
    """Name and octave of a pitch; black keys by their flat names.

    >>> pitch_text(70)
    'Bb4'
    """
    return f"{note_name(pitch)}{pitch // 12 - 1}"


def _pitch(name: str) -> int:
    return 12 * (int(name[-1]) + 1) + pitch_class(name[:-1])


def _make(
    name: str,
    family: Family,
    clef: Clef,
    ranges: str,
    *,
    interval: Interval | None = None,
    key: str = "C",
    breath_s: float | None,
    gm: int,
    aliases: tuple[str, ...] = (),
) -> Instrument:
    """Build an instrument; `ranges` names its outer and its comfortable range, lowest written note first."""
    low, high, comfortable_low, comfortable_high = (_pitch(p) for p in ranges.split())
    return Instrument(
        name=name,
        aliases=aliases,
        key=key,
        family=family,
        transposition=interval or Interval(),
        clef=clef,
        low=low,
        high=high,
        comfortable_low=comfortable_low,
        comfortable_high=comfortable_high,
        breath_s=breath_s,
        gm_program=gm,
    )


_TONE = Interval(-1, -2)
_MINOR_THIRD = Interval(-2, -3)
_FOURTH = Interval(-3, -5)
_FIFTH = Interval(-4, -7)
_MAJOR_SIXTH = Interval(-5, -9)
_NINTH = Interval(-1, -2, -1)
_THIRTEENTH = Interval(-5, -9, -1)
_OCTAVE_DOWN = Interval(octaves=-1)
_OCTAVE_UP = Interval(octaves=1)

INSTRUMENTS: tuple[Instrument, ...] = (
    _make("Soprano Sax in Bb", "woodwind", "treble", "Bb3 F#6 D4 C6", interval=_TONE, key="Bb", breath_s=9.0, gm=65),
    _make(
        "Alto Sax in Eb", "woodwind", "treble", "Bb3 F#6 D4 C6", interval=_MAJOR_SIXTH, key="Eb", breath_s=8.0, gm=66
    ),
    _make("Tenor Sax in Bb", "woodwind", "treble", "Bb3 F#6 D4 C6", interval=_NINTH, key="Bb", breath_s=8.0, gm=67),
    _make(
        "Baritone Sax in Eb",
        "woodwind",
        "treble",
        "A3 F#6 C4 B5",
        interval=_THIRTEENTH,
        key="Eb",
        breath_s=7.0,
        gm=68,
        aliases=("bari sax",),
    ),
    _make("Clarinet in Bb", "woodwind", "treble", "E3 C7 E3 C6", interval=_TONE, key="Bb", breath_s=10.5, gm=72),
    _make("Clarinet in A", "woodwind", "treble", "E3 C7 E3 C6", interval=_MINOR_THIRD, key="A", breath_s=10.5, gm=72),
    _make(
        "Bass Clarinet in Bb", "woodwind", "treble", "Eb3 G6 E3 G5", interval=_NINTH, key="Bb", breath_s=8.0, gm=72
    ),
    _make("Flute", "woodwind", "treble", "C4 D7 D4 A6", breath_s=6.0, gm=74, aliases=("concert flute",)),
    _make(
        "Piccolo",
        "woodwind",
        "treble",
        "D4 C7 G4 G6",
        interval=_OCTAVE_UP,
        breath_s=7.0,
        gm=73,
        aliases=("piccolo flute",),
    ),
    _make("Alto Flute in G", "woodwind", "treble", "C4 C7 C4 C6", interval=_FOURTH, key="G", breath_s=5.0, gm=74),
    _make("Oboe", "woodwind", "treble", "Bb3 A6 D4 C6", breath_s=16.0, gm=69),
    _make(
        "English Horn in F",
        "woodwind",
        "treble",
        "B3 G6 C4 C6",
        interval=_FIFTH,
        key="F",
        breath_s=13.0,
        gm=70,
        aliases=("cor anglais",),
    ),
    _make("Bassoon", "woodwind", "bass", "Bb1 E5 C2 G4", breath_s=10.0, gm=71),
    _make("Trumpet in Bb", "brass", "treble", "F#3 D6 A3 A5", interval=_TONE, key="Bb", breath_s=8.0, gm=57),
    _make("Trumpet in C", "brass", "treble", "F#3 D6 A3 A5", breath_s=8.0, gm=57),
    _make("Cornet in Bb", "brass", "treble", "F#3 C6 A3 G5", interval=_TONE, key="Bb", breath_s=8.0, gm=57),
    _make(
        "Flugelhorn in Bb",
        "brass",
        "treble",
        "F#3 C6 G3 G5",
        interval=_TONE,
        key="Bb",
        breath_s=7.0,
        gm=57,
        aliases=("flugel", "fluegelhorn", "flügelhorn", "flugel horn"),
    ),
    _make(
        "Horn in F",
        "brass",
        "treble",
        "F#2 C6 G3 G5",
        interval=_FIFTH,
        key="F",
        breath_s=8.0,
        gm=61,
        aliases=("french horn",),
    ),
    _make("Trombone", "brass", "bass", "E2 F5 F2 F4", breath_s=6.0, gm=58, aliases=("tenor trombone",)),
    _make("Tuba", "brass", "bass", "D1 G4 F1 D4", breath_s=5.0, gm=59),
    _make("Violin", "strings", "treble", "G3 A7 G3 E6", breath_s=None, gm=41, aliases=("fiddle",)),
    _make("Viola", "strings", "alto", "C3 E6 C3 A5", breath_s=None, gm=42),
    _make("Cello", "strings", "bass", "C2 C6 C2 A4", breath_s=None, gm=43, aliases=("violoncello",)),
    _make(
        "Double Bass",
        "strings",
        "bass",
        "E2 C5 E2 G4",
        interval=_OCTAVE_DOWN,
        breath_s=None,
        gm=44,
        aliases=("contrabass", "upright bass", "string bass"),
    ),
    _make(
        "Guitar",
        "plucked",
        "treble",
        "E3 E6 E3 C6",
        interval=_OCTAVE_DOWN,
        breath_s=None,
        gm=25,
        aliases=("acoustic guitar", "electric guitar"),
    ),
    _make(
        "Electric Bass",
        "plucked",
        "bass",
        "E2 G4 E2 C4",
        interval=_OCTAVE_DOWN,
        breath_s=None,
        gm=34,
        aliases=("bass guitar",),
    ),
    _make("Harmonica in C", "woodwind", "treble", "C4 C7 C4 G6", breath_s=None, gm=23, aliases=("mouth organ",)),
    _make("Soprano Voice", "voice", "treble", "C4 C6 D4 G5", breath_s=8.0, gm=53),
    _make("Alto Voice", "voice", "treble", "F3 F5 G3 D5", breath_s=8.0, gm=53),
    _make("Tenor Voice", "voice", "treble8vb", "C4 C6 D4 G5", interval=_OCTAVE_DOWN, breath_s=8.0, gm=53),
    _make("Bass Voice", "voice", "bass", "E2 E4 G2 C4", breath_s=8.0, gm=53),
)
"""Every instrument this program knows; where one comes in several keys, the usual one stands first."""


def find_instrument(name: str) -> Instrument:
    """Look an instrument up by its name, however it is commonly written.

    Capitals, hyphens, word order, `sax` or `saxophone`, `in Bb`, `B flat` or `B♭` make no difference; an instrument
    that comes in several keys is the usual one unless a key is named.

    >>> find_instrument("b-flat flugel").name
    'Flugelhorn in Bb'

    Raises
    ------
    InputError
        When no instrument, or more than one, answers to the name; the nearest names are given.
    """
    words, key = _words(name)
    found = [i for i in INSTRUMENTS if words in _names(i)]
    if key:
        matching = [i for i in found if i.key == key]
        if found and not matching:
            raise InputError(f"'{name}' is not known in that key; this program has: {_listed(found)}.")
        found = matching
    if found:
        return found[0]
    raise InputError(f"'{name}' is not an instrument this program knows; {_suggestion(words)}")


def _words(text: str) -> tuple[frozenset[str], str]:
    """The words of a name without its key, and the key (empty where none is named)."""
    plain = text.casefold().replace("♭", "b").replace("saxophone", "sax")
    plain = re.sub(r"\b([a-g])[\s-]*(?:flat|b)\b", r"\1b", plain)
    words = [word for word in re.split(r"[^\w#]+", plain) if word not in ("", "in", "the")]
    keys = [word for word in words if re.fullmatch("[a-g]b?", word)]
    return frozenset(word for word in words if word not in keys), keys[0].capitalize() if len(keys) == 1 else ""


def _names(instrument: Instrument) -> list[frozenset[str]]:
    return [_words(name)[0] for name in (instrument.name, *instrument.aliases)]


def _listed(instruments: list[Instrument]) -> str:
    return ", ".join(i.name for i in instruments)


def _suggestion(words: frozenset[str]) -> str:
    """The instruments whose names share a word with the name asked for, or else look most like it."""
    near = [i for i in INSTRUMENTS if any(words & names for names in _names(i))]
    if not near:
        wanted = " ".join(sorted(words))
        spelled = {" ".join(sorted(names)): i for i in reversed(INSTRUMENTS) for names in _names(i)}
        close = difflib.get_close_matches(wanted, list(spelled), n=6, cutoff=0.5)
        near = list(dict.fromkeys(spelled[text] for text in close))
    if near:
        return f"did you mean {_listed(near)}?"
    return f"choose one of: {_listed(list(INSTRUMENTS))}."
