"""Sound that was lost while recording, noticed during the take: by what the device says, and by its clock.

Every block is stamped with the time at which its first frame passed the converter. Frames counted and time must go
together; where the time runs ahead by a step that stays, so much sound is missing. Stamps come late now and then when
the computer is busy, but never early: times are compared with the earliest of the last stamps, and a step counts once
it has stayed for longer than lateness of the kind seen before would by chance, once in a million.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass
from math import log

import numpy as np

from obbligato.play.ring import BlockStamp

CHANCE = 1e-6
FEWEST_BEFORE = 32
REMEMBERED = 128
NEAR_BLOCKS = 6
SMALLEST_STEP_BLOCKS = 0.5
SMALLEST_STEP_S = 0.002
"""A step smaller than half a block, or than what stamps of common devices vary by, is not told from chance."""

SHORTEST_FOR_DRIFT_S = 20.0
CLOCK_STAMP_EVERY_S = 0.25


@dataclass(frozen=True)
class Dropout:
    """Sound lost before frame `frame` of the recording; None for `lost_s` where the device did not say how much."""

    frame: int
    lost_s: float | None


class DropoutWatch:
    """Follows the stamps of a stream at `sr` Hz; `found` are the drop-outs so far, oldest first."""

    def __init__(self, *, sr: int) -> None:
        self.found: tuple[Dropout, ...] = ()
        self._sr = sr
        self._before: deque[float] = deque(maxlen=REMEMBERED)
        self._doubted: list[tuple[BlockStamp, float]] = []
        self._clock: list[tuple[float, float, float]] = []

    def follow(self, stamps: list[BlockStamp]) -> None:
        """Look at the next blocks."""
        for stamp in stamps:
            self._one(stamp)

    @property
    def drift_ppm(self) -> float | None:
        """How much faster the playing clock counts than the recording clock; None for a short take or no stamps.

        Both count the same frames on one stream, so it is the slope of the distance between the two stamps of each
        block, by least squares.
        """
        if len(self._clock) < 3 or self._clock[-1][1] - self._clock[0][1] < SHORTEST_FOR_DRIFT_S:
            return None
        counted_s, adc_s, dac_s = np.array(self._clock).T
        return float(-1e6 * np.polyfit(counted_s, dac_s - adc_s, 1)[0])

    def _one(self, stamp: BlockStamp) -> None:
        counted_s = stamp.frame / self._sr
        late_s = stamp.adc_s - counted_s
        if not self._clock or counted_s - self._clock[-1][0] >= CLOCK_STAMP_EVERY_S:
            self._clock.append((counted_s, stamp.adc_s, stamp.dac_s))
        if stamp.lost and stamp.frame:
            self.found = (*self.found, Dropout(stamp.frame, None))
        self._doubt(stamp, late_s)

    def _doubt(self, stamp: BlockStamp, late_s: float) -> None:
        if len(self._before) < FEWEST_BEFORE:
            self._before.append(late_s)
            return
        limit_s = min(self._before) + max(SMALLEST_STEP_S, SMALLEST_STEP_BLOCKS * stamp.frames / self._sr)
        if late_s < limit_s:
            self._before.extend([*(late for _, late in self._doubted), late_s])
            self._doubted.clear()
            return
        self._doubted.append((stamp, late_s))
        usual = (1 + sum(late >= limit_s for late in self._before)) / (2 + len(self._before))
        if len(self._doubted) >= log(CHANCE) / log(usual):
            self._confirm()

    def _confirm(self) -> None:
        """Count the step; it says how much was lost where the device itself only said that something was."""
        first = self._doubted[0][0]
        lost_s = min(late for _, late in self._doubted) - min(self._before)
        near = NEAR_BLOCKS * first.frames
        same = next((d for d in self.found if d.lost_s is None and abs(d.frame - first.frame) <= near), None)
        known = tuple(d for d in self.found if d is not same)
        self.found = (*known, Dropout(same.frame if same else first.frame, lost_s))
        self._before = deque((late for _, late in self._doubted), maxlen=REMEMBERED)
        self._doubted.clear()
