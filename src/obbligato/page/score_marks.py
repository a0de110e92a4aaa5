"""The marks of a line as they stand on the symbols of a page: where a slur or hairpin begins and where it ends."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from obbligato.music.line import Note
from obbligato.music.marking import hairpins, slurs
from obbligato.music.marks import Level, Sign, Swell

_OF_LENGTH = frozenset({"staccato", "staccatissimo", "tenuto"})


@dataclass(frozen=True)
class ScoreMarks:
    """What stands on one symbol: signs and loudness, and what begins before it or ends after it."""

    signs: tuple[Sign, ...] = ()
    level: Level | None = None
    slur_starts: bool = False
    slur_stops: bool = False
    swell_starts: Swell | None = None
    swell_stops: Swell | None = None


NO_SCORE_MARKS = ScoreMarks()


def score_marks(notes: Sequence[Note], detached: Collection[int] = ()) -> tuple[ScoreMarks, ...]:
    """The marks of every note of a line, as for a note that is written as one symbol.

    A note that was held short as a manner of playing (`detached`, by index) has a dot, unless its own marks say how
    long it is.
    """
    found = [ScoreMarks(_signs(note, index in detached), note.marks.level) for index, note in enumerate(notes)]
    for first, last in slurs(notes):
        found[first] = replace(found[first], slur_starts=True)
        found[last] = replace(found[last], slur_stops=True)
    for first, last, swell in hairpins(notes):
        found[first] = replace(found[first], swell_starts=swell)
        found[last] = replace(found[last], swell_stops=swell)
    return tuple(found)


def _signs(note: Note, detached: bool) -> tuple[Sign, ...]:
    told = note.marks.slurred or _OF_LENGTH.intersection(note.marks.signs)
    return ("staccato", *note.marks.signs) if detached and not told else note.marks.signs


def on_tied(marks: ScoreMarks, *, tied_from_before: bool, tied_to_next: bool) -> ScoreMarks:
    """What of a note's marks stands on one of its tied symbols: what begins on the first, what ends on the last.

    Signs stand on the first symbol only (common practice, no source).
    """
    if tied_from_before:
        marks = ScoreMarks(slur_stops=marks.slur_stops, swell_stops=marks.swell_stops)
    return replace(marks, slur_stops=False, swell_stops=None) if tied_to_next else marks


def closed_marks(marks: Sequence[ScoreMarks]) -> tuple[ScoreMarks, ...]:
    """The marks of a stretch of notes cut out of a part: slurs and hairpins that reach out of it are cut at its ends.

    A slur of which one note is left is left out.
    """
    result = list(marks)
    if not result:
        return ()
    open_slur, open_swell = False, None
    for index, mark in enumerate(marks):
        if mark.slur_stops and not open_slur:
            result[index] = replace(result[index], slur_stops=index > 0)
            result[0] = replace(result[0], slur_starts=index > 0)
        if mark.swell_stops and open_swell is None and mark.swell_starts is None:
            result[0] = replace(result[0], swell_starts=mark.swell_stops)
        open_slur = mark.slur_starts or (open_slur and not mark.slur_stops)
        open_swell = None if mark.swell_stops else mark.swell_starts or open_swell
    last = len(result) - 1
    if open_slur:
        alone = marks[last].slur_starts
        result[last] = replace(result[last], slur_starts=False, slur_stops=not alone)
    if open_swell:
        result[last] = replace(result[last], swell_stops=open_swell)
    return tuple(result)
