"""The player's line as played into a keyboard: loosely, with swing, and written as a MIDI file."""

from __future__ import annotations

import io
from dataclasses import dataclass

import mido
import numpy as np

from obbligato.demo.song import ScoreNote, Song

TICKS_PER_QUARTER = 960
_SWING = 0.58
"""Share of an eighth that the first of two sixteenths takes."""
_LAID_BACK_S = 0.012
_GM_TRUMPET = 57
"""General MIDI has no flugelhorn; program 57, counted from 1, is the trumpet."""


@dataclass(frozen=True)
class IntendedNote:
    """A note where a good player means it to be.

    Attributes
    ----------
    index, phrase
        Place in the line, and the phrase it belongs to, both from 0.
    start_s, end_s
        On the guide's time.
    pitch
        Sounding MIDI pitch.
    velocity
        MIDI velocity.
    """

    index: int
    phrase: int
    start_s: float
    end_s: float
    pitch: int
    velocity: int


def intended_notes(song: Song) -> tuple[IntendedNote, ...]:
    """The line with its groove: a little behind the beat, sixteenths swung, phrases swelling to their top note."""
    found: list[IntendedNote] = []
    for number, phrase in enumerate(song.phrases):
        starts = song.grid.beat_to_sec([_swung(n.onset_beat) for n in phrase]) + _LAID_BACK_S
        ends = song.grid.beat_to_sec([_swung(n.onset_beat + n.duration_beats) for n in phrase]) + _LAID_BACK_S
        for i, note in enumerate(phrase):
            length_s = float(ends[i] - starts[i])
            sounding = 0.95 if i + 1 < len(phrase) else 0.9
            found.append(
                IntendedNote(
                    index=len(found),
                    phrase=number,
                    start_s=float(starts[i]),
                    end_s=float(starts[i]) + sounding * length_s,
                    pitch=note.pitch,
                    velocity=note.velocity + _swell(phrase, note),
                )
            )
    return tuple(found)


def loosely_played(
    song: Song, *, rng: np.random.Generator, scatter_ms: float = 8.0, scatter_velocity: float = 4.0
) -> tuple[IntendedNote, ...]:
    """The line as it went into the MIDI file: every start, length and velocity a little off."""
    played: list[IntendedNote] = []
    for note in intended_notes(song):
        start_s = note.start_s + scatter_ms / 1000.0 * float(np.clip(rng.standard_normal(), -2.5, 2.5))
        length_s = (note.end_s - note.start_s) * float(1.0 + 0.03 * np.clip(rng.standard_normal(), -2.0, 1.0))
        velocity = round(note.velocity + scatter_velocity * float(rng.standard_normal()))
        played.append(
            IntendedNote(
                note.index, note.phrase, start_s, start_s + length_s, note.pitch, int(np.clip(velocity, 1, 127))
            )
        )
    return tuple(played)


def line_midi(song: Song, notes: tuple[IntendedNote, ...]) -> bytes:
    """The line as a MIDI file whose time zero is the guide's first sample, at the song's tempo."""
    quarters_per_beat = float(song.meter.beat_quarters)
    tempo_us = round(60e6 / (song.bpm * quarters_per_beat))
    upper, lower = song.meter.signature
    track = mido.MidiTrack()
    track.append(mido.MetaMessage("track_name", name="Flugelhorn (sounding pitch)", time=0))
    track.append(mido.MetaMessage("time_signature", numerator=upper, denominator=lower, time=0))
    track.append(mido.MetaMessage("set_tempo", tempo=tempo_us, time=0))
    track.append(mido.Message("program_change", program=_GM_TRUMPET - 1, time=0))
    events = [(n.start_s, "note_on", n) for n in notes] + [(n.end_s, "note_off", n) for n in notes]
    last = 0
    for at_s, kind, note in sorted(events, key=lambda e: (e[0], e[1])):
        tick = round(at_s * 1e6 / tempo_us * TICKS_PER_QUARTER)
        velocity = note.velocity if kind == "note_on" else 0
        track.append(mido.Message(kind, note=note.pitch, velocity=velocity, time=tick - last))
        last = tick
    midi = mido.MidiFile(type=0, ticks_per_beat=TICKS_PER_QUARTER)
    midi.tracks.append(track)
    target = io.BytesIO()
    midi.save(file=target)
    return target.getvalue()


def _swung(beat: float) -> float:
    """A place on the second sixteenth of an eighth moves back to its swung place; all others stay."""
    eighths = beat * 3.0
    whole = np.floor(eighths + 1e-6)
    return float((whole + _SWING) / 3.0) if abs(eighths - whole - 0.5) < 1e-3 else beat


def _swell(phrase: tuple[ScoreNote, ...], note: ScoreNote) -> int:
    low = min(n.pitch for n in phrase)
    high = max(n.pitch for n in phrase)
    return round(10.0 * (note.pitch - low) / max(high - low, 1)) - 4
