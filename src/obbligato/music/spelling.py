"""Names for pitches: which letter and accidental a reader expects, in a given key.

Each name has a place on the line of fifths (... Bb F C G D ...). The names chosen lie near the seven notes of the key
and near the names before and after them, which is the pitch variance rule of Temperley with the key known; the best
row of names for the whole line is found by dynamic programming. Nothing is spelled with a double accidental.

References
----------
D. Temperley: The Cognition of Basic Musical Structures. MIT Press, 2001, chapter 5.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from obbligato.errors import InputError
from obbligato.music.spans import Mode

_STEPS = "FCGDAEB"
_NATURALS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SHARPWARD = {"major": 0.2, "minor": 0.6}
"""Raised notes are commoner than lowered ones, in minor above all: its sixth and seventh (common practice)."""
_RAISED_IN_MINOR = {6: 0.5, 8: 0.3}
"""The raised sixth and seventh of minor, by their place above the signature: hardly foreign."""
_OUTSIDE_KEY = 1.0
_FAR_STEP, _FARTHEST_STEP = 0.6, 1.2
_DIATONIC_STEP = 6
"""No two notes of a key lie further apart on the line of fifths."""


class Spelling(NamedTuple):
    """A spelled pitch: letter, alteration in semitones, octave (C4 is middle C)."""

    step: str
    alter: int
    octave: int

    def __str__(self) -> str:
        return self.step + {-1: "b", 0: "", 1: "#"}[self.alter] + str(self.octave)


def spell(pitches: Sequence[int], keys: Sequence[tuple[int, Mode]]) -> tuple[Spelling, ...]:
    """Spell a line.

    Parameters
    ----------
    pitches
        MIDI pitches in order, all written or all sounding.
    keys
        For each pitch the key it stands in, in the same (written or sounding) pitch: sharps (positive) or flats
        (negative) of the signature, and the mode.

    >>> [str(s) for s in spell([64, 66, 68, 69], [(0, "minor")] * 4)]
    ['E4', 'F#4', 'G#4', 'A4']

    Raises
    ------
    InputError
        When there is not one key for each pitch.
    """
    if len(pitches) != len(keys):
        raise InputError(f"{len(pitches)} pitches cannot be spelled with {len(keys)} keys; give one for each.")
    # For every name of the last pitch: the cheapest way of spelling up to it.
    paths: dict[int, tuple[float, list[int]]] = {}
    for pitch, (fifths, mode) in zip(pitches, keys, strict=True):
        own = {place: _key_cost(place, fifths, mode) for place in _places(pitch)}
        paths = {place: _extended(paths, place, cost) for place, cost in own.items()}
    names = min(paths.values())[1] if paths else []
    return tuple(_named(pitch, place) for pitch, place in zip(pitches, names, strict=True))


def _places(pitch: int) -> list[int]:
    """Places on the line of fifths (C is 0) that name a pitch with at most one accidental: Fb is -8, B# is 12."""
    return [place for place in range(-8, 13) if (7 * place - pitch) % 12 == 0]


def _key_cost(place: int, fifths: int, mode: Mode) -> float:
    middle = fifths + 2 + _SHARPWARD[mode]
    if -1 <= place - fifths <= 5:
        return 0.0
    if mode == "minor" and place - fifths in _RAISED_IN_MINOR:
        return _RAISED_IN_MINOR[place - fifths]
    return _OUTSIDE_KEY * (abs(place - middle) - 3.0)


def _extended(paths: dict[int, tuple[float, list[int]]], place: int, cost: float) -> tuple[float, list[int]]:
    if not paths:
        return cost, [place]
    steps = [(total + cost + _step_cost(abs(place - before)), path) for before, (total, path) in paths.items()]
    total, path = min(steps)
    return total, [*path, place]


def _step_cost(distance: int) -> float:
    return min(_FAR_STEP * max(0, distance - _DIATONIC_STEP), _FARTHEST_STEP)


def _named(pitch: int, place: int) -> Spelling:
    accidentals, index = divmod(place + 1, 7)
    step = _STEPS[index]
    return Spelling(step, accidentals, (pitch - accidentals - _NATURALS[step]) // 12 - 1)
