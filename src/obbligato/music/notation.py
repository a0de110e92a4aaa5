"""The line as it is written down: bars of notes and rests that a player can read.

Only the page uses this; the performance itself stays as it was played.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from obbligato.music.grid import Meter
from obbligato.music.line import Line
from obbligato.music.quantising import Quantised, WrittenNote, quantise
from obbligato.music.splitting import Group, cut_points

__all__ = ["Measure", "Notation", "Piece", "Quantised", "Tuplet", "WrittenNote", "measures", "quantise"]


@dataclass(frozen=True)
class Tuplet:
    """`actual` symbols in the time of `normal`; whether this one opens or closes its group."""

    actual: int
    normal: int
    starts: bool = False
    stops: bool = False


@dataclass(frozen=True)
class Piece:
    """One printed symbol.

    Attributes
    ----------
    onset, duration
        Place in the bar and length as it sounds, in beats of the metre.
    note
        Index of the note in the line; None for a rest.
    """

    onset: Fraction
    duration: Fraction
    note: int | None
    tied_from_before: bool = False
    tied_to_next: bool = False
    tuplet: Tuplet | None = None


@dataclass(frozen=True)
class Measure:
    """A bar by the song's number; no pieces means a whole bar of rest."""

    number: int
    pieces: tuple[Piece, ...]


@dataclass(frozen=True)
class Notation:
    """Bars without a gap from the first to the last asked for, and how their rhythm is to be felt.

    `feel` is `swing` (eighths), `swing 16ths`, or nothing; `detached` are the notes, by index, that were held for
    clearly less than they are written, as a manner of playing.
    """

    measures: tuple[Measure, ...]
    feel: str
    detached: frozenset[int] = frozenset()


def measures(line: Line, meter: Meter, *, first_bar: int, last_bar: int) -> Notation:
    """Write a line down in bars `first_bar` to `last_bar`, and further where it begins sooner or ends later.

    Raises
    ------
    InputError
        When more notes fall into one beat than can be written in it.
    """
    if meter.beat_quarters == 2:
        return _measures_in_halves(line, meter, first_bar, last_bar)
    return _measures(meter, quantise(line, meter), first_bar, last_bar)


def _measures(meter: Meter, quantised: Quantised, first_bar: int, last_bar: int) -> Notation:
    beats = meter.beats_per_bar
    first_bar = min(first_bar, int(quantised.notes[0].onset // beats) + 1)
    last_bar = max(last_bar, -int(-quantised.notes[-1].end // beats))
    tuplets = _groups(quantised)
    spans = _with_rests(quantised.notes, Fraction((first_bar - 1) * beats), Fraction(last_bar * beats))
    bars: dict[int, list[Piece]] = {number: [] for number in range(first_bar, last_bar + 1)}
    for start, end, note in spans:
        for number, piece in _pieces(start, end, note, meter, tuplets):
            bars[number].append(piece)
    found = tuple(Measure(number, _finished(pieces, number, meter, tuplets)) for number, pieces in bars.items())
    return Notation(found, quantised.feel, frozenset(note.index for note in quantised.notes if note.detached))


def _measures_in_halves(line: Line, meter: Meter, first_bar: int, last_bar: int) -> Notation:
    """A metre in half notes is read in quarters, since triplets of eighths lie inside a quarter."""
    doubled = tuple(replace(n, onset_beat=2 * n.onset_beat, duration_beats=2 * n.duration_beats) for n in line.notes)
    line, quarters = replace(line, notes=doubled), Meter(2 * meter.beats_per_bar)
    written = _measures(quarters, quantise(line, quarters, pulse_beats=2), first_bar, last_bar)
    return Notation(
        tuple(
            Measure(m.number, tuple(replace(p, onset=p.onset / 2, duration=p.duration / 2) for p in m.pieces))
            for m in written.measures
        ),
        written.feel,
        written.detached,
    )


def _with_rests(
    notes: Sequence[WrittenNote], start: Fraction, end: Fraction
) -> list[tuple[Fraction, Fraction, int | None]]:
    """Notes and the rests between them, without a gap from `start` to `end`."""
    spans: list[tuple[Fraction, Fraction, int | None]] = []
    for note in notes:
        if note.onset > start:
            spans.append((start, note.onset, None))
        spans.append((note.onset, note.end, note.index))
        start = note.end
    if end > start:
        spans.append((start, end, None))
    return spans


def _pieces(
    start: Fraction, end: Fraction, note: int | None, meter: Meter, tuplets: Mapping[int, Sequence[Group]]
) -> list[tuple[int, Piece]]:
    """The symbols of a note or rest, each with its bar."""
    bar = meter.beats_per_bar
    cuts = [start]
    while cuts[-1] < end:
        first = int(cuts[-1] // bar) * bar
        here = [
            replace(group, start=group.start - first)
            for beat in range(first, first + bar)
            for group in tuplets.get(beat, ())
        ]
        stop = min(end - first, Fraction(bar))
        inside = cut_points(cuts[-1] - first, stop, rest=note is None, meter=meter, tuplets=here)
        cuts += [first + cut for cut in inside]
    found = []
    for a, b in pairwise(cuts):
        number = int(a // bar) + 1
        tied_back, tied_on = note is not None and a > start, note is not None and b < end
        found.append((number, Piece(a - (number - 1) * bar, b - a, note, tied_back, tied_on)))
    return found


def _finished(
    pieces: Sequence[Piece], number: int, meter: Meter, tuplets: Mapping[int, Sequence[Group]]
) -> tuple[Piece, ...]:
    """A bar's pieces with their tuplets marked; none where the whole bar is rest."""
    if all(piece.note is None for piece in pieces):
        return ()
    finished = []
    for piece in pieces:
        bar_start = (number - 1) * meter.beats_per_bar
        start, end = bar_start + piece.onset, bar_start + piece.onset + piece.duration
        groups = tuplets.get(int(start // 1), ())
        group = next((g for g in groups if g.start <= start < g.end and piece.duration < g.length), None)
        if group is None:
            finished.append(piece)
        else:
            tuplet = Tuplet(group.actual, group.normal, start == group.start, end == group.end)
            finished.append(replace(piece, tuplet=tuplet))
    return tuple(finished)


def _groups(quantised: Quantised) -> dict[int, tuple[Group, ...]]:
    """Tuplets by beat; six in a beat are two groups of three, or one beside plain notes, where no note lies across.

    Common practice, no source: a group of three is easier to read than six, and shows the half of the beat.
    """
    groups: dict[int, tuple[Group, ...]] = {}
    for beat, (actual, normal) in quantised.tuplets.items():
        whole = Group(Fraction(beat), Fraction(1), actual, normal)
        middle = beat + Fraction(1, 2)
        inside = [n for n in quantised.notes if n.onset < beat + 1 and n.end > beat]
        if actual != 6 or any(n.onset < middle < n.end for n in inside):
            groups[beat] = (whole,)
            continue
        halves = (Group(start, Fraction(1, 2), 3, 2) for start in (whole.start, middle))
        places = {place for n in inside for place in (n.onset, n.end)}
        groups[beat] = tuple(half for half in halves if any(half.start < p < half.end for p in places))
    return groups
