"""Breaks in the wave of a take: where a block was lost, or a stretch was put in, without a fade.

A wave that goes on from another point cannot be predicted there, while before and after it can, by the same rule: so
a break is where the error of linear prediction stands out alone (Godsill and Rayner, "Digital Audio Restoration",
Springer, 1998, chapter 5, who find clicks so; Makhoul, "Linear prediction: a tutorial review", Proceedings of the
IEEE 63(4), 1975). An attack is no break, for what comes after it is another sound.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

import numpy as np
import scipy.fft
import scipy.ndimage
from numpy.typing import NDArray

from obbligato.takes.clock import Clock, Loss
from obbligato.takes.hearing import Heard
from obbligato.takes.notes import PlayedNote
from obbligato.takes.pitch import ANALYSIS_SR, Floats
from obbligato.takes.readings import TimedLine

_ORDER = 24
_FRAME = 800
_BLOCK = 256
_BURST = 24
_AROUND = 320
_MARGIN_S = 0.15
_STANDS_OUT = 2.5
_ATTACK_S = 0.03
_NOTES_EACH_SIDE = 16
_LEAST_NOTES = 6
_LEAST_STEP_S = 0.004
_SIGNIFICANCE = 3.0
_SURE_NOTES, _SURE_BY_NOTES = 20, 5.0
_TOLD_BY_NOTES_S = 0.015
_AROUND_BLEED_S = 4.0
"""Half of what bleed is looked at together to tell a place."""
_WANDER_S, _NOTES_A_PHRASE = 0.006, 6


@dataclass(frozen=True)
class Splice:
    """A break: seconds in the take, and how many times it exceeds all error of prediction around it."""

    at_s: float
    stands_out: float


def find_splices(y: NDArray[np.float32]) -> tuple[Splice, ...]:
    """Every break of a wave.

    A break is where the largest error within 1.5 ms exceeds `_STANDS_OUT` times all others within 20 ms. (Of noise,
    one moment in many millions does.)

    Parameters
    ----------
    y
        Mono samples at `ANALYSIS_SR`.
    """
    error = _prediction_error(y)
    if len(error) < 4 * _AROUND:
        return ()
    width = _AROUND - _BURST
    largest = scipy.ndimage.maximum_filter1d(error, width)
    shift = _BURST + width // 2
    before = np.concatenate([np.full(shift, np.inf, np.float32), largest[:-shift]])
    after = np.concatenate([largest[shift:], np.full(shift, np.inf, np.float32)])
    ratio = error / (np.maximum(before, after) + 1e-5)
    peaks = np.flatnonzero((ratio > _STANDS_OUT) & (error >= scipy.ndimage.maximum_filter1d(error, 2 * _BURST)))
    return tuple(Splice(float(at) / ANALYSIS_SR, float(ratio[at])) for at in peaks)


def _prediction_error(y: NDArray[np.float32]) -> NDArray[np.float32]:
    """Size of the error of each sample's prediction from the `_ORDER` before it, by frames of 50 ms.

    The rule of each frame is that of the autocorrelation method (Makhoul 1975), by the recursion of Levinson and
    Durbin for all frames at once, under a Hann window twice as long as the frame.
    """
    n = len(y) // _FRAME
    padded = np.pad(y[: n * _FRAME], (_FRAME // 2, _FRAME // 2))
    views = np.lib.stride_tricks.sliding_window_view(padded, 2 * _FRAME)[::_FRAME] if n else np.zeros((0, 2 * _FRAME))
    error = np.zeros(n * _FRAME, np.float32)
    window = np.hanning(2 * _FRAME).astype(np.float32)
    for first in range(0, n, _BLOCK):
        block = views[first : first + _BLOCK] * window
        power = np.abs(scipy.fft.rfft(block, 4 * _FRAME)) ** 2
        rules = _levinson(scipy.fft.irfft(power)[:, : _ORDER + 1].astype(np.float64)).astype(np.float32)
        begin, end = first * _FRAME, min(n, first + _BLOCK) * _FRAME
        past = np.pad(y[max(0, begin - _ORDER) : end], (max(0, _ORDER - begin), 0))
        e = np.zeros((len(rules), _FRAME), np.float32)
        for k in range(_ORDER + 1):
            e += rules[:, k : k + 1] * past[_ORDER - k : len(past) - k].reshape(-1, _FRAME)
        error[begin:end] = np.abs(e).ravel()
    return error


def _levinson(autocorrelation: Floats) -> Floats:
    """Prediction-error filters of each row, shape (n_rows, order + 1), the first of them 1."""
    order = autocorrelation.shape[1] - 1
    a = np.zeros_like(autocorrelation)
    a[:, 0] = 1.0
    left = autocorrelation[:, 0] * (1.0 + 1e-7) + 1e-12
    for i in range(1, order + 1):
        reflection = -(a[:, :i] * autocorrelation[:, i:0:-1]).sum(axis=1) / left
        a[:, 1 : i + 1] += reflection[:, None] * a[:, i - 1 :: -1][:, :i] if i > 1 else reflection[:, None]
        left = left * (1.0 - reflection**2)
    return a


def sharpest_splice_s(y: NDArray[np.float32], near_s: float, *, within_s: float) -> float | None:
    """The sharpest break within some time of a moment, seconds; None where there is none."""
    margin_s = within_s + _MARGIN_S
    first = max(0, int((near_s - margin_s) * ANALYSIS_SR))
    part = y[first : max(first, int((near_s + margin_s) * ANALYSIS_SR))]
    found = [(splice.stands_out, splice.at_s + first / ANALYSIS_SR) for splice in find_splices(part)]
    return max(((how, at_s) for how, at_s in found if abs(at_s - near_s) <= within_s), default=(0.0, None))[1]


def loss_by_notes(heard: Heard, line: TimedLine, played: tuple[PlayedNote, ...], clock: Clock) -> tuple[Loss, ...]:
    """Blocks lost in a take without bleed: where the notes come earlier or later from some moment on.

    Where the wave breaks there, it is enough that the notes on both sides differ by 4 ms and by `_SIGNIFICANCE` times
    their error; of several breaks that would do, the one that parts them best is taken. Either alone proves nothing,
    for a key may click and a player may hurry. In a rest no break is seen: there must then be twenty notes on both
    sides, that differ by `_SURE_BY_NOTES` times their error, players' wandering from phrase to phrase counted in.
    The notes give its length to some milliseconds.
    """
    right = [p for p in played if p.right and p.start_s is not None]
    starts_s = np.array([p.start_s for p in right], dtype=np.float64)
    late_s = clock.to_guide_s(starts_s) - np.array([line.notes[p.index].start_s for p in right])
    return _at_a_break(heard, starts_s, late_s) or _in_a_rest(right, starts_s, late_s)


def _at_a_break(heard: Heard, starts_s: Floats, late_s: Floats) -> tuple[Loss, ...]:
    steps = [(*_step(late_s, k, least=_LEAST_NOTES, most=_NOTES_EACH_SIDE), k) for k in range(1, len(late_s))]
    for step_s, significance, k in sorted(steps, key=lambda step: -step[1]):
        if significance < _SIGNIFICANCE:
            break
        after_s, before_s = float(starts_s[k - 1]), float(starts_s[k])
        half_s = (before_s - after_s) / 2
        at_s = (
            sharpest_splice_s(heard.y, after_s + half_s, within_s=half_s - _ATTACK_S) if half_s > _ATTACK_S else None
        )
        if at_s is not None:
            return (Loss(at_s, -step_s, after_s, before_s, 2.0 * abs(step_s) / significance),)
    return ()


def _in_a_rest(right: list[PlayedNote], starts_s: Floats, late_s: Floats) -> tuple[Loss, ...]:
    """A loss by the notes alone, in the rest before the note from which on they fit the other side better."""
    steps = [(*_step(late_s, k, least=_SURE_NOTES, most=2 * _SURE_NOTES), k) for k in range(1, len(late_s))]
    step_s, significance, k = max(steps, key=lambda step: step[1], default=(0.0, 0.0, 0))
    if significance < _SURE_BY_NOTES:
        return ()
    first, last = max(0, k - 2 * _SURE_NOTES), k + 2 * _SURE_NOTES
    before_s, after_s = float(np.median(late_s[first:k])), float(np.median(late_s[k:last]))
    k = first + _turn(late_s[first:last] - before_s, late_s[first:last] - after_s)
    k = min(max(k, 1), len(late_s) - 1)
    range_s = (float(starts_s[max(0, k - 3)]), float(starts_s[min(len(starts_s) - 1, k + 2)]))
    return (Loss(float(np.mean(_rest_before_s(right, k))), -step_s, *range_s, 2.0 * abs(step_s) / significance),)


def at_the_notes(loss: Loss, line: TimedLine, played: tuple[PlayedNote, ...], clock: Clock) -> Loss:
    """A loss known by bleed, moved into the rest before the first note that comes in time only with it.

    Left where it is when it is so short that a player's own lateness could pass for it, or no note lies around.

    Parameters
    ----------
    clock
        As it was before the loss.
    """
    right = [p for p in played if p.right and p.start_s is not None]
    starts_s = np.array([p.start_s for p in right], dtype=np.float64)
    late_s = clock.to_guide_s(starts_s) - np.array([line.notes[p.index].start_s for p in right])
    early = starts_s < loss.after_s - _AROUND_BLEED_S
    near = np.flatnonzero(~early & (starts_s <= loss.before_s + _AROUND_BLEED_S))
    if abs(loss.lost_s) < _TOLD_BY_NOTES_S or len(near) < _LEAST_NOTES or early.sum() < _LEAST_NOTES:
        return loss
    off_s = late_s[near] - float(np.median(late_s[early]))
    k = int(near[0]) + _turn(off_s, off_s + loss.lost_s)
    return loss.moved(float(np.clip(loss.at_s, *_rest_before_s(right, k)))) if 0 < k < len(right) else loss


def _turn(if_before_s: Floats, if_after_s: Floats) -> int:
    """How many notes from the first on lie before a step, each speaking for the side it lies closer to.

    None speaks for more than the step, so that no single one decides.
    """
    balance = np.concatenate([[0.0], np.cumsum(np.abs(if_before_s) - np.abs(if_after_s))])
    return int(np.argmin(balance))


def _rest_before_s(right: list[PlayedNote], k: int) -> tuple[float, float]:
    """From the end of the note before `k` to its start."""
    start_s, ended_s = right[k].start_s, right[k - 1].end_s
    assert start_s is not None
    return (start_s if ended_s is None else min(start_s, ended_s)), start_s


def _step(late_s: Floats, k: int, *, least: int, most: int) -> tuple[float, float]:
    """By how much the notes from `k` on are later than those before, and that over its error; 0 where too few.

    Parameters
    ----------
    least, most
        How many notes there must be on either side, and how many are looked at.
    """
    before, after = late_s[max(0, k - most) : k].tolist(), late_s[k : k + most].tolist()
    if min(len(before), len(after)) < least:
        return 0.0, 0.0
    before_s, after_s = median(before), median(after)
    step_s = after_s - before_s
    significance = abs(step_s) / math.hypot(_error_s(before, before_s), _error_s(after, after_s))
    return step_s, significance if abs(step_s) >= _LEAST_STEP_S else 0.0


def _error_s(late_s: Sequence[float], middle_s: float) -> float:
    """Standard error of a median, by the median of the deviations, and by how players wander between phrases."""
    spread_s = 1.4826 * median([abs(one_s - middle_s) for one_s in late_s])
    of_notes_s = 1.25 * max(spread_s, 0.003) / math.sqrt(len(late_s))
    return math.hypot(of_notes_s, _WANDER_S * math.sqrt(_NOTES_A_PHRASE / len(late_s)))
