"""How a length is cut into symbols so that the beat stays visible.

Common practice of engraving, no source: a note may hide only weaker beats than the one it starts on; inside a beat,
and for a syncopation that lies evenly about a beat, it may also hide the next stronger one. A length across beats of
a compound metre is in whole beats. Tuplets stay inside their beat, or half beat. Rests follow the same
rules more strictly and are dotted only where the beat is. Short beats are grouped, and groups are shown like
the halves of a bar.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise

from obbligato.music.grid import Meter

_BAR, _HALF_BAR, _BEAT = 10, 9, 8
_FINEST = 16
_VALUES = tuple(Fraction(8) / 2**k for k in range(8))
"""Breve to 64th, in quarter notes."""


@dataclass(frozen=True, order=True)
class Group:
    """A beat or half beat divided against the metre: place and length in beats, symbols, and what they replace."""

    start: Fraction
    length: Fraction
    actual: int
    normal: int

    @property
    def end(self) -> Fraction:
        """Where the group ends."""
        return self.start + self.length


def cut_points(
    start: Fraction, end: Fraction, *, rest: bool, meter: Meter, tuplets: Sequence[Group]
) -> list[Fraction]:
    """Ends of the symbols that make up a length inside one bar.

    Parameters
    ----------
    start, end
        In beats from the start of the bar.
    tuplets
        The tuplets of this bar, by their place in it.
    """
    return list(_cut_points(start, end, rest, meter, tuple(tuplets)))


def beat_group(place: Fraction, meter: Meter) -> int:
    """Number of the group of beats that a place in the bar (in beats) lies in; notes are beamed within it.

    A beat is its own group, except that beats shorter than a quarter go in twos, the last three together where they
    are odd: 2+2+3 in 7/8 (common practice, no source; the music may well be felt otherwise).
    """
    beat = int(place // 1)
    return beat if meter.beat_quarters >= 1 else min(beat // 2, max(meter.beats_per_bar // 2 - 1, 0))


@lru_cache(maxsize=8192)
def _cut_points(
    start: Fraction, end: Fraction, rest: bool, meter: Meter, tuplets: tuple[Group, ...]
) -> tuple[Fraction, ...]:
    walls = {start, end}
    for group in tuplets:
        if group.start < start < group.end or group.start < end < group.end:
            walls |= {place for place in (group.start, group.end) if start < place < end}
    ends: list[Fraction] = []
    for a, b in pairwise(sorted(walls)):
        within = [g for g in tuplets if g.start <= a and b <= g.end and b - a < g.length]
        ends += _cut_tuplet(a, b, within[0], rest, meter) if within else _cut(a, b, rest, meter)
    return tuple(ends)


def _cut_tuplet(start: Fraction, end: Fraction, group: Group, rest: bool, meter: Meter) -> list[Fraction]:
    """Inside a tuplet: the longest symbols from the left."""
    unit, base = group.length / group.actual, group.length / group.normal * meter.beat_quarters
    ends: list[Fraction] = []
    while start < end:
        units = int((end - start) / unit)
        while not _printable(units * base, dotted=not rest):
            units -= 1
        start += units * unit
        ends.append(start)
    return ends


def _cut(start: Fraction, end: Fraction, rest: bool, meter: Meter) -> list[Fraction]:
    inside = _places_inside(start, end, meter)
    strongest = max((level for _, level in inside), default=0)
    if _may_stand(start, end, strongest, rest, meter):
        return [end]
    places = [place for place, level in inside if level == strongest]
    at = places[0]
    if _level(start, meter) >= strongest:
        fitting = [p for p in places if _may_stand(start, p, strongest, rest, meter)]
        at = fitting[-1] if fitting else at
    return [*_cut(start, at, rest, meter), *_cut(at, end, rest, meter)]


def _may_stand(start: Fraction, end: Fraction, strongest: int, rest: bool, meter: Meter) -> bool:
    """Whether one symbol may run from `start` to `end`; `strongest` is the strongest place inside (0: none)."""
    length = end - start
    crosses = strongest >= _BEAT
    whole_beats = length.denominator == 1
    if meter.compound and crosses and not whole_beats:
        return False
    if not _printable(length * meter.beat_quarters, dotted=not rest or (meter.compound and whole_beats)):
        return False
    own = _level(start, meter)
    if rest:
        return own > strongest
    if own >= strongest:
        return True
    if not crosses:
        return strongest <= own + 1
    even = _level((start + end) / 2, meter) == strongest and _level(end, meter) >= own
    return not meter.compound and strongest == own + 1 and even


@lru_cache(maxsize=4096)
def _places_inside(start: Fraction, end: Fraction, meter: Meter) -> tuple[tuple[Fraction, int], ...]:
    unit = Fraction(1, _FINEST * (3 if meter.compound else 1))
    first, last = int(start // unit) + 1, -int(-end // unit)
    return tuple((i * unit, _level(i * unit, meter)) for i in range(first, last))


@lru_cache(maxsize=4096)
def _level(place: Fraction, meter: Meter) -> int:
    """How strong a place in the bar is."""
    if place.denominator == 1:
        if place % meter.beats_per_bar == 0:
            return _BAR
        if meter.beat_quarters < 1:
            return _HALF_BAR if beat_group(place, meter) > beat_group(place - 1, meter) else _BEAT
        return _HALF_BAR if meter.beats_per_bar == 4 and place == 2 else _BEAT
    parts = 3 if meter.compound else 2
    level = _BEAT - 1
    while (place * parts).denominator != 1:
        parts, level = 2 * parts, level - 1
    return level


def _printable(quarters: Fraction, *, dotted: bool) -> bool:
    return quarters in _VALUES or (dotted and quarters * Fraction(2, 3) in _VALUES[:-1])
