"""Vibrato, starts of notes that overlap, pure intervals and the guide's own groove, against what was constructed."""

from __future__ import annotations

import numpy as np
import pytest

from obbligato.music.grid import Grid, Meter
from obbligato.music.spans import ChordSpan
from obbligato.sound.audio import Audio
from obbligato.takes.groove import groove_s
from obbligato.takes.intonation import pure_cents, pure_places_cents
from obbligato.takes.partials import window_length
from obbligato.takes.pitch import ANALYSIS_SR, track_pitch
from obbligato.takes.readings import PhraseSpan, TimedLine, TimedNote
from obbligato.takes.rising import STRUCK_DIP_DB, dip_db, rise_begins_s
from obbligato.takes.vibrato import find_vibrato, steadiness_cents

LOWEST_HZ = 150.0


def _contour(rate_hz: float, cents: float, *, drift_cents: float = 0.0) -> np.ndarray:
    """Pitch in cents, as measured, of a tone of 330 Hz with six partials and vibrato, without its first and last."""
    t = np.arange(int(1.4 * ANALYSIS_SR)) / ANALYSIS_SR
    bend = cents * np.sin(2 * np.pi * rate_hz * t) + drift_cents * t / t[-1]
    phase = 2 * np.pi * np.cumsum(330.0 * 2 ** (bend / 1200)) / ANALYSIS_SR
    y = sum(np.sin(k * phase) / k for k in range(1, 7)) * 0.1
    y += 1e-4 * np.random.default_rng(1).normal(size=len(t))
    track = track_pitch(y.astype(np.float32), lowest_hz=LOWEST_HZ, highest_hz=900.0)
    return 1200 * np.log2(track.f0_hz[8:-8] / 330.0)


# Rates of singers' vibrato: 5.5 to 6.9 Hz (Prame 1994); players' a little slower. Half widths of 15 to 50 cents are
# usual (common practice, no source).
@pytest.mark.parametrize(("rate_hz", "cents"), [(4.7, 15.0), (5.6, 30.0), (6.6, 50.0)])
def test_vibrato_is_found_with_its_rate_and_width(rate_hz: float, cents: float) -> None:
    window_s = window_length(LOWEST_HZ, ANALYSIS_SR) / ANALYSIS_SR
    found = find_vibrato(_contour(rate_hz, cents), window_s=window_s)
    assert found is not None
    assert found.hz == pytest.approx(rate_hz, abs=0.15)
    assert found.cents == pytest.approx(cents, rel=0.12)


def test_a_straight_tone_and_a_bend_have_no_vibrato() -> None:
    for contour in (_contour(5.0, 0.0), _contour(5.0, 0.0, drift_cents=40.0)):
        assert find_vibrato(contour, window_s=0.064) is None


def test_steadiness_leaves_vibrato_out() -> None:
    wide = steadiness_cents(_contour(5.7, 40.0))
    assert wide is not None
    assert wide < 5.0


def _two_notes(first_hz: float, second_hz: float, *, at_s: float, attack_s: float, slurred: bool) -> np.ndarray:
    """Two notes of eight partials: the first fades over 60 ms while the second begins, or glides into it."""
    t = np.arange(int(1.6 * ANALYSIS_SR)) / ANALYSIS_SR
    if slurred:
        share = np.clip((t - at_s) / 0.03 + 0.5, 0, 1)
        phase = 2 * np.pi * np.cumsum(first_hz * (second_hz / first_hz) ** share) / ANALYSIS_SR
        y = sum(np.sin(k * phase) / k for k in range(1, 9))
    else:
        fade = np.clip(1 - (t - at_s + 0.02) / 0.06, 0, 1)
        rise = np.clip((t - at_s) / attack_s, 0, 1)
        tones = [sum(np.sin(2 * np.pi * k * hz * t + k) / k for k in range(1, 9)) for hz in (first_hz, second_hz)]
        y = fade * tones[0] + rise * tones[1]
    return (0.1 * y + 3e-4 * np.random.default_rng(2).normal(size=len(t))).astype(np.float32)


@pytest.mark.parametrize("attack_s", [0.01, 0.04, 0.09])
@pytest.mark.parametrize(("first_hz", "second_hz"), [(220.0, 246.94), (392.0, 261.63), (440.0, 466.16)])
def test_a_note_that_starts_under_the_one_before_is_found_to_five_milliseconds(
    first_hz: float, second_hz: float, attack_s: float
) -> None:
    y = _two_notes(first_hz, second_hz, at_s=0.8, attack_s=attack_s, slurred=False)
    found = rise_begins_s(y, 0.815, f0_hz=second_hz, old_hz=first_hz, until_s=1.5)
    assert found == pytest.approx(0.8, abs=0.005)


def test_a_slur_leaves_no_dip_and_a_new_attack_does() -> None:
    slur = _two_notes(392.0, 440.0, at_s=0.8, attack_s=0.0, slurred=True)
    struck = _two_notes(392.0, 440.0, at_s=0.8, attack_s=0.05, slurred=False)
    assert dip_db(slur, 0.8, f0_hz=392.0) < STRUCK_DIP_DB
    assert dip_db(struck, 0.8, f0_hz=392.0) > STRUCK_DIP_DB


# Pure intervals in cents: minor third 315.6, major third 386.3, fourth 498.0, fifth 702.0, major sixth 884.4 (Barbour
# 1951, and any handbook of acoustics).
@pytest.mark.parametrize(("semitones", "cents"), [(3, 315.64), (4, 386.31), (5, 498.04), (7, 701.96), (9, 884.36)])
def test_pure_intervals(semitones: int, cents: float) -> None:
    assert 100 * semitones + pure_cents(semitones) == pytest.approx(cents, abs=0.01)


def test_a_note_is_judged_by_the_chord_under_most_of_it() -> None:
    line = TimedLine((TimedNote(0, 0.9, 2.0, 64), TimedNote(1, 3.1, 3.9, 64)), (PhraseSpan(0, 0, 1),))
    chords = (ChordSpan(0.0, 1.0, "A:min"), ChordSpan(1.0, 3.0, "C:maj"), ChordSpan(3.0, 4.0, "N"))
    places = pure_places_cents(line, chords)
    assert places[0] == pytest.approx(386.31 - 400.0, abs=0.01)
    assert np.isnan(places[1])


def test_the_guides_own_lateness_is_heard_where_it_lies() -> None:
    grid, sr = Grid.steady(120.0, 1.0, Meter()), 22050
    y = np.zeros(12 * sr, dtype=np.float32)
    burst = np.random.default_rng(3).normal(size=sr // 20) * np.exp(-np.arange(sr // 20) / (0.01 * sr)) * 0.3
    for beat in range(20):
        at_s = 1.0 + 0.5 * beat + (0.022 if beat % 2 else 0.0)
        y[int(at_s * sr) : int(at_s * sr) + len(burst)] += burst.astype(np.float32)
    notes = tuple(TimedNote(i, 1.0 + 0.5 * beat, 1.4 + 0.5 * beat, 60) for i, beat in enumerate((8, 9)))
    late = groove_s(Audio(y, sr), TimedLine(notes, (PhraseSpan(0, 0, 1),)), grid)
    # Onsets are found in steps of 2 ms, and some of those too early, all of them alike.
    assert late[1] - late[0] == pytest.approx(0.022, abs=0.002)
    assert late == pytest.approx([0.0, 0.022], abs=0.005)
