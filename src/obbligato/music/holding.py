"""How long notes are held: where a written note ends, and whether a short one is detached or followed by a rest.

A single short note says little: a quarter held for half its length is an eighth and a rest, or a detached quarter. A
run of them says more. So every note is read in one of a few manners, each with the share of their length that notes
are held for at least; changing the manner costs, and the manners of the line are the cheapest as a whole (the
algorithm of Viterbi). Only notes that the next one follows within a pulse speak for a manner: a silence of a beat
or more is as easily read as a rest, and longer notes are read in the manner of their neighbours.

The costs are set by hand, as those of `quantising`, and common practice is the measure, no source: equal notes all
played short are printed at full value with a dot, not with rests between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

_PLAYED_SHORT = 0.3
_PLAYED_LONG = 0.1
"""How much shorter or longer than the manner has it a note is played without comment, in quarter notes."""
_SHORT_SHARE = 0.2
"""Of a long note, the share that it may lack without comment."""
_MANNERS = ((1.0, 0.0), (0.75, 0.3), (0.55, 0.6), (0.4, 0.8))
"""Share of a note that is held at least, and what reading a note in that manner costs."""
_CHANGE = 3.0
_DETACHED_BELOW = 0.75
"""A note held for less than this share of its length is detached (common practice, no source)."""


@dataclass(frozen=True)
class End:
    """A place where a note may be written to end.

    Attributes
    ----------
    place
        In beats from bar 1.
    quarters
        Length of the note up to there as this player would play it in full, in quarter notes.
    cost
        What the end costs to read, a rest after it included.
    """

    place: Fraction
    quarters: float
    cost: float


@dataclass(frozen=True)
class Held:
    """A note as it was held, in quarter notes, with its possible ends; `speaks`: the next follows within a pulse."""

    quarters: float
    ends: tuple[End, ...]
    speaks: bool


def written_ends(notes: Sequence[Held]) -> list[tuple[Fraction, bool]]:
    """The end of every note, and whether it is detached: held for clearly less than it is written, by habit."""
    manners = _manners(notes)
    found = []
    for note, manner in zip(notes, manners, strict=True):
        end = min(note.ends, key=lambda end: _cost(note, end, _MANNERS[manner][0]))
        found.append((end.place, manner > 0 and note.quarters < _DETACHED_BELOW * end.quarters))
    return found


def _cost(note: Held, end: End, share: float) -> float:
    short = max(share * end.quarters - note.quarters, 0.0) / max(_PLAYED_SHORT, _SHORT_SHARE * end.quarters)
    long = max(note.quarters - end.quarters, 0.0) / _PLAYED_LONG
    return end.cost + short**2 + long**2


def _manners(notes: Sequence[Held]) -> list[int]:
    """The cheapest manner for every note, as an index of `_MANNERS`."""
    totals = [0.0] + [_CHANGE] * (len(_MANNERS) - 1)
    back: list[list[int]] = []
    for note in notes:
        cheapest = min(range(len(totals)), key=totals.__getitem__)
        came = [i if totals[i] <= totals[cheapest] + _CHANGE else cheapest for i in range(len(totals))]
        totals = [
            totals[j] + (_CHANGE if i != j else 0.0) + (_spoken(note, i) if note.speaks else 0.0)
            for i, j in enumerate(came)
        ]
        back.append(came)
    manner = min(range(len(totals)), key=totals.__getitem__)
    found = []
    for came in reversed(back):
        found.append(manner)
        manner = came[manner]
    return found[::-1]


def _spoken(note: Held, manner: int) -> float:
    share, cost = _MANNERS[manner]
    return cost + min(_cost(note, end, share) for end in note.ends)
