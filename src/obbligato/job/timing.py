"""The line on the guide's time: from beats to seconds."""

from __future__ import annotations

from obbligato.music.grid import Grid
from obbligato.music.line import Line
from obbligato.takes.readings import PhraseSpan, TimedLine, TimedNote


def timed_line(line: Line, grid: Grid) -> TimedLine:
    """The line on the guide's time."""
    starts_s = grid.beat_to_sec([note.onset_beat for note in line.notes])
    ends_s = grid.beat_to_sec([note.end_beat for note in line.notes])
    return TimedLine(
        notes=tuple(
            TimedNote(i, float(start), float(end), note.pitch)
            for i, (note, start, end) in enumerate(zip(line.notes, starts_s, ends_s, strict=True))
        ),
        phrases=tuple(PhraseSpan(p.index, p.first_note, p.last_note) for p in line.phrases),
    )
