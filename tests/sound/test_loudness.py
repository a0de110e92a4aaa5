"""Properties of the meters; the published signals are in tests/reference."""

import numpy as np
import pytest

from obbligato.sound import peaks
from obbligato.sound.audio import Audio
from obbligato.sound.loudness import integrated_lufs, loudness_range_lu, measure_loudness, true_peak_dbtp
from obbligato.units import SILENCE_DB


def test_passing_blocks_over_changes_no_true_peak(rng):
    # Against the plain convolution with every phase of the same filter.
    swell = np.repeat(rng.uniform(0.01, 1.0, 100), 400)
    y = (0.3 * rng.standard_normal(40_000) * swell).astype(np.float32)
    y[-1] = 0.9
    between = [np.abs(np.convolve(y.astype(np.float64), h[::-1])).max() for h in peaks.interpolation_filter()]
    brute = max(np.abs(y).max(), *between)
    assert true_peak_dbtp(Audio(y, 48000)) == pytest.approx(20 * np.log10(brute), abs=1e-4)


@pytest.mark.parametrize("fraction", [0.1, 0.3, 0.45])
def test_true_peak_of_a_tone_is_its_amplitude(fraction):
    # Four-fold oversampling misses a crest by at most 1/8 of a sample: cos(pi * f / 4 fs) low, 0.55 dB at 0.45 fs;
    # the filter's own ripple is 0.05 dB. An irrational frequency meets every phase, so the miss is near zero.
    n = np.arange(50_000)
    y = 0.5 * np.sin(2 * np.pi * (fraction + np.pi * 1e-5) * n) * np.hanning(n.size) ** 0.1
    assert true_peak_dbtp(Audio(y.astype(np.float32), 48000)) == pytest.approx(-6.02, abs=0.06)


def test_gain_moves_loudness_and_peak_by_that_gain(rng):
    sound = Audio((0.1 * rng.standard_normal((2, 100_000))).astype(np.float32), 44100)
    louder = Audio(sound.y * np.float32(2.0), 44100)
    assert integrated_lufs(louder) - integrated_lufs(sound) == pytest.approx(6.0206, abs=1e-3)
    assert true_peak_dbtp(louder) - true_peak_dbtp(sound) == pytest.approx(6.0206, abs=1e-3)
    assert loudness_range_lu(louder) == pytest.approx(loudness_range_lu(sound), abs=1e-3)


def test_one_pass_gives_the_same_figures(rng):
    sound = Audio((0.1 * rng.standard_normal((2, 250_000))).astype(np.float32), 48000)
    assert measure_loudness(sound).integrated_lufs == integrated_lufs(sound)
    assert measure_loudness(sound).range_lu == loudness_range_lu(sound)


@pytest.mark.parametrize("n_samples", [0, 1, 100, 60_000])
def test_silence_of_any_length(n_samples):
    sound = Audio(np.zeros((2, n_samples), np.float32), 48000)
    assert integrated_lufs(sound) == SILENCE_DB
    assert true_peak_dbtp(sound) == SILENCE_DB
    assert loudness_range_lu(sound) == 0.0


def test_a_sound_shorter_than_a_block_is_one_block():
    # 0.1 s of a 997 Hz sine: -3.01 LUFS when long; the filter's first cycles move a short one by less than 0.5.
    y = np.sin(2 * np.pi * 997 * np.arange(4800) / 48000).astype(np.float32)
    assert integrated_lufs(Audio(y, 48000)) == pytest.approx(-3.01, abs=0.5)
