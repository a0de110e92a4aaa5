"""What was marked and what is marked no longer, in words, for the bars of two versions of a line."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from obbligato.music.line import Note
from obbligato.music.marks import LEVELS, SIGNS, SWELLS

_Namer = Callable[[Note], str]
_ORDER = (*LEVELS, *SIGNS, "slur", *SWELLS, "breath")
SAME_BAR_LIST = 4
"""So many notes of a bar are named; of more, the number is told."""
Pair = tuple[int | None, int | None]


def mark_words(
    before: Sequence[Note], after: Sequence[Note], pairs: Iterable[tuple[int, Pair]], name: _Namer
) -> dict[int, list[str]]:
    """By bar, the parts of a sentence that tell of marks: `now marked ...`, `no longer ...`.

    Parameters
    ----------
    pairs
        Notes of the two versions that belong together, each pair with its bar; those left out have the same marks.
    name
        What a note is called.
    """
    put: dict[int, set[str]] = {}
    gone: dict[int, set[str]] = {}
    put_bars: dict[int, int] = {}
    gone_bars: dict[int, int] = {}
    for bar, (old, new) in pairs:
        had = set() if old is None else _marks_of(before[old])
        has = set() if new is None else _marks_of(after[new])
        if new is not None:
            put[new], put_bars[new] = has - had, bar
        if old is not None and new is not None:
            gone[old], gone_bars[old] = had - has, bar
    words: dict[int, list[str]] = {}
    for intro, notes, marks, bars in (
        ("now marked", after, put, put_bars),
        ("no longer", before, gone, gone_bars),
    ):
        for bar, told in _told(notes, marks, bars, name).items():
            words.setdefault(bar, []).append(f"{intro} {', '.join(told)}")
    return words


def listed(names: Sequence[str]) -> str:
    """The names of notes of one bar in a sentence."""
    if len(names) > SAME_BAR_LIST:
        return f"{len(names)} notes"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


def _marks_of(note: Note) -> set[str]:
    marks = note.marks
    words = {*marks.signs, marks.level, marks.swell, "slur" if marks.slurred else None}
    return {word for word in (*words, "breath" if marks.breath else None) if word}


def _told(
    notes: Sequence[Note], marks: Mapping[int, set[str]], bars: Mapping[int, int], name: _Namer
) -> dict[int, list[str]]:
    """Every mark by the bar it is, or begins, in; in the order of the notes, on one note in that of `_ORDER`."""
    told: dict[int, list[str]] = {}
    for mark in dict.fromkeys(mark for index in sorted(marks) for mark in sorted(marks[index], key=_ORDER.index)):
        indices = [index for index in sorted(marks) if mark in marks[index]]
        if mark == "slur" or mark in SWELLS:
            for first, last in _runs(indices):
                end = last + 1 if mark == "slur" else last
                between = (
                    f"on {name(notes[first])}" if end == first else f"{name(notes[first])} to {name(notes[end])}"
                )
                told.setdefault(bars[first], []).append(f"{mark} {between}")
        else:
            word = {"breath": "after"}.get(mark, "from" if mark in LEVELS else "on")
            for bar in dict.fromkeys(bars[index] for index in indices):
                names = [name(notes[index]) for index in indices if bars[index] == bar]
                told.setdefault(bar, []).append(f"{mark} {word} {listed(names)}")
    return told


def _runs(indices: Sequence[int]) -> list[tuple[int, int]]:
    """First and last of every run of indices that follow one another."""
    runs: list[tuple[int, int]] = []
    for index in indices:
        first = runs.pop()[0] if runs and runs[-1][1] == index - 1 else index
        runs.append((first, index))
    return runs
