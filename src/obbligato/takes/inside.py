"""A phrase put together from several takes, note by note; only where the player asks for it.

The same search as among phrases, with a note as the unit: a take may give way to another in a rest between two notes,
or at an attack that stands clear in both of them, never within a slur.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from itertools import groupby, pairwise

import numpy as np

from obbligato.takes.choose import FAULT_COST, JOIN_COST, SHORTEST_REST_S, Wishes, cheapest, join_price
from obbligato.takes.partials import Floats
from obbligato.takes.read import ReadTake
from obbligato.takes.readings import Choice, NoteReading, Piece, TakeReading, TimedLine

AT_ATTACK_COST = 4.0
"""Points that a join at an attack, without a rest, costs beyond one in a rest."""
_MISSED_COST = 15.0
_FREE_MS, _POINTS_PER_MS, _FAULT_MS = 10.0, 0.2, 100.0
_FREE_CENTS, _POINTS_PER_CENT, _FAULT_CENTS = 6.0, 0.4, 38.0
_OF_NOTES = {"late", "early", "flat", "sharp", "wrong_note", "missed_note"}


def choose_inside(
    line: TimedLine, takes: Sequence[ReadTake], choice: Sequence[Choice], wishes: Wishes
) -> tuple[Choice, ...]:
    """The choice with the phrases that `wishes.inside` names put together note by note where that is cheaper.

    A phrase decided by hand stays whole.
    """
    chosen = list(choice)
    for phrase in sorted(wishes.inside - wishes.overrides.keys()):
        before, after = chosen[:phrase], chosen[phrase + 1 :]
        ends = (_ends_with(before[-1]) if before else None, _begins_with(after[0]) if after else None)
        chosen[phrase] = _inside(line, takes, chosen[phrase], wishes, around=ends)
    return tuple(chosen)


def _begins_with(choice: Choice) -> str:
    return choice.pieces[0].take if choice.pieces else choice.take


def _ends_with(choice: Choice) -> str:
    return choice.pieces[-1].take if choice.pieces else choice.take


def _inside(
    line: TimedLine,
    takes: Sequence[ReadTake],
    choice: Choice,
    wishes: Wishes,
    *,
    around: tuple[str | None, str | None],
) -> Choice:
    span = line.phrases[choice.phrase]
    added, factor = join_price(wishes.joins)
    paths = [take.path for take in takes]
    costs = np.array(
        [
            [_note_cost(t.reading, choice.phrase, i) for t in takes]
            for i in range(span.last_note - span.first_note + 1)
        ]
    )
    for end, neighbour in ((0, around[0]), (-1, around[1])):
        if neighbour is not None:
            costs[end] += (added + factor * JOIN_COST) * (np.array(paths) != neighbour)
    seams = np.stack([_join_costs(line, takes, i) for i in range(span.first_note, span.last_note + 1)])
    possible = np.isfinite(seams)
    seams = np.where(possible, added + factor * np.where(possible, seams, 0.0), np.inf)
    seams = np.where(np.eye(len(takes), dtype=bool), 0.0, seams)
    path = cheapest(costs, seams)
    pieces = []
    for position, notes in groupby(range(len(path)), key=path.__getitem__):
        indices = [span.first_note + i for i in notes]
        pieces.append(Piece(indices[0], indices[-1], paths[position]))
    if len(pieces) == 1:
        return replace(choice, why=f"{choice.why} No other take is better for a part of it.")
    most = Counter(path).most_common(1)[0][0]
    first = span.first_note
    parts = ", ".join(f"{p.take} for {_notes(p.first_note - first + 1, p.last_note - first + 1)}" for p in pieces)
    why = f"Put together inside the phrase: {parts}."
    return replace(choice, take=paths[most], why=why, pieces=tuple(pieces))


def _notes(first: int, last: int) -> str:
    return f"note {first}" if first == last else f"notes {first} to {last}"


def _note_cost(take: TakeReading, phrase: int, within: int) -> float:
    """Points that one note lacks; faults of the phrase that lie in no single note count for all of them."""
    reading = take.phrases[phrase]
    note = reading.notes[within]
    cost = FAULT_COST * len(set(reading.flags) - _OF_NOTES)
    if not note.played:
        return cost + _MISSED_COST + FAULT_COST
    return cost + _time_cost(note) + _tune_cost(note, take.tuning_cents)


def _time_cost(note: NoteReading) -> float:
    late = abs(note.onset_ms or 0.0)
    return _POINTS_PER_MS * max(0.0, late - _FREE_MS) + FAULT_COST * (late > _FAULT_MS)


def _tune_cost(note: NoteReading, tuning_cents: float) -> float:
    off = abs(note.cents - tuning_cents) if note.cents is not None else 0.0
    return _POINTS_PER_CENT * max(0.0, off - _FREE_CENTS) + FAULT_COST * (off > _FAULT_CENTS)


def _join_costs(line: TimedLine, takes: Sequence[ReadTake], note: int) -> Floats:
    """Cost of a join before a note for each two takes; infinite where one of them does not attack it."""
    if note and line.notes[note].start_s - line.notes[note - 1].end_s >= SHORTEST_REST_S:
        return np.full((len(takes), len(takes)), JOIN_COST)
    clear = np.array([take.measures.played[note].clean_attack for take in takes])
    return np.where(clear[:, None] & clear[None, :], JOIN_COST + AT_ATTACK_COST, np.inf)


def pieces_of(line: TimedLine, choice: Sequence[Choice]) -> tuple[Piece, ...]:
    """All that is to be joined, in order: a piece for each phrase, or those that it is put together from."""
    return tuple(
        piece
        for c, span in zip(choice, line.phrases, strict=True)
        for piece in (c.pieces or (Piece(span.first_note, span.last_note, c.take),))
    )


def changes_of(line: TimedLine, choice: Sequence[Choice]) -> list[tuple[Piece, Piece]]:
    """Every two neighbours of which the second comes from another take."""
    return [(a, b) for a, b in pairwise(pieces_of(line, choice)) if a.take != b.take]
