"""The click taken out of a take, when the player asks for it: what is known can be subtracted.

How the click came from the headphones into the microphone is a short filter. It is found by least squares over the
clicks that fall into rests, one filter for all of them (the Wiener solution; the equations are Toeplitz for clicks
that stand apart), and the click through it is subtracted everywhere. How far the click fell is measured on clicks
that the filter was not found from.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.linalg
import scipy.signal
import soxr

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.takes.partials import Floats
from obbligato.takes.place import Placement
from obbligato.units import power_to_db

_AFTER_S = 0.16
_APART_S = 0.2
_LEAD_S = 0.01
_LAGS_S = (-0.008, 0.06)
_FILTER_S = (0.003, 0.03)
_LEAST_CLICKS = 8
_LEAST_FALL_DB = 3.0
_RIDGE = 1e-3
_SIGNIFICANT = 5.0


@dataclass(frozen=True, eq=False)
class WithoutClick:
    """A take with the click taken out, and what that did.

    Attributes
    ----------
    fell_db
        How far the click fell at the least, in rests that the filter was not found from, the room's noise aside.
    in_notes_db
        Level of all that was taken out while notes sound, against the notes.
    clicks
        How many the filter was found from.
    """

    audio: Audio
    fell_db: float
    in_notes_db: float
    clicks: int


def without_click(
    take: Audio,
    click: Audio,
    placement: Placement,
    *,
    click_times_s: Floats,
    rests: Sequence[tuple[float, float]],
    notes: Sequence[tuple[float, float]],
) -> WithoutClick:
    """Subtract the click from a take.

    Parameters
    ----------
    click
        What the player heard, on the guide's time.
    click_times_s
        When its single clicks begin, on the guide's time.
    rests, notes
        Stretches in the take's own seconds in which nothing is played, and in which something is.

    Raises
    ------
    InputError
        When too few clicks fall into rests to find the filter from, or it would not take the click away.
    """
    sounded = _on_take_time(click, placement, click_times_s, sr=take.sr, n_samples=take.n_samples)
    mono = take.mono().astype(np.float64)
    free = _in_rests(np.asarray(placement.to_take_s(click_times_s)), rests, take.duration_s)
    if len(free) < 2 * _LEAST_CLICKS:
        raise InputError(
            f"Only {len(free)} clicks fall into rests of the take, too few to learn it from; nothing was mended."
        )
    lag = _delay(mono, sounded, free, take.sr)
    fell_db = _fall_db(mono, sounded, (free[::2], free[1::2]), lag=lag, sr=take.sr)
    if fell_db < _LEAST_FALL_DB:
        raise InputError(
            f"The click would fall by {max(fell_db, 0.0):.1f} dB only: it is too soft, or not the click that was "
            "heard; nothing was mended."
        )
    removed = np.stack(
        [_through(sounded, _filter(y.astype(np.float64), sounded, free, lag, take.sr), lag, take.sr) for y in take.y]
    )
    playing = np.zeros(take.n_samples, dtype=bool)
    for start_s, end_s in notes:
        playing[max(0, int(start_s * take.sr)) : int(end_s * take.sr)] = True
    in_notes_db = float(
        power_to_db(np.sum(removed.mean(axis=0)[playing] ** 2)) - power_to_db(np.sum(mono[playing] ** 2))
    )
    return WithoutClick(Audio((take.y - removed).astype(np.float32), take.sr), fell_db, in_notes_db, len(free))


def _on_take_time(click: Audio, placement: Placement, times_s: Floats, *, sr: int, n_samples: int) -> Floats:
    """The click as it would be in the take if headphones were a wire, each single one at its place to a fraction of
    a sample."""
    mono = click.mono().astype(np.float64)
    if click.sr != sr:
        mono = np.asarray(soxr.resample(mono, click.sr, sr, quality="VHQ"))
    out = np.zeros(n_samples)
    length = round(_APART_S * sr)
    hz = np.fft.rfftfreq(2 * length)
    ends_s = np.append(times_s[1:], np.inf)
    for time_s, next_s, take_s in zip(times_s, ends_s, np.asarray(placement.to_take_s(times_s)), strict=True):
        first = max(0, round((time_s - _LEAD_S) * sr))
        piece = mono[first : first + min(length, round(min(next_s - time_s, 1.0) * sr))]
        at = (take_s - time_s) * sr + first
        whole = int(np.floor(at))
        moved = np.fft.irfft(np.fft.rfft(piece, 2 * length) * np.exp(-2j * np.pi * hz * (at - whole)), 2 * length)
        begin, end = max(0, whole), min(n_samples, whole + length)
        if begin < end:
            out[begin:end] += moved[begin - whole : end - whole]
    return out


def _in_rests(at_s: Floats, rests: Sequence[tuple[float, float]], duration_s: float) -> Floats:
    """The clicks around which nothing is played, as long as a click and its way through the room last."""
    inside = [
        at
        for at in at_s
        if any(start_s <= at + _LAGS_S[0] and at + _AFTER_S <= min(end_s, duration_s) for start_s, end_s in rests)
    ]
    return np.array(inside)


def _piece(x: Floats, at_s: float, sr: int) -> Floats:
    """A stretch around one click."""
    first = round((at_s + _LAGS_S[0]) * sr)
    length = round((_AFTER_S - _LAGS_S[0]) * sr)
    piece = x[max(0, first) : max(0, first + length)]
    return np.pad(piece, (max(0, -first), 0)) if first < 0 else np.pad(piece, (0, length - len(piece)))


def _delay(y: Floats, x: Floats, at_s: Floats, sr: int) -> int:
    """By how many samples the take's click lies behind the known one, where all clicks together agree best."""
    first, last = (round(lag * sr) for lag in _LAGS_S)
    together = sum(_lags(_piece(y, at, sr), _piece(x, at, sr), first, last) for at in at_s)
    return first + int(np.argmax(np.abs(together)))


