from fractions import Fraction

import numpy as np
import pytest
from tests.play.conftest import SR, strongest_hz, tone

from obbligato.errors import InputError
from obbligato.music.grid import Grid, Meter
from obbligato.play.click import ACCENT_HZ, BEAT_HZ, MOST_SOFTER_DB, TONES, ToneName, click_track, count_in_click
from obbligato.sound.audio import Audio

N = 20 * SR


def starts(audio: Audio) -> np.ndarray:
    """First sample of each click: the first that sounds after 20 ms of true silence."""
    sounding = np.flatnonzero(audio.y[0])
    return sounding[np.diff(sounding, prepend=-SR) > 0.02 * audio.sr]


@pytest.mark.parametrize("sr", [44100, 48000, 96000])
def test_every_click_starts_on_its_sample(sr: int) -> None:
    # 120 beats a minute from 1 s: beat k is at 1 + k / 2 s. The rise begins at zero, so that the first sample of a
    # click is silent and the second is the first to sound.
    click = click_track(Grid.steady(120.0, 1.0, Meter()), n_samples=10 * sr, sr=sr)
    np.testing.assert_array_equal(starts(click) - 1, np.round(np.arange(0.0, 10.0, 0.5) * sr))


def test_a_drifting_grid_is_followed() -> None:
    beats_s = np.cumsum(np.linspace(0.55, 0.45, 30)) + 0.2
    click = click_track(Grid.from_beats(beats_s.tolist(), 0, Meter(3)), n_samples=N, sr=SR, last_beat=29)
    np.testing.assert_array_equal(starts(click)[-30:] - 1, np.round(beats_s * SR))


@pytest.mark.parametrize(
    ("bpm", "meter", "a_beat"),
    [
        (60.0, Meter(), 2),
        (60.0, Meter.from_signature("12/8"), 3),
        (100.0, Meter(), 1),
        (100.0, Meter.from_signature("6/8"), 1),
    ],
)
def test_slow_songs_are_divided(bpm: float, meter: Meter, a_beat: int) -> None:
    click = click_track(Grid.steady(bpm, 0.0, meter), n_samples=N, sr=SR, first_beat=0, last_beat=8)
    assert len(starts(click)) == 8 * a_beat + 1


def test_the_first_beat_of_a_bar_sounds_different() -> None:
    click = click_track(Grid.steady(120.0, 0.5, Meter(3)), n_samples=N, sr=SR, first_beat=0)
    at = starts(click)
    for i, start in enumerate(at[:9]):
        expected_hz = ACCENT_HZ if i % 3 == 0 else BEAT_HZ
        assert strongest_hz(click.y[0, start : start + 3000], SR, expected_hz) == pytest.approx(expected_hz, rel=0.01)
        peak = np.abs(click.y[0, start : start + 3000]).max()
        assert (peak > 0.25) == (i % 3 == 0)


def test_the_count_in_takes_the_room_there_is() -> None:
    # Two bars of 4/4 at 120 take 4 s; with bar 1 at 3.25 s only six beats fit, the first at 0.25 s.
    click = click_track(Grid.steady(120.0, 3.25, Meter()), n_samples=N, sr=SR)
    assert starts(click)[0] - 1 == 0.25 * SR
    long_before = click_track(Grid.steady(120.0, 9.0, Meter()), n_samples=N, sr=SR)
    assert starts(long_before)[0] - 1 == 5.0 * SR


def test_a_count_in_of_its_own_ends_at_bar_1() -> None:
    grid = Grid.steady(96.0, 0.1, Meter())
    count = count_in_click(grid, sr=SR, bars=2)
    assert count.n_samples == 8 * 0.625 * SR
    np.testing.assert_array_equal(starts(count) - 1, np.arange(8) * 0.625 * SR)


