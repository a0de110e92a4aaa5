"""The minimum-requirement signals of EBU Tech 3341 and Tech 3342, with their expected values and tolerances.

The recipes and figures of cases 1-6, 9, 12 and 15-19 are those in libebur128's `test/tests.c` and in the `ebur128`
crate's `reference_tests.rs`, which follow the tables of EBU Tech 3341 (2016) and 3342 (2016); the silences of cases
10, 11, 13 and 14 and the recipe of 20-23 are from memory. 48 kHz, a 1 kHz sine in phase on both channels unless said.
Cases 7 and 8 (and 5 and 6 of Tech 3342) need recordings that are not at hand.
"""

import shutil
import subprocess

import numpy as np
import pyloudnorm
import pytest
from scipy import signal

from obbligato.sound.audio import Audio
from obbligato.sound.loudness import (
    integrated_lufs,
    k_filter,
    loudness_range_lu,
    measure_loudness,
    momentary_lufs,
    short_term_lufs,
    true_peak_dbtp,
)
from obbligato.sound.wav import write_wav

SR = 48000


def level(seconds, dbfs):
    n = round(seconds * SR)
    amplitude = 0.0 if dbfs is None else 10 ** (dbfs / 20)
    return amplitude * np.sin(2 * np.pi * 1000 * np.arange(n) / SR)


def tones(*parts, channels=2):
    y = np.concatenate([level(seconds, dbfs) for seconds, dbfs in parts])
    return Audio(np.tile(y, (channels, 1)).astype(np.float32), SR)


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ([(20, -23)], -23.0),
        ([(20, -33)], -33.0),
        ([(10, -36), (60, -23), (10, -36)], -23.0),
        ([(10, -72), (10, -36), (60, -23), (10, -36), (10, -72)], -23.0),
        ([(20, -26), (20.1, -20), (20, -26)], -23.0),
    ],
    ids=["1", "2", "3", "4", "5"],
)
def test_tech_3341_integrated(parts, expected):
    assert integrated_lufs(tones(*parts)) == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("expected", [-23.0, -33.0])
def test_tech_3341_cases_1_and_2_momentary_and_short_term(expected):
    measured = measure_loudness(tones((20, expected)))
    assert measured.max_momentary_lufs == pytest.approx(expected, abs=0.1)
    assert measured.max_short_term_lufs == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("lfe", [False, True])
def test_tech_3341_case_6_surround(lfe):
    levels = [-28, -28, -24, *([None] if lfe else []), -30, -30]
    y = np.stack([level(20, dbfs) for dbfs in levels])
    assert integrated_lufs(Audio(y.astype(np.float32), SR)) == pytest.approx(-23.0, abs=0.1)


def test_tech_3341_case_9_short_term_is_steady():
    values = short_term_lufs(tones(*[(1.34, -20), (1.66, -30)] * 5))
    assert values == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("i", range(1, 21))
def test_tech_3341_case_10_short_term_maximum(i):
    assert measure_loudness(tones((0.15 * i, None), (3, -23), (1, None))).max_short_term_lufs == pytest.approx(
        -23.0, abs=0.1
    )


@pytest.mark.parametrize("i", range(1, 21))
def test_tech_3341_case_11_short_term_maximum(i):
    sound = tones((0.15 * i, None), (3, -38 + i), (3 - 0.15 * i, None))
    assert measure_loudness(sound).max_short_term_lufs == pytest.approx(-38.0 + i, abs=0.1)


def test_tech_3341_case_12_momentary_is_steady():
    values = momentary_lufs(tones(*[(0.18, -20), (0.22, -30)] * 25))
    assert values[60:] == pytest.approx(-23.0, abs=0.1)


@pytest.mark.parametrize("i", range(1, 21))
def test_tech_3341_cases_13_and_14_momentary_maximum(i):
    sound = tones((0.02 * i, None), (0.4, -38 + i), (1, None))
    assert measure_loudness(sound).max_momentary_lufs == pytest.approx(-38.0 + i, abs=0.1)


