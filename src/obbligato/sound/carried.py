"""Which stretches of a sound were there in an older one already, in their place or moved as a whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from obbligato.sound.audio import Audio

SAME_DB = -40.0
"""A stretch is the same when what is left after taking the old one away is this far below it (a rule of ours: above
dither and rounding, far below any second playing of the same notes)."""
SILENT_DB = -90.0
"""What is left below this never counts: the dither of 16 bits lies at -96 dBFS."""
MOST_MOVES = 8


@dataclass(frozen=True)
class Carried:
    """One stretch: `silent`, the `same` as before but `later_s` seconds later (0: in its place), or `new`."""

    kind: Literal["silent", "same", "new"]
    later_s: float = 0.0


def carried(new: Audio, old: Audio, edges_s: Sequence[float]) -> tuple[Carried, ...]:
    """For each stretch between two edges of the new sound, whether the old one has it.

    The old sound is looked for at the peaks of the cross-correlation of what is not explained yet. Both have one
    rate; channels are averaged.
    """
    a, b = new.mono().astype(np.float64), old.mono().astype(np.float64)
    spans = [(round(s * new.sr), min(round(e * new.sr), a.size)) for s, e in pairwise(edges_s)]
    found: dict[int, Carried] = {
        i: Carried("silent") for i, (s, e) in enumerate(spans) if e <= s or _power(a[s:e]) <= 10 ** (SILENT_DB / 10)
    }
    lags = [0]
    for _ in range(MOST_MOVES):
        for lag in lags:
            for i, (s, e) in enumerate(spans):
                if i not in found and _same(a, b, s, e, lag):
                    found[i] = Carried("same", lag / new.sr)
        rest = [i for i in range(len(spans)) if i not in found]
        if not rest:
            break
        lags = [_best_lag(a, b, [spans[i] for i in rest])]
    return tuple(found.get(i, Carried("new")) for i in range(len(spans)))


def _same(a: NDArray[np.float64], b: NDArray[np.float64], start: int, end: int, lag: int) -> bool:
    first = start - lag
    if first < 0 or first + end - start > b.size:
        return False
    here = a[start:end]
    most = max(10 ** (SAME_DB / 10) * _power(here), 10 ** (SILENT_DB / 10))
    return _power(here - b[first : first + end - start]) <= most


def _best_lag(a: NDArray[np.float64], b: NDArray[np.float64], spans: Sequence[tuple[int, int]]) -> int:
    left = np.zeros_like(a)
    for start, end in spans:
        left[start:end] = a[start:end]
    size = scipy.fft.next_fast_len(a.size + b.size, real=True)
    across = scipy.fft.irfft(scipy.fft.rfft(left, size) * np.conj(scipy.fft.rfft(b, size)), size)
    at = int(np.argmax(across))
    return at if at < a.size else at - size


def _power(y: NDArray[np.float64]) -> float:
    return float(np.mean(np.square(y, dtype=np.float64))) if y.size else 0.0
