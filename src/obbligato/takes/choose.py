"""Which take for which phrase.

The cheapest way through all phrases by dynamic programming: each phrase costs what its score lacks, and a good deal
more where it carries a fault; each change of take costs a join, and more where level, tuning or tone differ or where
there is no rest to join in. So a whole take is kept as the base and phrases are replaced only where that pays. One
dial says how dear joins are, from as few as possible to the best of each phrase.

References
----------
Bellman, "Dynamic Programming", 1957; Viterbi, IEEE Transactions on Information Theory 13(2), 1967 (the same search).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import astuple, dataclass, field

import numpy as np

from obbligato.errors import InputError
from obbligato.takes.partials import Floats
from obbligato.takes.readings import Choice, NoteReading, PhraseReading, TakeReading, TimedLine
from obbligato.takes.reasons import Weighed, change, why

JOIN_COST = 4.0
"""Points of score that a phrase must be better by, at each of its ends, to be worth taking from another take."""
FAULT_COST = 25.0
"""Taken for each fault on top of what it costs in score, so that no join in a rest is dear enough to keep it."""
NO_REST_COST = 25.0
BASE_COST = 5.0
"""Points that a phrase must be better by than the same phrase of the take that the player wants as the base."""
SHORTEST_REST_S = 0.06
BALANCED = 0.5
_FEWEST_COST = 1e6
_ABSENT_COST = 1e9
_LEVEL_FREE_DB, _POINTS_PER_DB = 1.5, 1.0
_TUNING_FREE_CENTS, _POINTS_PER_CENT = 8.0, 0.3
_TONE_FREE_OCTAVES, _POINTS_PER_OCTAVE = 0.3, 5.0
_MOST_FOR_MISMATCH = 5.0


@dataclass(frozen=True)
class Wishes:
    """What the player wants of a choice.

    Attributes
    ----------
    joins
        0: as few joins as possible, whatever is wrong; 1: the best of each phrase, however many joins it takes. A
        join costs `(1 - joins) / joins` times what it costs in the middle.
    base
        Path of the take to keep unless another is better by `BASE_COST`.
    overrides
        By phrase index, the path of the take to use whatever its score.
    inside
        Indices of the phrases that may be put together from several takes.
    """

    joins: float = BALANCED
    base: str | None = None
    overrides: Mapping[int, str] = field(default_factory=dict)
    inside: frozenset[int] = frozenset()


def choose(line: TimedLine, readings: Sequence[TakeReading], wishes: Wishes | None = None) -> tuple[Choice, ...]:
    """Choose a take for every phrase.

    Raises
    ------
    InputError
        When there is no take, or a wish names a phrase or a take that does not exist.
    """
    if not readings:
        raise InputError("There is no take to choose from; add one or more recordings of the line.")
    wishes = wishes or Wishes()
    forced = _checked(line, readings, wishes)
    free = np.array([[phrase_cost(take.phrases[p.index]) for take in readings] for p in line.phrases])
    if wishes.base is not None:
        free += BASE_COST * (np.array([take.path for take in readings]) != wishes.base)
    unary = free.copy()
    for phrase, position in forced.items():
        unary[phrase, np.arange(len(readings)) != position] = np.inf
    seams = _seam_costs(line, readings, wishes.joins)
    path = cheapest(unary, seams)
    base = Counter(path).most_common(1)[0][0]
    totals = _totals(free, seams, forced, path)
    choices = []
    for p in line.phrases:
        weighed = Weighed(
            phrase=p.index,
            chosen=path[p.index],
            base=base,
            readings=readings,
            costs=tuple(free[p.index]),
            totals=tuple(totals[p.index]),
            by_hand=p.index in forced,
        )
        choices.append(Choice(p.index, readings[path[p.index]].path, why(weighed), change(weighed)))
    return tuple(choices)


def _checked(line: TimedLine, readings: Sequence[TakeReading], wishes: Wishes) -> dict[int, int]:
    paths = [take.path for take in readings]
    if not 0.0 <= wishes.joins <= 1.0:
        raise InputError(f"joins={wishes.joins:g} is outside 0 (fewest) to 1 (best of each phrase).")
    for path in (*wishes.overrides.values(), *([] if wishes.base is None else [wishes.base])):
        if path not in paths:
            raise InputError(f"'{path}' is none of the takes read; choose one of {', '.join(paths)}.")
    for phrase in (*wishes.overrides, *wishes.inside):
        if not 0 <= phrase < len(line.phrases):
            raise InputError(f"There is no phrase {phrase + 1}; the line has {len(line.phrases)}.")
    return {phrase: paths.index(path) for phrase, path in wishes.overrides.items()}


def phrase_cost(phrase: PhraseReading) -> float:
    """What speaks against a phrase of a take, in points; a score that was floored at 0 still ranks."""
    absent = 0.0 if any(note.played for note in phrase.notes) else _ABSENT_COST
    lost = max(100.0 - phrase.score, float(sum(astuple(phrase.score_parts))))
    return lost + FAULT_COST * len(phrase.flags) + absent


def join_price(joins: float) -> tuple[float, float]:
    """For a place on the dial, what is added to the cost of every join, and what that cost is multiplied by."""
    return (_FEWEST_COST, 1.0) if joins == 0.0 else (0.0, (1.0 - joins) / joins)


def _seam_costs(line: TimedLine, readings: Sequence[TakeReading], joins: float) -> Floats:
    """Cost of going from take a to take b before phrase i, shape (n_phrases, n_takes, n_takes)."""
    n = len(readings)
    cents = np.array([take.tuning_cents for take in readings])
    costs = np.zeros((len(line.phrases), n, n))
    apart = ~np.eye(n, dtype=bool)
    tuning = _POINTS_PER_CENT * _beyond(cents, _TUNING_FREE_CENTS)
    added, factor = join_price(joins)
    for i, phrase in enumerate(line.phrases[1:], 1):
        around = [[n for p in take.phrases[i - 1 : i + 1] for n in p.notes] for take in readings]
        level = np.array([_median([n.level_db for n in notes]) for notes in around])
        octaves = np.array([_median(_brightness_octaves(notes)) for notes in around])
        step = _POINTS_PER_DB * _beyond(level, _LEVEL_FREE_DB)
        tone = _POINTS_PER_OCTAVE * _beyond(octaves, _TONE_FREE_OCTAVES)
        rest_s = line.notes[phrase.first_note].start_s - line.notes[phrase.first_note - 1].end_s
        tight = NO_REST_COST if rest_s < SHORTEST_REST_S else 0.0
        price = JOIN_COST + tight + np.minimum(tuning + step + tone, _MOST_FOR_MISMATCH)
        costs[i] = np.where(apart, added + factor * price, 0.0)
    return costs


def _beyond(values: Floats, free: float) -> Floats:
    """By how much each two values differ beyond what is free, shape (n, n)."""
    return np.maximum(np.abs(values[:, None] - values[None, :]) - free, 0.0)


def _brightness_octaves(notes: Sequence[NoteReading]) -> list[float]:
    return [float(np.log2(n.brightness_hz)) for n in notes if n.brightness_hz]


def _median(values: Sequence[float | None]) -> float:
    """The middle of what is known on either side of a seam, so that takes are compared on the same music."""
    known = [value for value in values if value is not None]
    return float(np.median(known)) if known else 0.0


def cheapest(unary: Floats, seams: Floats) -> list[int]:
    """The way through with the least sum of `unary` (n, n_takes) and, from the second on, `seams` (n, from, to)."""
    total = unary[0]
    back = np.zeros(unary.shape, dtype=int)
    for i in range(1, len(unary)):
        options = total[:, None] + seams[i]
        back[i] = np.argmin(options, axis=0)
        total = options[back[i], np.arange(unary.shape[1])] + unary[i]
    path = [int(np.argmin(total))]
    for i in range(len(unary) - 1, 0, -1):
        path.append(int(back[i][path[-1]]))
    return path[::-1]


def _totals(free: Floats, seams: Floats, forced: Mapping[int, int], path: Sequence[int]) -> Floats:
    """What the whole choice would cost with each take in each phrase, above the cheapest, shape (n_phrases, n_takes).

    In a phrase decided by hand, as if it were not; all others as decided.
    """
    held = free.copy()
    takes = np.arange(free.shape[1])
    for phrase in forced:
        held[phrase, takes != path[phrase]] = np.inf
    ahead, behind = np.zeros_like(held), np.zeros_like(held)
    for i in range(1, len(held)):
        ahead[i] = ((ahead[i - 1] + held[i - 1])[:, None] + seams[i]).min(axis=0)
    for i in range(len(held) - 2, -1, -1):
        behind[i] = (seams[i + 1] + (behind[i + 1] + held[i + 1])[None, :]).min(axis=1)
    totals = ahead + free + behind
    return np.asarray(totals - totals.min(axis=1, keepdims=True))
