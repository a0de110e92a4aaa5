"""The comp: chosen takes joined on the guide's time.

Takes are moved to the guide's time by whole samples of the comp (at most half a sample, 10 µs, of rounding), so that
a take at the guide's rate is not touched at all: chosen throughout, it comes out bit for bit. Another rate, or a
clock that drifts, means resampling. Between phrases the chosen take's own room is heard, never digital silence.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np
import soxr

from obbligato.errors import InputError
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio, Samples
from obbligato.sound.shape import crossfade
from obbligato.takes.place import Placement
from obbligato.takes.readings import Choice, Seam
from obbligato.takes.seams import takes_in_order

_EDGE_FADE_S = 0.01
_WORKERS = 2
"""Takes resampled at a time; that is done outside the interpreter's lock."""


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

    def place(name: str) -> Samples:
        y = on_guide_time(takes[name], placements[name], n_samples=n_samples, sr=sr)
        return np.broadcast_to(y, (channels, n_samples)) if len(y) == 1 else y

    with ThreadPoolExecutor(max_workers=_WORKERS) as pool:
        for i, (name, y) in enumerate(zip(names, pool.map(place, names), strict=True)):
            placed[name] = y
            progress((i + 1) / (len(names) + 1), f"placed {name}")
    out = np.array(placed[stretches[0][0]])
    for seam, (name, _, _) in zip(seams, stretches[1:], strict=True):
        _switch(out, placed[name], sr=sr, at=round(seam.at_s * sr), fade=round(seam.fade_ms * sr / 1e3))
    progress(1.0, "joined")
    return Comp(Audio(out, sr), tuple(seams))


def on_guide_time(take: Audio, placement: Placement, *, n_samples: int, sr: int) -> Samples:
    """A take on the guide's time at the comp's rate, shape (channels, n_samples); silent where the take is not.

    A take whose placement states a drift is resampled. Where it begins or ends within the comp it is faded over
    10 ms.
    """
    drift = placement.drift_ppm * 1e-6
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


def _switch(out: Samples, y: Samples, *, sr: int, at: int, fade: int) -> None:
    """Go over from what `out` holds to `y`, around sample `at`; `out` is changed."""
    first, last = max(0, at - fade // 2), min(out.shape[1], at - fade // 2 + fade)
    if last > first:
        out[:, first:last] = crossfade(Audio(out[:, first:last], sr), Audio(y[:, first:last], sr)).y
    out[:, last:] = y[:, last:]
