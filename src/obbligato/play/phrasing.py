"""How the mock-up phrases a line: what its marks ask for, and the little that an instrument does by itself.

Articulations shorten notes and slurs join them; accents are played louder. A long note of an instrument whose players
use vibrato gets a gentle one after a while, and where players slide into the first note of a phrase, so does it. All
of it is less than a player would do: the mock-up is to be judged for notes, rhythm and places, and must not promise
more than the real thing. The same line always sounds the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from obbligato.music.instruments import Instrument
from obbligato.music.line import Line, Note
from obbligato.music.loudness import as_marked
from obbligato.play.soundfont import Bend, TimedNote

SHORTENED_TO = {"staccatissimo": 0.35, "staccato": 0.5}
"""Share of the time until the next note that such a note is held (common practice, no source)."""
LOUDER_BY = {"accent": 12, "marcato": 20}
"""Of MIDI velocity, of which 16 are a step from one dynamic to the next (our own choice)."""
VIBRATO_HZ = 5.5
"""Players' is 5 to 7 a second and 20 to 50 cents either way (from memory); ours is as slow, and less wide."""
VIBRATO_CENTS = (
    (("flute", "piccolo", "oboe", "english horn", "bassoon", "sax"), 12.0),
    (("violin", "viola", "cello", "double bass", "voice"), 16.0),
    (("trumpet", "cornet", "flugelhorn", "trombone", "euphonium"), 8.0),
)
"""Half the width, by what stands in an instrument's name; clarinets, horns and the rest do without (common practice,
no source)."""
SCOOPING = ("sax", "trombone", "voice")
SCOOP_CENTS, SCOOP_S = 30.0, 0.09
_AFTER_S, _GROWS_S, _LONG_S = 0.3, 0.4, 0.6
_STEP_S = 0.01
_JOINED_S = 0.1


@dataclass(frozen=True)
class Phrased:
    """A line as it is to sound: its notes, and how the pitch bends meanwhile."""

    notes: tuple[TimedNote, ...]
    bends: tuple[Bend, ...]


def phrased(line: Line, instrument: Instrument, starts_s: Sequence[float], ends_s: Sequence[float]) -> Phrased:
    """Phrase a line whose notes last from `starts_s` to `ends_s`, one at a time; seconds, shape (n_notes,)."""
    notes = as_marked(line.notes)
    nexts_s = [*starts_s[1:], np.inf]
    timed = []
    for note, start_s, end_s, next_s in zip(notes, starts_s, ends_s, nexts_s, strict=True):
        louder = sum(LOUDER_BY.get(sign, 0) for sign in note.marks.signs)
        until_s = _end_s(note, start_s, end_s, next_s)
        if until_s > start_s:
            timed.append(TimedNote(start_s, until_s, note.pitch, min(127, note.velocity + louder)))
    first_s = {float(starts_s[phrase.first_note]) for phrase in line.phrases}
    width = _vibrato_cents(instrument)
    scoops = any(word in instrument.name.lower() for word in SCOOPING)
    bends = [
        bend for note in timed for bend in _bends(note, width_cents=width, scoop=scoops and note.start_s in first_s)
    ]
    return Phrased(tuple(timed), tuple(bends))


def _end_s(note: Note, start_s: float, end_s: float, next_s: float) -> float:
    """Where a note is let go: a slurred one when the next begins, a short one after its share of the time."""
    if note.marks.slurred and next_s - end_s < _JOINED_S:
        return next_s
    shares = [SHORTENED_TO[sign] for sign in note.marks.signs if sign in SHORTENED_TO]
    room_s = min(next_s - start_s, 2.0 * (end_s - start_s))
    return min(end_s, start_s + min(shares) * room_s) if shares else end_s


def _vibrato_cents(instrument: Instrument) -> float:
    name = instrument.name.lower()
    return next((cents for words, cents in VIBRATO_CENTS if any(word in name for word in words)), 0.0)


def _bends(note: TimedNote, *, width_cents: float, scoop: bool) -> Iterator[Bend]:
    """The pitch over one note; it begins at its own pitch again whatever went before."""
    length_s = note.end_s - note.start_s
    scoop = scoop and length_s >= _LONG_S
    yield Bend(note.start_s, -SCOOP_CENTS if scoop else 0.0)
    if scoop:
        for at_s in np.arange(_STEP_S, SCOOP_S + _STEP_S / 2, _STEP_S):
            yield Bend(note.start_s + float(at_s), -SCOOP_CENTS * max(0.0, 1.0 - float(at_s) / SCOOP_S))
    if width_cents and length_s >= _LONG_S:
        for since_s in np.arange(0.0, length_s - _AFTER_S, _STEP_S):
            width = width_cents * min(1.0, float(since_s) / _GROWS_S)
            cents = width * float(np.sin(2 * np.pi * VIBRATO_HZ * since_s))
            yield Bend(note.start_s + _AFTER_S + float(since_s), cents)
