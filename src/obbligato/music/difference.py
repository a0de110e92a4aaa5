"""How one version of a line differs from another: notes added, removed, moved, changed and marked, bar by bar.

The notes of the two versions are matched in order, by the cheapest way of turning one line into the other: a note may
be changed for another that begins near it, taken out, or put in. This is the edit distance of sequences with costs
for notes.

References
----------
R. A. Wagner, M. J. Fischer: The string-to-string correction problem. Journal of the ACM 21(1), 1974, 168-173.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from obbligato.music.grid import Grid
from obbligato.music.harmony import note_name
from obbligato.music.instruments import Instrument
from obbligato.music.line import Note
from obbligato.music.mark_difference import SAME_BAR_LIST, listed, mark_words
from obbligato.music.remarks import bar_of

_Namer = Callable[[Note], str]
Change = Literal["added", "removed", "moved", "changed", "marked"]

SAME_BEATS = 0.02
"""Closer than this, onsets and lengths count as the same: what writing a line as MIDI and reading it again can do is
far smaller, and no ear hears it (about 20 ms at 60 beats a minute)."""
SAME_VELOCITY = 6
_FARTHEST_BEATS = 1.5
"""A note that begins further away is another note, not the same one moved."""
_TAKEN_OUT = 1.0


@dataclass(frozen=True)
class NoteChange:
    """One note's change: index in the version before and after (None: not there), and what kind of change it is.

    `moved` tells of a place or length, `changed` of a pitch (and perhaps a place as well) or of loudness alone,
    `marked` of its marks alone.
    """

    kind: Change
    before: int | None
    after: int | None


@dataclass(frozen=True)
class BarChange:
    """What is different in one bar, in a sentence, with the changes it tells of."""

    bar: int
    sentence: str
    changes: tuple[NoteChange, ...]


def note_changes(before: Sequence[Note], after: Sequence[Note]) -> tuple[NoteChange, ...]:
    """Every note that differs between two versions, in order of the line; notes that are the same are left out."""
    found = [
        (_kind(None if i is None else before[i], None if j is None else after[j]), i, j)
        for i, j in matched_notes(before, after)
    ]
    return tuple(NoteChange(kind, i, j) for kind, i, j in found if kind is not None)


def matched_notes(before: Sequence[Note], after: Sequence[Note]) -> list[tuple[int | None, int | None]]:
    """Every note of two versions in order: its index in each, None where it is not there."""
    shorter = min(len(before), len(after))
    start = 0
    while start < shorter and _same(before[start], after[start]):
        start += 1
    stop = 0
    while stop < shorter - start and _same(before[-1 - stop], after[-1 - stop]):
        stop += 1
    middle = _matched(before[start : len(before) - stop], after[start : len(after) - stop])
    return [
        *((i, i) for i in range(start)),
        *((None if i is None else i + start, None if j is None else j + start) for i, j in middle),
        *((len(before) - i, len(after) - i) for i in range(stop, 0, -1)),
    ]


def line_difference(
    before: Sequence[Note], after: Sequence[Note], grid: Grid, instrument: Instrument
) -> tuple[BarChange, ...]:
    """What is different, a sentence for each bar; none for two versions that are the same.

    Parameters
    ----------
    instrument
        Notes are named in its written pitch.
    """
    bars: dict[int, list[NoteChange]] = {}
    for change in note_changes(before, after):
        note = after[change.after] if change.after is not None else before[change.before or 0]
        bars.setdefault(bar_of(grid, note.onset_beat), []).append(change)

    def name(note: Note) -> str:
        written = instrument.to_written(note.pitch)
        return f"{note_name(written)}{written // 12 - 1}"

    pairs = [(bar, (change.before, change.after)) for bar, changes in bars.items() for change in changes]
    marks = mark_words(before, after, pairs, name)
    told = {
        bar: [*_parts(changes, before, after, name), *marks.get(bar, [])] for bar, changes in sorted(bars.items())
    }
    # A slur or hairpin over several bars is told where it begins.
    return tuple(
        BarChange(bar, f"Bar {bar}: {'; '.join(parts)}.", tuple(bars[bar])) for bar, parts in told.items() if parts
    )


def _same(a: Note, b: Note) -> bool:
    """Whether two notes are the same to the ear, whatever is written on them."""
    return _kind(a, b) in (None, "marked")


def _kind(old: Note | None, new: Note | None) -> Change | None:
    if old is None:
        return "added"
    if new is None:
        return "removed"
    if old.pitch != new.pitch or abs(old.velocity - new.velocity) > SAME_VELOCITY:
        return "changed"
    near = abs(old.onset_beat - new.onset_beat) <= SAME_BEATS
    if not near or abs(old.duration_beats - new.duration_beats) > SAME_BEATS:
        return "moved"
    return "marked" if old.marks != new.marks else None


def _matched(before: Sequence[Note], after: Sequence[Note]) -> list[tuple[int | None, int | None]]:
    """Pairs of notes, in order, that turn the one line into the other at the least cost."""
    costs = [[_TAKEN_OUT * j for j in range(len(after) + 1)]]
    for i, old in enumerate(before, start=1):
        row = [_TAKEN_OUT * i]
        above = costs[-1]
        for j, new in enumerate(after, start=1):
            row.append(min(above[j - 1] + _pair_cost(old, new), above[j] + _TAKEN_OUT, row[j - 1] + _TAKEN_OUT))
        costs.append(row)
    pairs: list[tuple[int | None, int | None]] = []
    i, j = len(before), len(after)
    while i or j:
        if i and j and costs[i][j] == costs[i - 1][j - 1] + _pair_cost(before[i - 1], after[j - 1]):
            i, j = i - 1, j - 1
            pairs.append((i, j))
        elif i and costs[i][j] == costs[i - 1][j] + _TAKEN_OUT:
            i -= 1
            pairs.append((i, None))
        else:
            j -= 1
            pairs.append((None, j))
    return pairs[::-1]


def _pair_cost(old: Note, new: Note) -> float:
    """What changing one note into another costs: at most as much as taking one out and putting one in."""
    apart = abs(old.onset_beat - new.onset_beat)
    if apart > _FARTHEST_BEATS:
        return 2.5 * _TAKEN_OUT
    longer = abs(old.duration_beats - new.duration_beats)
    return apart / _FARTHEST_BEATS + 0.6 * (old.pitch != new.pitch) + 0.2 * min(longer, 1.0)


def _parts(changes: Sequence[NoteChange], before: Sequence[Note], after: Sequence[Note], name: _Namer) -> list[str]:
    """What is to be told of the notes of a bar, their marks apart."""
    added = [name(after[c.after]) for c in changes if c.kind == "added" and c.after is not None]
    removed = [name(before[c.before]) for c in changes if c.kind == "removed" and c.before is not None]
    parts = [f"{listed(added)} added" if added else "", f"{listed(removed)} taken out" if removed else ""]
    told = [
        _change_words(before[c.before], after[c.after], name)
        for c in changes
        if c.kind != "marked" and c.before is not None and c.after is not None
    ]
    parts += told if len(told) <= SAME_BAR_LIST else [f"{len(told)} notes changed"]
    return [part for part in parts if part]


def _change_words(old: Note, new: Note, name: _Namer) -> str:
    later = new.onset_beat - old.onset_beat
    longer = new.duration_beats - old.duration_beats
    words = []
    if old.pitch != new.pitch:
        words.append(f"becomes {name(new)}")
    if abs(later) > SAME_BEATS:
        words.append(f"comes {_beats(abs(later))} {'later' if later > 0 else 'earlier'}")
    if abs(longer) > SAME_BEATS:
        words.append(f"is held {_beats(abs(longer))} {'longer' if longer > 0 else 'shorter'}")
    louder = new.velocity - old.velocity
    if abs(louder) > SAME_VELOCITY:
        words.append(f"is {'louder' if louder > 0 else 'softer'}")
    return f"{name(old)} {_joined(words)}"


def _beats(beats: float) -> str:
    text = f"{beats:.2f}".rstrip("0").rstrip(".")
    return f"{text} beat" if beats <= 1.0 else f"{text} beats"


def _joined(words: Iterable[str]) -> str:
    *first, last = words
    return f"{', '.join(first)} and {last}" if first else last
