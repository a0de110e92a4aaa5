"""Hum and click taken out, phrases moved and levelled: beside what was put in, which the tests know exactly."""

import numpy as np
import pytest
import scipy.signal

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.takes.hum import without_hum
from obbligato.takes.moving import move_phrase, phrase_gain
from obbligato.takes.place import stated_placement
from obbligato.takes.unclick import without_click

SR = 16000
SECONDS = 24.0
NOTES = tuple((float(s), s + 1.5) for s in range(2, 22, 4))
RESTS = ((0.0, 1.9), *((s + 1.7, s + 3.9) for s in range(2, 22, 4)))


@pytest.fixture
def rng():
    return np.random.default_rng(11)


def _take(rng, *, hz=196.0):
    """Five notes of 1.5 s with four partials, in a room at -70 dBFS."""
    t = np.arange(round(SECONDS * SR)) / SR
    y = 10 ** (-70 / 20) * rng.normal(size=len(t))
    for start_s, end_s in NOTES:
        within = (t >= start_s) & (t < end_s)
        ramp = np.clip(np.minimum(t - start_s, end_s - t)[within] / 0.03, 0, 1)
        y[within] += ramp * sum(0.1 / k * np.sin(2 * np.pi * k * hz * t[within]) for k in range(1, 5))
    return y


def _db(x):
    return 10 * np.log10(np.mean(np.asarray(x, dtype=np.float64) ** 2))


# The note at 200 Hz lies on the fourth partial of the hum: a notch would take it away, what is fitted in rests not.
# The mains wander by hundredths of a hertz within some seconds (common knowledge, no source).
@pytest.mark.parametrize(("mains_hz", "wander_hz", "note_hz"), [(50.06, 0.0, 196.0), (59.95, 0.01, 180.0)])
def test_hum_is_taken_out_and_the_notes_are_left(rng, mains_hz, wander_hz, note_hz):
    y = _take(rng, hz=note_hz)
    t = np.arange(len(y)) / SR
    cycles = mains_hz * t + wander_hz * 12.0 / (2 * np.pi) * np.sin(2 * np.pi * t / 12.0)
    hum = 0.003 * sum(np.cos(2 * np.pi * k * cycles + k) / k for k in (1, 2, 3, 4, 6))
    done = without_hum(Audio((y + hum).astype(np.float32), SR), rests=RESTS, notes=NOTES)
    assert done.mains_hz == pytest.approx(mains_hz, abs=0.02)
    assert done.way == "fitted"
    left = done.audio.y[0] - y
    assert _db(left) < _db(hum) - 20.0
    assert done.fell_db > 20.0


def test_where_there_is_no_hum_nothing_is_taken_out(rng):
    take = Audio(_take(rng, hz=200.0).astype(np.float32), SR)
    with pytest.raises(InputError, match="No mains hum"):
        without_hum(take, rests=RESTS, notes=NOTES)
    with pytest.raises(InputError, match="less than a second of rests"):
        without_hum(take, rests=((0.0, 0.5),), notes=NOTES)


def _clicks(times_s):
    y = np.zeros(round(SECONDS * SR))
    t = np.arange(round(0.07 * SR)) / SR
    for at in times_s:
        first = round(at * SR)
        y[first : first + len(t)] += 0.3 * np.sin(2 * np.pi * 1320 * t) * np.exp(-t / 0.014)
    return y


# The click goes through a low cut, a delay of 5 ms and three reflections, and comes 55 dB under its own level.
def test_the_click_is_learned_in_rests_and_subtracted_everywhere(rng):
    y, times_s = _take(rng), np.arange(0.5, 23.5, 0.5)
    click = _clicks(times_s)
    heard = scipy.signal.lfilter(*scipy.signal.butter(1, 400, "highpass", fs=SR), click)
    way = np.zeros(500)
    way[[80, 110, 190, 330]] = (1.0, 0.4, -0.3, 0.15)
    bleed = 10 ** (-35 / 20) * np.convolve(heard, way)[: len(y)]
    take = Audio((y + bleed).astype(np.float32), SR)
    done = without_click(
        take, Audio(click, SR), stated_placement(0.0), click_times_s=times_s, rests=RESTS, notes=NOTES
    )
    fell_db = _db(bleed) - _db(done.audio.y[0] - y)
    assert fell_db > 20.0
    assert 15.0 < done.fell_db < fell_db + 1.5


def test_a_click_that_is_not_in_the_take_is_refused(rng):
    times_s = np.arange(0.5, 23.5, 0.5)
    take, click = Audio(_take(rng).astype(np.float32), SR), Audio(_clicks(times_s), SR)
    with pytest.raises(InputError, match="would fall by"):
        without_click(take, click, stated_placement(0.0), click_times_s=times_s, rests=RESTS, notes=NOTES)
    with pytest.raises(InputError, match="Only"):
        without_click(take, click, stated_placement(0.0), click_times_s=times_s[:4], rests=RESTS, notes=NOTES)


@pytest.mark.parametrize("by_s", [0.025, -0.04, 0.3])
def test_a_phrase_moves_as_a_whole_and_all_else_stays(rng, by_s):
    y = _take(rng)
    before, after = (3.5, 6.0), (7.5, 10.0)
    moved = move_phrase(Audio(y, SR), before, after, by_s).y[0]
    shift = round(by_s * SR)
    phrase = slice(6 * SR, round(7.5 * SR))
    assert np.array_equal(moved[phrase.start + shift : phrase.stop + shift], np.float32(y[phrase]))
    for untouched in (slice(0, 5 * SR), slice(10 * SR, len(y))):
        assert np.array_equal(moved[untouched], np.float32(y[untouched]))
    for rest in (slice(4 * SR, round(5.65 * SR)), slice(round(7.85 * SR), 10 * SR)):
        frames = moved[rest][: len(moved[rest]) // 320 * 320].reshape(-1, 320)
        # 320 samples of noise hold their mean power to 8 %, so that 2 dB is six standard deviations away.
        assert np.all(np.abs(10 * np.log10(np.mean(frames**2, axis=1)) + 70.0) < 2.0)


def test_a_phrase_is_not_moved_onto_a_note(rng):
    with pytest.raises(InputError, match="too short"):
        move_phrase(Audio(_take(rng), SR), (3.5, 6.0), (7.5, 7.7), 0.2)


def test_a_phrase_alone_is_made_softer(rng):
    y = _take(rng)
    done = phrase_gain(Audio(y, SR), (3.5, 6.0), (7.5, 10.0), -6.0).y[0]
    phrase = slice(6 * SR, round(7.5 * SR))
    assert _db(done[phrase]) - _db(y[phrase]) == pytest.approx(-6.0, abs=1e-3)
    assert np.array_equal(done[: 5 * SR], np.float32(y[: 5 * SR]))
