"""The line in company: does it leave the singer alone, agree with the chords, and use the room there is?

A note held under the voice is fine; one struck together with a sung word is what hurts, so attacks are counted, not
overlaps. A note a semitone (or a minor ninth) above a chord tone is the classic clash when it is long or strong. Of
the openings a third to a half is a good measure. These are rules of thumb of the trade without a source.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from obbligato.music.grid import Grid
from obbligato.music.harmony import Chord, note_name, parse_chord
from obbligato.music.instruments import Instrument
from obbligato.music.line import Note
from obbligato.music.remarks import Remark, Severity, bar_of, bars_text, place_text
from obbligato.music.spans import ChordSpan, Opening, Span

ENTRY_WINDOW_S = 0.1
_MANY_SHARE = 0.1
_LONG_BEATS = 1.0
_STRONG_VELOCITY = 100
_SHORTEST_CLASH_S = 0.3
_CROWDED_SHARE = 0.8


def voice_remarks(notes: Sequence[Note], grid: Grid, voice: Sequence[Span]) -> list[Remark]:
    """Notes that start together with the singer, and how much of the line starts under the voice."""
    if not voice:
        return []
    starts_s = grid.beat_to_sec([n.onset_beat for n in notes])
    entries_s = np.asarray([span.start_s for span in voice])
    together = np.min(np.abs(starts_s[:, None] - entries_s[None, :]), axis=1) <= ENTRY_WINDOW_S
    under = np.any([(starts_s >= span.start_s - ENTRY_WINDOW_S) & (starts_s < span.end_s) for span in voice], axis=0)
    bars = np.asarray([bar_of(grid, n.onset_beat) for n in notes])
    remarks = []
    n = len(notes)
    if together.any():
        hit = bars[together].tolist()
        share = float(together.mean())
        sentence = (
            f"{_notes(len(hit))} of {n} start{'s' if len(hit) == 1 else ''} within 100 ms of the singer's entry "
            f"({bars_text(hit)}); let the word come first, or start an eighth later."
        )
        severity: Severity = "look" if share > _MANY_SHARE else "note"
        remarks.append(Remark("voice", severity, min(hit), max(hit), sentence, {"share_at_entries": share}))
    if under.any():
        hit = bars[under].tolist()
        share = float(under.mean())
        sentence = (
            f"{_notes(len(hit))} of {n} start{'s' if len(hit) == 1 else ''} while the singer sings "
            f"({bars_text(hit)}); held notes are fine there, new attacks draw the ear."
        )
        severity = "look" if share > 0.5 else "note"
        remarks.append(Remark("voice", severity, min(hit), max(hit), sentence, {"share_under_voice": share}))
    return remarks


def clash_remarks(
    notes: Sequence[Note], grid: Grid, chords: Sequence[ChordSpan], instrument: Instrument
) -> list[Remark]:
    """Long or strong notes a semitone above a tone of the chord that sounds with them."""
    remarks = []
    read = [(span, parse_chord(span.label)) for span in chords]
    times_s = grid.beat_to_sec([(note.onset_beat, note.end_beat) for note in notes]).tolist()
    for note, (start_s, end_s) in zip(notes, times_s, strict=True):
        if note.duration_beats < _LONG_BEATS and note.velocity < _STRONG_VELOCITY:
            continue
        for span, chord in read:
            shared_s = min(end_s, span.end_s) - max(start_s, span.start_s)
            if chord is None or shared_s < _SHORTEST_CLASH_S or not _clashes(note.pitch, chord):
                continue
            bar = bar_of(grid, note.onset_beat)
            sounding, tone = note_name(note.pitch), note_name(note.pitch - 1)
            written = note_name(instrument.to_written(note.pitch))
            name = sounding if written == sounding else f"{sounding} (written {written})"
            sentence = (
                f"{place_text(grid, note.onset_beat).capitalize()}: {name} rubs against the {tone} of {span.label} "
                f"for {shared_s:.1f} s; move it to a chord tone or keep it short, unless the rub is meant."
            )
            remarks.append(Remark("clash", "look", bar, bar, sentence, {"shared_s": shared_s}))
            break
    return remarks


def openings_remarks(notes: Sequence[Note], grid: Grid, openings: Sequence[Opening]) -> list[Remark]:
    """How many of the singer's gaps the line uses."""
    if not openings:
        return []
    starts_s = grid.beat_to_sec([n.onset_beat for n in notes])
    used = sum(bool(np.any((starts_s >= o.start_s) & (starts_s < o.end_s))) for o in openings)
    share = used / len(openings)
    severity: Severity = "look"
    first, last = openings[0].first_bar, openings[-1].last_bar
    if share > _CROWDED_SHARE and len(openings) > 2:
        advice = "a third to a half is often enough, so leave some silent, the early ones first"
    elif used == 0:
        advice = "the line never plays where the singer leaves room"
    else:
        advice, severity = "a third to a half is often enough", "note"
    sentence = f"The line plays in {used} of the {len(openings)} openings; {advice}."
    return [Remark("openings", severity, first, last, sentence, {"share_used": share})]


def _clashes(pitch: int, chord: Chord) -> bool:
    return pitch % 12 not in chord.pitch_classes and (pitch - 1) % 12 in chord.pitch_classes


def _notes(n: int) -> str:
    return "1 note" if n == 1 else f"{n} notes"
