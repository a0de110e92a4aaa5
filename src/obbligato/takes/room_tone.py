"""The sound of a take's room, as long as it is needed, to lie where there would be dead silence.

Short grains of the quietest stretches of the take, taken at random places and overlapped by half under a window whose
squares add up to one, so that the level of unlike grains holds and no loop is heard (granular synthesis: Roads,
"Microsound", MIT Press, 2001, chapter 3; Schwarz, "State of the art in sound texture synthesis", DAFx 2011). The
places come from a generator with a fixed seed, so that the same take gives the same room.
"""

from __future__ import annotations

import numpy as np
import scipy.ndimage

from obbligato.sound.audio import Samples
from obbligato.sound.runs import true_runs

_STEP_S = 0.01
_SMOOTH_STEPS = 5
_AUDIBLE_POWER = 1e-12
_ABOVE_FLOOR = 2.0
_SHORTEST_S, _GRAIN_S, _MOST_S = 0.08, 0.25, 4.0
_SEED = 7


def room_tone(y: Samples, n_samples: int, *, sr: int) -> Samples:
    """Room of a take, shape (channels, n_samples).

    Parameters
    ----------
    y
        The take, shape (channels, n). Its room is what lies within 3 dB of the tenth percentile of its level, digital
        silence left out.

    Returns
    -------
    Silence where no stretch of 80 ms or more of room is found in the take.
    """
    out = np.zeros((y.shape[0], n_samples), dtype=np.float64)
    stretches = _quiet_stretches(y, sr=sr) if n_samples else []
    if not stretches:
        return out.astype(np.float32)
    rng = np.random.default_rng(_SEED)
    longest = max(last - first for first, last in stretches)
    grain = min(round(_GRAIN_S * sr), longest) // 2 * 2
    stretches = [(first, last) for first, last in stretches if last - first >= grain]
    places = np.array([last - first - grain + 1 for first, last in stretches])
    window = np.sin(np.pi * (np.arange(grain) + 0.5) / grain)
    for at in range(-grain // 2, n_samples, grain // 2):
        which = int(rng.choice(len(stretches), p=places / places.sum()))
        start = stretches[which][0] + int(rng.integers(places[which]))
        first, last = max(0, at), min(n_samples, at + grain)
        out[:, first:last] += (window * y[:, start : start + grain])[:, first - at : last - at]
    return out.astype(np.float32)


def _quiet_stretches(y: Samples, *, sr: int) -> list[tuple[int, int]]:
    """Stretches of room as samples from and to, the longest first, up to some seconds in all."""
    step = round(_STEP_S * sr)
    n = y.shape[1] // step
    if not n:
        return []
    power = (y[:, : n * step].astype(np.float64) ** 2).mean(axis=0).reshape(n, step).mean(axis=1)
    audible = power > _AUDIBLE_POWER
    if not audible.any():
        return []
    smooth = scipy.ndimage.uniform_filter1d(power, _SMOOTH_STEPS, mode="nearest")
    quiet = audible & (smooth <= _ABOVE_FLOOR * np.percentile(smooth[audible], 10))
    runs = sorted(true_runs(quiet), key=lambda run: run[0] - run[1])
    kept, total = [], 0
    for first, last in runs:
        if (last - first) * step >= _SHORTEST_S * sr and total < _MOST_S * sr:
            kept.append((first * step, last * step))
            total += (last - first) * step
    return kept


def silent_runs(y: Samples, *, least: int) -> list[tuple[int, int]]:
    """Runs of at least `least` samples of digital silence in every channel, as (first, one past the last)."""
    return [run for run in true_runs(np.all(y == 0.0, axis=0)) if run[1] - run[0] >= least]
