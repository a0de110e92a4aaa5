"""The player's sound and the takes: pitch, time, level, and every fault where it was planted."""

from dataclasses import replace

import librosa
import numpy as np
import pytest

from obbligato.demo.brass import BlownNote, BrassStyle, blow
from obbligato.demo.player import intended_notes
from obbligato.demo.playing import Fault, Take, TakePlan, fault_span, play_notes, record_take, take_truth
from obbligato.demo.song import Song

SR = 44100
PLAN = TakePlan("t", SR, scatter_ms=0.0, scatter_cents=0.0, scatter_db=0.0)


def _take(song: Song, **changes) -> Take:
    return record_take(song, replace(PLAN, **changes), rng=np.random.default_rng(4))


def _rms_db(y: np.ndarray) -> float:
    return float(10.0 * np.log10(np.mean(y.astype(np.float64) ** 2)))


def test_a_blown_note_has_its_pitch_level_and_onset():
    style = BrassStyle(vibrato_cents=0.0)
    note = BlownNote(1.0, 2.2, 70.0, -20.0)
    y, at_s = blow([note], sr=SR, a4_hz=442.0, rng=np.random.default_rng(3), style=style)
    start = round((note.start_s - at_s) * SR)
    held = y[start + round(0.3 * SR) : start + round(1.1 * SR)]
    padded = np.abs(np.fft.rfft(held * np.hanning(held.size), 2**20))
    hz = padded.argmax() * SR / 2**20
    # B flat 4, one semitone above A4. The pitch wanders by a hundredth of a semitone (1 cent); bins are 0.04 Hz wide.
    assert 1200.0 * np.log2(hz / (442.0 * 2.0 ** (1 / 12))) == pytest.approx(0.0, abs=3.0)
    # Level: 1.2 s of note swells by up to 12 % and sags by 10 %: within 1.2 dB of the level asked for.
    assert _rms_db(held) == pytest.approx(-20.0, abs=1.2)
    before = y[start - round(0.03 * SR) : start]
    assert _rms_db(before + 1e-12) < -80.0
    risen = np.abs(y[start + round(0.035 * SR) : start + round(0.06 * SR)]).max()
    assert risen > 0.5 * np.abs(held).max()