def test_the_last_sound_rings_out_alone() -> None:
    # Hits every beat at 120 up to beat 16 at 8 s, each dying away; the last rings for 8 s.
    y = np.zeros(N, np.float32)
    for beat in range(17):
        start = beat * SR // 2
        length = SR // 2 if beat < 16 else N - start
        t = np.arange(length) / SR
        y[start : start + length] += 0.4 * np.exp(-t / (0.15 if beat < 16 else 1.5)) * np.sin(2 * np.pi * 200 * t)
    click = click_track(Grid.steady(120.0, 0.0, Meter()), n_samples=N, sr=SR, guide=Audio(y, SR))
    assert starts(click)[-1] - 1 == 8 * SR


def test_music_without_attacks_keeps_its_click_to_the_end() -> None:
    click = click_track(Grid.steady(120.0, 0.0, Meter()), n_samples=N, sr=SR, guide=tone(200.0, 20.0, -10.0))
    assert starts(click)[-1] - 1 >= 19 * SR


def test_quiet_bars_have_a_softer_and_thinner_click() -> None:
    # 60 beats a minute, bars of 4 s: loud, loud, 30 dB softer, loud, loud. Divided, there are 8 clicks to a bar.
    levels_db = [-12.0, -12.0, -42.0, -12.0, -12.0]
    guide = Audio(np.concatenate([tone(300.0, 4.0, db).y for db in levels_db], axis=1), SR)
    click = click_track(Grid.steady(60.0, 0.0, Meter()), n_samples=N, sr=SR, guide=guide, last_beat=19.5)
    at = (starts(click) - 1) / SR
    assert [int(((at >= 4 * bar) & (at < 4 * bar + 4)).sum()) for bar in range(5)] == [8, 8, 4, 8, 8]
    loud, quiet = (np.abs(click.y[0, 4 * bar * SR : 4 * bar * SR + 4000]).max() for bar in (1, 2))
    assert 20 * np.log10(loud / quiet) == pytest.approx(MOST_SOFTER_DB, abs=0.01)


def test_the_click_has_the_guides_length_and_never_clips() -> None:
    click = click_track(Grid.steady(300.0, 0.0, Meter(1, Fraction(1))), n_samples=12345, sr=SR, divide=4)
    assert click.y.shape == (1, 12345)
    assert np.abs(click.y).max() < 1.0


@pytest.mark.parametrize(
    ("options", "words"),
    [({"divide": 0}, "divide=0"), ({"guide": tone(100.0, 1.0, -20.0)}, "the length of the guide")],
)
def test_what_makes_no_click_is_refused(options: dict, words: str) -> None:
    with pytest.raises(InputError, match=words):
        click_track(Grid.steady(120.0, 0.0, Meter()), n_samples=N, sr=SR, **options)


def test_a_count_in_without_bars_is_refused() -> None:
    with pytest.raises(InputError, match="bars=0"):
        count_in_click(Grid.steady(120.0, 0.0, Meter()), sr=SR, bars=0)


@pytest.mark.parametrize("tone", TONES)
def test_every_tone_stays_below_the_keenest_hearing_and_has_three_pitches(tone: ToneName) -> None:
    # Hearing is keenest from 2 to 5 kHz (equal-loudness contours, ISO 226): at most a fiftieth of the power there.
    click = click_track(Grid.steady(60.0, 0.0, Meter()), n_samples=4 * SR, sr=SR, tone=tone, divide=2)
    power = np.abs(np.fft.rfft(click.y[0])) ** 2
    hz = np.fft.rfftfreq(click.n_samples, 1 / SR)
    assert power[(hz > 2000) & (hz < 5000)].sum() < 0.02 * power.sum()
    heard = []
    for at in (0, SR // 2, SR):
        struck = np.abs(np.fft.rfft(click.y[0, at : at + 3000], 1 << 16))
        heard.append(float(struck.argmax()) * SR / (1 << 16))
    accent, division, beat = heard
    assert accent > 1.2 * beat > 1.4 * division
    # A fourth of the equal-tempered scale is 1.335; each step is one, so that they are told apart.
    assert accent / beat == pytest.approx(4 / 3, rel=0.02)
