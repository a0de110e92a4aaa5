"""Which take for which phrase, and why.

The cheapest way through all phrases by dynamic programming: each phrase costs what its score lacks, and a good deal
more where it carries a fault; each change of take costs a join, and more where level, tuning or room differ or where
there is no rest to join in. So a whole take is kept as the base and phrases are replaced only where that pays.

References
----------
Bellman, "Dynamic Programming", 1957; Viterbi, IEEE Transactions on Information Theory 13(2), 1967 (the same search).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence

import numpy as np

from obbligato.errors import InputError
from obbligato.music.grid import Grid
from obbligato.takes.pitch import Floats
from obbligato.takes.readings import Choice, PhraseReading, TakeReading, TimedLine
from obbligato.takes.verdict import place_words

JOIN_COST = 4.0
"""Points of score that a phrase must be better by, at each of its ends, to be worth taking from another take."""
FAULT_COST = 25.0
"""Taken for each fault on top of what it costs in score, so that no join in a rest is dear enough to keep it."""
NO_REST_COST = 25.0
SHORTEST_REST_S = 0.06
_ABSENT_COST = 1000.0
_LEVEL_FREE_DB, _POINTS_PER_DB = 1.5, 1.0
_TUNING_FREE_CENTS, _POINTS_PER_CENT = 8.0, 0.3
_MOST_FOR_MISMATCH = 5.0


def choose(
    line: TimedLine,
    readings: Sequence[TakeReading],
    *,
    overrides: Mapping[int, str] | None = None,
    join_cost: float = JOIN_COST,
) -> tuple[Choice, ...]:
    """Choose a take for every phrase.

    Parameters
    ----------
    overrides
        By phrase index, the path of the take to use whatever its score.
    join_cost
        The price of a join in points of score; more makes fewer joins.

    Raises
    ------
    InputError
        When there is no take, or an override names a phrase or a take that does not exist.
    """
    if not readings:
        raise InputError("There is no take to choose from; add one or more recordings of the line.")
    forced = _checked(line, readings, overrides or {})
    unary = np.array([[_phrase_cost(take.phrases[p.index]) for take in readings] for p in line.phrases])
    for phrase, position in forced.items():
        unary[phrase, np.arange(len(readings)) != position] = np.inf
    path = _cheapest(unary, _seam_costs(line, readings, join_cost))
    base = Counter(path).most_common(1)[0][0]
    reasons = [_why(p, path[p], base, readings, p in forced) for p in range(len(path))]
    return tuple(Choice(p.index, readings[path[p.index]].path, reasons[p.index]) for p in line.phrases)


def _checked(line: TimedLine, readings: Sequence[TakeReading], overrides: Mapping[int, str]) -> dict[int, int]:
    paths = [take.path for take in readings]
    forced: dict[int, int] = {}
    for phrase, path in overrides.items():
        if not 0 <= phrase < len(line.phrases):
            raise InputError(f"There is no phrase {phrase + 1}; the line has {len(line.phrases)}.")
        if path not in paths:
            raise InputError(f"'{path}' is none of the takes read; choose one of {', '.join(paths)}.")
        forced[phrase] = paths.index(path)
    return forced


def _phrase_cost(phrase: PhraseReading) -> float:
    absent = _ABSENT_COST if not any(note.played for note in phrase.notes) else 0.0
    return 100.0 - phrase.score + FAULT_COST * len(phrase.flags) + absent


def _seam_costs(line: TimedLine, readings: Sequence[TakeReading], join_cost: float) -> Floats:
    """Cost of going from take a to take b before phrase i, shape (n_phrases, n_takes, n_takes)."""
    n = len(readings)
    cents = np.array([take.tuning_cents for take in readings])
    costs = np.zeros((len(line.phrases), n, n))
    apart = ~np.eye(n, dtype=bool)
    tuning = _POINTS_PER_CENT * np.maximum(np.abs(cents[:, None] - cents[None, :]) - _TUNING_FREE_CENTS, 0.0)
    for i, phrase in enumerate(line.phrases[1:], 1):
        level = np.array([_level_db(take, i) for take in readings])
        step = _POINTS_PER_DB * np.maximum(np.abs(level[:, None] - level[None, :]) - _LEVEL_FREE_DB, 0.0)
        rest_s = line.notes[phrase.first_note].start_s - line.notes[phrase.first_note - 1].end_s
        tight = NO_REST_COST if rest_s < SHORTEST_REST_S else 0.0
        costs[i] = np.where(apart, join_cost + tight + np.minimum(tuning + step, _MOST_FOR_MISMATCH), 0.0)
    return costs


def _level_db(take: TakeReading, phrase: int) -> float:
    """Median level over the notes on either side of a seam, so that takes are compared on the same music."""
    notes = [n.level_db for p in take.phrases[max(0, phrase - 1) : phrase + 1] for n in p.notes]
    known = [level for level in notes if level is not None]
    return float(np.median(known)) if known else 0.0


def _cheapest(unary: Floats, seams: Floats) -> list[int]:
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


def _why(phrase: int, chosen: int, base: int, readings: Sequence[TakeReading], by_hand: bool) -> str:
    reading = readings[chosen].phrases[phrase]
    if by_hand:
        return "By hand." + (f" Note: {_complaint(reading)}." if reading.flags else "")
    if reading.flags:
        others = "no take is free of faults here" if len(readings) > 1 else "there is only this take"
        return f"The best there is: {others}; {_complaint(reading)}."
    if chosen == base:
        return "The take used most, and nothing is wrong with it here."
    replaced = readings[base].phrases[phrase]
    if replaced.flags:
        return f"{readings[base].path} is not right here: {_complaint(replaced)}."
    if replaced.score < reading.score:
        points = f"{reading.score:.0f} points against {replaced.score:.0f}"
        by_how_much = points if reading.score - replaced.score >= 1.0 else "by less than a point"
        return f"Better played than in {readings[base].path} ({by_how_much})."
    return "Saves a join with the phrases around it."


def _complaint(reading: PhraseReading) -> str:
    """What a verdict finds wrong, without the place and the remedies."""
    _, _, words = reading.verdict.partition(": ")
    faults, *_ = re.split(r"\.(?= [A-Z]|$)", words)
    return faults


def coverage(line: TimedLine, readings: Sequence[TakeReading], *, grid: Grid | None = None) -> str:
    """How many faultless versions there are of each phrase, as a sentence that says whether one can pack up."""
    usable = [sum(not take.phrases[p.index].flags for take in readings) for p in line.phrases]
    enough = 2
    short = [p for p in line.phrases if usable[p.index] < enough]
    every = "Every phrase has two or more usable versions"
    if not short:
        return f"{every}."
    words = {0: "none", 1: "one"}
    places = [
        f"{_lower(place_words(line.notes[p.first_note].start_s, line.notes[p.last_note].end_s, grid))} "
        f"({words[usable[p.index]]})"
        for p in short
    ]
    listed = places[0] if len(places) == 1 else f"{', '.join(places[:-1])} and {places[-1]}"
    return f"{every}, except {listed}." if len(short) < len(line.phrases) else f"Usable versions: {listed}."


def _lower(words: str) -> str:
    return words[0].lower() + words[1:]
