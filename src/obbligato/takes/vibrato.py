"""What pitch does within a note: vibrato, by rate and width, and how steady the note is apart from it.

A sine is fitted to stretches of the pitch contour from which a slow bend was taken out; the rate that explains most
of it is the vibrato's, if it explains more than half. The pitch was measured under a Hann window, which flattens fast
swings; by how much is known from the window's spectrum, and put right.

References
----------
Prame, "Measurements of the vibrato rate of ten singers", Journal of the Acoustical Society of America 96(4), 1994.
Harris, "On the use of windows for harmonic analysis with the discrete Fourier transform", Proceedings of the IEEE
66(1), 1978 (the spectrum of the Hann window).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import scipy.ndimage

from obbligato.takes.partials import Floats
from obbligato.takes.pitch import HOP_S

RATES_HZ = np.arange(3.5, 9.01, 0.1)
"""Rates looked for; players and singers lie between 4.5 and 7.5 Hz."""
CYCLE_FRAMES = 11
"""About one cycle of vibrato (176 ms), over which pitch is averaged."""
_LONGEST_FRAMES = 48
_LEAST_FRAMES = 20
_LEAST_CYCLES = 1.6
_EXPLAINED = 0.55
_LEAST_CENTS = 6.0


@dataclass(frozen=True)
class Vibrato:
    """Rate in Hz, and half the width in cents."""

    hz: float
    cents: float


def find_vibrato(cents: Floats, *, window_s: float) -> Vibrato | None:
    """The vibrato of a note.

    Parameters
    ----------
    cents
        Pitch in frames `HOP_S` apart, without the attack and the release, shape (n_frames,).
    window_s
        Length of the Hann window under which it was measured.

    Returns
    -------
    None where there is none, or where the note is too short to tell (less than a third of a second).
    """
    n = min(len(cents), _LONGEST_FRAMES)
    if n < _LEAST_FRAMES:
        return None
    starts = np.unique(np.linspace(0, len(cents) - n, max(1, 2 * (len(cents) // n) - 1)).astype(int))
    found = [_fitted(cents[at : at + n], window_s) for at in starts]
    swinging = [v for v in found if v is not None]
    if 2 * len(swinging) <= len(found):
        return None
    return Vibrato(float(np.median([v.hz for v in swinging])), float(np.median([v.cents for v in swinging])))


def steadiness_cents(cents: Floats) -> float | None:
    """Robust spread of a note's pitch, averaged over a cycle of vibrato; None for fewer than four frames."""
    if len(cents) < 4:
        return None
    width = CYCLE_FRAMES if len(cents) >= 2 * CYCLE_FRAMES else 1
    smooth = scipy.ndimage.uniform_filter1d(cents, width)[width // 2 : len(cents) - width // 2]
    return 1.4826 * float(np.median(np.abs(smooth - np.median(smooth))))


def flattening(rate_hz: float, window_s: float) -> float:
    """By how much a swing of the pitch is flattened by a Hann window, 0 to 1: the window's spectrum there."""
    x = rate_hz * window_s
    return float(np.sinc(x) / (1.0 - x * x)) if abs(x - 1.0) > 1e-6 else 0.5


def _fitted(cents: Floats, window_s: float) -> Vibrato | None:
    bends, swings = _shapes(len(cents))
    rest = cents - bends @ (bends.T @ cents)
    power = float(rest @ rest)
    along = np.einsum("fnk,n->fk", swings, rest)
    explained = (along**2).sum(axis=1)
    cycles = RATES_HZ * len(cents) * HOP_S
    best = int(np.argmax(np.where(cycles >= _LEAST_CYCLES, explained, 0.0)))
    at_edge = best in (0, len(RATES_HZ) - 1)
    if power <= 0.0 or at_edge or explained[best] < _EXPLAINED * power:
        return None
    swing = swings[best] @ along[best]
    width = float(np.sqrt(2.0 * np.mean(swing**2))) / max(flattening(float(RATES_HZ[best]), window_s), 0.2)
    return Vibrato(float(RATES_HZ[best]), width) if width >= _LEAST_CENTS else None


@lru_cache(maxsize=64)
def _shapes(n: int) -> tuple[Floats, Floats]:
    """Unit slow bends, shape (n, 3), and for each rate a unit pair of swings free of them, (n_rates, n, 2)."""
    t = np.arange(n) * HOP_S
    bends, _ = np.linalg.qr(np.vander(t - t.mean(), 3))
    angle = 2 * np.pi * RATES_HZ[:, None] * t[None, :]
    swings = np.stack([np.cos(angle), np.sin(angle)], axis=2)
    swings = swings - np.einsum("nb,mb,fmk->fnk", bends, bends, swings)
    return bends, np.linalg.qr(swings)[0]
