"""Mains hum taken out of a take, when the player asks for it: by what was fitted in the rests, or by narrow notches.

Both are tried and the one that takes less out of the playing is used. A fitted hum is followed through the rests,
carried on over the notes and subtracted, so that a note keeps a partial of its own that lies on a line of the hum; a
notch takes that away as well.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import scipy.ndimage
import scipy.signal
from numpy.typing import NDArray

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.sound.hum import MAINS_HZ
from obbligato.takes.partials import Floats
from obbligato.units import power_to_db

Spans = Sequence[tuple[float, float]]
_PARTIALS = 10
_BLOCK_S = 0.1
"""Whole periods of 50 and of 60 Hz, so that the partials do not leak into one another."""
_SMOOTH_BLOCKS = 8.0
"""The mains' phase is followed over 0.8 s."""
_OFF_HZ = 0.5
_STEP_HZ = 0.01
_STANDS_OUT_DB = 10.0
_BESIDE_HZ = 20.0
"""Two blocks' worth of cycles away, where a steady line vanishes from the block."""
_LEAST_REST_BLOCKS = 10
_NOTCH_WIDTH_HZ = 1.0
_AS_GOOD_DB = 3.0


@dataclass(frozen=True, eq=False)
class WithoutHum:
    """A take with its hum taken out, and what that did.

    Attributes
    ----------
    mains_hz
        As measured.
    fell_db
        How far the lines of the hum fell in the rests.
    in_notes_db
        Level of all that was taken out while notes sound, against the notes.
    """

    audio: Audio
    mains_hz: float
    partials: int
    fell_db: float
    in_notes_db: float
    way: Literal["fitted", "notches"]


def without_hum(take: Audio, *, rests: Spans, notes: Spans) -> WithoutHum:
    """Take the mains' lines out of a take.

    Parameters
    ----------
    rests, notes
        Stretches in the take's own seconds in which nothing is played, and in which something is.

    Raises
    ------
    InputError
        When no hum stands out in the rests, or they are too short to tell.
    """
    mono = take.mono().astype(np.float64)
    resting = _blocks_within(rests, take.sr, len(mono))
    if resting.sum() < _LEAST_REST_BLOCKS:
        raise InputError("The take has less than a second of rests, too little to measure a hum; nothing was mended.")
    mains_hz = _mains_hz(mono, take.sr, resting)
    multiples = _standing_out(mono, take.sr, resting, mains_hz)
    if not multiples.size:
        raise InputError("No mains hum stands out in the take's rests; there is nothing to mend.")
    lines_hz = np.asarray(multiples * mains_hz, dtype=np.float64)
    fitted = np.stack([_fitted(y.astype(np.float64), take.sr, lines_hz, resting) for y in take.y])
    notched = take.y - _notched(take.y, take.sr, lines_hz)
    ways: tuple[tuple[Floats, Literal["fitted", "notches"]], ...] = ((fitted, "fitted"), (notched, "notches"))
    found = [
        WithoutHum(
            Audio((take.y - removed).astype(np.float32), take.sr),
            mains_hz,
            len(multiples),
            _fall_db(mono, removed.mean(axis=0), take.sr, lines_hz, resting),
            _over_db(removed.mean(axis=0), mono, take.sr, notes),
            way,
        )
        for removed, way in ways
    ]
    most_db = max(one.fell_db for one in found)
    return min((one for one in found if one.fell_db > most_db - _AS_GOOD_DB), key=lambda one: one.in_notes_db)


