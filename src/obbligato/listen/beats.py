"""The grid of a guide: tempo, metre, count-in, bar 1, and every beat of the file.

The steps are one module each: `onsets`, `pulse`, `accents`, `count_in`, `meter`, `tempo`. Here they are put
together, and the beats of a steady song are put on one straight line, those of another on its course (`timing`).
"""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np

from obbligato.errors import NoBeatError
from obbligato.listen.accents import Harmony, find_accents, find_harmony, with_chords_of
from obbligato.listen.bars import bar_places, counted_on, parts_of
from obbligato.listen.count_in import ClickRun, clicks_until, find_clicks, first_sound_s
from obbligato.listen.meter import Count, beat_unit, put_downbeat, settle_compound_bar, weigh_counts
from obbligato.listen.onsets import Events, Floats, Onsets, find_events, onset_strength
from obbligato.listen.pulse import follow_pulse
from obbligato.listen.songmap import CountIn, GridFinding, MeterFinding, Tempo, TempoStep
from obbligato.listen.tempo import LineFit, fit_line, onsets_on_beats
from obbligato.listen.timing import on_its_course, on_one_line
from obbligato.music.grid import Grid, Meter
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio

_FEWEST_EVENTS = 8
_SHORTEST_S = 3.0
_SURE_MARGIN = 0.6
"""A lead of this much over the next best way to count makes a finding about 0.73 sure."""
_CHANCE_SCATTER_MS = 22.0
"""Onsets that have nothing to do with the beats scatter about this much within the 40 ms that count as near."""
_EARLY_BEATS = 0.2
"""Music may set in this much before a downbeat and still begin on it."""
_FACTORS = tuple(map(Fraction, ("2", "1/2", "3", "1/3", "3/2", "2/3")))
"""Ways to count a tempo otherwise that are always listed: octave, triplets, dotted beats."""
_LISTED = (*_FACTORS, *map(Fraction, ("4", "1/4", "4/3", "3/4")))


@dataclass(frozen=True)
class GridFindings:
    """What is found about a guide's time, as the song map holds it, and as a grid."""

    tempo: Tempo
    meter: MeterFinding
    count_in: CountIn | None
    grid: Grid
    grid_finding: GridFinding


def find_grid(audio: Audio, *, progress: Progress = silent) -> GridFindings:
    """Find tempo, metre, count-in, bar 1 and all beats of a guide.

    Raises
    ------
    NoBeatError
        The file is silent, too short, or has no onsets from which a beat could be found.
    """
    if audio.duration_s < _SHORTEST_S:
        raise NoBeatError(f"the file lasts {audio.duration_s:.1f} s")
    progress(0.0, "onsets")
    with ThreadPoolExecutor(max_workers=1) as pool:
        heard = pool.submit(find_harmony, audio)
        onsets = onset_strength(audio)
        harmony = heard.result()
    return grid_of_onsets(onsets, harmony, duration_s=audio.duration_s, progress=progress)


def grid_of_onsets(
    onsets: Onsets, harmony: Harmony, *, duration_s: float, progress: Progress = silent
) -> GridFindings:
    """What `find_grid` finds, from the onsets and the harmony."""
    events = find_events(onsets)
    if events.times_s.size < _FEWEST_EVENTS:
        raise NoBeatError("the file has next to no onsets")
    progress(0.5, "pulse")
    pulse = follow_pulse(onsets)
    progress(0.65, "metre")
    clicks = find_clicks(onsets, events)
    accents = find_accents(harmony, onsets, pulse)
    counts = weigh_counts(accents, pulse, clicks)
    if not counts:
        raise NoBeatError("the file is too short to hold two bars")
    count = settle_compound_bar(counts, accents, pulse)
    unit = beat_unit(count, accents, pulse)
    accents = with_chords_of(accents, harmony, pulse, 0.5 * count.beats_per_bar * count.beat_s(pulse))
    count = put_downbeat(count, accents, pulse, clicks)
    progress(0.9, "tempo")
    played = _after_clicks(events, clicks)
    beats, times_s, weights = onsets_on_beats(played, count.beat_at(pulse.at(played.times_s)))
    if beats.size < _FEWEST_EVENTS:
        raise NoBeatError("too few onsets agree on one")
    fit = fit_line(beats, times_s, weights)
    parts = parts_of(count)
    if fit.steady:
        timed = on_one_line(fit, parts, (beats, times_s, weights), onsets)
    else:
        timed = on_its_course(count, parts, pulse, events, duration_s)
    places = bar_places(timed.parts_s, count, accents, pulse, parts=parts, counted_in=clicks is not None)
    beats_s, zero, steps = counted_on(timed.parts_s, places, count.beats_per_bar, parts)
    tempo = replace(timed.tempo, steps=steps, steady=timed.tempo.steady and _whole(steps))
    bar_1, clicks = _bar_1(beats_s, zero, count.beats_per_bar, clicks, first_sound_s(onsets, events))
    per_bar = count.beats_per_bar
    grid = _grid(tempo, beats_s, bar_1, Meter.from_unit_name(per_bar, unit))
    downbeats_s = beats_s[bar_1 % per_bar :: per_bar]
    progress(1.0, "grid found")
    return GridFindings(
        _with_confidence(tempo, counts, fit),
        MeterFinding(per_bar, unit, _sureness(counts, lambda c: c.beats_per_bar == per_bar)),
        _count_in(clicks, events, grid),
        grid,
        GridFinding(grid.bar_1_s, tuple(map(float, beats_s)), tuple(map(float, downbeats_s))),
    )


