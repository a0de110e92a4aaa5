"""The line against what the singer sings, where the singer's notes are known.

A start within 100 ms of a sung one blurs the word; a long note within a tritone of the sung one lies in the singer's
octave and hides them; a semitone or a minor ninth against a sung note rubs when it is long or strong. Common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from obbligato.music.grid import Grid
from obbligato.music.harmony import note_name
from obbligato.music.instruments import Instrument
from obbligato.music.line import Note
from obbligato.music.remarks import Remark, Severity, bar_of, bars_text, place_text
from obbligato.music.spans import SungNote

TOGETHER_S = 0.1
_MANY_SHARE = 0.1
_LONG_BEATS = 1.0
_STRONG_VELOCITY = 100
_SHORTEST_S = 0.3
_NEAR_SEMITONES = 6
_RUBS = (1, 13)


def singing_remarks(
    notes: Sequence[Note], grid: Grid, sung: Sequence[SungNote], instrument: Instrument
) -> list[Remark]:
    """What of the line gets in the singer's way; nothing where nobody sings."""
    if not sung:
        return []
    return [
        *_together(notes, grid, sung),
        *_in_their_octave(notes, grid, sung),
        *_rubs(notes, grid, sung, instrument),
    ]


def _together(notes: Sequence[Note], grid: Grid, sung: Sequence[SungNote]) -> list[Remark]:
    starts_s = np.asarray(grid.beat_to_sec([note.onset_beat for note in notes]))
    sung_s = np.asarray([note.start_s for note in sung])
    hit = np.min(np.abs(starts_s[:, None] - sung_s[None, :]), axis=1) <= TOGETHER_S
    if not hit.any():
        return []
    bars = [bar_of(grid, note.onset_beat) for note, is_hit in zip(notes, hit, strict=True) if is_hit]
    share = float(hit.mean())
    sentence = (
        f"{share:.0%} of the notes ({len(bars)} of {len(notes)}) start within 100 ms of a sung note "
        f"({bars_text(bars)}); let the word come first, or start an eighth later."
    )
    severity: Severity = "look" if share > _MANY_SHARE else "note"
    return [Remark("voice", severity, min(bars), max(bars), sentence, {"share_at_sung": share})]


def _in_their_octave(notes: Sequence[Note], grid: Grid, sung: Sequence[SungNote]) -> list[Remark]:
    bars = [
        bar_of(grid, note.onset_beat)
        for note in notes
        if note.duration_beats >= _LONG_BEATS
        and any(abs(note.pitch - other.pitch) <= _NEAR_SEMITONES for other, _ in _under(note, grid, sung))
    ]
    if not bars:
        return []
    sentence = (
        f"{'1 long note lies' if len(bars) == 1 else f'{len(bars)} long notes lie'} in the singer's octave while "
        f"they sing ({bars_text(bars)}); an octave away, or shorter, leaves the tune in front."
    )
    return [Remark("voice", "look", min(bars), max(bars), sentence, {"notes": float(len(bars))})]


def _rubs(notes: Sequence[Note], grid: Grid, sung: Sequence[SungNote], instrument: Instrument) -> list[Remark]:
    remarks = []
    for index, note in enumerate(notes):
        if note.duration_beats < _LONG_BEATS and note.velocity < _STRONG_VELOCITY:
            continue
        for other, shared_s in _under(note, grid, sung):
            if abs(note.pitch - other.pitch) not in _RUBS:
                continue
            bar = bar_of(grid, note.onset_beat)
            written = note_name(instrument.to_written(note.pitch))
            sentence = (
                f"{place_text(grid, note.onset_beat).capitalize()}: written {written} rubs against the sung "
                f"{note_name(other.pitch)} (sounding) for {shared_s:.1f} s; move it, or keep it short."
            )
            remarks.append(Remark("clash", "look", bar, bar, sentence, {"shared_s": shared_s}, note=index))
            break
    return remarks


def _under(note: Note, grid: Grid, sung: Sequence[SungNote]) -> list[tuple[SungNote, float]]:
    """Sung notes that sound with a note for 0.3 s or more, and for how long."""
    start_s, end_s = (float(s) for s in grid.beat_to_sec([note.onset_beat, note.end_beat]))
    shared = [(other, min(end_s, other.end_s) - max(start_s, other.start_s)) for other in sung]
    return [(other, shared_s) for other, shared_s in shared if shared_s >= _SHORTEST_S]
