"""A line as a MIDI file that lies right when put at the very start of the client's session.

Time zero of the file is the guide's first sample, and its bar lines are the song's. A song rarely begins on a bar
line of its own grid, so the file's first bar is stretched or squeezed by its tempo to last exactly until the first
bar line that suits; from there on the tempo map follows the grid, anchor by anchor.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.music.line import Line, Note
from obbligato.sound.atomic import write_bytes_at_once

TICKS_PER_QUARTER = 1920
"""A tick is half a millisecond at 62 quarters a minute."""
_LONGEST_STEP_BARS = 64
"""Tempo is stated in whole microseconds; it is put right at least this often."""
_CLOCKS_PER_QUARTER = 24
_LEAST_FIRST_BAR = 0.5
"""The first bar lasts between a half and one and a half of the song's, so its tempo is one that programs accept."""
_MARGIN_S = 1e-6


def write_midi(
    path: Path, line: Line, grid: Grid, *, title: str, program: int, markers: Sequence[tuple[float, str]] = ()
) -> None:
    """Write `midi_bytes` to a file, whole or not at all."""
    write_bytes_at_once(path, midi_bytes(line, grid, title=title, program=program, markers=markers))


def midi_bytes(
    line: Line | None, grid: Grid, *, title: str, program: int, markers: Sequence[tuple[float, str]] = ()
) -> bytes:
    """A line in sounding pitch as a Standard MIDI File of format 1: tempo map and markers, then the notes.

    Without a line it holds the tempo map and the markers alone.

    Parameters
    ----------
    title
        Name of the song.
    program
        General MIDI program, counted from 1.
    markers
        Further markers, such as section letters: beats from bar 1, and words.

    Raises
    ------
    InputError
        When a note starts before the guide does, or the program is none of 1 to 128.
    """
    import mido

    if not 1 <= program <= 128:
        raise InputError(f"program={program}: General MIDI programs are counted from 1 to 128.")
    notes = line.notes if line is not None else ()
    onsets_s = grid.beat_to_sec([n.onset_beat for n in notes])
    ends_s = grid.beat_to_sec([n.end_beat for n in notes])
    if float(onsets_s.min(initial=0.0)) < -_MARGIN_S:
        raise InputError("The line starts before the guide's first sample; move its first note later.")
    layout = _file_grid(grid, float(ends_s.max(initial=0.0)))
    midi = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_QUARTER, charset="utf-8")
    midi.tracks.append(_conductor(layout, title, markers))
    if notes:
        midi.tracks.append(_notes(notes, layout, onsets_s, ends_s, program))
    target = io.BytesIO()
    midi.save(file=target)
    return target.getvalue()


def _notes(notes: tuple[Note, ...], layout: Grid, onsets_s: Any, ends_s: Any, program: int) -> Any:
    """Track of the notes, at their seconds."""
    import mido

    starts, ends = (_ticks(layout, layout.sec_to_beat(np.maximum(s, 0.0))) for s in (onsets_s, ends_s))
    track = mido.MidiTrack(
        [
            mido.MetaMessage("track_name", name="Line, sounding pitch", time=0),
            mido.Message("program_change", program=program - 1, time=0),
        ]
    )
    events = []
    for note, start, end in zip(notes, starts, ends, strict=True):
        events.append((start, 1, mido.Message("note_on", note=note.pitch, velocity=note.velocity)))
        events.append((max(end, start + 1), 0, mido.Message("note_off", note=note.pitch, velocity=0)))
    _append(track, events)
    return track


def _file_grid(grid: Grid, end_s: float) -> Grid:
    """The grid with its first anchor at time zero, a whole bar before the first bar line that leaves room for it."""
    beats_per_bar = grid.meter.beats_per_bar
    bar_s = 60.0 * beats_per_bar / grid.bpm_at(0.0)
    bars = float(grid.sec_to_beat(_LEAST_FIRST_BAR * bar_s)) / beats_per_bar
    first = float(np.ceil(bars - _MARGIN_S)) * beats_per_bar
    last = max(end_s, float(grid.beat_to_sec(first)), *grid.anchor_s)
    step = _LONGEST_STEP_BARS * beats_per_bar
    steps = np.arange(first, float(grid.sec_to_beat(last)) + step, step)
    beats = sorted({first, *(float(b) for b in steps), *(b for b in grid.anchor_beats if b > first)})
    seconds = grid.beat_to_sec(beats)
    return Grid(grid.meter, (first - beats_per_bar, *beats), (0.0, *(float(s) for s in seconds)))


def _ticks(layout: Grid, beats: Any) -> list[int]:
    quarters = (np.asarray(beats) - layout.anchor_beats[0]) * float(layout.meter.beat_quarters)
    return [round(float(q) * TICKS_PER_QUARTER) for q in quarters]


def _conductor(layout: Grid, title: str, markers: Sequence[tuple[float, str]]) -> Any:
    """Track of title, metre, tempo map and markers; each tempo takes up the rounding of those before it."""
    import mido

    upper, lower = layout.meter.signature
    clocks = int(layout.meter.beat_quarters * _CLOCKS_PER_QUARTER)
    events = [
        (0, 0, mido.MetaMessage("track_name", name=title)),
        (
            0,
            0,
            mido.MetaMessage("time_signature", numerator=upper, denominator=lower, clocks_per_click=clocks),
        ),
        (0, 1, mido.MetaMessage("marker", text="Guide starts")),
    ]
    ticks = _ticks(layout, layout.anchor_beats)
    bar_1 = _ticks(layout, [0.0])[0]
    if bar_1 >= 0:
        events.append((bar_1, 1, mido.MetaMessage("marker", text="Bar 1")))
    for tick, (_, words) in zip(_ticks(layout, [beat for beat, _ in markers]), markers, strict=True):
        if tick >= 0:
            events.append((tick, 1, mido.MetaMessage("marker", text=words)))
    reached_s, tempo = 0.0, 0
    for start, end, target_s in zip(ticks, ticks[1:], layout.anchor_s[1:], strict=False):
        if end == start:
            continue
        quarters = (end - start) / TICKS_PER_QUARTER
        wanted = max(1, round((target_s - reached_s) / quarters * 1e6))
        if wanted != tempo:
            events.append((start, 2, mido.MetaMessage("set_tempo", tempo=wanted)))
        tempo = wanted
        reached_s += quarters * tempo / 1e6
    track = mido.MidiTrack()
    _append(track, events)
    return track


def _append(track: Any, events: list[tuple[int, int, Any]]) -> None:
    """Add events at absolute ticks in order; at one tick, by their rank."""
    last = 0
    for tick, _, message in sorted(events, key=lambda event: event[:2]):
        track.append(message.copy(time=tick - last))
        last = tick
