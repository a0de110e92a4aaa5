"""The comp: chosen takes joined on the guide's time.

Takes are moved to the guide's time by whole samples of the comp (at most half a sample, 10 µs, of rounding), so that
a take at the guide's rate is not touched at all: chosen throughout, it comes out bit for bit. Another rate, or a
clock that drifts, means resampling. Between phrases the chosen take's own room is heard, never digital silence.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import soxr
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio
from obbligato.takes.place import Placement
from obbligato.takes.readings import Choice, Seam
from obbligato.takes.seams import takes_in_order

Samples = NDArray[np.float32]

_EDGE_FADE_S = 0.01


@dataclass(frozen=True, eq=False)
class Comp:
    """The joined takes and the seams in them."""

    audio: Audio
    seams: tuple[Seam, ...]


def join(
    takes: Mapping[str, Audio],
    placements: Mapping[str, Placement],
    choice: Sequence[Choice],
    seams: Sequence[Seam],
    *,
    n_samples: int,
    sr: int,
    correct_drift: bool = True,
    progress: Progress = silent,
) -> Comp:
    """Render a choice of takes.

    Parameters
    ----------
    takes, placements
        By path, for every take that was chosen.
    seams
        As planned by `plan_seams` for this choice.
    n_samples, sr
        Length and rate of the comp: the guide's. The first sample is the guide's first.
    correct_drift
        Whether to resample a take whose placement states a drift.

    Returns
    -------
    As many channels as the chosen take with the most.

    Raises
    ------
    InputError
        When a chosen take is missing.
    """
    missing = {c.take for c in choice} - takes.keys()
    if missing:
        raise InputError(f"The chosen take '{sorted(missing)[0]}' is not there; add it again or choose another.")
    stretches = takes_in_order(choice, seams)
    names = list(dict.fromkeys(name for name, _, _ in stretches))
    channels = max(takes[name].channels for name in names)
    placed = {}
    for i, name in enumerate(names):
        progress(i / (len(names) + 1), f"placing {name}")
        y = on_guide_time(takes[name], placements[name], n_samples=n_samples, sr=sr, correct_drift=correct_drift)
        placed[name] = np.broadcast_to(y, (channels, n_samples)) if len(y) == 1 else y
    out = np.array(placed[stretches[0][0]])
    for seam, (name, _, _) in zip(seams, stretches[1:], strict=True):
        _switch(out, placed[name], round(seam.at_s * sr), round(seam.fade_ms * sr / 1e3))
    progress(1.0, "joined")
    return Comp(Audio(out, sr), tuple(seams))


def on_guide_time(
    take: Audio, placement: Placement, *, n_samples: int, sr: int, correct_drift: bool = True
) -> Samples:
    """A take on the guide's time at the comp's rate, shape (channels, n_samples); silent where the take is not.

    Where the take begins or ends within the comp it is faded over 10 ms.
    """
    drift = placement.drift_ppm * 1e-6 if correct_drift else 0.0
    y = take.y
    if take.sr != sr or drift:
        y = np.asarray(soxr.resample(y.T, take.sr * (1.0 + drift), sr, quality="VHQ"), dtype=np.float32).T
    start = round(placement.offset_s * sr)
    first, last = max(0, start), min(n_samples, start + y.shape[1])
    out = np.zeros((y.shape[0], n_samples), dtype=np.float32)
    if last <= first:
        return out
    out[:, first:last] = y[:, first - start : last - start]
    fade = min(round(_EDGE_FADE_S * sr), last - first)
    ramp = np.linspace(0.0, 1.0, fade, dtype=np.float32)
    if start > 0:
        out[:, first : first + fade] *= ramp
    if last < n_samples:
        out[:, last - fade : last] *= ramp[::-1]
    return out


def _switch(out: Samples, y: Samples, at: int, fade: int) -> None:
    """Go over from what `out` holds to `y`, around sample `at`."""
    first, last = max(0, at - fade // 2), min(out.shape[1], at - fade // 2 + fade)
    if last > first:
        fade_out, fade_in = crossfade_gains(last - first, _correlation(out[:, first:last], y[:, first:last]))
        out[:, first:last] = (out[:, first:last] * fade_out + y[:, first:last] * fade_in).astype(np.float32)
    out[:, last:] = y[:, last:]


def crossfade_gains(n: int, correlation: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gains of a crossfade that holds the power of two signals of equal power whatever their correlation.

    A quarter of a cosine and of a sine, divided by what their mixture's power would rise to: at correlation 0 that
    is the law of equal power, at 1 it holds equal gain in the middle.
    """
    angle = np.pi / 2 * (np.arange(n) + 0.5) / n
    fade_out, fade_in = np.cos(angle), np.sin(angle)
    power = 1.0 + 2.0 * correlation * fade_out * fade_in
    return fade_out / np.sqrt(power), fade_in / np.sqrt(power)


def _correlation(a: Samples, b: Samples) -> float:
    """Normalised correlation of two stretches, 0 to 1; negative values count as none."""
    x, y = a.astype(np.float64).ravel(), b.astype(np.float64).ravel()
    power = float(np.sqrt(np.dot(x, x) * np.dot(y, y)))
    return float(np.clip(np.dot(x, y) / power, 0.0, 1.0)) if power > 0 else 0.0
