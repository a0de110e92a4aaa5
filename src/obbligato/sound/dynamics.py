"""A compressor, after Giannoulis, Massberg and Reiss, "Digital Dynamic Range Compressor Design", JAES 60 (2012)."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.units import amplitude_to_db, db_to_amplitude

CONTROL_STEP_S = 0.001
LOUD_PERCENTILE = 95.0
AUDIBLE_BELOW_PEAK_DB = 40.0
AT_WORK_DB = 0.5
USUAL_REDUCTION_DB = 3.0
"""Common practice for winds: 2 to 4 dB at the loudest passages."""


@dataclass(frozen=True, eq=False)
class Compressed:
    """A compressed sound, and what was done to it.

    Attributes
    ----------
    gain_db
        Gain at every sample, shape (n_samples,), never above zero.
    """

    audio: Audio
    gain_db: NDArray[np.float64]
    threshold_dbfs: float
    ratio: float

    @property
    def most_db(self) -> float:
        """The greatest reduction, dB."""
        return float(-self.gain_db.min(initial=0.0))

    @property
    def typical_db(self) -> float:
        """The median reduction over the moments at which it reduces by half a decibel or more, dB; 0 without any."""
        at_work = self.gain_db[self.gain_db <= -AT_WORK_DB]
        return float(-np.median(at_work)) if at_work.size else 0.0


def static_curve(
    level_db: NDArray[np.float64], *, threshold_db: float, ratio: float, knee_db: float
) -> NDArray[np.float64]:
    """Output level for an input level, both in dB (the paper's equation 4, with its quadratic knee)."""
    over = np.asarray(level_db, dtype=np.float64) - threshold_db
    slope = 1.0 / ratio - 1.0
    hard = np.where(over > 0.0, slope * over, 0.0)
    if knee_db <= 0.0:
        return np.asarray(level_db + hard)
    soft = slope * (over + knee_db / 2.0) ** 2 / (2.0 * knee_db)
    return np.asarray(level_db + np.where(np.abs(over) <= knee_db / 2.0, soft, hard))


def compress(
    audio: Audio,
    *,
    threshold_dbfs: float | None = None,
    ratio: float = 3.0,
    knee_db: float = 6.0,
    attack_ms: float = 20.0,
    release_ms: float = 150.0,
) -> Compressed:
    """Turn loud passages down; all channels by the same gain; nothing is made louder.

    Parameters
    ----------
    threshold_dbfs
        None sets it so that the loud passages (95th percentile of the audible) come down by about 3 dB.
    ratio, knee_db, attack_ms, release_ms
        Defaults are common practice for winds.

    Notes
    -----
    The level is the peak of every millisecond, and the gain in dB is smoothed at that rate by a one-pole filter with
    separate attack and release (the paper's branching form), then interpolated: at attack times of 10 ms and more
    this differs from smoothing every sample by less than a tenth of the attack.

    Raises
    ------
    InputError
        When the ratio is below 1 or a time is not positive.
    """
    if ratio < 1.0 or attack_ms <= 0.0 or release_ms <= 0.0:
        raise InputError("A compressor needs a ratio of 1 or more, and attack and release above 0 ms.")
    step = max(1, round(CONTROL_STEP_S * audio.sr))
    n_steps = -(-audio.n_samples // step)
    envelope = np.pad(np.abs(audio.y).max(axis=0, initial=0.0), (0, n_steps * step - audio.n_samples))
    level_db = amplitude_to_db(envelope.reshape(n_steps, step).max(axis=1, initial=0.0))
    if threshold_dbfs is None:
        threshold_dbfs = _usual_threshold_dbfs(level_db, ratio)
    wanted_db = static_curve(level_db, threshold_db=threshold_dbfs, ratio=ratio, knee_db=knee_db) - level_db
    step_ms = 1000.0 * step / audio.sr
    smooth_db = _smooth(wanted_db, attack=exp(-step_ms / attack_ms), release=exp(-step_ms / release_ms))
    gain_db = (
        np.interp(np.arange(audio.n_samples), (np.arange(n_steps) + 0.5) * step, smooth_db) if n_steps else smooth_db
    )
    y = audio.y * db_to_amplitude(gain_db).astype(np.float32)
    return Compressed(Audio(y, audio.sr), gain_db, threshold_dbfs, ratio)


def _usual_threshold_dbfs(level_db: NDArray[np.float64], ratio: float) -> float:
    if level_db.size == 0 or ratio == 1.0:
        return 0.0
    audible = level_db[level_db > level_db.max() - AUDIBLE_BELOW_PEAK_DB]
    return float(np.percentile(audible, LOUD_PERCENTILE)) - USUAL_REDUCTION_DB / (1.0 - 1.0 / ratio)


def _smooth(gain_db: NDArray[np.float64], *, attack: float, release: float) -> NDArray[np.float64]:
    """One-pole smoothing that falls with `attack` and rises with `release`; a loop over milliseconds, not samples."""
    smoothed = []
    state = 0.0
    for target in gain_db.tolist():
        pole = attack if target < state else release
        state = pole * state + (1.0 - pole) * target
        smoothed.append(state)
    return np.array(smoothed)
