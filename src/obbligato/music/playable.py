"""Whether a line can be played and sits well: range, fingers, breath, lip, bow, the singer, the chords, openings."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from obbligato.music.breath import breath_remarks
from obbligato.music.company import clash_remarks, openings_remarks, voice_remarks
from obbligato.music.fingers import finger_remarks, weak_remarks
from obbligato.music.grid import Grid
from obbligato.music.instruments import Instrument, Zone, pitch_text
from obbligato.music.line import Line, Note
from obbligato.music.remarks import Remark, Severity, bar_of, bars_text
from obbligato.music.singing import singing_remarks
from obbligato.music.spans import ChordSpan, Opening, Span, SungNote
from obbligato.music.stamina import stamina_remarks

__all__ = ["Remark", "Severity", "check_line", "range_remarks"]

_SEVERITIES: tuple[Severity, ...] = ("stop", "look", "note")
_WIDEST_LEAP = {"brass": 12, "voice": 12, "woodwind": 19, "strings": 19, "plucked": 19}
"""Semitones that are no trouble without a rest between: an octave, or an octave and a fifth (common practice)."""
_LEAP_GAP_S = 0.25


def check_line(
    line: Line,
    grid: Grid,
    instrument: Instrument,
    *,
    voice: Sequence[Span] = (),
    chords: Sequence[ChordSpan] = (),
    openings: Sequence[Opening] = (),
    sung: Sequence[SungNote] = (),
) -> tuple[Remark, ...]:
    """Everything worth saying about a line before it is played, the gravest first, then in order of bars.

    Parameters
    ----------
    line
        In sounding pitch; names of notes in the sentences are written ones for the instrument, and say so.
    voice, chords, openings, sung
        What is known of the song; what is not known is not remarked on.
    """
    remarks = [
        *range_remarks(line.notes, grid, instrument),
        *weak_remarks(line.notes, grid, instrument),
        *breath_remarks(line.notes, grid, instrument),
        *stamina_remarks(line.notes, grid, instrument),
        *finger_remarks(line.notes, grid, instrument),
        *_leap_remarks(line.notes, grid, instrument),
        *voice_remarks(line.notes, grid, voice),
        *singing_remarks(line.notes, grid, sung, instrument),
        *clash_remarks(line.notes, grid, chords, instrument),
        *openings_remarks(line.notes, grid, openings),
    ]
    return tuple(sorted(remarks, key=lambda r: (_SEVERITIES.index(r.severity), r.first_bar)))


def range_remarks(notes: Sequence[Note], grid: Grid, instrument: Instrument) -> list[Remark]:
    """Notes outside the safe range, zone by zone."""
    i = instrument
    octave, ask, strong = _octave_fix(notes, i), "ask the player first", "for a strong player; save it for one place"
    zones: dict[Zone, tuple[Severity, str, str]] = {
        "below": ("stop", f"below the lowest note ({pitch_text(i.low)})", octave),
        "above": ("stop", f"above the highest note ({pitch_text(i.high)})", octave),
        "ask low": ("look", f"lower than most strong players go ({pitch_text(i.strong_low)})", ask),
        "ask high": ("look", f"higher than most strong players go ({pitch_text(i.strong_high)})", ask),
        "low": ("look", f"low, under the safe {pitch_text(i.comfortable_low)}", strong),
        "high": ("look", f"high, over the safe {pitch_text(i.comfortable_high)}", strong),
    }
    remarks = []
    for zone, (severity, words, fix) in zones.items():
        found = [(note, w) for note in notes if i.zone(w := i.to_written(note.pitch)) == zone]
        if not found:
            continue
        bars = [bar_of(grid, note.onset_beat) for note, _ in found]
        names = ", ".join(pitch_text(p) for p in sorted({written for _, written in found}))
        sentence = f"{bars_text(bars).capitalize()}: written {names} for {i.name} is {words}; {fix}."
        numbers = {"notes": float(len(found)), "share": len(found) / len(notes)}
        remarks.append(Remark("range", severity, min(bars), max(bars), sentence, numbers))
    return remarks


def _octave_fix(notes: Sequence[Note], instrument: Instrument) -> str:
    written = [instrument.to_written(note.pitch) for note in notes]
    for semitones, words in (
        (12, "an octave up"),
        (-12, "an octave down"),
        (24, "two octaves up"),
        (-24, "two octaves down"),
    ):
        if all(instrument.low <= pitch + semitones <= instrument.high for pitch in written):
            return f"the whole line fits {words}"
    return "move those notes by an octave or leave them out"


def _leap_remarks(notes: Sequence[Note], grid: Grid, instrument: Instrument) -> list[Remark]:
    widest = _WIDEST_LEAP[instrument.family]
    hits = []
    starts_s = grid.beat_to_sec([note.onset_beat for note in notes])
    ends_s = grid.beat_to_sec([note.end_beat for note in notes])
    for (a, b), gap_s in zip(pairwise(notes), starts_s[1:] - ends_s[:-1], strict=True):
        if abs(b.pitch - a.pitch) > widest and gap_s < _LEAP_GAP_S:
            hits.append((bar_of(grid, b.onset_beat), abs(b.pitch - a.pitch)))
    if not hits:
        return []
    bars = [bar for bar, _ in hits]
    largest = max(size for _, size in hits)
    sentence = (
        f"{bars_text(bars).capitalize()}: leaps of up to {largest} semitones without a rest; awkward on "
        f"{instrument.name}, so break them with a rest or fold them by an octave."
    )
    return [Remark("leap", "look", min(bars), max(bars), sentence, {"largest_semitones": float(largest)})]
