"""How a sound that was read back differs from the one that was meant: turned over, louder, moved, or in one place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from obbligato.sound.audio import Audio, Samples
from obbligato.units import amplitude_to_db

Deviation = Literal["none", "silent", "level", "moved", "cut", "added", "other"]

EXPLAINED = 1e-3
"""A gain explains the difference when what it leaves has less than this share of the sound's amplitude (-60 dB)."""
SMALLEST_GAIN_DB = 0.005
"""A gain nearer to none is no gain: a few samples differ."""
EXPLAINED_MOVED = 0.1
"""The same for a sound that was moved, which may have lost its ends."""
HEARD = 1e-4
"""What was put in and passes this (-80 dBFS) is called sound; below, only the samples are told to differ."""
HARDLY_ANY = 0.02
"""A sound is taken as lacking where its power falls to this share of what was meant."""


@dataclass(frozen=True)
class Differing:
    """What is different between a sound read back and the one that was meant.

    Attributes
    ----------
    kind
        `level`: another gain (`gain_db`, `inverted`); `moved`: later by `late_samples`, or earlier if negative,
        perhaps `inverted` too; `cut`: something lacks between `first_s` and `last_s`; `added`: something was put in
        there; `other`: it is another sound there; `silent`: nothing is there at all.
    worst
        Largest difference of a sample, full scale being 1.
    """

    kind: Deviation
    worst: float = 0.0
    gain_db: float = 0.0
    inverted: bool = False
    late_samples: int = 0
    first_s: float = 0.0
    last_s: float = 0.0


def how_different(found: Audio, meant: Audio, *, within: float) -> Differing:
    """Compare sample by sample, over the length that both have; both with as many channels.

    Parameters
    ----------
    within
        Largest difference of a sample that counts as the same, full scale being 1.
    """
    n = min(found.n_samples, meant.n_samples)
    a, b = found.y[:, :n], meant.y[:, :n]
    error = np.abs(a - b).max(axis=0) if n else np.zeros(0, np.float32)
    worst = float(error.max(initial=0.0))
    if worst <= within:
        return Differing("none", worst)
    if not a.any():
        return Differing("silent", worst)
    level = _as_level(a, b, worst)
    if level is not None:
        return level
    moved = _as_moved(a.mean(axis=0), b.mean(axis=0), worst)
    return moved if moved is not None else _as_place(a, b, error, within, found.sr)


def _as_level(a: Samples, b: Samples, worst: float) -> Differing | None:
    gain, left = _fit(a, b)
    gain_db = float(amplitude_to_db(abs(gain)))
    if gain == 0.0 or left > EXPLAINED or (gain > 0 and abs(gain_db) < SMALLEST_GAIN_DB):
        return None
    return Differing("level", worst, gain_db=gain_db, inverted=gain < 0)


def _as_moved(a: Samples, b: Samples, worst: float) -> Differing | None:
    """By the highest cross-correlation, looked for over the whole length."""
    size = scipy.fft.next_fast_len(a.size + b.size, real=True)
    across: NDArray[np.float32] = scipy.fft.irfft(scipy.fft.rfft(a, size) * np.conj(scipy.fft.rfft(b, size)), size)
    at = int(np.argmax(np.abs(across)))
    late = at if at <= size // 2 else at - size
    if late == 0:
        return None
    there, then = (a[late:], b[: a.size - late]) if late > 0 else (a[:late], b[-late:])
    gain, left = _fit(there, then)
    if gain == 0.0 or left > EXPLAINED_MOVED:
        return None
    return Differing("moved", worst, gain_db=float(amplitude_to_db(abs(gain))), inverted=gain < 0, late_samples=late)


def _as_place(a: Samples, b: Samples, error: Samples, within: float, sr: int) -> Differing:
    places = np.flatnonzero(error > within)
    first, last = int(places[0]), int(places[-1]) + 1
    power_a, power_b = (float(np.mean(np.square(y[:, first:last], dtype=np.float64))) for y in (a, b))
    kind: Deviation = "other"
    if power_a < HARDLY_ANY * power_b:
        kind = "cut"
    elif float(error.max()) > HEARD and _on_top(a[:, first:last], b[:, first:last]):
        kind = "added"
    return Differing(kind, float(error.max()), first_s=first / sr, last_s=last / sr)


def _on_top(a: Samples, b: Samples) -> bool:
    """Whether what was meant is still there beneath something else: the excess has nothing to do with it."""
    excess = (a - b).astype(np.float64)
    power_b = float(np.vdot(b, b))
    return power_b == 0.0 or abs(float(np.vdot(excess, b))) < 0.1 * power_b


def _fit(a: Samples, b: Samples) -> tuple[float, float]:
    """The gain that makes `b` most like `a`, and what it leaves, as a share of the amplitude of `a`."""
    power = float(np.vdot(b, b))
    all_of_a = float(np.vdot(a, a))
    if power == 0.0 or all_of_a == 0.0:
        return 0.0, 1.0
    gain = float(np.vdot(a, b)) / power
    left = a - np.float32(gain) * b
    return gain, float(np.sqrt(np.vdot(left, left) / all_of_a))
