"""Final ritardandi of courses that are known, one of them by the published measurements, and endings without one."""

import numpy as np
import pytest

from obbligato.listen.course import Stretch
from obbligato.listen.ending import follow_end
from obbligato.listen.onsets import Events

BPM, BEATS, SLOWING = 96.0, 80, 16
PERIOD_S = 60.0 / BPM


def friberg_and_sundberg(x, end_speed=0.45, q=3.0):
    """Speed at a share `x` of the ritardando: v(x) = (1 + (v_end ** q - 1) x) ** (1 / q), JASA 105(3), 1999."""
    return (1.0 + (end_speed**q - 1.0) * x) ** (1.0 / q)


def linear(x):
    return 1.0 - 0.4 * x


def played(speed):
    """Beat times of a song that slows over its last beats, and its onsets: eighths, the beats stronger."""
    eighths = np.arange(2 * BEATS + 1) / 2.0
    fine = np.linspace(0.0, BEATS, 100 * BEATS + 1)
    v = speed(np.clip((fine - (BEATS - SLOWING)) / SLOWING, 0.0, 1.0))
    gaps = np.diff(fine) * 0.5 * (1.0 / v[1:] + 1.0 / v[:-1])
    times_s = 0.4 + PERIOD_S * np.interp(eighths, fine, np.concatenate([[0.0], np.cumsum(gaps)]))
    scatter = 0.004 * np.random.default_rng(3).standard_normal(eighths.size)
    return times_s[::2], Events(times_s + scatter, np.where(eighths % 1.0, 1.5, 3.0))


@pytest.mark.parametrize("speed", [friberg_and_sundberg, linear])
def test_a_ritardando_is_followed_to_the_last_beat(speed):
    beats_s, events = played(speed)
    straight = Stretch(0, BEATS - SLOWING, 0.4, PERIOD_S)
    first, found_s = follow_end(events, straight, beats_s[-1] + 2.0)
    n = BEATS + 1 - first
    # The onsets scatter by 4 ms; the last beat of the steeper course is twice as long as the first.
    off_beats = (found_s[:n] - beats_s[first:]) / np.gradient(beats_s)[first:]
    assert np.max(np.abs(off_beats)) < 0.03
    assert np.all(np.diff(found_s) > 0.0)


def test_an_ending_at_the_same_tempo_stays_straight():
    beats_s, events = played(np.ones_like)
    straight = Stretch(0, BEATS - SLOWING, 0.4, PERIOD_S)
    first, found_s = follow_end(events, straight, beats_s[-1] + 2.0)
    assert first == BEATS - SLOWING + 1
    assert found_s == pytest.approx(straight.at(np.arange(first, first + found_s.size)), abs=0.01)


def test_a_last_chord_alone_is_no_ritardando():
    beats_s, events = played(np.ones_like)
    kept = events.times_s < beats_s[BEATS - SLOWING] + 0.1
    last = np.append(events.times_s[kept], beats_s[BEATS - SLOWING + 4] + 0.03)
    straight = Stretch(0, BEATS - SLOWING, 0.4, PERIOD_S)
    _, found_s = follow_end(Events(last, np.append(events.weights[kept], 3.0)), straight, beats_s[-1])
    gaps = np.diff(found_s)
    assert np.max(np.abs(gaps / PERIOD_S - 1.0)) < 0.05
