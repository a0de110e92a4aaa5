"""Which beat of one performance is which beat of another, by harmony, whatever the tempo and the key.

The pitch classes of the beats of both are aligned as sequences are (Needleman and Wunsch 1970), with gaps that cost
much to open and little to go on (Gotoh 1982), so that bars put in or taken out come out whole. It is the alignment by
time warping of audio matching (Müller 2007, chapter 4) with beats for frames: the tempo is in the grids already, and
only cuts are left to be found. All twelve keys are tried and the one that aligns best is taken.

References
----------
S. Needleman, C. Wunsch: A general method applicable to the search for similarities in the amino acid sequence of two
proteins. Journal of Molecular Biology 48, 1970, pages 443-453.
O. Gotoh: An improved algorithm for matching biological sequences. Journal of Molecular Biology 162, 1982, 705-708.
M. Müller: Information Retrieval for Music and Motion. Springer, 2007.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from obbligato.listen.chroma import BeatChroma

Array = NDArray[np.float64]

_UNRELATED = 0.6
"""Likeness of unrelated beats, at most: below it a pair counts against the alignment (see `_likeness`)."""

_OVER_MEAN = 0.15
"""A pair counts for the alignment from so much above the mean likeness of all pairs of the two songs."""

_OPEN, _GO_ON = 1.6, 0.06
_BASS_WEIGHT = 0.35
_LEAST_LIKENESS = 0.1
"""Mean gain over unrelated music, for two songs to be called the same."""


@dataclass(frozen=True)
class Followed:
    """Beats of the old and of the new that are the same, as pairs of indices, and the key the new one is in.

    Attributes
    ----------
    pairs
        Index of the old beat and of the new one, both increasing.
    semitones
        How much higher the new one is, 0 to 11.
    gain
        Mean likeness of the pairs over that of unrelated music.
    """

    pairs: tuple[tuple[int, int], ...]
    semitones: int
    gain: float

    @property
    def same_song(self) -> bool:
        """Whether the two are the same music at all."""
        return self.gain >= _LEAST_LIKENESS


def follow_beats(old: BeatChroma, new: BeatChroma) -> Followed:
    """Align the beats of two performances."""
    if min(old.beats.size, new.beats.size) == 0:
        return Followed((), 0, 0.0)
    likeness = [_likeness(old, new, turn) for turn in range(12)]
    scores = [_align(one)[0] for one in likeness]
    turn = int(np.argmax(scores))
    _, pairs = _align(likeness[turn], trace=True)
    gain = float(np.mean([likeness[turn][i, j] for i, j in pairs])) if pairs else 0.0
    return Followed(tuple(pairs), turn, gain * min(1.0, 2.0 * len(pairs) / old.beats.size))


def _likeness(old: BeatChroma, new: BeatChroma, turn: int) -> Array:
    """Likeness of every two beats over that of unrelated ones, shape (n_old, n_new); 0 for beats without pitch."""
    upper, bass = (
        _unit(a) @ np.roll(_unit(b), -turn, axis=1).T for a, b in ((old.upper, new.upper), (old.bass, new.bass))
    )
    alike = (1.0 - _BASS_WEIGHT) * upper + _BASS_WEIGHT * bass
    pitched = np.outer(old.upper.any(axis=1), new.upper.any(axis=1))
    mean = float(alike[pitched].mean()) if pitched.any() else 0.0
    return np.where(pitched, alike - min(_UNRELATED, mean + _OVER_MEAN), 0.0)


def _unit(chroma: Array) -> Array:
    norm = np.linalg.norm(chroma, axis=1, keepdims=True)
    return chroma / np.where(norm > 0.0, norm, 1.0)


def _align(gain: Array, *, trace: bool = False) -> tuple[float, list[tuple[int, int]]]:
    """Score of the best alignment, and its pairs if asked for; gaps at either end cost nothing to open."""
    n, m = gain.shape
    columns = np.arange(m + 1)
    steps = _GO_ON * columns
    inside = (columns > 0) & (columns < m)
    best = -steps
    from_old, opened_at = np.full(m + 1, -np.inf), np.zeros(m + 1, dtype=np.intp)
    origins = np.zeros((n + 1, m + 1, 2), dtype=np.int32)
    for i in range(1, n + 1):
        opening = best - np.where(inside, _OPEN, 0.0)
        opened_at = np.where(opening > from_old, i - 1, opened_at)
        from_old = np.maximum(from_old, opening) - _GO_ON
        diagonal = np.append(-np.inf, best[:-1] + gain[i - 1])
        here = np.maximum(diagonal, from_old)
        reached = np.maximum.accumulate(here + steps)
        reached_at = np.maximum.accumulate(np.where(here + steps == reached, columns, 0))
        from_new = np.append(-np.inf, reached[:-1] - steps[1:] - (_OPEN if i < n else 0.0))
        best = np.maximum(here, from_new)
        origins[i, :, 0] = np.where(from_new > here, i, np.where(from_old > diagonal, opened_at, i - 1))
        origins[i, :, 1] = np.where(
            from_new > here, np.append(0, reached_at[:-1]), np.where(from_old > diagonal, columns, columns - 1)
        )
    return float(best[m]), _traced(origins) if trace else []


def _traced(origins: NDArray[np.int32]) -> list[tuple[int, int]]:
    """The pairs of the best alignment, forward."""
    i, j = origins.shape[0] - 1, origins.shape[1] - 1
    pairs = []
    while i > 0 and j > 0:
        before = int(origins[i, j, 0]), int(origins[i, j, 1])
        if before == (i - 1, j - 1):
            pairs.append(before)
        i, j = before
    return pairs[::-1]