def _lags(a: Floats, b: Floats, first: int, last: int) -> Floats:
    """Correlation of two stretches at the lags `first` to `last` of the first behind the second."""
    full = scipy.signal.correlate(a, b, method="fft")
    return np.asarray(full[len(b) - 1 + first : len(b) + last])


def _filter(y: Floats, x: Floats, at_s: Floats, lag: int, sr: int) -> Floats:
    """The filter from the known click to the take's, by least squares over some clicks."""
    before, after = (round(s * sr) for s in _FILTER_S)
    n = before + after
    own, across = np.zeros(n), np.zeros(n)
    for at in at_s:
        known, heard = _piece(x, at, sr), _piece(y, at, sr)
        own += _lags(known, known, 0, n - 1)
        across += _lags(heard, known, lag - before, lag - before + n - 1)
    if own[0] <= 0.0:
        return np.zeros(n)
    own[0] *= 1.0 + _RIDGE
    return np.asarray(scipy.linalg.solve_toeplitz(own, across))


def _through(x: Floats, response: Floats, lag: int, sr: int) -> Floats:
    """The known click through the filter, at its place in the take."""
    start = lag - round(_FILTER_S[0] * sr)
    full = scipy.signal.oaconvolve(x, response)
    out = np.zeros(len(x))
    first = max(0, start)
    end = min(len(x), start + len(full))
    out[first:end] = full[first - start : end - start]
    return out


def _fall_db(y: Floats, x: Floats, halves: tuple[Floats, Floats], *, lag: int, sr: int) -> float:
    """How far the mean over the clicks falls, in each half by what was learned from the other; 0 where it cannot be
    told.

    Noise differs from click to click and vanishes from the mean; the click stays. A filter learned from all of them
    does better than one learned from half.
    """
    before, after = [], []
    for times_s, learned_s in zip(halves, halves[::-1], strict=True):
        cleaned = y - _through(x, _filter(y, x, learned_s, lag, sr), lag, sr)
        before.append(_common_power(np.array([_piece(y, at, sr) for at in times_s])))
        after.append(_common_power(np.array([_piece(cleaned, at, sr) for at in times_s])))
    was, was_error, now, now_error = (
        float(combine(values))
        for powers in (before, after)
        for combine, values in ((np.sum, [p for p, _ in powers]), (np.linalg.norm, [error for _, error in powers]))
    )
    if was < _SIGNIFICANT * was_error:
        return 0.0
    return float(power_to_db(was) - power_to_db(max(now, now_error)))


def _common_power(pieces: Floats) -> tuple[float, float]:
    """Energy of what is the same in all pieces, shape (n_pieces, n_samples), and its standard error.

    The mean's energy, less what chance leaves in a mean. For noise that is white and Gaussian the error is exact.
    """
    by_chance = pieces.var(axis=0, ddof=1) / len(pieces)
    return float(np.sum(pieces.mean(axis=0) ** 2 - by_chance)), float(np.sqrt(2.0 * np.sum(by_chance**2)))
