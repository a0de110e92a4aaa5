"""All seams of a comp one after another, to be heard through in a minute."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from obbligato.sound.audio import Audio
from obbligato.takes.readings import Seam

AROUND_S = 1.0
GAP_S = 0.7
_FADE_S = 0.02


def seam_reel(comp: Audio, seams: Sequence[Seam]) -> Audio:
    """Two seconds of the comp around each seam, the seam in their middle, with gaps of 0.7 s between them.

    Where a seam lies near an end of the comp, silence fills the two seconds up.
    """
    n, gap, fade = (round(s * comp.sr) for s in (2 * AROUND_S, GAP_S, _FADE_S))
    shape = np.minimum(1.0, np.minimum(np.arange(n), np.arange(n)[::-1]) / fade)
    out = np.zeros((comp.channels, max(0, len(seams) * (n + gap) - gap)), dtype=np.float32)
    for i, seam in enumerate(seams):
        first = round((seam.at_s - AROUND_S) * comp.sr)
        inside = slice(max(0, first), min(comp.n_samples, first + n))
        at = i * (n + gap) + inside.start - first
        length = inside.stop - inside.start
        out[:, at : at + length] = comp.y[:, inside]
        out[:, i * (n + gap) : i * (n + gap) + n] *= shape.astype(np.float32)
    return Audio(out, comp.sr)


def reel_times_s(n_seams: int) -> list[float]:
    """Where in `seam_reel` the seams lie."""
    return [i * (2 * AROUND_S + GAP_S) + AROUND_S for i in range(n_seams)]
