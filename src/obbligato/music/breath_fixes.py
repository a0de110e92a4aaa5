"""Ways out where the air does not last, each one tried on the line before it is named.

A way out is an edit of the line in words, as the player would give it. It is named only if, with the edit done, the
air lasts through the stretch that failed and fails nowhere that it lasted before.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from obbligato.errors import InputError
from obbligato.music import editing
from obbligato.music.editing import Notes, Reach
from obbligato.music.grid import Grid
from obbligato.music.line import Note
from obbligato.music.marks import LEVELS
from obbligato.music.remarks import Fix, edit_place, place_text

AirLeft = Callable[[Sequence[Note]], Sequence[float]]
"""What is left in the tank at the end of every note."""

_BREATHS_S = (0.5, 0.8, 1.0)
"""A normal breath takes 0.5 to 0.8 s, a full one a second (common practice, no source)."""
_MOST_BREATHS = 8
_MOST_FIXES = 2
_MOST_PLACES = 8
_KEPT = 0.45
"""About half of a note is kept when it is shortened for a breath."""


@dataclass(frozen=True)
class Stretch:
    """Notes `first` to `last` (indices, both included) played without a breath; the least air that may be left."""

    first: int
    last: int
    limit: float


_Tried = Iterator[tuple[Fix, Notes]]


def breath_fixes(notes: Sequence[Note], grid: Grid, air_left: AirLeft, stretch: Stretch) -> tuple[Fix, ...]:
    """Up to two edits of different kinds that make the air last, fewest changes first; none where none does."""
    whole = tuple(notes)
    inside = {note.onset_beat for note in whole[stretch.first : stretch.last + 1]}
    failing = _failing(whole, air_left, stretch.limit) - inside
    fixes = []
    for attempts in (_breathe, _softer, _leave_out, _shorten):
        tried = attempts(whole, grid, stretch)
        fix = next((fix for fix, edited in tried if _failing(edited, air_left, stretch.limit) <= failing), None)
        if fix is not None:
            fixes.append(fix)
    return tuple(islice(fixes, _MOST_FIXES))


def _failing(notes: Notes, air_left: AirLeft, limit: float) -> set[float]:
    """Onsets of the notes at whose end less than the limit is left."""
    return {note.onset_beat for note, left in zip(notes, air_left(notes), strict=True) if left < limit}


def _breathe(notes: Notes, grid: Grid, stretch: Stretch) -> _Tried:
    """One breath where it costs least, then as many as it takes, spread over the stretch."""
    for places in _breath_places(notes, stretch):
        for breath_s in _BREATHS_S:
            edited = notes
            for index in places:
                edited = _breath_after(edited, index, grid, breath_s)
            if edited == notes or any(edited[i] == notes[i] for i in places):
                continue
            texts = [edit_place(grid, notes[i].onset_beat)[0] for i in places]
            words = f"shorten {_named(notes, places, grid)} by a breath of {breath_s:.1f} s"
            yield Fix(words, "; ".join(f"breathe {text} {breath_s:g}" for text in texts)), edited


def _breath_places(notes: Notes, stretch: Stretch) -> Iterator[tuple[int, ...]]:
    """Sets of notes to breathe after: after the longest near the middle, then more of them, spread evenly."""
    start, end = notes[stretch.first].onset_beat, notes[stretch.last].end_beat
    inner = range(stretch.first, stretch.last)

    def worth(index: int, middle: float) -> float:
        return notes[index].duration_beats * (1.0 - min(abs(notes[index].end_beat - middle) / (end - start), 1.0))

    middle = (start + end) / 2
    for index in sorted(inner, key=lambda i: worth(i, middle), reverse=True)[:_MOST_PLACES]:
        yield (index,)
    for count in range(2, min(_MOST_BREATHS, len(inner)) + 1):
        goals = [start + (end - start) * (k + 1) / (count + 1) for k in range(count)]
        yield tuple(sorted({_best(inner, worth, goal) for goal in goals}))


def _best(inner: range, worth: Callable[[int, float], float], goal: float) -> int:
    return max(inner, key=lambda index: worth(index, goal))


def _breath_after(notes: Notes, index: int, grid: Grid, breath_s: float) -> Notes:
    """The line with a breath after one note, or unchanged where that would leave too little of the note."""
    try:
        reach = Reach(edit_place(grid, notes[index].onset_beat)[1])
        edited = editing.breathe_after(notes, reach, grid, breath_s=breath_s)
    except InputError:
        return notes
    return edited if edited[index].duration_beats >= _KEPT * notes[index].duration_beats else notes


def _softer(notes: Notes, grid: Grid, stretch: Stretch) -> _Tried:
    """The stretch at the loudest marking at which it lasts."""
    (first, first_beat), (last, last_beat) = (
        edit_place(grid, notes[i].onset_beat) for i in (stretch.first, stretch.last)
    )
    reach = Reach(first_beat) if first == last else Reach(first_beat, last_beat)
    loudest = max(note.velocity for note in notes[stretch.first : stretch.last + 1])
    place = first if first == last else f"{first}-{last}"
    for name in ("f", "mf", "mp", "p"):
        if LEVELS[name] < loudest:
            edited = editing.set_velocity(notes, reach, velocity=LEVELS[name])
            yield Fix(f"play it {name}", f"dynamics {place} {name}"), edited


def _leave_out(notes: Notes, grid: Grid, stretch: Stretch) -> _Tried:
    """Notes left out for a breath: one, then as many as it takes, spread over the stretch."""
    for places in _breath_places(notes, stretch):
        texts = [edit_place(grid, notes[i].onset_beat)[0] for i in places]
        edited = tuple(note for i, note in enumerate(notes) if i not in places)
        words = f"leave out {_named(notes, places, grid)} and breathe there"
        yield Fix(words, "; ".join(f"delete {text}" for text in texts)), edited


def _named(notes: Notes, indices: tuple[int, ...], grid: Grid) -> str:
    *others, last = [_half_beat_text(grid, notes[i].onset_beat) for i in indices]
    return f"the notes at {', '.join(others)} and {last}" if others else f"the note at {last}"


def _half_beat_text(grid: Grid, beat: float) -> str:
    """Bar and beat to the nearest half."""
    position = grid.beat_to_position(round(2.0 * beat) / 2.0)
    return f"bar {position.bar} beat {int(position.beat)}{'½' if position.beat % 1.0 > 0.25 else ''}"


def _shorten(notes: Notes, grid: Grid, stretch: Stretch) -> _Tried:
    """The last note ended earlier, by whole beats."""
    note = notes[stretch.last]
    text, beat = edit_place(grid, note.onset_beat)
    for beats in range(1, int(note.duration_beats)):
        edited = editing.lengthen(notes, Reach(beat), beats=-float(beats))
        place = place_text(grid, note.end_beat - beats)
        yield Fix(f"end the last note at {place}", f"shorten {text} {beats}"), edited
