"""Where one take gives way to another.

A seam lies in the rest between two phrases: after the first has died away in both takes, and before the second take
draws breath, for a breath belongs to the phrase it is for. It never lies across an attack.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
import scipy.ndimage

from obbligato.takes.pitch import Floats
from obbligato.takes.read import ReadTake
from obbligato.takes.readings import Choice, PhraseSpan, Seam, TimedLine

LONGEST_FADE_S = 0.03
SHORTEST_FADE_S = 0.01
_STEP_S = 0.005
_QUIET_DB = 6.0
_GOOD_REST_S = 0.06
_BEFORE_ATTACK_S = 0.01


def plan_seams(line: TimedLine, takes: Sequence[ReadTake], choice: Sequence[Choice]) -> tuple[Seam, ...]:
    """The seams that a choice needs, in order, each with the steps measured across it."""
    by_path = {take.path: take for take in takes}
    seams: list[Seam] = []
    for (before, left), (after, right) in pairwise(zip(line.phrases, choice, strict=True)):
        if left.take != right.take:
            seams.append(_seam(line, before, after, by_path[left.take], by_path[right.take]))
    return tuple(seams)


def _seam(line: TimedLine, before: PhraseSpan, after: PhraseSpan, left: ReadTake, right: ReadTake) -> Seam:
    earliest_s = _end_s(left, line, before)
    latest_s = _start_s(right, line, after) - _BEFORE_ATTACK_S
    at_s, fade_s = _quiet_place(left, right, earliest_s, latest_s)
    indices = np.arange(before.first_note, after.last_note + 1)
    rooms = [_room_db(take, earliest_s, latest_s) for take in (left, right)]
    return Seam(
        at_s=at_s,
        from_take=left.path,
        to_take=right.path,
        fade_ms=1e3 * fade_s,
        level_step_db=_step(left.measures.level_db, right.measures.level_db, indices),
        pitch_step_cents=_step(left.measures.cents, right.measures.cents, indices),
        noise_step_db=rooms[1] - rooms[0],
    )


def _quiet_place(left: ReadTake, right: ReadTake, earliest_s: float, latest_s: float) -> tuple[float, float]:
    """Middle of the first good stretch where both takes are at rest, or of the longest, and the fade it allows."""
    if latest_s - earliest_s < SHORTEST_FADE_S + _STEP_S:
        return latest_s - SHORTEST_FADE_S / 2, SHORTEST_FADE_S
    times_s = np.arange(earliest_s, latest_s, _STEP_S)
    levels = [take.levels.around_db(take.placement.to_take_s(times_s)) for take in (left, right)]
    over_db = np.max([level - level.min() for level in levels], axis=0)
    over_db = scipy.ndimage.uniform_filter1d(over_db, 5, mode="nearest")
    quiet = over_db <= over_db.min() + _QUIET_DB
    edges = np.flatnonzero(np.diff(np.concatenate([[0], quiet.astype(int), [0]])))
    runs = list(zip(edges[::2], edges[1::2], strict=True))
    good = [run for run in runs if (run[1] - run[0]) * _STEP_S >= _GOOD_REST_S]
    first, last = good[0] if good else max(runs, key=lambda run: run[1] - run[0])
    length_s = (last - first) * _STEP_S
    fade_s = float(np.clip(0.8 * length_s, SHORTEST_FADE_S, LONGEST_FADE_S))
    middle_s = float(times_s[first] + length_s / 2)
    return float(np.clip(middle_s, earliest_s + fade_s / 2, latest_s - fade_s / 2)), fade_s


def _end_s(take: ReadTake, line: TimedLine, phrase: PhraseSpan) -> float:
    """Where a phrase ends in a take, on the guide's time; where its last note was not heard, where it should."""
    end_s = take.measures.played[phrase.last_note].end_s
    return line.notes[phrase.last_note].end_s if end_s is None else float(take.placement.to_guide_s(end_s))


def _start_s(take: ReadTake, line: TimedLine, phrase: PhraseSpan) -> float:
    start_s = take.measures.played[phrase.first_note].start_s
    return line.notes[phrase.first_note].start_s if start_s is None else float(take.placement.to_guide_s(start_s))


def _room_db(take: ReadTake, start_s: float, end_s: float) -> float:
    """Level of the take's room in the rest."""
    first_s, last_s = (float(t) for t in take.placement.to_take_s(np.array([start_s, end_s])))
    return take.levels.room_db(first_s, last_s)


def _step(left: Floats, right: Floats, indices: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> float:
    """Median difference over the same notes in both takes; 0 where they share none."""
    difference = (right - left)[indices]
    known = difference[np.isfinite(difference)]
    return float(np.median(known)) if known.size else 0.0


def takes_in_order(choice: Sequence[Choice], seams: Sequence[Seam]) -> list[tuple[str, float, float]]:
    """Stretches of the comp as (take, from, to) in seconds on the guide's time; the ends are infinite."""
    edges = [-np.inf, *(seam.at_s for seam in seams), np.inf]
    names = [choice[0].take, *(seam.to_take for seam in seams)]
    return [(name, a, b) for name, (a, b) in zip(names, pairwise(edges), strict=True)]
