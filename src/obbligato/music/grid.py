"""The grid: the one answer to every question between seconds, beats and bars.

Beats are counted in the unit of the metre (a dotted quarter in 6/8, 9/8, 12/8) from 0.0 at the first beat of
bar 1. Count-in and pick-up lie before it, at negative beats; bars count 1, 2, 3 ... onwards and 0, -1 ...
backwards from bar 1. Between its anchors a grid is straight, outside them it goes on at the nearest tempo, so a
steady song needs two anchors and a wandering one has an anchor per beat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from obbligato.errors import InputError

_UNIT_NAMES = {
    Fraction(1, 2): "eighth",
    Fraction(3, 4): "dotted eighth",
    Fraction(1): "quarter",
    Fraction(3, 2): "dotted quarter",
    Fraction(2): "half",
    Fraction(3): "dotted half",
}


class Position(NamedTuple):
    """A place in the music: bar number and beat within it, the first beat being 1.0."""

    bar: int
    beat: float


@dataclass(frozen=True)
class Meter:
    """A metre: how many beats a bar has, and what one beat is worth in quarter notes."""

    beats_per_bar: int = 4
    beat_quarters: Fraction = Fraction(1)

    def __post_init__(self) -> None:
        if self.beats_per_bar < 1:
            raise InputError(f"beats_per_bar={self.beats_per_bar}: a bar needs at least one beat.")
        if self.beat_quarters not in _UNIT_NAMES:
            raise InputError(f"beat_quarters={self.beat_quarters}: use one of {', '.join(map(str, _UNIT_NAMES))}.")

    @classmethod
    def from_signature(cls, text: str) -> Meter:
        """Read a time signature; 6/8, 9/8 and 12/8 are felt in dotted quarters.

        >>> Meter.from_signature("12/8")
        Meter(beats_per_bar=4, beat_quarters=Fraction(3, 2))
        """
        try:
            upper, lower = (int(part) for part in text.strip().split("/"))
        except ValueError:
            raise InputError(f"'{text}' is not a metre; write it like 4/4, 3/4 or 12/8.") from None
        if lower not in (2, 4, 8, 16) or upper < 1:
            raise InputError(f"'{text}' is not a metre this program can count; write it like 4/4, 3/4 or 12/8.")
        unit = Fraction(4, lower)
        if lower >= 8 and upper % 3 == 0:
            return cls(upper // 3, unit * 3)
        return cls(upper, unit)

    @classmethod
    def from_unit_name(cls, beats_per_bar: int, beat_unit: str) -> Meter:
        """The inverse of `beat_unit`."""
        for quarters, name in _UNIT_NAMES.items():
            if name == beat_unit:
                return cls(beats_per_bar, quarters)
        raise InputError(f"beat_unit='{beat_unit}': use one of {', '.join(_UNIT_NAMES.values())}.")

    @property
    def beat_unit(self) -> str:
        """The beat's note value in words."""
        return _UNIT_NAMES[self.beat_quarters]

    @property
    def compound(self) -> bool:
        """Whether the beat divides into three."""
        return self.beat_quarters.numerator % 3 == 0

    @property
    def signature(self) -> tuple[int, int]:
        """The written time signature, e.g. (12, 8)."""
        if self.compound:
            pulse = self.beat_quarters / 3
            return self.beats_per_bar * 3, int(4 / pulse)
        return self.beats_per_bar, int(4 / self.beat_quarters)

    @property
    def bar_quarters(self) -> Fraction:
        """Length of a bar in quarter notes."""
        return self.beats_per_bar * self.beat_quarters

    def __str__(self) -> str:
        return "/".join(map(str, self.signature))


