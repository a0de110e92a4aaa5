"""The song's A4, on tones made at a known pitch and on sampled instruments moved by a known ratio."""

import numpy as np
import pytest
import soxr

from obbligato.listen.tuning import find_tuning
from obbligato.sound.audio import Audio

SR = 44100


def chords(a4_hz, *, seconds=8.0, vibrato_cents=0.0, seed=1):
    """Chords of six harmonics a note, a new one every two seconds, equal-tempered about `a4_hz`."""
    rng = np.random.default_rng(seed)
    t = np.arange(int(seconds * SR)) / SR
    y = np.zeros(t.size)
    for start in np.arange(0.0, seconds, 2.0):
        here = (t >= start) & (t < start + 2.0)
        for midi in (rng.integers(40, 80, size=3)).tolist():
            hz = a4_hz * 2.0 ** ((midi - 69) / 12)
            bend = (
                vibrato_cents
                / 100.0
                / 12.0
                * np.log(2.0)
                * hz
                / 5.5
                * np.cos(2 * np.pi * 5.5 * t[here])
                / (2 * np.pi)
            )
            phase = 2 * np.pi * (hz * t[here] - bend)
            y[here] += sum(np.sin(k * phase) / k for k in range(1, 7))
    return Audio((0.05 * y).astype(np.float32), SR)


@pytest.mark.parametrize("a4_hz", [432.0, 436.3, 440.0, 441.7, 443.0, 446.0])
def test_tones_within_a_cent(a4_hz):
    # The parabola misplaces a lone peak by less than 0.2 cents. The third and sixth harmonic lie 2.0 cents sharp of
    # equal temperament and carry (1/3 + 1/6) of 1 + 1/2 + 1/3 + 1/4 + 1/6 of the amplitude, or 0.44 cents.
    found = find_tuning(chords(a4_hz))
    assert 1200.0 * abs(np.log2(found.a4_hz / a4_hz)) < 1.0
    assert found.cents == pytest.approx(1200.0 * np.log2(found.a4_hz / 440.0), abs=1e-9)


def test_vibrato_and_noise_within_two_cents():
    audio = chords(442.0, vibrato_cents=15.0)
    noise = np.random.default_rng(3).standard_normal(audio.n_samples).astype(np.float32)
    found = find_tuning(Audio(audio.y + 0.01 * noise, SR))
    assert 1200.0 * abs(np.log2(found.a4_hz / 442.0)) < 2.0


@pytest.mark.parametrize("cents", [-20.0, -7.0, 9.0, 17.0])
@pytest.mark.parametrize("program", [0, 48])
def test_sampled_instruments_follow_a_change_of_speed(render, cents, program):
    # The bank's own tuning is not known to a cent, so what is checked is the distance between two renderings.
    notes = [
        (program, 2.0 * i, 2.0, root + step, 80) for i, root in enumerate((48, 53, 55, 57)) for step in (0, 4, 7, 12)
    ]
    plain = render(notes, bpm=90)
    moved = Audio(soxr.resample(plain.y.T, plain.sr, plain.sr * 2.0 ** (-cents / 1200.0)).T, plain.sr)
    assert find_tuning(moved).cents - find_tuning(plain).cents == pytest.approx(cents, abs=1.0)


@pytest.mark.parametrize("seconds", [0.0, 0.1, 5.0])
def test_silence_is_called_440(seconds):
    silence = Audio(np.zeros((2, int(seconds * SR)), dtype=np.float32), SR)
    assert find_tuning(silence).cents == 0.0
