"""The song's A4, on tones made at a known pitch and on sampled instruments moved by a known ratio."""

import numpy as np
import pytest
import soxr

from obbligato.listen.tuning import find_tuning, sustained_peaks, tuning_of
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


def joined(*parts):
    return Audio(np.concatenate([part.y for part in parts], axis=-1), SR)


def in_cents(a4_hz):
    return 1200.0 * np.log2(a4_hz / 440.0)


def test_a_song_retuned_halfway_is_told_by_its_halves():
    # The tolerance is that of `test_tones_within_a_cent`; the join at 12 s has the other chords of another seed.
    high = 438.0 * 2.0 ** (15.0 / 1200.0)
    peaks = sustained_peaks(joined(chords(438.0, seconds=12.0), chords(high, seconds=12.0, seed=2)))
    before, after = tuning_of(peaks, end_s=12.0), tuning_of(peaks, first_s=12.0)
    assert before.cents == pytest.approx(in_cents(438.0), abs=1.0)
    assert after.cents == pytest.approx(in_cents(high), abs=1.0)
    assert after.cents - before.cents == pytest.approx(15.0, abs=1.0)
    assert after.a4_hz == pytest.approx(440.0 * 2.0 ** (after.cents / 1200.0))


def test_the_whole_song_is_the_stretch_without_ends():
    song = chords(441.7)
    assert tuning_of(sustained_peaks(song)) == find_tuning(song)


def test_peaks_are_partials_of_the_tones_in_order_of_time():
    t = np.arange(4 * SR) / SR
    peaks = sustained_peaks(Audio((0.2 * np.sin(2 * np.pi * 440.0 * t)).astype(np.float32), SR))
    assert np.all(np.diff(peaks.times_s) >= 0.0)
    assert peaks.times_s[0] > 0.0
    assert peaks.times_s[-1] < 4.0
    np.testing.assert_allclose(peaks.midi, 69.0, atol=0.002)  # 0.2 cents, the parabola's error


def test_a_lone_note_noise_or_disagreement_tells_no_tuning():
    rng = np.random.default_rng(5)
    t = np.arange(8 * SR) / SR
    lone = sum(np.sin(2 * np.pi * 220.0 * k * t) / k for k in range(1, 7))
    noise = rng.standard_normal(t.size)
    # Twelve tones each off by anything up to half a semitone have no common tuning.
    strays = 100.0 * np.arange(12) + rng.uniform(-50.0, 50.0, 12)
    scattered = sum(np.sin(2 * np.pi * 220.0 * 2.0 ** (cents / 1200.0) * t) for cents in strays)
    for y in (lone, noise, scattered):
        assert tuning_of(sustained_peaks(Audio((0.03 * y).astype(np.float32), SR))) is None
    assert tuning_of(sustained_peaks(chords(442.0)), first_s=3.0, end_s=3.2) is None


def test_the_error_told_of_is_the_error_made():
    # Twelve tones whose own errors have a standard deviation of 2 cents: their mean's is 2 / sqrt(12), or 0.58, so
    # each of twelve such chords is known to 3 cents and its mean lies within three deviations.
    rng = np.random.default_rng(7)
    t = np.arange(4 * SR) / SR
    for _ in range(12):
        strays = 100.0 * np.arange(12) + 2.0 * rng.standard_normal(12)
        y = sum(np.sin(2 * np.pi * 440.0 * 2.0 ** (cents / 1200.0) * t) for cents in strays)
        found = tuning_of(sustained_peaks(Audio((0.03 * y).astype(np.float32), SR)))
        assert abs(found.cents) < 3.0 * 2.0 / np.sqrt(12.0)


def test_a_note_held_throughout_does_not_decide():
    # Five tones in tune for two seconds each under one that is held for ten, 6 cents sharp: shared by votes the mean
    # is 6/6 = 1 cent, shared by time it is 6/2 = 3.
    t = np.arange(10 * SR) / SR
    y = 0.05 * np.sin(2 * np.pi * 220.0 * 2.0 ** (6.0 / 1200.0) * t)
    for i, step in enumerate((4, 7, 11, 14, 17)):
        here = (t >= 2.0 * i) & (t < 2.0 * i + 2.0)
        y[here] += 0.05 * np.sin(2 * np.pi * 220.0 * 2.0 ** (step / 12.0) * t[here])
    assert abs(find_tuning(Audio(y.astype(np.float32), SR)).cents) < 1.5
