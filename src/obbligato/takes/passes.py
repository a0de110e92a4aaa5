"""Several passes of a line in one recording: a recorder that was left running, a phrase played until it was right.

The take is divided at its rests. Each stretch is slid along the line, and the best course through all of them is
decoded: a stretch either goes on where the one before it was, or begins anew somewhere in the line, at a price, or is
nothing of it. (Viterbi over the place in the line; a repeated phrase thus goes with what surrounds it.) Where the
course begins anew a pass begins.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import scipy.fft
import scipy.ndimage
from numpy.typing import NDArray

from obbligato.sound.audio import Audio
from obbligato.takes.hearing import Heard
from obbligato.takes.partials import Floats
from obbligato.takes.pitch import HOP_S
from obbligato.takes.readings import TimedLine
from obbligato.takes.sliding import line_roll, take_roll

PASSES = "passes, of"
"""In the words on a recording that holds several."""
_COARSE = 4
"""Frames taken together to find the place: 64 ms."""
_STEP_S = _COARSE * HOP_S
_REST_S = 0.35
_LONGEST_S = 8.0
_SAME = round(0.25 / _STEP_S)
"""How far a pass may wander between stretches."""
_ANEW_S = 1.2
"""What beginning anew costs: as much as this many seconds of notes that fit."""
_NOTHING = 0.35
"""The share of a stretch that fits somewhere by chance."""
_UNFIT = 0.1
_WANDER = 0.05
_LEAST_SHARE = 0.55
_SHORTEST_S = 1.5
"""What must fit of a pass, as a share and in seconds, for it to be one."""
_QUIET_FRAMES = 7


@dataclass(frozen=True)
class Pass:
    """One pass: where it starts and ends in the recording, seconds, the rests around it shared out.

    Attributes
    ----------
    offset_s
        The first sample of the pass, cut out, on the guide's time, to about a tenth of a second.
    """

    start_s: float
    end_s: float
    offset_s: float


def find_passes(heard: Heard, line: TimedLine, *, a4_hz: float) -> tuple[Pass, ...]:
    """The passes of a line in a recording, in their order; one, over all of it, where it holds no more."""
    rolled, sounding = take_roll(heard, line, a4_hz=a4_hz)
    stretches = _stretches(sounding)
    runs: list[_Run] = []
    if len(stretches) > 1:
        fits = _fits(rolled, line_roll(line), stretches)
        n_sounding = np.array([sounding[a:b].sum() for a, b in stretches]) / _COARSE
        runs = _runs(fits, n_sounding, [a // _COARSE for a, _ in stretches])
    if len(runs) < 2:
        return (Pass(0.0, heard.duration_s, 0.0),)
    cuts_s = [
        _quietest_s(heard, stretches[before.last][1], stretches[after.first][0]) for before, after in pairwise(runs)
    ]
    edges_s = [0.0, *cuts_s, heard.duration_s]
    return tuple(
        Pass(start_s, end_s, start_s + run.lag * _STEP_S)
        for run, (start_s, end_s) in zip(runs, pairwise(edges_s), strict=True)
    )


def cut_out(take: Audio, one: Pass) -> Audio:
    """A pass as a take of its own, sample for sample."""
    first, last = round(one.start_s * take.sr), round(one.end_s * take.sr)
    return Audio(take.y[:, first:last], take.sr)


def name_of_pass(name: str, number: int) -> str:
    """How a pass of a file is reported, counted from 1."""
    return f"{name}#{number}"


def passes_in_words(passes: tuple[Pass, ...]) -> str:
    """What is to be said of a recording that is read as one take; nothing where it holds one pass."""
    if len(passes) < 2:
        return ""
    return f"The recording holds {len(passes)} {PASSES} which the one that fits best is read; cut it to use them all."


def _stretches(sounding: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Stretches of playing between rests, by first and last frame; long ones are divided."""
    rest = round(_REST_S / HOP_S)
    at = np.flatnonzero(sounding)
    if not at.size:
        return []
    breaks = np.flatnonzero(np.diff(at) > rest)
    firsts, lasts = at[np.concatenate([[0], breaks + 1])], at[np.concatenate([breaks, [len(at) - 1]])] + 1
    out = []
    for a, b in zip(firsts, lasts, strict=True):
        edges = np.linspace(a, b, max(1, round((b - a) * HOP_S / _LONGEST_S)) + 1).astype(int)
        out += [(int(x), int(y)) for x, y in pairwise(edges)]
    return out


