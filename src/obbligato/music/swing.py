"""Swing: pairs of equal written notes of which the first is played longer.

Heard from the line itself: where the notes that fall between the halves of a pair gather late and in one place, the
line swings and they are written in the middle. The ratio of the literature (Friberg and Sundstroem: Swing ratios and
ensemble timing in jazz performance, Music Perception 19(3), 2002) runs from 1:1 (0.5 here) to about 3.5:1 at slow
tempi; beyond `_LATEST` a pair is taken as a dotted rhythm and written as such.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from obbligato.music.grid import Meter

_EARLIEST, _LATEST = 0.55, 0.72
_FEWEST_PAIRS = 6
_WIDEST_SPREAD = 0.06
_ON_THE_EDGE = 0.15


@dataclass(frozen=True)
class Swing:
    """Pairs of length `pair_beats` whose middle is played at `middle` (0.5 is straight, 2/3 a triplet)."""

    pair_beats: Fraction
    middle: float
    feel: str

    def played_at(self, written: Fraction) -> float:
        """Where a written place inside a beat is played."""
        pairs, inside = divmod(written / self.pair_beats, 1)
        half = 2.0 * float(inside)
        warped = half * self.middle if half < 1.0 else self.middle + (half - 1.0) * (1.0 - self.middle)
        return float(self.pair_beats) * (float(pairs) + warped)


def find_swing(onset_beats: Sequence[float], meter: Meter) -> Swing | None:
    """The swing of a line, or None where it is straight or there is too little to tell."""
    for pair_beats, feel in _pairs(meter):
        middle = _middle(np.asarray(onset_beats, dtype=np.float64) / float(pair_beats))
        if middle is not None:
            return Swing(pair_beats, middle, feel)
    return None


def _pairs(meter: Meter) -> list[tuple[Fraction, str]]:
    """Pairs of eighths, then pairs of sixteenths, as far as the metre has them inside a beat."""
    pairs = [(Fraction(1) / meter.beat_quarters, "swing"), (Fraction(1, 2) / meter.beat_quarters, "swing 16ths")]
    return [(beats, feel) for beats, feel in pairs if (1 / beats).denominator == 1 and beats <= 1]


def _middle(places: NDArray[np.float64]) -> float | None:
    """Median place of the middles, where they are late, many, close together and no triplets.

    Late is meant against the notes on the edges of the pairs, so that a player who lags on all of them does not
    pass for swinging.
    """
    window = np.floor(places + _ON_THE_EDGE)
    inside = places - window
    between = np.abs(inside - 0.5) < 0.5 - _ON_THE_EDGE
    numbers, counts = np.unique(window[between], return_counts=True)
    single = between & np.isin(window, numbers[counts == 1])
    if np.sum(single) < max(_FEWEST_PAIRS, 2 * int(np.sum(counts > 1))) or between.all():
        return None
    middles = inside[single] - float(np.median(inside[~between]))
    middle = float(np.median(middles))
    spread = float(np.median(np.abs(middles - middle)))
    return middle if _EARLIEST <= middle <= _LATEST and spread <= _WIDEST_SPREAD else None
