"""How loud a take is from moment to moment: what is kept of its sound once it has been read, to find seams in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.ndimage
from numpy.typing import NDArray

from obbligato.takes.hearing import Heard
from obbligato.takes.pitch import ANALYSIS_SR, Floats
from obbligato.units import power_to_db

STEP_S = 0.002
"""Well below the 10 ms of the shortest fade; a thirtieth of the numbers that the sound itself takes up."""
_STEP = round(STEP_S * ANALYSIS_SR)
_SILENT = 1e-10
_ROOM_S = 0.1


@dataclass(frozen=True, eq=False)
class Levels:
    """The level of a take.

    Attributes
    ----------
    power
        Mean square of each step of `STEP_S`, from the take's first sample on, shape (n_steps,), full scale 1.
    floor_db
        Level of the take's room, dBFS.
    """

    power: NDArray[np.float32]
    floor_db: float

    @classmethod
    def of(cls, heard: Heard) -> Levels:
        """The level of a take that was listened to."""
        squares = np.pad(np.asarray(heard.y, dtype=np.float64) ** 2, (0, -len(heard.y) % _STEP))
        return cls(squares.reshape(-1, _STEP).mean(axis=1).astype(np.float32), heard.floor_db)

    @property
    def duration_s(self) -> float:
        """Length of the take, to one step."""
        return len(self.power) * STEP_S

    def around_db(self, take_s: Floats, *, half_s: float = 0.01) -> Floats:
        """Level of the stretch around each time in the take, dBFS; outside the take it is silent."""
        total = np.concatenate([[0.0], np.cumsum(self.power, dtype=np.float64)])
        first = np.round((take_s - half_s) / STEP_S).astype(int)
        width = round(2 * half_s / STEP_S)
        a, b = (np.clip(edge, 0, len(self.power)) for edge in (first, first + width))
        return np.asarray(10 * np.log10(np.maximum(total[b] - total[a], 0.0) / width + _SILENT))

    def room_db(self, start_s: float, end_s: float) -> float:
        """Level of the quietest 100 ms in a stretch, dBFS; the take's own room where it is too short to tell."""
        first, last = (int(np.clip(round(t / STEP_S), 0, len(self.power))) for t in (start_s, end_s))
        width = round(_ROOM_S / STEP_S)
        if last - first < width:
            return self.floor_db
        smooth = scipy.ndimage.uniform_filter1d(self.power[first:last].astype(np.float64), width, mode="nearest")
        return float(power_to_db(smooth[width // 2 : len(smooth) - width // 2 + 1].min()))
