"""Hum, the wrong microphone, noise suppression and the click, put into constructed takes at known levels."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.signal

import players
from obbligato.music.grid import Grid, Meter
from obbligato.sound.audio import Audio
from obbligato.takes.read import ReadTake, read_takes
from obbligato.takes.readings import TimedLine
from obbligato.takes.stacking import stacked_words

SR = 48000


@pytest.fixture(scope="module")
def line() -> TimedLine:
    made: TimedLine = players.invent_line(np.random.default_rng(8), phrases=4)
    return made


@pytest.fixture(scope="module")
def takes(line: TimedLine) -> dict[str, Audio]:
    rng = np.random.default_rng(12)
    return {timbre: players.play(line, players.Playing(timbre=timbre), rng) for timbre in ("brass", "bowed", "flute")}


def _read(line: TimedLine, take: Audio, *, grid: Grid | None = None) -> ReadTake:
    return read_takes(line, [("take", take)], grid=grid)[0]


def _sine_family(mains_hz: float, n: int) -> np.ndarray:
    """Fundamental at 0.003 and two overtones of a half and a third of that."""
    t = np.arange(n) / SR
    return sum(0.003 / k * np.sin(2 * np.pi * k * mains_hz * t + k) for k in (1, 2, 3))


def _gated(y: np.ndarray) -> np.ndarray:
    """What lies under -50 dBFS for 20 ms is taken away, within 5 ms."""
    size = int(0.02 * SR)
    level = np.sqrt(scipy.ndimage.uniform_filter1d(y.astype(float) ** 2, size))
    gain = scipy.ndimage.uniform_filter1d((level > 10 ** (-50 / 20)).astype(float), int(0.005 * SR))
    return (y * np.where(gain < 0.01, 0.0, gain)).astype(np.float32)


@pytest.mark.parametrize("timbre", ["brass", "bowed", "flute"])
def test_nothing_is_wrong_with_the_sound_of_a_clean_take(
    line: TimedLine, takes: dict[str, Audio], timbre: str
) -> None:
    read = _read(line, takes[timbre])
    assert read.reading.flags == ()
    assert read.reading.remarks == ()


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
def test_hum_is_found_with_its_level(line: TimedLine, takes: dict[str, Audio], mains_hz: float) -> None:
    y = takes["brass"].y[0]
    read = _read(line, Audio(y + _sine_family(mains_hz, len(y)).astype(np.float32), SR))
    assert read.measures.sound.hum_hz == mains_hz
    # Mean square of sines of 0.003, 0.0015 and 0.001: half of the sum of their squares.
    assert read.measures.sound.hum_dbfs == pytest.approx(10 * np.log10(0.5 * (9 + 2.25 + 1) * 1e-6), abs=1.0)
    assert all("hum" in phrase.flags for phrase in read.reading.phrases)
    assert read.reading.flags == ("hum",)


def test_a_telephones_band_is_found_with_its_edge(line: TimedLine, takes: dict[str, Audio]) -> None:
    # Telephone speech ends at 3.4 kHz (ITU-T G.711's band, from memory).
    sos = scipy.signal.butter(8, 3400, fs=SR, output="sos")
    read = _read(line, Audio(scipy.signal.sosfilt(sos, takes["flute"].y[0]).astype(np.float32), SR))
    assert read.reading.flags == ("narrow",)
    # 12 dB under the pass band, an eighth-order Butterworth filter lies a fifth of an octave above its edge.
    assert read.measures.sound.narrow_hz == pytest.approx(3400 * 2**0.25, rel=0.12)


def test_noise_suppression_is_told_from_a_quiet_room(line: TimedLine, takes: dict[str, Audio]) -> None:
    read = _read(line, Audio(_gated(takes["brass"].y[0]), SR))
    assert "suppressed" in read.reading.flags
    quiet = players.play(line, players.Playing(noise_dbfs=-95.0), np.random.default_rng(3))
    # A small room: 60 dB in a quarter of a second.
    room = np.random.default_rng(4).normal(size=SR // 4) * 10 ** (-3 * np.arange(SR // 4) / (SR // 4))
    wet = scipy.signal.fftconvolve(quiet.y[0], 0.01 * room)[: quiet.y.shape[1]] + quiet.y[0]
    assert _read(line, Audio(wet.astype(np.float32), SR)).measures.sound.silence_dbfs is None


def test_the_click_is_heard_at_its_level(line: TimedLine) -> None:
    y = players.play(line, players.Playing(timbre="reed"), np.random.default_rng(5)).y[0]
    tick = 0.01 * players.click(SR)
    for at_s in np.arange(2.0, line.notes[-1].end_s, 0.6):
        y[int(at_s * SR) : int(at_s * SR) + len(tick)] += tick.astype(np.float32)
    read = _read(line, Audio(y, SR), grid=Grid.steady(100.0, 2.0, Meter()))
    tick = tick[: int(0.01 * SR)]
    assert read.measures.sound.click_dbfs == pytest.approx(10 * np.log10(np.mean(tick**2)), abs=2.0)
    assert read.reading.flags == ("click_bleed",)


# Equal voltages add to twice the amplitude, 6.02 dB, independent ones to twice the power, 3.01 dB: eight are three
# doublings, so the click comes 9.03 dB nearer.
def test_the_forecast_for_a_stack() -> None:
    assert "in 8 such layers it would lie 31 dB under" in stacked_words(-60.0, -20.0)


def test_points_lost_and_score_come_to_a_hundred(line: TimedLine, takes: dict[str, Audio]) -> None:
    y = takes["brass"].y[0]
    read = _read(line, Audio(y + _sine_family(50.0, len(y)).astype(np.float32), SR))
    for phrase in read.reading.phrases:
        parts = phrase.score_parts
        lost = parts.notes + parts.time + parts.tune + parts.noise + parts.tone + parts.level
        assert phrase.score + lost == pytest.approx(100.0, abs=0.05)
        assert parts.noise >= 15.0


def test_a_phrase_outside_the_take_is_not_in_it(line: TimedLine, takes: dict[str, Audio]) -> None:
    last = line.phrases[-1]
    cut = int((line.notes[last.first_note].start_s - 0.4) * SR)
    read = _read(line, Audio(takes["brass"].y[:, :cut], SR))
    assert read.reading.phrases[-1].flags == ("absent",)
    assert read.reading.phrases[-1].score == 0.0
    assert "not in this take" in read.reading.phrases[-1].verdict
