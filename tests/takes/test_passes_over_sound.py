"""Passes over a take's sound that are cut into blocks or sums to be quick: each against the plain way of it."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.ndimage

from obbligato.sound.audio import Audio
from obbligato.takes.bleed import find_bleed
from obbligato.takes.correlating import FRAME, HOP, SIZE, TakeFrames, frame_spectra, stacked
from obbligato.takes.pitch import ANALYSIS_SR
from obbligato.takes.sounds import flat_tops

SR = 48000


def test_flat_tops_are_found_wherever_a_block_ends() -> None:
    t = (np.arange(3 * SR) - 65536) / SR
    y = np.clip(0.8 * np.cos(2 * np.pi * 220.0 * t), -0.78, 0.78).astype(np.float32)
    found = flat_tops(Audio(y[None, :], SR))
    flat = np.abs(np.diff(y)) <= 2e-5 * 0.78
    four = flat[:-2] & flat[1:-1] & flat[2:] & (np.abs(y[2:-1]) > 0.5)
    begins = np.flatnonzero(four & ~np.concatenate([[False], four[:-1]]))
    assert len(begins) == 2 * 220 * 3
    np.testing.assert_allclose(found, (begins + 1) / SR, atol=0.5 / SR)


def test_flat_tops_are_found_to_the_end_of_a_take_that_is_clipped_throughout() -> None:
    t = np.arange(20 * SR) / SR
    y = np.clip(np.cos(2 * np.pi * 220.0 * t), -0.4, 0.4).astype(np.float32)
    assert len(flat_tops(Audio(y[None, :], SR))) == pytest.approx(2 * 220 * 20, abs=2)


def test_nothing_is_flat_in_a_sine_of_full_scale() -> None:
    t = np.arange(5 * SR) / SR
    assert not len(flat_tops(Audio(np.sin(2 * np.pi * 220.0 * t).astype(np.float32)[None, :], SR)))


def test_the_power_around_a_bin_is_that_of_scipy() -> None:
    rng = np.random.default_rng(1)
    take = rng.standard_normal(20 * HOP + FRAME).astype(np.float32)
    starts = np.arange(16) * HOP
    x = np.fft.rfft(take[starts[:, None] + np.arange(FRAME)] * np.hanning(FRAME), SIZE)
    around = scipy.ndimage.uniform_filter(np.abs(x) ** 2, (3, 5))
    found = frame_spectra(take, starts)
    np.testing.assert_allclose(found, np.conj(x) / around, rtol=1e-3, atol=1e-5 * np.abs(found).max())


@pytest.mark.parametrize("slope_ppm", [-250.0, 0.0, 90.0, 1e6])
def test_moved_windows_add_up_lag_by_lag(slope_ppm: float) -> None:
    rng = np.random.default_rng(1)
    windows, times_s = rng.standard_normal((6, 101)).astype(np.float32), np.arange(6) * 2.0
    expected = np.zeros(101)
    for row, time_s in zip(windows, times_s, strict=True):
        shift = round(slope_ppm * 1e-6 * time_s * ANALYSIS_SR)
        for lag in range(101):
            expected[lag] += row[lag + shift] if 0 <= lag + shift < 101 else 0.0
    np.testing.assert_allclose(stacked(windows, times_s, slope_ppm), expected, atol=1e-5)


def test_frames_of_a_take_serve_every_source() -> None:
    rng = np.random.default_rng(1)
    song = rng.standard_normal(30 * ANALYSIS_SR).astype(np.float32)
    take = (song + 3.0 * rng.standard_normal(len(song))).astype(np.float32)[ANALYSIS_SR:]
    frames = TakeFrames.of(take)
    assert find_bleed(take, rng.standard_normal(len(song)).astype(np.float32), near_s=1.0, frames=frames) is None
    alone, shared = (find_bleed(take, song, near_s=1.02, frames=given) for given in (None, frames))
    assert alone is not None and shared is not None
    assert shared.clock == alone.clock
    assert shared.clock.offset_s == pytest.approx(1.0, abs=1e-4)