@dataclass(frozen=True)
class Grid:
    """Anchored map between seconds in the client's file and beats of the song.

    Parameters
    ----------
    meter
        The metre, the same for the whole song.
    anchor_beats, anchor_s
        Two or more matching, strictly increasing places in beats and in seconds.
    """

    meter: Meter
    anchor_beats: tuple[float, ...]
    anchor_s: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.anchor_beats) != len(self.anchor_s) or len(self.anchor_s) < 2:
            raise InputError("A grid needs at least two anchors, each with a beat and a time.")
        if min(np.diff(self.anchor_beats)) <= 0 or min(np.diff(self.anchor_s)) <= 0:
            raise InputError("The anchors of a grid must go forward both in beats and in seconds.")

    @classmethod
    def steady(cls, bpm: float, bar_1_s: float, meter: Meter) -> Grid:
        """A grid at one tempo; `bpm` counts beats of the metre's unit."""
        if not 1 <= bpm <= 1000:
            raise InputError(f"bpm={bpm}: a tempo lies between 1 and 1000 beats a minute.")
        return cls(meter, (0.0, float(meter.beats_per_bar)), (bar_1_s, bar_1_s + meter.beats_per_bar * 60.0 / bpm))

    @classmethod
    def from_beats(cls, beats_s: Sequence[float], bar_1_index: int, meter: Meter) -> Grid:
        """A grid with an anchor on every beat; `bar_1_index` is the index of bar 1 beat 1 (may be negative)."""
        return cls(meter, tuple(float(i - bar_1_index) for i in range(len(beats_s))), tuple(map(float, beats_s)))

    @property
    def bar_1_s(self) -> float:
        """Time of bar 1 beat 1."""
        return float(self.beat_to_sec(0.0))

    @property
    def mean_bpm(self) -> float:
        """Tempo from first to last anchor."""
        return 60.0 * (self.anchor_beats[-1] - self.anchor_beats[0]) / (self.anchor_s[-1] - self.anchor_s[0])

    def beat_to_sec(self, beats: ArrayLike) -> NDArray[np.float64]:
        """Beats to seconds in the client's file; any shape, same shape back."""
        return _interpolate(np.asarray(beats, dtype=np.float64), self.anchor_beats, self.anchor_s)

    def sec_to_beat(self, seconds: ArrayLike) -> NDArray[np.float64]:
        """Seconds in the client's file to beats; the inverse of `beat_to_sec`."""
        return _interpolate(np.asarray(seconds, dtype=np.float64), self.anchor_s, self.anchor_beats)

    def bar_to_sec(self, bar: int, beat: float = 1.0) -> float:
        """Time of a bar and beat, both counted from 1."""
        return float(self.beat_to_sec(self.bar_to_beat(bar, beat)))

    def bar_to_beat(self, bar: int, beat: float = 1.0) -> float:
        """Beats from bar 1 of a bar and beat, both counted from 1."""
        return (bar - 1) * self.meter.beats_per_bar + beat - 1.0

    def beat_to_position(self, beat: float) -> Position:
        """Bar and beat of a place given in beats from bar 1.

        A place less than a thousandth of a beat before a bar line belongs to the bar after it.
        """
        bar_index = int(np.floor((beat + 1e-3) / self.meter.beats_per_bar))
        return Position(bar_index + 1, max(1.0, beat - bar_index * self.meter.beats_per_bar + 1.0))

    def position_at(self, seconds: float) -> Position:
        """Bar and beat at a time in the client's file."""
        return self.beat_to_position(float(self.sec_to_beat(seconds)))

    def spoken_position(self, beat: float) -> Position:
        """Bar and beat to a tenth of a beat, as they are said: never a beat that the bar does not have."""
        return self.beat_to_position(round(beat, 1))

    def bpm_at(self, seconds: float) -> float:
        """Tempo at a time, in beats of the metre's unit a minute."""
        i = int(np.clip(np.searchsorted(self.anchor_s, seconds, side="right") - 1, 0, len(self.anchor_s) - 2))
        beats = self.anchor_beats[i + 1] - self.anchor_beats[i]
        return 60.0 * beats / (self.anchor_s[i + 1] - self.anchor_s[i])

    def beats_in(self, start_s: float, end_s: float) -> NDArray[np.float64]:
        """Whole beats (as numbers from bar 1) with `start_s <= time < end_s`."""
        first, last = self.sec_to_beat([start_s - 1e-9, end_s - 1e-9])
        return np.arange(np.ceil(first), np.floor(last) + 1.0)

    def bars_in(self, start_s: float, end_s: float) -> range:
        """Bar numbers whose first beat has `start_s <= time < end_s`."""
        first, last = self.sec_to_beat([start_s - 1e-9, end_s - 1e-9]) / self.meter.beats_per_bar
        return range(int(np.ceil(first)) + 1, int(np.floor(last)) + 2)

    def moved(self, beats: float) -> Grid:
        """The same tempo with bar 1 put `beats` later (half a beat: 0.5)."""
        return Grid(self.meter, tuple(b - beats for b in self.anchor_beats), self.anchor_s)

    def with_bar_1_at(self, seconds: float) -> Grid:
        """The same tempo with bar 1 beat 1 at `seconds`."""
        return self.moved(float(self.sec_to_beat(seconds)))

    def counted_times(self, factor: Fraction) -> Grid:
        """Counted `factor` times as fast (2 doubles the tempo, 1/2 halves it); bar 1 stays where it is."""
        return Grid(self.meter, tuple(b * float(factor) for b in self.anchor_beats), self.anchor_s)

    def with_meter(self, meter: Meter) -> Grid:
        """The same beats in bars of another metre; bar 1 stays where it is."""
        return Grid(meter, self.anchor_beats, self.anchor_s)


def _interpolate(x: NDArray[np.float64], xp: tuple[float, ...], yp: tuple[float, ...]) -> NDArray[np.float64]:
    """Piecewise-linear map through the anchors, going on straight outside them."""
    xs, ys = np.asarray(xp), np.asarray(yp)
    i = np.clip(np.searchsorted(xs, x, side="right") - 1, 0, len(xs) - 2)
    slope = (ys[i + 1] - ys[i]) / (xs[i + 1] - xs[i])
    return np.asarray(ys[i] + (x - xs[i]) * slope)
