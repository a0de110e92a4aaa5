"""The count-in: clicks before the music.

A click is short (it is gone a tenth of a second later, and nothing sounds until the next), the clicks are alike, and
they come at one regular distance, some of them possibly left out (one - two - one two three four). The run begins
with the first sound of the file and ends where something sustained or unlike them sounds. Two clicks are enough (one
bar of 6/8) only where the music enters one step after them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from obbligato.listen.onsets import Events, Floats, Onsets

FEWEST_CLICKS = 2
_LONGEST_RUN = 17
_NEAREST_S, _FARTHEST_S = 0.2, 2.6
_GONE_AFTER_S = 0.11
_GONE_DB = -10.0
_UNLIKE_DB = 11.0
_IRREGULAR_S = 0.025
_ECHO_S = 0.4
_ECHO_DB, _ECHO_DB_PER_S = 4.0, 30.0
"""A sound this much weaker than one shortly before it is taken for its echo; the longer after, the weaker."""


@dataclass(frozen=True)
class ClickRun:
    """Clicks at the head of a file: their times, the distance of a step, and steps from first to last click."""

    times_s: tuple[float, ...]
    step_s: float
    steps: int


def find_clicks(onsets: Onsets, events: Events) -> ClickRun | None:
    """The run of clicks that opens the file, or None."""
    energy = np.asarray(onsets.energy, dtype=np.float64)
    times = _without_echoes(*_sounding(onsets, events))[: _LONGEST_RUN + 1]
    colours = [_colour(energy, onsets.step_s, t) for t in times]
    run: list[float] = []
    for i in range(len(times) - 1):
        alone = _dies_away(energy.sum(axis=0), onsets.step_s, times[i], times[i + 1])
        if not alone or not _alike(colours[i], colours[:i]):
            break
        run.append(float(times[i]))
    if not FEWEST_CLICKS <= len(run) < _LONGEST_RUN:
        return None
    gaps = np.diff(run)
    step_s = float(gaps.min())
    multiples = np.round(gaps / step_s)
    if np.any(multiples > 2):
        return None
    step_s = float((run[-1] - run[0]) / multiples.sum())
    if np.max(np.abs(gaps - multiples * step_s)) > max(_IRREGULAR_S, 0.03 * step_s):
        return None
    if not _NEAREST_S <= step_s <= _FARTHEST_S:
        return None
    if len(run) == FEWEST_CLICKS and abs(times[len(run)] - run[-1] - step_s) > max(_IRREGULAR_S, 0.03 * step_s):
        return None
    return ClickRun(tuple(run), step_s, int(multiples.sum()))


def clicks_until(run: ClickRun, events: Events, end_s: float) -> int:
    """Clicks from the run's first to `end_s`, those that sound together with a pick-up included."""
    later = np.arange(run.times_s[-1] + run.step_s, end_s - 0.5 * run.step_s, run.step_s)
    heard = sum(bool(np.any(np.abs(events.times_s - t) < 0.03)) for t in later)
    return len(run.times_s) + heard


def first_sound_s(onsets: Onsets, events: Events) -> float:
    """Time of the first onset that is loud enough to count as music, 0.0 if there is none."""
    sounding, _ = _sounding(onsets, events)
    return float(sounding[0]) if sounding.size else 0.0


def _sounding(onsets: Onsets, events: Events) -> tuple[Floats, Floats]:
    """Times and peak levels (dB) of the onsets louder than 35 dB below the loud parts of the piece."""
    energy = np.asarray(onsets.energy.sum(axis=0), dtype=np.float64)
    loud_db = _db(float(np.percentile(energy, 95.0))) - 35.0
    width = max(1, round(0.03 / onsets.step_s))
    at = np.round(events.times_s / onsets.step_s).astype(int)
    peak_db = np.array([_db(energy[i : i + width].max(initial=0.0)) for i in at])
    return events.times_s[peak_db > loud_db], peak_db[peak_db > loud_db]


def _without_echoes(times_s: Floats, peak_db: Floats) -> Floats:
    """Times of the sounds that are no echo of a louder one just before."""
    kept = []
    for i, (t, level) in enumerate(zip(times_s, peak_db, strict=True)):
        first = int(np.searchsorted(times_s, t - _ECHO_S))
        limits = peak_db[first:i] - _ECHO_DB - _ECHO_DB_PER_S * (t - times_s[first:i])
        if not np.any(level < limits):
            kept.append(t)
    return np.array(kept)


def _db(power: float) -> float:
    return float(10.0 * np.log10(power + 1e-20))


def _colour(energy: Floats, step_s: float, at_s: float) -> Floats:
    """Energy of each band in dB in the 40 ms after an onset, less the loudest band's."""
    first = round(at_s / step_s)
    bands = energy[:, first : first + max(1, round(0.04 / step_s))].sum(axis=1)
    level = 10.0 * np.log10(bands + 1e-12)
    return np.asarray(np.maximum(level - level.max(), -30.0))


def _alike(colour: Floats, earlier: list[Floats]) -> bool:
    """Whether a sound is like at least one of those before it."""
    return not earlier or min(float(np.sqrt(np.mean((colour - e) ** 2))) for e in earlier) < _UNLIKE_DB


def _dies_away(energy: Floats, step_s: float, start_s: float, next_s: float) -> bool:
    """Whether a sound has gone well before the next one."""
    if next_s - start_s < _NEAREST_S:
        return False
    first = round(start_s / step_s)
    peak = energy[first : first + max(1, round(0.05 / step_s))].max(initial=0.0)
    rest = energy[first + round(_GONE_AFTER_S / step_s) : round((next_s - 0.02) / step_s)]
    return bool(rest.size and peak > 0.0 and rest.mean() < peak * 10.0 ** (_GONE_DB / 10.0))
