"""Where a recording plays and where it rests, by level alone: for recordings of which no line is known."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from obbligato.sound.audio import Samples
from obbligato.sound.runs import true_runs
from obbligato.units import SILENCE_DB, power_to_db

STEP_S = 0.02
LOUD_PERCENTILE, QUIET_PERCENTILE = 95.0, 5.0
LEAST_CONTRAST_DB = 12.0
"""Between playing and resting (common practice, no source); a room alone varies by a few decibels."""
PLAYING_BELOW_LOUD_DB = 25.0
MOST_ABOVE_QUIET_DB = 8.0
SHORTEST_REST_S = 0.25
TAIL_S = 0.3
DIGITAL_SILENCE_DB = -120.0


@dataclass(frozen=True)
class Resting:
    """A recording divided by level.

    Attributes
    ----------
    loud_dbfs, floor_dbfs
        RMS of its loud steps (95th percentile) and of its rests; `SILENCE_DB` for silence, the floor None without any
        rest.
    rests, runs
        Stretches in seconds: nothing sounds, not even a tail; something is played.
    """

    loud_dbfs: float
    floor_dbfs: float | None
    rests: tuple[tuple[float, float], ...]
    runs: tuple[tuple[float, float], ...]

    @property
    def plays(self) -> bool:
        """Whether anything stands out of the room."""
        return bool(self.runs)


def find_rests(y: Samples, sr: int) -> Resting:
    """Divide one channel, shape (n_samples,), into playing and resting; our own criterion, no source.

    Steps of 20 ms within 25 dB of the loud ones play; those within 8 dB of the quietest twentieth, and nearer to it
    than to the loud ones, rest, from 0.3 s after the playing on. Digital silence at either end is left out of it.
    """
    sounding = np.flatnonzero(y)
    step = max(1, round(STEP_S * sr))
    if not sounding.size or sounding[-1] - sounding[0] < 4 * step:
        return Resting(SILENCE_DB, None, (), ())
    first = int(sounding[0])
    inner = y[first : int(sounding[-1]) + 1]
    n = len(inner) // step
    level_db = _levels_db(inner[: n * step].reshape(n, step))
    quiet_db, loud_db = (float(level) for level in np.percentile(level_db, [QUIET_PERCENTILE, LOUD_PERCENTILE]))
    quiet_db = max(quiet_db, DIGITAL_SILENCE_DB)
    if loud_db - quiet_db < LEAST_CONTRAST_DB:
        return Resting(loud_db, loud_db, ((first / sr, (first + n * step) / sr),), ())
    resting = level_db <= quiet_db + min(MOST_ABOVE_QUIET_DB, (loud_db - quiet_db) / 2.0)
    playing = (level_db > loud_db - PLAYING_BELOW_LOUD_DB) & ~resting
    runs = _stretches(playing, first / sr)
    tail = round(TAIL_S / STEP_S)
    after_playing = np.convolve(playing, np.ones(tail + 1), "full")[:n] > 0.5
    rests = tuple(s for s in _stretches(resting & ~after_playing, first / sr) if s[1] - s[0] >= SHORTEST_REST_S)
    return Resting(loud_db, _level_in(y, sr, rests), rests, runs)


def _levels_db(steps: Samples) -> NDArray[np.float64]:
    return power_to_db(np.einsum("ij,ij->i", steps, steps, dtype=np.float64) / steps.shape[1])


def _stretches(of: NDArray[np.bool_], offset_s: float) -> tuple[tuple[float, float], ...]:
    return tuple((offset_s + a * STEP_S, offset_s + b * STEP_S) for a, b in true_runs(of))


def _level_in(y: Samples, sr: int, spans: tuple[tuple[float, float], ...]) -> float | None:
    pieces = [y[int(a * sr) : int(b * sr)] for a, b in spans]
    if not pieces:
        return None
    total = sum(float(np.sum(np.square(piece, dtype=np.float64))) for piece in pieces)
    return float(power_to_db(total / sum(len(piece) for piece in pieces)))
