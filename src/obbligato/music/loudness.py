"""How loud a line is meant to be: its marks of loudness and hairpins over the loudness it was played with.

From a marked note on, the notes lie about the velocity of the mark, each as far from it as it was played from the
median of the notes under that mark, at most `_OWN_ACCENT` either way: an accent that was played stays one. Under a
hairpin the mark moves evenly in the order of notes, to the mark that stands where the hairpin ends, or by one step
where none stands there. Notes before the first mark keep the loudness they were played with.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from statistics import median

from obbligato.music.line import Note
from obbligato.music.marking import hairpins
from obbligato.music.marks import LEVEL_STEP, LEVELS, NO_MARKS

_OWN_ACCENT = 12
"""Less than a step, so that a loud note under a mark is not taken for the next mark (our own choice)."""


def as_marked(notes: Sequence[Note]) -> tuple[Note, ...]:
    """The notes with the velocities that their marks of loudness mean, and those marks taken off.

    Notes that no mark of loudness holds for are given back as they are.
    """
    aims = _aims(notes)
    if all(aim is None for aim in aims):
        return tuple(notes)
    usual = _usual_velocities(notes)
    heard = []
    for note, aim, middle in zip(notes, aims, usual, strict=True):
        if aim is None:
            heard.append(note)
            continue
        own = min(max(note.velocity - middle, -_OWN_ACCENT), _OWN_ACCENT)
        marks = replace(note.marks, level=None, swell=None)
        velocity = min(max(round(aim + own), 1), 127)
        heard.append(replace(note, velocity=velocity, marks=NO_MARKS if marks == NO_MARKS else marks))
    return tuple(heard)


def _aims(notes: Sequence[Note]) -> list[float | None]:
    """The velocity that the marks ask for at each note; None where there is no mark yet."""
    aims: list[float | None] = []
    in_force: float | None = None
    ends = {last: (first, kind) for first, last, kind in hairpins(notes)}
    for index, note in enumerate(notes):
        if note.marks.level is not None:
            in_force = float(LEVELS[note.marks.level])
        aims.append(in_force)
        if index in ends and in_force is not None:
            first, kind = ends[index]
            following = notes[index + 1].marks.level if index + 1 < len(notes) else None
            step = LEVEL_STEP if kind == "crescendo" else -LEVEL_STEP
            goal = float(LEVELS[following]) if following else min(max(in_force + step, 16.0), 127.0)
            count = index + 1 - first
            aims[first:] = [in_force + (goal - in_force) * place / count for place in range(count)]
            in_force = goal
    return aims


def _usual_velocities(notes: Sequence[Note]) -> list[float]:
    """For each note the median velocity, as played, of the notes from one mark of loudness to the next."""
    starts = [index for index, note in enumerate(notes) if note.marks.level is not None or index == 0]
    usual = []
    for start, stop in zip(starts, [*starts[1:], len(notes)], strict=True):
        usual += [float(median(note.velocity for note in notes[start:stop]))] * (stop - start)
    return usual
