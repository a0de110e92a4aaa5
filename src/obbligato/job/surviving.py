"""What stays good under a new guide: bars and notes of the line, and phrases of the takes.

A line hangs on bars and beats, a take on the sound itself. So another tempo leaves the line alone and spoils the
takes, and a bar put in moves the one by a bar and the other by its seconds.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from obbligato.listen.difference import Difference, Stretch
from obbligato.music.grid import Grid
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.marking import kept_by_neighbours

LineFate = Literal["stays", "moves", "transpose", "look", "write anew", "gone"]
TakeFate = Literal["stays", "moves", "look", "record anew", "gone"]

SAME_CLOCK = 1e-4
"""A tempo that differs less is a clock's, which the reading of takes follows by itself (a rule of ours)."""

_ORDER: tuple[TakeFate, ...] = ("stays", "moves", "look", "record anew", "gone")
_LINE_ORDER: tuple[LineFate, ...] = ("stays", "moves", "look", "transpose", "write anew", "gone")
_ONE_PLACE_SAMPLES = 1.0


@dataclass(frozen=True)
class PhraseFate:
    """What the new guide means for one phrase: of the line as written, and of what was played of it.

    `phrase` counts from 1; bars are those of the old guide.
    """

    phrase: int
    first_bar: int
    last_bar: int
    line: LineFate
    takes: TakeFate


def phrase_fates(line: Line, grid: Grid, difference: Difference) -> tuple[PhraseFate, ...]:
    """The fate of each phrase, that of its worst bar; played phrases must also lie in one piece."""
    fates = []
    for phrase in line.phrases:
        first, last = phrase_bars(line, phrase, grid)
        stretches = [s for s in (stretch_of_bar(difference, bar) for bar in range(first, last + 1)) if s]
        if not stretches:
            continue
        line_fate = max((_line_fate(s) for s in stretches), key=_LINE_ORDER.index)
        take_fate = max((_take_fate(s) for s in stretches), key=_ORDER.index)
        if take_fate in {"stays", "moves"} and not _in_one_piece(stretches):
            take_fate = "record anew"
        fates.append(PhraseFate(phrase.index + 1, first, last, line_fate, take_fate))
    return tuple(fates)


def phrase_bars(line: Line, phrase: Phrase, grid: Grid) -> tuple[int, int]:
    """First and last bar in which a phrase sounds."""
    first, last = line.notes[phrase.first_note], line.notes[phrase.last_note]
    return grid.beat_to_position(first.onset_beat).bar, grid.beat_to_position(last.end_beat - 0.01).bar


def stretch_of_bar(difference: Difference, bar: int) -> Stretch | None:
    """The stretch that an old bar lies in; bars before the first count with it, those after the last with that."""
    old = [stretch for stretch in difference.stretches if stretch.old_bars]
    for stretch in old:
        if stretch.old_bars and stretch.old_bars[0] <= bar <= stretch.old_bars[1]:
            return stretch
    if not old or not old[0].old_bars:
        return None
    return old[0] if bar < old[0].old_bars[0] else old[-1]


def semitones(stretch: Stretch) -> int:
    """By how many semitones a line has to be written higher there."""
    return round(stretch.pitch_cents / 100.0)


def new_time_s(difference: Difference, old_s: float) -> float | None:
    """Where a moment of the old guide is in the new one; None where it was taken out."""
    old = [s for s in difference.stretches if s.old]
    for stretch in old:
        last = stretch is old[-1]
        if stretch.old and (old_s < stretch.old.end_s or last):
            if stretch.new is None:
                return None
            pace = (stretch.new.end_s - stretch.new.start_s) / (stretch.old.end_s - stretch.old.start_s)
            return stretch.new.start_s + pace * (old_s - stretch.old.start_s)
    return None


def carried_line(line: Line, grid: Grid, difference: Difference) -> tuple[Note, ...]:
    """The notes at their bars in the new guide, in its key; those of bars taken out are left behind."""
    stretches = [stretch_of_bar(difference, grid.beat_to_position(note.onset_beat).bar) for note in line.notes]
    gone = [i for i, stretch in enumerate(stretches) if not (stretch and stretch.new_bars and stretch.old_bars)]
    carried = []
    for note in kept_by_neighbours(line.notes, gone):
        stretch = stretch_of_bar(difference, grid.beat_to_position(note.onset_beat).bar)
        if stretch is None or stretch.new_bars is None or stretch.old_bars is None:
            continue
        bars = stretch.new_bars[0] - stretch.old_bars[0]
        onset_beat = note.onset_beat + bars * grid.meter.beats_per_bar
        carried.append(replace(note, onset_beat=onset_beat, pitch=note.pitch + semitones(stretch)))
    return tuple(carried)


def carried_grid(grid: Grid, difference: Difference) -> Grid:
    """The old grid laid on the new guide: bars put in or taken out go by at the song's tempo.

    A line carried over is written on it in seconds, so that it must only be right to a few hundredths of a beat.
    """
    beats: list[float] = []
    seconds: list[float] = []
    for stretch in difference.stretches:
        if not (stretch.old and stretch.new and stretch.old_bars and stretch.new_bars):
            continue
        shift = (stretch.new_bars[0] - stretch.old_bars[0]) * grid.meter.beats_per_bar
        for old_s, new_s in ((stretch.old.start_s, stretch.new.start_s), (stretch.old.end_s, stretch.new.end_s)):
            beats.append(float(grid.sec_to_beat(old_s)) + shift)
            seconds.append(new_s)
        if len(grid.anchor_s) > 2:
            for beat, old_s in zip(grid.anchor_beats, grid.anchor_s, strict=True):
                there_s = new_time_s(difference, old_s)
                if stretch.old.start_s < old_s < stretch.old.end_s and there_s is not None:
                    beats.append(beat + shift)
                    seconds.append(there_s)
    kept: list[tuple[float, float]] = []
    for beat, second in sorted(zip(beats, seconds, strict=True)):
        if not kept or (beat > kept[-1][0] + 1e-3 and second > kept[-1][1] + 1e-3):
            kept.append((beat, second))
    return Grid(grid.meter, tuple(b for b, _ in kept), tuple(s for _, s in kept))


def _line_fate(stretch: Stretch) -> LineFate:
    if stretch.kind == "removed":
        return "gone"
    if stretch.kind == "changed":
        return "write anew"
    if semitones(stretch):
        return "transpose"
    if stretch.kind in {"re-sung", "replayed", "remixed"}:
        return "look"
    return "stays" if stretch.new_bars == stretch.old_bars else "moves"


def _take_fate(stretch: Stretch) -> TakeFate:
    if stretch.kind == "removed":
        return "gone"
    if stretch.kind in {"changed", "key"} or abs(stretch.tempo_ratio - 1.0) > SAME_CLOCK:
        return "record anew"
    if stretch.kind in {"replayed", "remixed"}:
        return "look"
    return "moves" if stretch.moved_samples and abs(stretch.moved_samples) >= _ONE_PLACE_SAMPLES else "stays"


def _in_one_piece(stretches: Sequence[Stretch]) -> bool:
    places = [s.moved_samples for s in stretches if s.moved_samples is not None]
    return not places or max(places) - min(places) < _ONE_PLACE_SAMPLES
