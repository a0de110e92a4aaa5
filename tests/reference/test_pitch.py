"""Pitch of takes against tones of stated frequency, published frequencies, and an independent tracker."""

import numpy as np
import pytest

from obbligato.takes.pitch import ANALYSIS_SR, track_pitch
from obbligato.units import midi_to_hz

SPECTRA = {
    "falling": (1.0, 0.5, 0.33, 0.25, 0.2, 0.17),
    "odd only": (1.0, 0.0, 0.7, 0.0, 0.4, 0.0, 0.2),
    "weak fundamental": (0.1, 1.0, 0.5, 0.3),
    "pure": (1.0,),
}


def _tone(f0_hz: np.ndarray | float, partials: tuple[float, ...], seconds: float = 1.0) -> np.ndarray:
    n = int(seconds * ANALYSIS_SR)
    phase = 2 * np.pi * np.cumsum(np.broadcast_to(f0_hz, (n,))) / ANALYSIS_SR
    top = 0.45 * ANALYSIS_SR / float(np.max(f0_hz))
    tone = sum(a * np.sin(k * phase + k) for k, a in enumerate(partials, 1) if k < top)
    return (0.2 * np.asarray(tone)).astype(np.float32)


# Own target, from the accuracy asked of a trained listener: the smallest audible change of a steady mid-range tone is
# 3 to 6 cents (psychoacoustics texts, from memory), so a bias of one cent cannot be heard.
@pytest.mark.parametrize("partials", SPECTRA.values(), ids=SPECTRA.keys())
@pytest.mark.parametrize("f0_hz", [110.0, 220.3, 441.7, 523.25, 987.8, 1500.0, 1850.0])
def test_a_steady_tone_is_measured_to_a_cent(f0_hz: float, partials: tuple[float, ...]) -> None:
    track = track_pitch(_tone(f0_hz, partials), lowest_hz=60.0, highest_hz=1900.0)
    inside = slice(8, -8)
    assert track.voiced[inside].all()
    cents = 1200 * np.log2(track.f0_hz[inside] / f0_hz)
    assert abs(float(np.median(cents))) < 1.0
    assert np.abs(cents).max() < 2.0


# Below 46.9 Hz and above 2094 Hz the network has no answer, so the second method is at work here. Frequencies: the
# lowest A of the piano, the low E of the double bass, G and the highest C of the piano (equal temperament, A4 = 440).
@pytest.mark.parametrize(
    ("f0_hz", "low", "high"),
    [(27.5, 25.0, 200.0), (41.203, 35.0, 300.0), (3135.96, 500.0, 4300.0), (4186.01, 500.0, 4300.0)],
)
def test_tones_outside_the_range_of_the_network(f0_hz: float, low: float, high: float) -> None:
    track = track_pitch(_tone(f0_hz, SPECTRA["falling"]), lowest_hz=low, highest_hz=high)
    cents = 1200 * np.log2(track.f0_hz[12:-12] / f0_hz)
    assert abs(float(np.median(cents))) < 1.0


# Frequencies of the equal-tempered scale at A4 = 440 Hz as printed in Young, "Terminology for logarithmic frequency
# units", JASA 11, 1939, table of the 88 keys (retyped from memory of the common table).
@pytest.mark.parametrize(("midi", "hz"), [(45, 110.0), (60, 261.626), (69, 440.0), (76, 659.255), (81, 880.0)])
def test_published_frequencies_read_as_their_notes(midi: int, hz: float) -> None:
    track = track_pitch(_tone(hz, SPECTRA["falling"]))
    assert float(np.median(track.f0_hz[8:-8])) == pytest.approx(float(midi_to_hz(midi)), rel=6e-4)


# Mean of a vibrato's cycle is its pitch (Shonle and Horan, "The pitch of vibrato tones", JASA 67, 1980: the geometric
# mean of the extremes). Six whole cycles of 25 cents at 6 Hz, the edges left out.
def test_the_centre_of_a_vibrato() -> None:
    t = np.arange(2 * ANALYSIS_SR) / ANALYSIS_SR
    f0_hz = 392.0 * 2 ** (25 * np.sin(2 * np.pi * 6 * t) / 1200)
    track = track_pitch(_tone(f0_hz, SPECTRA["falling"], 2.0))
    cycles = (track.times_s >= 0.5) & (track.times_s < 1.5)
    assert abs(float(np.mean(1200 * np.log2(track.f0_hz[cycles] / 392.0)))) < 1.5


def test_agrees_with_an_independent_tracker_on_a_gliding_tone() -> None:
    librosa = pytest.importorskip("librosa")
    t = np.arange(int(1.5 * ANALYSIS_SR)) / ANALYSIS_SR
    y = _tone(220.0 * 2 ** (t / 1.5 * 7 / 12), SPECTRA["falling"], 1.5)
    track = track_pitch(y, lowest_hz=150.0, highest_hz=500.0)
    other_hz, voiced, _ = librosa.pyin(y, fmin=150, fmax=500, sr=ANALYSIS_SR, frame_length=1024, hop_length=256)
    n = min(len(other_hz), len(track.f0_hz))
    both = np.flatnonzero(voiced[:n] & track.voiced[:n])[4:-4]
    assert len(both) > 60
    # librosa's grid of a tenth of a semitone bounds the agreement to 5 cents; a frame's glide of 7.5 adds to it.
    cents = 1200 * np.log2(track.f0_hz[both] / other_hz[both])
    assert float(np.median(np.abs(cents))) < 6.0


def test_silence_and_noise_have_no_pitch() -> None:
    assert not track_pitch(np.zeros(ANALYSIS_SR, dtype=np.float32)).voiced.any()
    noise = np.random.default_rng(0).normal(size=ANALYSIS_SR).astype(np.float32) * 0.1
    assert track_pitch(noise).voiced.mean() < 0.1


def test_the_input_is_left_alone() -> None:
    y = _tone(440.0, SPECTRA["falling"])
    before = y.copy()
    track_pitch(y)
    assert np.array_equal(y, before)
