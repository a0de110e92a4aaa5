"""Filters, fades, sums, compressor, room and rate, against worked figures."""

import numpy as np
import pytest
from scipy import signal

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.sound.dynamics import static_curve
from obbligato.sound.rate import resample
from obbligato.sound.room import room_response
from obbligato.sound.shape import (
    compress,
    crossfade,
    crossfade_gains,
    fit_length,
    gain,
    highpass,
    mix,
    small_room,
)

SR = 48000


def tone(hz, seconds=1.0, amplitude=0.5, sr=SR, channels=1):
    y = amplitude * np.sin(2 * np.pi * hz * np.arange(round(seconds * sr)) / sr)
    return Audio(np.tile(y, (channels, 1)).astype(np.float32), sr)


def rms_db(y):
    return 10 * np.log10(np.mean(np.square(y, dtype=np.float64)))


@pytest.mark.parametrize(("ratio", "loss_db"), [(1.0, 3.01), (0.7, 0.93), (0.5, 0.26)])
def test_highpass_at_a_share_of_the_lowest_note(ratio, loss_db):
    # Butterworth of second order: loss 10 log10(1 + ratio**4), the closed form in any filter handbook.
    sound = tone(200, seconds=2)
    after = highpass(sound, 200 * ratio)
    assert rms_db(sound.y[:, SR:]) - rms_db(after.y[:, SR:]) == pytest.approx(loss_db, abs=0.02)


def test_highpass_refuses_a_corner_beyond_the_sound():
    with pytest.raises(InputError, match="24000"):
        highpass(tone(100), 30000)


# Common practice, no source: equal power for unrelated signals, equal gain for the same signal.
def test_crossfade_laws():
    out, into = crossfade_gains(101, 0.0)
    assert np.allclose(out**2 + into**2, 1.0)
    out, into = crossfade_gains(101, 1.0)
    assert np.allclose(out + into, 1.0)


def test_crossfade_of_a_sound_with_itself_changes_nothing():
    # Single precision rounds to within 6e-8 of the value.
    sound = Audio(np.full((1, 1001), 0.25, np.float32), SR)
    assert np.abs(crossfade(sound, sound).y - 0.25).max() < 1e-7


