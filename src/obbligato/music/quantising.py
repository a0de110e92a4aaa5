"""From played to written rhythm: exact places and lengths for the page.

Every beat gets the division that explains its onsets best: the sum of squared deviations over twice their variance,
plus the cost of reading it. This is the maximum a posteriori quantiser of Cemgil, Desain and Kappen, with Gaussian
deviations and a prior that falls with the depth of subdivision, solved for the whole line by dynamic programming
because an early note may belong to the next beat. The player's constant lead or lag and the size of the deviations
are taken from a first pass, swing from the line as a whole. Note ends are chosen likewise (`holding`): a note played
short is cheap, one played long is not, and every rest costs a symbol.

Notes: the paper learns its prior; the costs here are set by hand, in the order in which readers find rhythms hard.

References
----------
A. T. Cemgil, P. Desain, B. Kappen: Rhythm quantization for transcription. Computer Music Journal 24(2), 2000, 60-76.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

import numpy as np

from obbligato.errors import InputError
from obbligato.music.grid import Meter
from obbligato.music.holding import End, Held, written_ends
from obbligato.music.line import Line
from obbligato.music.swing import Swing, find_swing

_FIRST_DEVIATION = 0.05
_DEVIATIONS = (0.01, 0.06)
"""Standard deviation of onsets in quarter notes: to begin with, and between what it may be found to be."""
_LARGEST_LAG = 0.12
_STEP_BEATS = 0.003
_SHORTEST = Fraction(1, 16)
"""The shortest note value that is written, in quarter notes: a 64th."""
_DEPTHS = {0: 0.2, 1: 0.5, 2: 1.2, 3: 3.5, 4: 5.0}
"""Cost of a place by the note value it needs: half or quarter, eighth, 16th, 32nd, 64th."""
_TUPLET_DEPTHS = (0.8, 1.5)
_TUPLET = 1.0
_TUPLET_IN_SWING = 3.0
"""Cost of a tuplet; in a swung line a late second note is swing before it is the last of a triplet."""
_REST = 1.5
_END_DEPTH = 0.8
_FAR = 1e9


@dataclass(frozen=True)
class WrittenNote:
    """A note of the line as written: index, exact onset and end in beats from bar 1, sounding pitch.

    `detached`: held for clearly less than it is written, as its neighbours are: a manner of playing, no rest.
    """

    index: int
    onset: Fraction
    end: Fraction
    pitch: int
    detached: bool = False


@dataclass(frozen=True)
class Quantised:
    """The line as written.

    Attributes
    ----------
    notes
        One for each note of the line, in order, not overlapping.
    tuplets
        Beats (numbered from bar 1 beat 1 as 0) that are divided against the metre: symbols, and what they replace.
    feel
        `swing`, `swing 16ths`, or nothing.
    """

    notes: tuple[WrittenNote, ...]
    tuplets: Mapping[int, tuple[int, int]]
    feel: str


@dataclass(frozen=True)
class _Division:
    """A way to divide a beat: written places from 0 to 1, where they are played, and what they cost to read."""

    places: tuple[Fraction, ...]
    played: tuple[float, ...]
    costs: tuple[float, ...]
    tuplet: tuple[int, int] | None
    tuplet_cost: float = 0.0


@dataclass(frozen=True)
class _Fit:
    cost: float
    places: tuple[Fraction, ...] = ()
    division: _Division | None = None


def quantise(line: Line, meter: Meter, *, pulse_beats: int = 1) -> Quantised:
    """Write the rhythm of a line in exact fractions of a beat; the line itself is not changed.

    `pulse_beats` is the beat that is felt: 2 where a metre in half notes is read in quarters.

    Raises
    ------
    InputError
        When more notes fall into one beat than can be written in it.
    """
    quarters = float(meter.beat_quarters)
    played = np.asarray([n.onset_beat for n in line.notes])
    swing = find_swing(played.tolist(), meter)
    divisions = _divisions(meter, swing)
    onsets, chosen = _onsets(played.tolist(), meter, swing, _FIRST_DEVIATION / quarters)
    late = played - [_played_at(onset, chosen) for onset in onsets]
    lag = _in_steps(float(np.clip(np.median(late), -_LARGEST_LAG / quarters, _LARGEST_LAG / quarters)))
    spread = 1.4826 * float(np.median(np.abs(late - np.median(late))))
    deviation = _in_steps(float(np.clip(1.5 * spread * quarters, *_DEVIATIONS)) / quarters)
    onsets, chosen = _onsets((played - lag).tolist(), meter, swing, deviation)
    beats = _Beats(meter, chosen, divisions[0 if meter.compound else 1])
    ends = written_ends(
        [
            _held(note.end_beat - lag, onset, following, beats, pulse_beats)
            for note, onset, following in zip(line.notes, onsets, [*onsets[1:], None], strict=True)
        ]
    )
    notes = tuple(
        WrittenNote(index, onset, end, note.pitch, detached)
        for index, (note, onset, (end, detached)) in enumerate(zip(line.notes, onsets, ends, strict=True))
    )
    tuplets = {beat: division.tuplet for beat, division in chosen.items() if division.tuplet}
    return Quantised(notes, tuplets, swing.feel if swing else "")


def _in_steps(beats: float) -> float:
    """A lag or deviation in coarse steps, so that a note changed elsewhere leaves a beat as it was."""
    return round(beats / _STEP_BEATS) * _STEP_BEATS


@lru_cache(maxsize=64)
def _divisions(meter: Meter, swing: Swing | None) -> tuple[_Division, ...]:
    """All divisions of a beat, the metre's own from coarse to fine, then those against it."""
    own, other = (3, 2) if meter.compound else (2, 3)
    found = []
    parts = own if meter.compound else 1
    while meter.beat_quarters / parts >= _SHORTEST:
        found.append(_division(parts, meter, swing, None))
        parts *= 2
    for level in range(2):
        symbols = other * 2**level
        replaced = own * 2**level if not meter.compound else 3 * 2**level
        division = _division(symbols, meter, None, (symbols, replaced))
        found.append(replace(division, tuplet_cost=_TUPLET_IN_SWING if swing else _TUPLET))
    return tuple(found)