def _coarse(roll: NDArray[np.bool_]) -> NDArray[np.float32]:
    """A roll with `_COARSE` frames taken together, shape (n_pitches, n)."""
    padded = np.pad(roll, ((0, 0), (0, -roll.shape[1] % _COARSE)))
    return np.asarray(padded.reshape(len(roll), -1, _COARSE).mean(axis=2), dtype=np.float32)


def _fits(rolled: NDArray[np.bool_], wanted: NDArray[np.bool_], stretches: list[tuple[int, int]]) -> Floats:
    """Coarse frames of each stretch that fit, by where in the line its first one lies, (n_stretches, n_line)."""
    line = _coarse(wanted)
    longest = max(b - a for a, b in stretches) // _COARSE + 2
    size = scipy.fft.next_fast_len(line.shape[1] + longest, real=True)
    line_spectrum = scipy.fft.rfft(line, size)
    fits = np.zeros((len(stretches), line.shape[1]))
    for row, (a, b) in zip(fits, stretches, strict=True):
        cross = (line_spectrum * np.conj(scipy.fft.rfft(_coarse(rolled[:, a:b]), size))).sum(axis=0)
        row[:] = scipy.fft.irfft(cross, size)[: line.shape[1]]
    return fits


@dataclass(frozen=True)
class _Run:
    """Stretches `first` to `last` at one `lag`, coarse frames from the take's time to the line's."""

    first: int
    last: int
    lag: int


def _runs(fits: Floats, n_sounding: Floats, starts: list[int]) -> list[_Run]:
    """The course through the line cut where it begins anew, without what is nothing of the line."""
    places, anew = _course(fits, n_sounding, starts)
    edges = [*(k for k, new in enumerate(anew) if new), len(places)]
    runs: list[_Run] = []
    for first, after in pairwise(edges):
        here = np.arange(first, after)
        fit, sounding = fits[here, places[here]], n_sounding[here]
        good = here[fit >= _LEAST_SHARE * sounding]
        if not good.size or fit[good - first].sum() * _STEP_S < _SHORTEST_S:
            continue
        lag = int(np.median(places[good] - np.array(starts)[good]))
        if runs and abs(runs[-1].lag - lag) <= _SAME:
            runs[-1] = _Run(runs[-1].first, int(good[-1]), runs[-1].lag)
        else:
            runs.append(_Run(int(good[0]), int(good[-1]), lag))
    return runs


def _course(fits: Floats, n_sounding: Floats, starts: list[int]) -> tuple[NDArray[np.intp], list[bool]]:
    """Where in the line each stretch lies, and whether it begins anew there (Viterbi)."""
    n_line = fits.shape[1]
    worth = np.maximum(fits - _NOTHING * n_sounding[:, None], -_UNFIT * n_sounding[:, None])
    score = worth[0]
    back = np.zeros(fits.shape, dtype=np.intp)
    began = np.ones(fits.shape, dtype=bool)
    for k in range(1, len(fits)):
        ahead = starts[k] - starts[k - 1]
        best = int(np.argmax(score))
        going_on, from_place = np.full(n_line, -np.inf), np.zeros(n_line, dtype=np.intp)
        for wander in sorted(range(-_SAME, _SAME + 1), key=abs):
            step = ahead + wander
            if 0 <= step < n_line:
                value = score[: n_line - step] - _WANDER * abs(wander)
                better = value > going_on[step:]
                going_on[step:] = np.where(better, value, going_on[step:])
                from_place[step:] = np.where(better, np.arange(n_line - step), from_place[step:])
        began[k] = score[best] - _ANEW_S / _STEP_S > going_on
        back[k] = np.where(began[k], best, from_place)
        score = worth[k] + np.where(began[k], score[best] - _ANEW_S / _STEP_S, going_on)
    places = np.zeros(len(fits), dtype=np.intp)
    places[-1] = int(np.argmax(score))
    for k in range(len(fits) - 1, 0, -1):
        places[k - 1] = back[k, places[k]]
    return places, [True, *(bool(began[k, places[k]]) for k in range(1, len(fits)))]


def _quietest_s(heard: Heard, first: int, last: int) -> float:
    """The middle of the quietest tenth of a second between two frames, seconds in the take."""
    level_db = heard.level_db[first : max(last, first + 1)]
    smooth = scipy.ndimage.uniform_filter1d(level_db, _QUIET_FRAMES, mode="nearest")
    low = np.flatnonzero(smooth <= smooth.min() + 1.0)
    middle = low[np.argmin(np.abs(low - len(smooth) / 2))]
    return float((first + middle) * HOP_S)
