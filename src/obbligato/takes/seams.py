"""Where one take gives way to another.

A seam lies in the rest between two phrases: after the first has died away in both takes, and before the second take
draws breath, for a breath belongs to the phrase it is for. It never lies across an attack of either take.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from obbligato.sound.runs import true_runs
from obbligato.takes.inside import changes_of
from obbligato.takes.partials import Floats
from obbligato.takes.place import Placement
from obbligato.takes.read import ReadTake
from obbligato.takes.readings import Choice, Piece, Seam, TimedLine

LONGEST_FADE_S = 0.03
SHORTEST_FADE_S = 0.01
_STEP_S = 0.005
_QUIET_DB = 6.0
_GOOD_REST_S = 0.06
_BEFORE_ATTACK_S = 0.01
_EVERY_S = 1.0
_ENOUGH_NOTES = 4
_LEVEL = frozenset({"level_drop", "quiet", "clipped"})
_TUNE = frozenset({"flat", "sharp"})
Bools = NDArray[np.bool_]


def plan_seams(
    line: TimedLine,
    takes: Sequence[ReadTake],
    choice: Sequence[Choice],
    *,
    gains_db: Mapping[str, float] | None = None,
) -> tuple[Seam, ...]:
    """The seams that a choice needs, in order, each with the steps measured across it.

    Parameters
    ----------
    gains_db
        By path, what a take is made louder by before it is joined.
    """
    by_path = {take.path: take for take in takes}
    gains = gains_db or {}
    return tuple(
        _seam(
            line, a, b, by_path[a.take], by_path[b.take], gain_step_db=gains.get(b.take, 0.0) - gains.get(a.take, 0.0)
        )
        for a, b in changes_of(line, choice)
    )


def _seam(
    line: TimedLine, before: Piece, after: Piece, left: ReadTake, right: ReadTake, *, gain_step_db: float
) -> Seam:
    places = joined_at(left), joined_at(right)
    earliest_s = _end_s(left, places[0], line, before.last_note)
    attacks_s = [_start_s(take, at, line, after.first_note) for take, at in zip((left, right), places, strict=True)]
    latest_s = min(attacks_s) - _BEFORE_ATTACK_S
    at_s, fade_s = _quiet_place(left, right, places, earliest_s, latest_s)
    here = np.arange(before.first_note, after.last_note + 1)
    rooms = [_room_db(take, at, earliest_s, latest_s) for take, at in zip((left, right), places, strict=True)]
    return Seam(
        at_s=at_s,
        from_take=left.path,
        to_take=right.path,
        fade_ms=1e3 * fade_s,
        level_step_db=_step(
            left.measures.level_db, right.measures.level_db, here, _as_usual(line, left, right, _LEVEL)
        )
        + gain_step_db,
        pitch_step_cents=_step(left.measures.cents, right.measures.cents, here, _as_usual(line, left, right, _TUNE)),
        noise_step_db=rooms[1] - rooms[0] + gain_step_db,
    )


def joined_at(take: ReadTake) -> Placement:
    """Where a take is laid in the comp: at one offset all along.

    A clock that drifts, or a block that was lost, is not mended in passing, only when the player says so; until then
    the take lies where it is right in the middle of its time, so that half of it comes early and half late.
    """
    placement = take.placement
    if not placement.drift_ppm and not placement.losses:
        return placement
    take_s = np.arange(0.0, take.levels.duration_s, _EVERY_S)
    offset_s = float(np.median(placement.to_guide_s(take_s) - take_s))
    return replace(placement, offset_s=offset_s, drift_ppm=0.0, losses=())


def _quiet_place(
    left: ReadTake, right: ReadTake, places: tuple[Placement, Placement], earliest_s: float, latest_s: float
) -> tuple[float, float]:
    """Middle of the first good stretch where both takes are at rest, or of the longest, and the fade it allows."""
    if latest_s - earliest_s < SHORTEST_FADE_S + _STEP_S:
        return latest_s - SHORTEST_FADE_S / 2, SHORTEST_FADE_S
    times_s = np.arange(earliest_s, latest_s, _STEP_S)
    levels = [
        take.levels.around_db(place.to_take_s(times_s)) for take, place in zip((left, right), places, strict=True)
    ]
    over_db = np.max([level - level.min() for level in levels], axis=0)
    over_db = scipy.ndimage.uniform_filter1d(over_db, 5, mode="nearest")
    quiet = over_db <= over_db.min() + _QUIET_DB
    runs = true_runs(quiet)
    good = [run for run in runs if (run[1] - run[0]) * _STEP_S >= _GOOD_REST_S]
    first, last = good[0] if good else max(runs, key=lambda run: run[1] - run[0])
    length_s = (last - first) * _STEP_S
    fade_s = float(np.clip(0.8 * length_s, SHORTEST_FADE_S, LONGEST_FADE_S))
    middle_s = float(times_s[first] + length_s / 2)
    return float(np.clip(middle_s, earliest_s + fade_s / 2, latest_s - fade_s / 2)), fade_s


def _end_s(take: ReadTake, place: Placement, line: TimedLine, note: int) -> float:
    """Where a note ends in a take, on the guide's time; where it was not heard, where it should."""
    end_s = take.measures.played[note].end_s
    return line.notes[note].end_s if end_s is None else float(place.to_guide_s(end_s))


def _start_s(take: ReadTake, place: Placement, line: TimedLine, note: int) -> float:
    start_s = take.measures.played[note].start_s
    return line.notes[note].start_s if start_s is None else float(place.to_guide_s(start_s))


def _room_db(take: ReadTake, place: Placement, start_s: float, end_s: float) -> float:
    """Level of the take's room in the rest."""
    first_s, last_s = (float(t) for t in place.to_take_s(np.array([start_s, end_s])))
    return take.levels.room_db(first_s, last_s)


def _as_usual(line: TimedLine, left: ReadTake, right: ReadTake, faults: frozenset[str]) -> Bools:
    """Notes whose phrase has none of these faults in either take: a phrase not taken for its fault is no measure."""
    usual = np.ones(len(line.notes), dtype=bool)
    for phrase in line.phrases:
        flags = {*left.reading.phrases[phrase.index].flags, *right.reading.phrases[phrase.index].flags}
        usual[phrase.first_note : phrase.last_note + 1] = not flags & faults
    return usual


def _step(left: Floats, right: Floats, here: NDArray[np.intp], usual: Bools) -> float:
    """Median difference over the same notes in both takes; where too few around are as usual, over the whole line."""
    difference = right - left
    known = difference[here][np.isfinite(difference[here]) & usual[here]]
    if known.size < _ENOUGH_NOTES:
        known = difference[np.isfinite(difference) & usual]
    return float(np.median(known)) if known.size else 0.0


def takes_in_order(choice: Sequence[Choice], seams: Sequence[Seam]) -> list[tuple[str, float, float]]:
    """Stretches of the comp as (take, from, to) in seconds on the guide's time; the ends are infinite."""
    first = choice[0].pieces[0].take if choice[0].pieces else choice[0].take
    edges = [-np.inf, *(seam.at_s for seam in seams), np.inf]
    names = [first, *(seam.to_take for seam in seams)]
    return [(name, a, b) for name, (a, b) in zip(names, pairwise(edges), strict=True)]