def _division(parts: int, meter: Meter, swing: Swing | None, tuplet: tuple[int, int] | None) -> _Division:
    places = tuple(Fraction(i, parts) for i in range(parts + 1))
    played = tuple(swing.played_at(p) if swing else float(p) for p in places)
    return _Division(places, played, tuple(_depth(p, meter, tuplet is not None) for p in places), tuplet)


def _depth(place: Fraction, meter: Meter, in_tuplet: bool) -> float:
    """What a place in the beat costs to read, by the note value it needs."""
    if place.denominator == 1:
        return 0.0
    base = (2 if meter.compound else 3) if in_tuplet else (3 if meter.compound else 1)
    level = next(k for k in range(12) if (place * base * 2**k).denominator == 1)
    if in_tuplet:
        return _TUPLET_DEPTHS[level]
    value = meter.beat_quarters / (base * 2**level)
    return _DEPTHS[max(0, round(-math.log2(value)))]


def _onsets(
    played: Sequence[float], meter: Meter, swing: Swing | None, deviation: float
) -> tuple[list[Fraction], dict[int, _Division]]:
    """Written onsets, and the division of every beat that has any; the cheapest for the line as a whole."""
    beats: dict[int, list[float]] = {}
    for onset in played:
        beats.setdefault(math.floor(onset), []).append(onset - math.floor(onset))
    # For each beat and whether its last note takes the next beat's first place: the cheapest way there.
    paths: dict[bool, tuple[float, list[tuple[int, _Fit]]]] = {False: (0.0, [])}
    before = None
    for beat, inside in beats.items():
        if before is not None and beat > before + 1:
            paths = {False: min(paths.values(), key=lambda path: path[0])}
        reached: dict[bool, tuple[float, list[tuple[int, _Fit]]]] = {}
        for taken, (cost, path) in paths.items():
            for takes_next in (False, True):
                fit = _beat_fit(tuple(inside), meter, swing, deviation, taken=taken, takes_next=takes_next)
                total = cost + fit.cost
                if fit.cost < _FAR and (takes_next not in reached or total < reached[takes_next][0]):
                    reached[takes_next] = (total, [*path, (beat, fit)])
        if not reached:
            raise InputError(
                f"{len(inside)} notes fall into one beat, more than can be written; correct the tempo or the line."
            )
        paths, before = reached, beat
    path = min(paths.values(), key=lambda found: found[0])[1]
    chosen = {beat: fit.division for beat, fit in path if fit.division}
    return [beat + place for beat, fit in path for place in fit.places], chosen


