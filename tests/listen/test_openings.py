"""Openings of a constructed song: the places follow from the spans and the grid by arithmetic."""

import numpy as np
import pytest

from obbligato.listen.openings import find_openings
from obbligato.music.grid import Grid, Meter
from obbligato.music.spans import Span
from obbligato.sound.audio import Audio

SR = 8000
GRID = Grid.steady(120, 1.0, Meter())
BARS = 24
END_S = GRID.bar_to_sec(BARS + 1)


def song(*, quiet=(), tail_s=2.0):
    """A stroke on every beat of 24 bars over noise; between the given bars 20 dB quieter."""
    rng = np.random.default_rng(1)
    n = round((END_S + tail_s) * SR)
    t = np.arange(n) / SR
    y = 0.05 * rng.standard_normal(n)
    stroke = 0.3 * rng.standard_normal(SR // 4) * np.exp(-np.arange(SR // 4) / SR / 0.05)
    for beat in range(BARS * 4):
        at = round(float(GRID.beat_to_sec(beat)) * SR)
        y[at : at + stroke.size] += stroke
    y *= (t >= GRID.bar_1_s) & (t < END_S)
    for first, after in quiet:
        y[(t >= GRID.bar_to_sec(first)) & (t < GRID.bar_to_sec(after))] *= 0.1
    return Audio(y.astype(np.float32), SR)


def sung(*places):
    """Spans from beats of the song."""
    return [Span(float(GRID.beat_to_sec(a)), float(GRID.beat_to_sec(b))) for a, b in places]


VOICE = sung((16.0, 22.0), (24.5, 31.5), (32.0, 46.0), (54.0, 60.0), (72.0, 80.0))


def test_places_lengths_and_kinds():
    found = find_openings(song(), VOICE, GRID)
    assert [(o.first_bar, o.last_bar, o.kind) for o in found] == [
        (1, 4, "feature"),  # introduction of four bars
        (6, 7, "fill"),  # 2.5 beats; the half beat at 31.5 is left alone
        (12, 14, "feature"),  # two bars
        (16, 18, "feature"),
        (21, 24, "feature"),  # ending
    ]
    np.testing.assert_allclose([o.beats for o in found], [16.0, 2.5, 8.0, 12.0, 16.0], atol=1e-9)
    np.testing.assert_allclose(found[1].start_s, GRID.beat_to_sec(22.0))
    np.testing.assert_allclose(found[-1].end_s, END_S)


def test_a_band_that_stops_makes_a_break():
    found = find_openings(song(quiet=((16, 19),)), VOICE, GRID)
    assert [o.kind for o in found] == ["feature", "fill", "feature", "break", "feature"]


def test_without_a_singer_all_is_one_feature():
    (only,) = find_openings(song(), [], GRID)
    assert (only.first_bar, only.last_bar, only.kind, only.beats) == (1, BARS, "feature", pytest.approx(BARS * 4))


def test_a_pick_up_does_not_open_before_bar_1():
    found = find_openings(song(), sung((-1.0, 90.0)), GRID)
    assert [(o.first_bar, round(o.beats, 6)) for o in found] == [(23, 6.0)]


def test_sung_throughout_there_is_no_room():
    assert find_openings(song(), sung((-1.0, BARS * 4.0)), GRID) == ()


def with_last_chord(*, held_s):
    """The song with a roll of strokes on the last beat, then one chord of new tones, no louder than the roll."""
    audio = song()
    y, t = audio.mono().astype(np.float64), np.arange(audio.n_samples) / SR
    roll = (t >= GRID.beat_to_sec(BARS * 4 - 1)) & (t < END_S)
    y[roll] += 0.1 * np.random.default_rng(2).standard_normal(int(roll.sum()))
    since = t - END_S
    chord = sum(0.06 * np.sin(2 * np.pi * hz * t) for hz in (110.0, 277.18, 329.63, 440.0, 659.26))
    y += chord * (since >= 0) * np.exp(-np.maximum(since, 0) / 0.8) * (since < held_s)
    return Audio(y.astype(np.float32), SR)


def test_a_chord_held_after_a_fill_is_a_bar():
    (only,) = find_openings(with_last_chord(held_s=1.8), [], GRID)
    assert (only.last_bar, only.beats) == (BARS + 1, pytest.approx((BARS + 1) * 4))


def test_a_chord_that_dies_away_over_the_next_bar_is_one_bar():
    y = np.concatenate([with_last_chord(held_s=3.9).mono(), np.zeros(2 * SR, dtype=np.float32)])
    (only,) = find_openings(Audio(y, SR), [], GRID)
    assert only.last_bar == BARS + 1
