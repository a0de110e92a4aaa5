"""The metre of invented bands whose bars, beats and divisions are known, and the accent of lasting notes."""

import numpy as np
import pytest

from obbligato.listen.accents import lasting
from obbligato.listen.beats import find_grid
from obbligato.sound.audio import Audio

SR = 22050
NOISE = np.random.default_rng(5).standard_normal(SR)
ROOTS, MINOR = (48, 50, 52, 53), (50, 52)
"""C, D minor, E minor, F: neighbours share no note, so that each change is as plain as the next."""


def thud(seconds=0.25):
    t = np.arange(round(seconds * SR)) / SR
    return np.sin(2 * np.pi * 55 * t) * np.exp(-t / 0.08)


def hiss(level, decay_s):
    t = np.arange(round(6 * decay_s * SR)) / SR
    return level * NOISE[: t.size] * np.exp(-t / decay_s)


def tone(pitch, seconds, level):
    t = np.arange(round(seconds * SR)) / SR
    hz = 440 * 2 ** ((pitch - 69) / 12)
    sound = sum(np.sin(2 * np.pi * k * hz * t) / k**2 for k in (1, 2, 3))
    return level * sound * np.minimum(1, t / 0.004) * np.exp(-t / 0.8) * np.minimum(1, (seconds - t) / 0.02)


def band(bpm, per_bar, *, bars=32, kick=(), snare=(), hat=(), bass=(), strum=(), head_s=0.5):
    """A bar of strokes again and again over a chord a bar; `bass` and `strum` are (beat, beats), strum in triads."""
    beat_s = 60 / bpm
    y = np.zeros(round((head_s + (bars * per_bar + 4) * beat_s) * SR))
    rng = np.random.default_rng(2)

    def add(sound, beat):
        at = round((head_s + beat * beat_s + 0.002 * rng.standard_normal()) * SR)
        y[at : at + sound.size] += sound

    for bar in range(bars):
        start, root = bar * per_bar, ROOTS[bar % 4]
        for beat in kick:
            add(thud(), start + beat)
        for beat in snare:
            add(hiss(0.4, 0.05), start + beat)
        for beat in hat:
            add(hiss(0.1, 0.012), start + beat)
        for beat, beats in bass:
            add(tone(root - 12, beats * beat_s, 0.5), start + beat)
        for beat, beats in strum:
            third = 3 if root in MINOR else 4
            add(sum(tone(root + 12 + k, beats * beat_s, 0.1) for k in (0, third, 7)), start + beat)
    return find_grid(Audio(y.astype(np.float32), SR)), head_s


def metre(found):
    return found.meter.beats_per_bar, found.meter.beat_unit


LONG_SHORT = tuple((b + k * 2 / 3, (2 / 3, 1 / 3)[k] * 0.9) for b in range(4) for k in (0, 1))


def test_a_note_counts_by_how_long_it_lasts():
    # Parncutt 1994, equation of durational accent: (1 - exp(-IOI / 0.5 s)) ** 2, here for gaps of 0.6 and 0.2 s.
    step_s = 0.002
    strength = np.zeros(5000)
    onsets = np.cumsum(np.tile([300, 100], 10)) + 50
    strength[onsets] = 1.0
    weighted = lasting(strength, step_s)[onsets[:-1]]
    expected = [(1 - np.exp(-gap / 0.5)) ** 2 for gap in (0.2, 0.6)]
    assert weighted[0::2] == pytest.approx(np.full(10, expected[0]), rel=0.02)
    assert weighted[1::2] == pytest.approx(np.full(9, expected[1]), rel=0.02)


def test_a_bass_that_anticipates_does_not_move_bar_1():
    # A bossa nova's bass: long on one and three, short just before them.
    found, bar_1_s = band(
        124.0,
        4,
        hat=np.arange(0, 4, 0.5),
        bass=((0, 1.4), (1.5, 0.45), (2, 1.4), (3.5, 0.45)),
        strum=((0, 0.9), (1, 0.45), (2.5, 0.9), (3.5, 0.4)),
    )
    assert metre(found) == (4, "quarter")
    assert found.grid.bar_1_s == pytest.approx(bar_1_s, abs=0.02)


def test_a_shuffle_without_drums_begins_on_its_long_notes():
    # Long on the beat, short before it: swung quarters, written as such because the middle third is left out.
    found, bar_1_s = band(118.0, 4, bass=LONG_SHORT, strum=LONG_SHORT, snare=(1, 3))
    assert found.tempo.bpm == pytest.approx(118.0, abs=0.02)
    beat = float(found.grid.sec_to_beat(bar_1_s))
    assert beat == pytest.approx(round(beat), abs=0.05)
    assert found.meter.beat_unit == "quarter"


@pytest.mark.parametrize("hat", [(0, 2 / 3, 1, 5 / 3), tuple(np.arange(6) / 3)], ids=["no middle", "all eighths"])
def test_a_jig_has_two_beats_a_bar(hat):
    found, bar_1_s = band(
        114.0, 2, bars=48, kick=(0, 1), hat=hat, bass=((0, 0.6), (1, 0.6)), strum=((0, 0.3), (1, 0.3))
    )
    assert metre(found) == (2, "dotted quarter")
    assert found.grid.bar_1_s == pytest.approx(bar_1_s, abs=0.02)


def test_twelve_eighths_whose_bass_rests_in_mid_bar_have_four_beats():
    found, bar_1_s = band(
        58.0,
        4,
        bars=16,
        kick=(0, 5 / 3, 2),
        snare=(1, 3),
        hat=np.arange(12) / 3,
        bass=((0, 1.5), (5 / 3, 0.3)),
        strum=((0, 1.9), (2, 1.9)),
    )
    assert metre(found) == (4, "dotted quarter")
    assert found.grid.bar_1_s == pytest.approx(bar_1_s, abs=0.02)