def _after_clicks(events: Events, clicks: ClickRun | None) -> Events:
    """The onsets of the music: a count-in may go at a tempo of its own."""
    if clicks is None:
        return events
    music = events.times_s > clicks.times_s[-1] + 0.5 * clicks.step_s
    return Events(events.times_s[music], events.weights[music])


def _whole(steps: tuple[TempoStep, ...]) -> bool:
    """Whether whole beats only are missing or too many, so that the beats keep to one line."""
    return all(abs(step.beats - round(step.beats)) < _EARLY_BEATS for step in steps)


def _bar_1(
    beats_s: Floats, zero: int, per_bar: int, clicks: ClickRun | None, music_s: float
) -> tuple[int, ClickRun | None]:
    """Index of bar 1, and the clicks if they do fill whole bars up to it.

    Bar 1 is the first downbeat after the clicks, or without them at or after the first music. Clicks on a tempo of
    their own are counted by their own steps.
    """
    beat_s = float(np.median(np.diff(beats_s)))
    after_s = music_s - _EARLY_BEATS * beat_s
    if clicks is not None:
        bar_1 = _next_downbeat(beats_s, zero, per_bar, clicks.times_s[-1] + 0.5 * beat_s)
        first = float(np.interp(clicks.times_s[0], beats_s, np.arange(beats_s.size)))
        own_steps = (float(beats_s[bar_1]) - clicks.times_s[0]) / clicks.step_s
        if _fill_bars(bar_1 - first, per_bar) or _fill_bars(own_steps, per_bar):
            return bar_1, clicks
    return _next_downbeat(beats_s, zero, per_bar, after_s), None


def _fill_bars(beats: float, per_bar: int) -> bool:
    """Whether so many beats are whole bars, at least one."""
    bars = round(beats / per_bar)
    return bars >= 1 and abs(beats - bars * per_bar) < _EARLY_BEATS


def _next_downbeat(beats_s: Floats, zero: int, per_bar: int, after_s: float) -> int:
    index = zero % per_bar
    while index < beats_s.size - 1 and beats_s[index] < after_s:
        index += per_bar
    return min(index, beats_s.size - 1)


def _grid(tempo: Tempo, beats_s: Floats, bar_1: int, meter: Meter) -> Grid:
    if tempo.steady and not tempo.steps:
        return Grid.steady(tempo.bpm, float(beats_s[bar_1]), meter)
    return Grid.from_beats(tuple(map(float, beats_s)), bar_1, meter)


def _count_in(clicks: ClickRun | None, events: Events, grid: Grid) -> CountIn | None:
    if clicks is None:
        return None
    per_bar = grid.meter.beats_per_bar
    beats, own = -float(grid.sec_to_beat(clicks.times_s[0])), (grid.bar_1_s - clicks.times_s[0]) / clicks.step_s
    bars = round(own if _fill_bars(own, per_bar) and not _fill_bars(beats, per_bar) else beats) / per_bar
    return CountIn(clicks.times_s[0], grid.bar_1_s, clicks_until(clicks, events, grid.bar_1_s), bars)


def _with_confidence(tempo: Tempo, counts: list[Count], fit: LineFit) -> Tempo:
    """The tempo with how sure it is, and the other tempi it could be counted in."""
    chosen = counts[0].beats_per_pulse
    together = float(np.clip((_CHANCE_SCATTER_MS - tempo.scatter_ms) / 8.0, 0.1, 1.0))
    sure = _sureness(counts, lambda c: c.beats_per_pulse == chosen) * min(1.0, 0.4 + fit.coverage) * together
    others: list[Fraction] = []
    for factor in [*(c.beats_per_pulse / chosen for c in counts), *_FACTORS]:
        if factor != 1 and factor in _LISTED and factor not in others:
            others.append(factor)
    alternatives = tuple(tempo.bpm * float(f) for f in others)
    return replace(tempo, confidence=round(sure, 3), alternatives=alternatives)


def _sureness(counts: list[Count], agrees: Callable[[Count], bool]) -> float:
    """From 0 to 1: the lead of the chosen way to count over the best that differs from it."""
    rival = next((c.score for c in counts if not agrees(c)), counts[0].score - 10.0 * _SURE_MARGIN)
    return round(float(1.0 / (1.0 + np.exp(-(counts[0].score - rival) / _SURE_MARGIN))), 3)