@pytest.mark.parametrize(
    ("divisor", "amplitude", "phase_degrees", "expected"),
    [(4, 0.50, 0, -6.0), (4, 0.50, 45, -6.0), (6, 0.50, 60, -6.0), (8, 0.50, 67.5, -6.0), (4, 1.41, 45, 3.0)],
    ids=["15", "16", "17", "18", "19"],
)
def test_tech_3341_true_peak(divisor, amplitude, phase_degrees, expected):
    y = amplitude * np.sin(2 * np.pi * np.arange(SR) / divisor + np.deg2rad(phase_degrees))
    # The onset of the tone would itself overshoot between samples; the EBU's files fade in and out.
    fade = np.clip(np.minimum(np.arange(SR), np.arange(SR)[::-1]) / (0.05 * SR), 0, 1)
    measured = true_peak_dbtp(Audio(np.tile(y * fade, (2, 1)).astype(np.float32), SR))
    assert expected - 0.4 <= measured <= expected + 0.2


def peak_between_samples(offset):
    """A tone of fs/6 made at four times the rate, with one crest of twice its height, every fourth sample kept.

    The crest is a band-limited pulse (windowed sinc, cut at a quarter of fs) that reaches full scale between the
    samples kept, unless `offset` is 0.
    """
    fast, centre = 4 * SR, 2 * SR
    t = np.arange(fast) - centre
    pulse = np.sinc(t / 8.0) * np.where(np.abs(t) < 256, np.cos(np.pi * t / 512) ** 2, 0.0)
    y = 0.5 * np.cos(2 * np.pi * SR / 6 * t / fast) + 0.5 * pulse
    fade = np.clip(np.minimum(np.arange(fast), np.arange(fast)[::-1]) / (0.05 * fast), 0, 1)
    return Audio(np.tile((y * fade)[offset::4], (2, 1)).astype(np.float32), SR)


@pytest.mark.parametrize("offset", range(4), ids=["20", "21", "22", "23"])
def test_tech_3341_peak_between_samples(offset):
    """Full scale is reached once, at a place that the samples hit (20) or miss by one to three quarters (21-23)."""
    sound = peak_between_samples(offset)
    assert -0.4 <= true_peak_dbtp(sound) <= 0.2
    highest_dbfs = 20 * np.log10(np.abs(sound.y).max())
    assert highest_dbfs == pytest.approx(0.0, abs=0.001) if offset == 0 else highest_dbfs < -0.1


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ([(20, -20), (20, -30)], 10.0),
        ([(20, -20), (20, -15)], 5.0),
        ([(20, -40), (20, -20)], 20.0),
        ([(20, -50), (20, -35), (20, -20), (20, -35), (20, -50)], 15.0),
    ],
    ids=["1", "2", "3", "4"],
)
def test_tech_3342_loudness_range(parts, expected):
    assert loudness_range_lu(tones(*parts)) == pytest.approx(expected, abs=1.0)


def test_k_filter_at_48_khz_is_the_printed_one():
    # ITU-R BS.1770-4, annex 1, tables 1 and 2; retyped from memory, agreeing with the figures of public meters.
    shelf_b, shelf_a = (
        [1.53512485958697, -2.69169618940638, 1.19839281085285],
        [1, -1.69065929318241, 0.73248077421585],
    )
    high_b, high_a = [1.0, -2.0, 1.0], [1.0, -1.99004745483398, 0.99007225036621]
    b, a = k_filter(48000)
    assert b == pytest.approx(np.convolve(shelf_b, high_b), abs=1e-8)
    assert a == pytest.approx(np.convolve(shelf_a, high_a), abs=1e-8)