def test_crossfade_of_unrelated_sounds_holds_the_power(rng):
    n = 200_000
    a, b = (Audio((0.1 * rng.standard_normal(n)).astype(np.float32), SR) for _ in range(2))
    faded = crossfade(a, b).y[0]
    middle = faded[n // 2 - 10_000 : n // 2 + 10_000]
    # 20000 values of Gaussian noise: the power's spread is (2 / 20000)**0.5, 0.043 dB; four of them.
    assert rms_db(middle) - rms_db(a.y) == pytest.approx(0.0, abs=0.2)


def test_crossfade_begins_with_the_one_and_ends_with_the_other():
    a, b = Audio(np.full((2, 480), 0.5, np.float32), SR), Audio(np.full((2, 480), -0.5, np.float32), SR)
    y = crossfade(a, b).y
    # The ends lie half a step inside the fade: 1/960 of the way.
    assert y[:, 0] == pytest.approx(0.5, abs=0.002)
    assert y[:, -1] == pytest.approx(-0.5, abs=0.002)
    with pytest.raises(InputError, match="same rate and shape"):
        crossfade(a, Audio(b.y[:, 1:], SR))


def test_gain_mix_and_length():
    a, b = tone(100, channels=2), tone(150)
    assert np.allclose(gain(a, -6.0206).y, a.y / 2, atol=1e-6)
    assert np.array_equal(mix([a, b]).y, a.y + b.y)
    assert np.allclose(mix([a, b], gains_db=[0.0, 6.0206]).y, a.y + 2 * b.y, atol=1e-5)
    assert np.array_equal(fit_length(a, 100).y, a.y[:, :100])
    longer = fit_length(a, SR + 7)
    assert np.array_equal(longer.y[:, :SR], a.y)
    assert not longer.y[:, SR:].any()
    with pytest.raises(InputError, match="cannot be mixed"):
        mix([a, fit_length(b, 10)])
    with pytest.raises(InputError, match="nothing to mix"):
        mix([])


def test_static_curve_of_the_compressor():
    # Giannoulis, Massberg and Reiss 2012, equation 4, worked by hand. Threshold -20, ratio 4: -8 in gives -17 out
    # (9 dB less); with a knee of 12 dB, at the threshold: -20 + (1/4 - 1) * 6**2 / 24 = -21.125.
    levels = np.array([-60.0, -20.0, -8.0])
    hard = static_curve(levels, threshold_db=-20, ratio=4, knee_db=0)
    assert hard == pytest.approx([-60.0, -20.0, -17.0])
    soft = static_curve(np.array([-60.0, -26.0, -20.0, -14.0]), threshold_db=-20, ratio=4, knee_db=12)
    assert soft == pytest.approx([-60.0, -26.0, -21.125, -18.5])


def test_compressor_settles_on_its_curve_with_its_time_constants():
    # Full-wave level of a 1 kHz sine at -8 dBFS peak: steady reduction 9 dB.
    loud, soft = tone(1000, 1.0, 10 ** (-8 / 20)), tone(1000, 1.0, 10 ** (-40 / 20))
    sound = Audio(np.concatenate([soft.y, loud.y, soft.y], axis=1), SR)
    done = compress(sound, threshold_dbfs=-20, ratio=4, knee_db=0, attack_ms=20, release_ms=100)
    assert done.gain_db[2 * SR - 100] == pytest.approx(-9.0, abs=0.05)
    # A one-pole filter has gone 1 - 1/e of the way after its time constant; the level is taken per millisecond.
    attack = (1 - np.exp(-1)) * -9.0
    assert -9.0 * (1 - np.exp(-19 / 20)) >= done.gain_db[SR + round(0.020 * SR)] >= -9.0 * (1 - np.exp(-21 / 20))
    assert attack == pytest.approx(-5.69, abs=0.01)
    released = done.gain_db[2 * SR + round(0.100 * SR)]
    assert -9.0 * np.exp(-98 / 100) <= released <= -9.0 * np.exp(-102 / 100)
    assert np.max(done.gain_db) <= 0.0
    assert (done.most_db, done.typical_db) == pytest.approx((9.0, 9.0), abs=0.05)


def test_compressor_by_default_takes_about_3_db_off_the_loud_passages(rng):
    swell = np.repeat(10 ** (rng.uniform(-40, 0, 40) / 20), SR // 4)
    sound = Audio((0.1 * np.sin(np.arange(10 * SR) * 0.05) * swell).astype(np.float32), SR)
    assert -4.0 < np.percentile(compress(sound).gain_db, 5) < -2.0
    assert np.array_equal(compress(Audio(sound.y * 0, SR)).audio.y, sound.y * 0)
    with pytest.raises(InputError, match="ratio"):
        compress(sound, ratio=0.5)


@pytest.mark.parametrize("decay_s", [0.3, 0.6])
def test_room_decays_in_its_time(decay_s):
    # ISO 3382: decay from the backward-integrated squared response (Schroeder 1965), fitted from -5 to -25 dB.
    response = room_response(SR, decay_s=decay_s)[0]
    curve = 10 * np.log10(np.cumsum(response[::-1] ** 2)[::-1] / np.sum(response**2) + 1e-30)
    inside = np.flatnonzero((curve < -5) & (curve > -25))
    slope = np.polyfit(inside / SR, curve[inside], 1)[0]
    assert -60.0 / slope == pytest.approx(decay_s, rel=0.12)


def test_room_keeps_length_start_and_peak(rng):
    y = np.zeros((2, SR), np.float32)
    y[:, 5000:20000] = 0.9 * rng.uniform(-1, 1, (2, 15000))
    wet = small_room(Audio(y, SR), decay_s=0.4, wet_db=-6.0)
    assert wet.y.shape == y.shape
    assert np.abs(wet.y[:, :5000]).max() < 1e-6
    assert np.abs(wet.y[:, 21000:25000]).max() > 1e-3
    assert np.abs(wet.y).max() <= np.abs(y).max() * (1 + 1e-6)


@pytest.mark.parametrize(("from_sr", "to_sr"), [(44100, 48000), (48000, 44100), (96000, 44100), (22050, 48000)])
def test_resampled_tone_is_the_tone_at_the_other_rate(from_sr, to_sr):
    # A tone well inside the band is the same function of time at either rate; the ends ring for a few milliseconds.
    window = signal.windows.tukey
    before = tone(1000, 0.5, sr=from_sr)
    after = resample(before, to_sr)
    expected = tone(1000, 0.5, sr=to_sr)
    assert after.n_samples == expected.n_samples
    inside = window(after.n_samples, 0.1) > 0.999
    assert np.max(np.abs(after.y - expected.y)[:, inside]) < 1e-5
    assert resample(before, from_sr) is before
    with pytest.raises(InputError, match="sr=0"):
        resample(before, 0)