def test_louder_is_brighter():
    def centroid_hz(level_dbfs: float) -> float:
        y, _ = blow([BlownNote(0.0, 1.0, 65.0, level_dbfs)], sr=SR, a4_hz=440.0, rng=np.random.default_rng(3))
        return float(np.median(librosa.feature.spectral_centroid(y=y[SR // 2 : SR], sr=SR)))

    assert centroid_hz(-14.0) > 1.2 * centroid_hz(-28.0)


def test_notes_scatter_as_planned(short_song: Song):
    many = replace(short_song, phrases=short_song.phrases * 20)
    plan = replace(PLAN, scatter_ms=12.0, scatter_cents=5.0)
    played = play_notes(many, plan, rng=np.random.default_rng(1))
    late_ms = 1000.0 * np.array([p.start_s - n.start_s for p, n in zip(played, intended_notes(many), strict=True)])
    # 220 notes: the standard deviation is known to 1/sqrt(440) = 5 %; cutting at 2.5 sigma takes 2 % off. Four sigma.
    assert np.std(late_ms) == pytest.approx(12.0, rel=0.22)
    assert np.std([p.cents for p in played]) == pytest.approx(5.0, rel=0.22)


def test_every_planned_fault_of_playing_is_in_the_notes(short_song: Song):
    faults = (
        Fault(0, "late", 120.0),
        Fault(0, "wrong_note", 2.0, note=1),
        Fault(1, "flat", 30.0),
        Fault(1, "level_drop", 9.0),
    )
    good = play_notes(short_song, PLAN, rng=np.random.default_rng(1))
    bad = play_notes(short_song, replace(PLAN, faults=faults), rng=np.random.default_rng(1))
    first = [(b, g) for b, g in zip(bad, good, strict=True) if g.phrase == 0]
    second = [(b, g) for b, g in zip(bad, good, strict=True) if g.phrase == 1]
    assert all(b.start_s - g.start_s == pytest.approx(0.12) for b, g in first)
    assert [b.midi - g.midi for b, g in first] == [0, 2, 0, 0, 0, 0]
    assert all(b.cents - g.cents == pytest.approx(-30.0) for b, g in second)
    assert all(b.level_dbfs - g.level_dbfs == pytest.approx(-9.0) for b, g in second)


def test_a_missed_note_is_silent_and_its_neighbours_are_not(short_song: Song):
    take = _take(short_song, faults=(Fault(0, "missed_note", note=3),))
    y = take.audio.y[0]
    levels = [
        _rms_db(y[round((n.start_s + 0.15) * SR) : round((n.end_s - 0.05) * SR)]) for n in take.notes if n.phrase == 0
    ]
    assert not take.notes[3].played
    assert levels[3] < min(levels[2], levels[4]) - 20.0


def test_clipping_lies_in_its_bar_and_nowhere_else(short_song: Song):
    fault = Fault(0, "clipped", 4.0, note=1)
    take = _take(short_song, faults=(fault,))
    start_s, end_s = fault_span(fault, take.notes, short_song)
    at_full = np.flatnonzero(np.abs(take.audio.y[0]) >= 0.99999) / SR
    assert at_full.size > 50
    assert at_full.min() >= start_s
    assert at_full.max() <= end_s


def test_a_late_starting_take_and_a_slow_clock_put_the_notes_where_the_truth_says(short_song: Song):
    plain = _take(short_song)
    moved = _take(short_song, offset_s=-1.25, drift_ppm=2000.0)
    late = _take(short_song, offset_s=3.5)
    note = plain.notes[1]

    def onset_s(take: Take, near_s: float) -> float:
        y = take.audio.y[0]
        inside = y[round((near_s - 0.5) * SR) : round((near_s + 0.5) * SR)]
        envelope = librosa.feature.rms(y=inside, frame_length=512, hop_length=64)[0]
        return near_s - 0.5 + float(np.flatnonzero(envelope > 0.02)[0]) * 64 / SR

    first = plain.notes[0].start_s
    reference = onset_s(plain, first) - first
    # The truth's rule: file time = (guide time - offset) (1 + drift / 10^6). Tolerance: two hops of 64 samples, 3 ms.
    assert onset_s(moved, (first + 1.25) * 1.002) - (first + 1.25) * 1.002 == pytest.approx(reference, abs=0.003)
    assert onset_s(late, first - 3.5) - (first - 3.5) == pytest.approx(reference, abs=0.003)
    assert note.start_s > first


def test_a_take_that_starts_after_a_phrase_does_not_cover_it(short_song: Song):
    start_s = play_notes(short_song, PLAN, rng=np.random.default_rng(0))[2].start_s
    take = _take(short_song, offset_s=start_s)
    truth = take_truth(take, short_song)
    assert take.not_covered == (0,)
    assert [f["kind"] for f in truth["faults"]] == ["not_covered"]
    assert truth["clean_phrases"] == [1]


def test_room_noise_has_its_level(short_song: Song):
    take = _take(short_song, noise_dbfs=-60.0)
    assert _rms_db(take.audio.y[0][: 8 * SR]) == pytest.approx(-60.0, abs=0.3)


@pytest.mark.parametrize("kind", ["click_bleed", "cough"])
def test_noises_lie_where_they_were_planted(short_song: Song, kind):
    fault = Fault(1, kind, -30.0, note=2)
    clean, spoilt = _take(short_song), _take(short_song, faults=(fault,))
    start_s, end_s = fault_span(fault, spoilt.notes, short_song)
    # Both takes draw the same numbers until the fault, so they differ by nothing but the noise.
    added = spoilt.audio.y[0].astype(np.float64) - clean.audio.y[0]
    where = np.flatnonzero(np.abs(added) > 1e-4) / SR
    assert start_s - 0.01 <= where.min()
    assert where.max() <= end_s + 0.05
    assert np.abs(added).max() > 0.02
