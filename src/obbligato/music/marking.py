"""Putting marks on notes and taking them off: each function gives new notes and leaves the old ones as they were."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any, Literal, get_args

from obbligato.errors import InputError
from obbligato.music.difference import matched_notes
from obbligato.music.line import Note
from obbligato.music.marks import LEVELS, NO_MARKS, SIGNS, SWELLS, Level, NoteMarks, Sign, Swell

Notes = tuple[Note, ...]
Mark = Sign | Level | Swell | Literal["slur", "breath"]

MARKS: tuple[Mark, ...] = (*SIGNS, "slur", "breath", *LEVELS, *get_args(Swell))
"""Every mark by the word for it."""


def slurs(notes: Sequence[Note]) -> tuple[tuple[int, int], ...]:
    """First and last note of every slur."""
    found: list[tuple[int, int]] = []
    for index, note in enumerate(notes[:-1]):
        if not note.marks.slurred:
            continue
        begun = found.pop()[0] if found and found[-1][1] == index else index
        found.append((begun, index + 1))
    return tuple(found)


def hairpins(notes: Sequence[Note]) -> tuple[tuple[int, int, Swell], ...]:
    """First note, last note and kind of every hairpin; where a loudness is marked, another one begins."""
    found: list[tuple[int, int, Swell]] = []
    for index, note in enumerate(notes):
        swell = note.marks.swell
        if swell is None:
            continue
        goes_on = bool(found) and found[-1][1:] == (index - 1, swell) and note.marks.level is None
        begun = found.pop()[0] if goes_on else index
        found.append((begun, index, swell))
    return tuple(found)


def put(notes: Sequence[Note], indices: Sequence[int], mark: Mark) -> Notes:
    """Mark a stretch of notes: a sign on each, a slur or a hairpin over all, a loudness at the first, a breath after
    the last.

    A slur is over exactly these notes: one that reached in from outside ends before them or begins after them. No
    slur goes on over a marked breath.

    Raises
    ------
    InputError
        When a slur is asked for over fewer than two notes.
    """
    if mark in LEVELS:
        return _changed(notes, indices[:1], lambda _: {"level": mark})
    if mark in SWELLS:
        return _changed(notes, indices, lambda _: {"swell": mark})
    if mark == "breath":
        return _changed(notes, indices[-1:], lambda _: {"breath": True, "slurred": False})
    if mark != "slur":
        return _changed(notes, indices, lambda marks: {"signs": (*marks.signs, mark)})
    if len(indices) < 2:
        raise InputError("A slur needs two notes or more; name its first and its last.")
    first, last = indices[0], indices[-1]
    apart = _changed(notes, [index for index in (first - 1, last) if index >= 0], lambda _: {"slurred": False})
    return _changed(apart, range(first, last), lambda _: {"slurred": True, "breath": False})


def take_off(notes: Sequence[Note], indices: Sequence[int], mark: Mark | None = None) -> Notes:
    """Take one mark, or all of them, off a stretch of notes; a slur or hairpin that touches it goes as a whole."""
    chosen, result = set(indices), tuple(notes)
    if mark in (None, "slur"):
        slurred = [
            i for first, last in slurs(notes) if chosen & {*range(first, last + 1)} for i in range(first, last)
        ]
        result = _changed(result, slurred, lambda _: {"slurred": False})
    if mark is None or mark in SWELLS:
        kinds = SWELLS if mark is None else (mark,)
        under = [
            index
            for first, last, kind in hairpins(notes)
            if kind in kinds and chosen & {*range(first, last + 1)}
            for index in range(first, last + 1)
        ]
        result = _changed(result, under, lambda _: {"swell": None})
    if mark is None:
        return _changed(result, indices, lambda _: {"signs": (), "level": None, "breath": False})
    if mark == "breath":
        return _changed(result, indices, lambda _: {"breath": False})
    result = _changed(result, indices, lambda marks: {"signs": tuple(s for s in marks.signs if s != mark)})
    return _changed(result, indices, lambda marks: {"level": None if marks.level == mark else marks.level})


def settled(notes: Sequence[Note]) -> Notes:
    """The notes with what cannot be taken off: a slur past the last note, and one past a marked breath."""
    last = len(notes) - 1
    loose = [i for i, note in enumerate(notes) if note.marks.slurred and (i == last or note.marks.breath)]
    return _changed(notes, loose, lambda _: {"slurred": False})


def kept_by_neighbours(notes: Sequence[Note], gone: Sequence[int]) -> Notes:
    """The notes with those at `gone` taken out, and what was meant for the line there handed on.

    A slur ends a note sooner, a loudness holds from the next note on, a breath comes after the note before.
    """
    result, taken = list(notes), set(gone)
    for index in sorted(taken, reverse=True):
        marks = result[index].marks
        if index + 1 < len(result) and result[index + 1].marks.level is None:
            result[index + 1] = _with(result[index + 1], level=marks.level)
        if index:
            before = result[index - 1]
            slurred = before.marks.slurred and marks.slurred
            result[index - 1] = _with(before, slurred=slurred, breath=before.marks.breath or marks.breath)
        del result[index]
    return tuple(result)


def joined_by_neighbours(note: Note, before: Note | None, after: Note | None) -> Note:
    """A new note between two others: under the slur or the hairpin that both of them are in."""
    if before is None or after is None:
        return note
    swell = before.marks.swell if before.marks.swell == after.marks.swell else None
    return _with(note, slurred=before.marks.slurred, swell=swell)


def parted_where_reordered(notes: Sequence[Note], order: Sequence[int]) -> Notes:
    """Notes in a new order, given by their old indices: a slur holds only to the note that it went to."""
    follows = dict(pairwise(order))
    return tuple(
        _with(notes[index], slurred=notes[index].marks.slurred and follows.get(index) == index + 1) for index in order
    )


def carried_marks(before: Sequence[Note], after: Sequence[Note]) -> Notes:
    """The notes of another version with the marks of the one before: each note that is still there keeps its own.

    What becomes of the marks of notes that are gone, and of notes that were put in, is as when a line is edited.
    """
    pairs = matched_notes(before, after)
    kept = iter(kept_by_neighbours(before, [old for old, new in pairs if old is not None and new is None]))
    source = [None if old is None else next(kept) for old, new in pairs if new is not None]
    result: list[Note] = []
    for place, (note, old) in enumerate(zip(after, source, strict=True)):
        if old is not None:
            result.append(replace(note, marks=old.marks))
        else:
            following = next((one for one in source[place + 1 :] if one is not None), None)
            result.append(joined_by_neighbours(note, result[-1] if result else None, following))
    return settled(result)


def _changed(notes: Sequence[Note], indices: Sequence[int], change: Callable[[NoteMarks], dict[str, Any]]) -> Notes:
    result = list(notes)
    for index in indices:
        result[index] = _with(result[index], **change(result[index].marks))
    return tuple(result)


def _with(note: Note, **changes: Any) -> Note:
    marks = replace(note.marks, **changes)
    return note if marks == note.marks else replace(note, marks=NO_MARKS if marks == NO_MARKS else marks)