@pytest.mark.parametrize("sr", [44100, 48000, 96000])
def test_full_scale_sine_of_997_hz_reads_minus_3_01(sr):
    # BS.1770-4, annex 1: a 0 dB FS 997 Hz sine in one front channel reads -3.01 LKFS.
    y = np.sin(2 * np.pi * 997 * np.arange(5 * sr) / sr).astype(np.float32)
    assert integrated_lufs(Audio(y, sr)) == pytest.approx(-3.01, abs=0.01)


def programme(rng, sr, seconds=12):
    """Noise with a falling spectrum, in swells between -40 and -10 dB, and wide."""
    swell = 10 ** (rng.uniform(-40, -10, seconds * 2) / 20)
    y = signal.lfilter([1.0], [1.0, -0.95], rng.standard_normal((2, seconds * sr)), axis=-1)
    y *= np.interp(np.arange(seconds * sr), np.arange(seconds * 2) * sr / 2, swell) / np.abs(y).max()
    return Audio(y.astype(np.float32), sr)


@pytest.mark.parametrize("sr", [44100, 48000])
def test_pyloudnorm_agrees(sr):
    sound = programme(np.random.default_rng(3), sr)
    meter = pyloudnorm.Meter(sr, filter_class="DeMan")
    # pyloudnorm with the same filter form; it starts its gating blocks at other roundings of 100 ms.
    assert integrated_lufs(sound) == pytest.approx(meter.integrated_loudness(sound.y.T.astype(np.float64)), abs=0.02)


def ffmpeg_ebur128(path):
    """Integrated loudness, loudness range and true peak by ffmpeg's ebur128 filter, each to one decimal."""
    command = ["ffmpeg", "-nostats", "-i", str(path), "-af", "ebur128=peak=true", "-f", "null", "-"]
    report = subprocess.run(command, capture_output=True, text=True, check=True).stderr.split("Summary:")[1].split()
    return tuple(float(report[report.index(name) + 1]) for name in ("I:", "LRA:", "Peak:"))


EBU_SIGNALS = {
    "1": [(20, -23)],
    "2": [(20, -33)],
    "3": [(10, -36), (60, -23), (10, -36)],
    "4": [(10, -72), (10, -36), (60, -23), (10, -36), (10, -72)],
    "5": [(20, -26), (20.1, -20), (20, -26)],
    "9": [(1.34, -20), (1.66, -30)] * 5,
    "12": [(0.18, -20), (0.22, -30)] * 25,
    "range 1": [(20, -20), (20, -30)],
    "range 2": [(20, -20), (20, -15)],
    "range 3": [(20, -40), (20, -20)],
    "range 4": [(20, -50), (20, -35), (20, -20), (20, -35), (20, -50)],
}


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="ffmpeg is not installed")
@pytest.mark.parametrize("case", EBU_SIGNALS)
def test_ffmpegs_ebur128_agrees_on_the_ebus_signals(case, tmp_path):
    sound = tones(*EBU_SIGNALS[case])
    write_wav(tmp_path / "a.wav", sound)
    lufs, range_lu, _ = ffmpeg_ebur128(tmp_path / "a.wav")
    # One decimal is printed; its blocks begin at other samples than ours.
    assert integrated_lufs(sound) == pytest.approx(lufs, abs=0.1)
    assert loudness_range_lu(sound) == pytest.approx(range_lu, abs=0.3)


@pytest.mark.skipif(shutil.which("ffmpeg") is None, reason="ffmpeg is not installed")
def test_ffmpegs_ebur128_agrees(tmp_path):
    sound = programme(np.random.default_rng(4), 48000)
    write_wav(tmp_path / "a.wav", sound)
    lufs, range_lu, peak_dbtp = ffmpeg_ebur128(tmp_path / "a.wav")
    # ffmpeg prints one decimal: half of it, and a little for its own interpolation of the peak.
    assert integrated_lufs(sound) == pytest.approx(lufs, abs=0.06)
    assert loudness_range_lu(sound) == pytest.approx(range_lu, abs=0.3)
    assert true_peak_dbtp(sound) == pytest.approx(peak_dbtp, abs=0.15)
