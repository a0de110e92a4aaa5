"""Where every beat of a file lies: on one line, on several, or following the players.

A steady song has one line. Any other is cut into straight stretches (`course`); those that hold long keep their own
line, and what lies between follows the onsets. What comes after the last stretch is an ending (`ending`). A song
edited between two lines of one tempo has a step there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from obbligato.listen.course import Stretch, follow_beats, straight_stretches
from obbligato.listen.ending import follow_end
from obbligato.listen.meter import Count
from obbligato.listen.onsets import Events, Floats, Onsets, find_events
from obbligato.listen.pulse import Pulse
from obbligato.listen.songmap import Tempo, TempoChange
from obbligato.listen.tempo import LineFit, fit_line, onsets_on_beats, rounded_bpm, tempo_changes

_HELD_SHARE, _HELD_S = 0.2, 15.0
"""A stretch keeps its own line when it holds this share of the beats and lasts this long."""
_BODY_SHARE = 0.5
"""A song has the tempo of its straight stretches if those of one tempo hold this share of its beats."""
_END_SHARE, _END_BEATS = 0.15, 32
"""What follows the last straight stretch is an ending if it holds no more than this share or number of beats."""
_SAME_TEMPO = 0.001
_ON_IT_S = 0.03
_BRIGHT_BANDS, _BRIGHT_SHARE = 3, 0.5
_CHANGE = 0.01


@dataclass(frozen=True, eq=False)
class Timed:
    """Times of all parts of beats of the file, and the tempo; its confidence and alternatives are still empty."""

    parts_s: Floats
    tempo: Tempo


def on_one_line(fit: LineFit, parts: int, heard: tuple[Floats, Floats, Floats], onsets: Onsets) -> Timed:
    """Parts of beats of a steady song, at a round tempo where the line cannot be told from it."""
    rounded = rounded_bpm(fit)
    bpm = fit.bpm if rounded is None else rounded
    slope_ppm = (fit.period_s * bpm / 60.0 - 1.0) * 1e6
    if rounded is not None:
        fit = fit_line(*heard, period_s=60.0 / rounded)
    duration_s, step_s = onsets.n * onsets.step_s, fit.period_s / parts
    numbers = np.arange(np.ceil(-fit.first_s / fit.period_s), (duration_s - fit.first_s) / fit.period_s)
    first_s = fit.first_s + at_attack_s(onsets, fit.first_s + numbers * fit.period_s)
    first = np.ceil(-first_s / step_s - 1e-9)
    last = np.ceil((duration_s - first_s) / step_s)
    parts_s = np.maximum(first_s + np.arange(first, last) * step_s, 0.0)
    return Timed(parts_s, Tempo(bpm, True, 0.0, ms(fit.scatter_s), slope_ppm, (), ()))


def at_attack_s(onsets: Onsets, beats_s: Floats) -> float:
    """By how much to move the beats to where the bright instruments strike, 0.0 where too few have a bright onset.

    Low and slow-speaking instruments reach their steepest rise up to 25 ms after their notes begin; cymbals, picks
    and hammers sound above 2.4 kHz at once.
    """
    bright = find_events(Onsets(onsets.step_s, onsets.bands[_BRIGHT_BANDS:], onsets.energy[_BRIGHT_BANDS:]))
    if bright.times_s.size < 2:
        return 0.0
    numbers = np.arange(beats_s.size, dtype=np.float64)
    inside = (bright.times_s >= beats_s[0]) & (bright.times_s <= beats_s[-1])
    among = Events(bright.times_s[inside], bright.weights[inside])
    beats, times_s, weights = onsets_on_beats(among, np.interp(among.times_s, beats_s, numbers))
    if np.unique(beats).size < _BRIGHT_SHARE * beats_s.size:
        return 0.0
    off_s = times_s - beats_s[beats.astype(np.intp)]
    line = fit_line(beats, off_s, weights, period_s=0.0)
    return line.first_s


def on_its_course(count: Count, parts: int, pulse: Pulse, events: Events, duration_s: float) -> Timed:
    """Parts of beats of a song that is not steady: straight where it holds, else as it was played."""
    first, last = np.ceil(count.beat_at(pulse.phase[[0, -1]]))
    numbers = np.arange(first, last)
    beats_s, heard_s = follow_beats(events, numbers, pulse.when(count.phase_of(numbers)))
    held = [
        s
        for s in straight_stretches(numbers, heard_s)
        if s.last - s.first >= _HELD_SHARE * numbers.size and (s.last - s.first) * s.period_s >= _HELD_S
    ]
    for stretch in held:
        inside = (numbers >= stretch.first) & (numbers <= stretch.last)
        beats_s[inside] = stretch.at(numbers[inside])
    scatter_s = _scatter_s(events, numbers, beats_s)
    parts_s = _in_pieces((numbers, beats_s, heard_s), held, parts, events) if held else _split(beats_s, parts)
    if _ends_after(held, numbers):
        first, end_s = follow_end(events, held[-1], duration_s)
        last_s = float(held[-1].at(np.array([first - 1]))[0])
        parts_s = np.concatenate([parts_s[parts_s < last_s - 1e-6], _split(np.append(last_s, end_s), parts)])
    parts_s = parts_s[(parts_s >= 0.0) & (parts_s < duration_s)]
    bpm = 60.0 * (parts_s.size - 1) / parts / float(parts_s[-1] - parts_s[0])
    longest = max(held, key=lambda s: s.last - s.first, default=None)
    if longest is not None:
        alike = [s for s in held if abs(s.period_s / longest.period_s - 1.0) < _SAME_TEMPO]
        if sum(s.last - s.first + 1 for s in alike) >= _BODY_SHARE * parts_s.size / parts:
            bpm = 60.0 / longest.period_s
    sounding_s = parts_s[::parts][parts_s[::parts] < events.times_s[-1] + _ON_IT_S]
    changes = _changes(sounding_s, held, count.beats_per_bar)
    return Timed(parts_s, Tempo(bpm, False, 0.0, ms(scatter_s), 0.0, (), changes))


def _ends_after(held: list[Stretch], numbers: Floats) -> bool:
    """Whether the song is straight for the most part, and what follows its last stretch is short."""
    if sum(s.last - s.first + 1 for s in held) < _BODY_SHARE * numbers.size:
        return False
    return bool(0 < numbers[-1] - held[-1].last < max(_END_SHARE * numbers.size, _END_BEATS))


def _scatter_s(events: Events, numbers: Floats, beats_s: Floats) -> float:
    """Standard deviation of the onsets near the beats about them."""
    inside = (events.times_s >= beats_s[0]) & (events.times_s <= beats_s[-1])
    among = Events(events.times_s[inside], events.weights[inside])
    beats, times_s, weights = onsets_on_beats(among, np.interp(among.times_s, beats_s, numbers))
    if not beats.size:
        return 0.0
    off_s = times_s - np.interp(beats, numbers, beats_s)
    return float(np.sqrt(np.average(np.square(off_s), weights=weights)))


def _split(beats_s: Floats, parts: int) -> Floats:
    """Beats and the even parts between them."""
    at = np.arange((beats_s.size - 1) * parts + 1) / parts
    return np.asarray(np.interp(at, np.arange(beats_s.size), beats_s))


def _in_pieces(beats: tuple[Floats, Floats, Floats], held: list[Stretch], parts: int, events: Events) -> Floats:
    """Parts of beats along the held stretches, and what was heard before, between and after them.

    `beats` are the numbers of beats, where they are and where they were heard.
    """
    numbers, beats_s, heard_s = beats
    heard = np.isfinite(heard_s)
    early = numbers < held[0].first
    if not np.any(heard[early]):
        beats_s = np.where(early, held[0].at(numbers), beats_s)
    pieces = [_split(beats_s[numbers <= held[0].first], parts)[:-1]]
    start_s = float(held[0].at(np.array([held[0].first]))[0])
    for i, stretch in enumerate(held):
        after = held[i + 1] if i + 1 < len(held) else None
        end = float(stretch.at(np.array([stretch.last]))[0])
        if after is None:
            pieces += [_on(stretch, parts, start_s, end), _split(beats_s[numbers >= stretch.last], parts)[1:]]
            break
        between = (numbers > stretch.last) & (numbers < after.first)
        next_s = float(after.at(np.array([after.first]))[0])
        if np.any(heard[between]):
            loose = beats_s[(numbers >= stretch.last) & (numbers <= after.first)]
            pieces += [_on(stretch, parts, start_s, end), _split(loose, parts)[1:-1]]
            start_s = next_s
        else:
            joint_s = _joint(stretch, after, parts, events)
            pieces.append(_on(stretch, parts, start_s, joint_s - 0.25 * stretch.period_s / parts))
            start_s = joint_s
    return np.concatenate(pieces)


def _on(stretch: Stretch, parts: int, start_s: float, end_s: float) -> Floats:
    """Parts of beats on a line between two times, both included."""
    step = stretch.period_s / parts
    first = np.ceil((start_s - stretch.start_s) / step - 0.01)
    last = np.floor((end_s - stretch.start_s) / step + 0.01)
    return np.asarray(stretch.start_s + np.arange(first, last + 1) * step)


def _joint(before: Stretch, after: Stretch, parts: int, events: Events) -> float:
    """The first part of `after` from which on the onsets keep to it better than to `before`."""
    reach = 2.0 * after.period_s
    end_s, next_s = before.start_s + before.last * before.period_s, after.start_s + after.first * after.period_s
    grid = _on(after, parts, end_s - reach, next_s + reach)
    near = (events.times_s > end_s - reach - _ON_IT_S) & (events.times_s < next_s + reach + _ON_IT_S)
    t, w = events.times_s[near], np.minimum(events.weights[near], 4.0)
    on_before, on_after = (w * _fits(line, parts, t) for line in (before, after))
    gain = [on_before[t < g - _ON_IT_S].sum() + on_after[t >= g - _ON_IT_S].sum() for g in grid]
    return float(grid[int(np.argmax(gain))])


def _fits(stretch: Stretch, parts: int, times_s: Floats) -> Floats:
    """1 where a time lies on a part of a line, 0 where it does not."""
    step = stretch.period_s / parts
    places = (times_s - stretch.start_s) / step
    return np.asarray(np.abs(places - np.round(places)) * step < _ON_IT_S, dtype=np.float64)


def _changes(beats_s: Floats, held: list[Stretch], per_bar: int) -> tuple[TempoChange, ...]:
    """The course of the tempo: each stretch at its own tempo, the rest bar by bar."""
    if not held:
        return tempo_changes(beats_s, per_bar)
    course: list[TempoChange] = []
    done_s = float(beats_s[0])
    for stretch in held:
        start_s, end_s = stretch.at(np.array([stretch.first, stretch.last], dtype=float))
        course += _by_bars(beats_s[(beats_s > done_s) & (beats_s < start_s)], per_bar)
        course.append(TempoChange(float(max(start_s, beats_s[0])), 60.0 / stretch.period_s))
        done_s = float(end_s)
    course += _by_bars(beats_s[beats_s > done_s - 1e-6], per_bar)
    kept = course[:1]
    for change in course[1:]:
        if abs(change.bpm / kept[-1].bpm - 1.0) > _CHANGE:
            kept.append(change)
    return tuple(kept)


def _by_bars(beats_s: Floats, per_bar: int) -> list[TempoChange]:
    """The tempo of each bar of beats, the last if there is half of it."""
    changes = []
    for first in range(0, beats_s.size - per_bar // 2, per_bar):
        last = min(first + per_bar, beats_s.size - 1)
        bpm = 60.0 * (last - first) / float(beats_s[last] - beats_s[first])
        changes.append(TempoChange(float(beats_s[first]), bpm))
    return changes


def ms(seconds: float) -> float:
    """Milliseconds to three places."""
    return round(float(seconds) * 1000.0, 3)
