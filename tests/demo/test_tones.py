"""The building blocks of sound, against closed forms."""

import numpy as np
import pytest
from scipy import signal

from obbligato.demo.tones import add_at, band_noise, faded, harmonic_tone, room, smoothed, struck_tone

SR = 8000


def test_harmonic_tone_is_the_sum_of_its_sines():
    n, hop, f0 = 5000, 16, 210.0
    gains = np.array([0.5, 0.0, 0.25, 0.1])
    amplitudes = np.repeat(gains[:, None], n // hop + 2, axis=1)
    phase = 2 * np.pi * f0 * np.arange(1, n + 1) / SR
    expected = sum(g * np.sin(k * phase) for k, g in enumerate(gains, start=1))
    # The recurrence loses about k^2 roundings of double precision; 1e-9 is far above that and far below a step.
    np.testing.assert_allclose(harmonic_tone(np.full(n, f0), amplitudes, sr=SR, hop=hop), expected, atol=1e-9)


def test_harmonic_tone_leaves_out_what_would_fold_over():
    n, hop = 4096, 16
    amplitudes = np.ones((20, n // hop + 2))
    spectrum = np.abs(np.fft.rfft(harmonic_tone(np.full(n, 500.0), amplitudes, sr=SR, hop=hop) * np.hanning(n)))
    peaks = np.flatnonzero(spectrum > 0.1 * spectrum.max()) * SR / n
    assert np.all(np.abs(peaks - 500.0 * np.round(peaks / 500.0)) < 3 * SR / n)
    assert peaks.max() < 0.46 * SR


def test_struck_tone_falls_at_its_rate():
    tone = struck_tone(200.0, [1.0], [0.25], duration_s=1.0, sr=SR)
    early, late = (np.sqrt(np.mean(tone[a : a + 400] ** 2)) for a in (800, 2800))
    # 2000 samples later at 8 kHz is 0.25 s, one decay time: down to 1/e. 400 samples are ten whole periods.
    assert late / early == pytest.approx(np.exp(-1.0), rel=0.01)


def test_band_noise_lies_in_its_band():
    noise = band_noise(SR * 4, 1000.0, 2000.0, sr=SR, rng=np.random.default_rng(0))
    hz, power = signal.welch(noise, SR, nperseg=512)
    inside = power[(hz >= 900) & (hz <= 2200)].sum() / power.sum()
    assert inside > 0.85
    assert np.sqrt(np.mean(noise**2)) == pytest.approx(1.0)


def test_adding_cuts_off_at_both_ends_and_leaves_the_input_alone():
    target, y = np.zeros(10), np.arange(1.0, 5.0)
    add_at(target, y, -0.2, sr=10)
    add_at(target, y, 0.8, sr=10, gain=2.0)
    np.testing.assert_allclose(target, [3, 4, 0, 0, 0, 0, 0, 0, 2, 4])
    np.testing.assert_allclose(y, [1, 2, 3, 4])
    add_at(target, y, 5.0, sr=10)
    assert target.sum() == 13


def test_fades_start_and_end_near_zero():
    y = np.ones(100)
    out = faded(y, in_s=0.1, out_s=0.2, sr=100)
    assert out[0] < 0.05
    assert out[-1] < 0.05
    assert out[50] == 1.0
    assert np.all(y == 1.0)


def test_smoothing_keeps_length_and_constants():
    np.testing.assert_allclose(smoothed(np.full((2, 30), 3.0), 7), 3.0)
    assert smoothed(np.arange(30.0), 6).shape == (30,)


def test_a_room_answers_after_the_sound_and_dies_away():
    y = np.zeros((2, 8000))
    y[:, 0] = 1.0
    out = room(y, sr=SR, rng=np.random.default_rng(1))
    assert np.all(out[:, : int(0.008 * SR)] == pytest.approx(0.0, abs=1e-12))
    early, late = np.sum(out[:, :4000] ** 2), np.sum(out[:, 4000:] ** 2)
    assert late < 0.2 * early
    assert np.sum(out[0] ** 2) == pytest.approx(1.0, rel=0.05)
    assert abs(np.corrcoef(out)[0, 1]) < 0.2