def _blocks_within(spans: Spans, sr: int, n_samples: int) -> NDArray[np.bool_]:
    """Which blocks of `_BLOCK_S` lie wholly within one of the stretches."""
    size = round(_BLOCK_S * sr)
    inside = np.zeros(-(-n_samples // size), dtype=bool)
    for start_s, end_s in spans:
        inside[-(-int(start_s * sr) // size) : int(end_s * sr) // size] = True
    inside[n_samples // size :] = False
    return inside


def _demodulated(y: Floats, sr: int, hz: Floats) -> NDArray[np.complex128]:
    """Complex amplitude of each line in each block, its phase against a steady line, shape (n_blocks, n_lines)."""
    size = round(_BLOCK_S * sr)
    blocks = np.pad(y, (0, -len(y) % size)).reshape(-1, size)
    within = np.exp(-2j * np.pi * np.arange(size)[:, None] * hz[None, :] / sr)
    starts = np.exp(-2j * np.pi * np.arange(len(blocks))[:, None] * size * hz[None, :] / sr)
    return np.asarray(2.0 / size * (blocks @ within) * starts)


def _mains_hz(y: Floats, sr: int, resting: NDArray[np.bool_]) -> float:
    """50 or 60 Hz, and what the mains really had: where the lines of the rests add up best, block upon block.

    Blocks are added with the phase that a line of that frequency would have; only neighbours are, for the rests are
    far apart and the mains wander.
    """
    best_hz, best = 0.0, 0.0
    pairs = resting[:-1] & resting[1:]
    for named_hz in MAINS_HZ:
        k = np.arange(1.0, _PARTIALS + 1.0)
        z = _demodulated(y, sr, k * named_hz)
        turn = (z[1:] * np.conj(z[:-1]))[pairs].sum(axis=0)
        off_hz = np.arange(-_OFF_HZ, _OFF_HZ + _STEP_HZ / 2, _STEP_HZ)
        agreement = np.real(np.exp(-2j * np.pi * off_hz[:, None] * k[None, :] * _BLOCK_S) * turn[None, :]).sum(axis=1)
        if agreement.max() > best:
            best_hz, best = named_hz + float(off_hz[np.argmax(agreement)]), float(agreement.max())
    return best_hz


def _standing_out(y: Floats, sr: int, resting: NDArray[np.bool_], mains_hz: float) -> Floats:
    """Multiples of the mains' frequency at which the rests hold a line `_STANDS_OUT_DB` above what lies beside it."""
    if not mains_hz:
        return np.empty(0)
    k = np.arange(1.0, _PARTIALS + 1.0)

    def power(hz: Floats) -> Floats:
        return np.asarray(np.mean(np.abs(_demodulated(y, sr, hz)[resting]) ** 2, axis=0))

    beside = (power(k * mains_hz - _BESIDE_HZ) + power(k * mains_hz + _BESIDE_HZ)) / 2.0
    return np.asarray(k[power_to_db(power(k * mains_hz)) > power_to_db(beside) + _STANDS_OUT_DB])


def _fitted(y: Floats, sr: int, hz: Floats, resting: NDArray[np.bool_]) -> Floats:
    """The hum as fitted in the rests and carried on over the notes, shape (n_samples,)."""
    size = round(_BLOCK_S * sr)
    z = _demodulated(y, sr, hz)
    weight = scipy.ndimage.gaussian_filter1d(resting.astype(np.float64), _SMOOTH_BLOCKS)
    known = weight > 0.05
    z = np.where(resting[:, None], z, 0.0)
    smooth = scipy.ndimage.gaussian_filter1d(z.real, _SMOOTH_BLOCKS, axis=0) + 1j * scipy.ndimage.gaussian_filter1d(
        z.imag, _SMOOTH_BLOCKS, axis=0
    )
    at = np.arange(len(z))
    smooth = smooth / np.maximum(weight, 1e-9)[:, None]
    amplitude = np.stack([np.interp(at, at[known], line[known]) for line in smooth.T], axis=1)
    return _sounded(amplitude, hz, sr, size)[: len(y)]


def _sounded(amplitude: NDArray[np.complex128], hz: Floats, sr: int, size: int) -> Floats:
    """Lines of slowly changing amplitude as sound; between the middles of the blocks they go in straight lines."""
    n_blocks = len(amplitude)
    out = np.empty(n_blocks * size)
    n = np.arange(size)
    within = np.exp(2j * np.pi * n[:, None] * hz[None, :] / sr)
    middles = np.arange(n_blocks) + 0.5
    for b in range(n_blocks):
        ends = np.stack([np.interp([b, b + 1], middles, line) for line in amplitude.T])
        now = ends[:, 0][None, :] + (ends[:, 1] - ends[:, 0])[None, :] * (n / size)[:, None]
        phase = np.exp(2j * np.pi * b * size * hz / sr)
        out[b * size : (b + 1) * size] = np.real((now * within) @ phase)
    return out


def _notched(y: NDArray[np.float32], sr: int, hz: Floats) -> Floats:
    """A take through a notch of 1 Hz at each line."""
    out = y.astype(np.float64)
    for line_hz in hz:
        b, a = scipy.signal.iirnotch(line_hz, line_hz / _NOTCH_WIDTH_HZ, fs=sr)
        out = scipy.signal.lfilter(b, a, out, axis=-1)
    return np.asarray(out)


def _fall_db(y: Floats, removed: Floats, sr: int, hz: Floats, resting: NDArray[np.bool_]) -> float:
    before, after = (np.sum(np.abs(_demodulated(x, sr, hz)[resting]) ** 2) for x in (y, y - removed))
    return float(power_to_db(before) - power_to_db(after))


def _over_db(removed: Floats, y: Floats, sr: int, notes: Spans) -> float:
    """Level of what is taken out against all that sounds in some stretches, dB."""
    playing = np.zeros(len(y), dtype=bool)
    for start_s, end_s in notes:
        playing[max(0, int(start_s * sr)) : int(end_s * sr)] = True
    return float(power_to_db(np.sum(removed[playing] ** 2)) - power_to_db(np.sum(y[playing] ** 2)))