@lru_cache(maxsize=8192)
def _beat_fit(
    inside: tuple[float, ...], meter: Meter, swing: Swing | None, deviation: float, *, taken: bool, takes_next: bool
) -> _Fit:
    """The division that suits a beat best; kept, since a line that is being written changes a beat at a time."""
    fits = (_fit(inside, division, deviation, taken, takes_next) for division in _divisions(meter, swing))
    return min(fits, key=lambda fit: fit.cost)


def _fit(inside: Sequence[float], division: _Division, deviation: float, taken: bool, takes_next: bool) -> _Fit:
    """The cheapest increasing places for a beat's onsets; `taken`: not the first, `takes_next`: the last at 1."""
    n_places = len(division.places)
    best = [0.0] + [_FAR] * len(inside)
    # best[i]: cheapest cost of the first i onsets on the places so far; back: which of them took the place.
    back: list[list[bool]] = []
    for k in range(n_places):
        last_place = k == n_places - 1
        took = [False] * (len(inside) + 1)
        usable = not (k == 0 and taken) and not (last_place and not takes_next)
        for i in range(len(inside), 0, -1) if usable else ():
            off = (inside[i - 1] - division.played[k]) / deviation
            cost = best[i - 1] + 0.5 * off * off + division.costs[k]
            if cost < best[i] or (last_place and i == len(inside)):
                best[i], took[i] = cost, True
        back.append(took)
    cost = best[len(inside)]
    if cost >= _FAR:
        return _Fit(_FAR)
    places: list[Fraction] = []
    i = len(inside)
    for k in range(n_places - 1, -1, -1):
        if i and back[k][i]:
            places.append(division.places[k])
            i -= 1
    divided = any(0 < p < 1 for p in places)
    return _Fit(cost + (division.tuplet_cost if divided else 0.0), tuple(reversed(places)), division)


def _played_at(written: Fraction, chosen: Mapping[int, _Division]) -> float:
    beat = written.numerator // written.denominator
    division = chosen.get(beat)
    if division is None:
        return float(written)
    index = (written - beat) * (len(division.places) - 1)
    return beat + division.played[index.numerator] if index.denominator == 1 else float(written)


@dataclass(frozen=True)
class _Beats:
    """The beats of a line once its onsets are written; `plain` is the division of those without any."""

    meter: Meter
    chosen: Mapping[int, _Division]
    plain: _Division

    def division(self, beat: int) -> _Division:
        """The division that ends in a beat are written in."""
        own = self.chosen.get(beat, self.plain)
        return own if own.tuplet or len(own.places) > len(self.plain.places) else self.plain


def _held(played_end: float, onset: Fraction, following: Fraction | None, beats: _Beats, pulse_beats: int) -> Held:
    """A note with its possible ends after `onset`: at the following note, or sooner, where a rest begins."""
    quarters = float(beats.meter.beat_quarters)
    start = _played_at(onset, beats.chosen)

    def end_at(place: Fraction, cost: float) -> End:
        return End(place, (_played_at(place, beats.chosen) - start) * quarters, cost)

    ends = [] if following is None else [end_at(following, 0.0)]
    first = int(onset // 1)
    for beat in range(first, max(first, math.floor(played_end)) + 2):
        division = beats.division(beat)
        for place, depth in zip(division.places[:-1], division.costs, strict=False):
            end = beat + place
            if end > onset and (following is None or end < following):
                ends.append(end_at(end, _REST + _END_DEPTH * depth))
    speaks = following is not None and following - onset <= pulse_beats
    return Held((played_end - start) * quarters, tuple(ends), speaks)
