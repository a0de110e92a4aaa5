"""Chords of rendered bands whose notes are known, weighed by mir_eval.chord (Harte syntax, ISMIR 2005)."""

import mir_eval
import numpy as np
import pytest

from obbligato.listen.chords import find_chords
from obbligato.listen.chroma import BeatChroma, beat_chroma
from obbligato.listen.keys import find_keys
from obbligato.music.grid import Grid, Meter
from obbligato.music.harmony import parse_chord
from obbligato.sound.audio import Audio

PIANO, STRINGS, FINGER_BASS = 0, 48, 33
POP = ("C:maj", "G:maj", "A:min", "F:maj", "C:maj", "E:min", "F:maj", "G:7")
FLAT_MINOR = ("F:min", "Db:maj", "Ab:maj", "Eb:maj", "Bb:min", "F:min", "C:7", "F:min")


def band(labels, program, *, beats_each=4, drums=True):
    """Bass and chords on every other beat, and drums."""
    notes = []
    for i, label in enumerate(labels):
        chord, start = parse_chord(label), i * beats_each
        notes += [(FINGER_BASS, start + b, 1.8, 36 + chord.bass, 95) for b in range(0, beats_each, 2)]
        strikes = range(0, beats_each, 2)
        notes += [(program, start + b, 1.9, 60 + pc, 80) for b in strikes for pc in chord.pitch_classes]
    if drums:
        for beat in range(len(labels) * beats_each):
            notes += [(None, beat, 0.2, 38 if beat % 2 else 36, 100), (None, beat, 0.2, 42, 80)]
            notes += [(None, beat + 0.5, 0.2, 42, 70)]
    return notes


def weighted(labels, spans, grid, beats_each, measure):
    truth = [[i * beats_each, (i + 1) * beats_each] for i in range(len(labels))]
    reference = grid.beat_to_sec(np.array(truth, dtype=float))
    found = np.array([[s.start_s, s.end_s] for s in spans])
    found, names = mir_eval.util.adjust_intervals(
        found, [s.label for s in spans], reference.min(), reference.max(), "N", "N"
    )
    intervals, ours, theirs = mir_eval.util.merge_labeled_intervals(reference, list(labels), found, names)
    scores = measure(ours, theirs)
    return mir_eval.chord.weighted_accuracy(scores, mir_eval.util.intervals_to_durations(intervals))


@pytest.mark.parametrize("labels", [POP, FLAT_MINOR], ids=["pop", "flat minor"])
@pytest.mark.parametrize("program", [PIANO, STRINGS])
def test_triads_of_a_rendered_band(render, labels, program):
    # Plainly voiced triads change on bar lines only; what may be missed is a beat at each change (1 in 4 of 8).
    audio = render(band(labels, program), bpm=100)
    grid = Grid.steady(100, 0.0, Meter())
    chroma = beat_chroma(audio, grid, a4_hz=440.0)
    keys = find_keys(chroma, grid, end_s=audio.duration_s)
    spans = find_chords(chroma, grid, prefer_flats=True, keys=keys)
    assert weighted(labels, spans, grid, 4, mir_eval.chord.majmin) > 0.9


def test_chords_follow_a_song_out_of_tune(render):
    import soxr

    audio = render(band(POP, PIANO), bpm=100)
    ratio = 2.0 ** (45.0 / 1200.0)
    sharp = Audio(soxr.resample(audio.y.T, audio.sr, audio.sr / ratio).T, audio.sr)
    grid = Grid.steady(100 * ratio, 0.0, Meter())
    spans = find_chords(beat_chroma(sharp, grid, a4_hz=440.0 * ratio), grid, prefer_flats=True)
    assert weighted(POP, spans, grid, 4, mir_eval.chord.majmin) > 0.9


def test_no_chord_where_only_drums_play(render):
    notes = [(None, b / 2, 0.2, (36, 42, 38, 42)[b % 4], 100) for b in range(32)]
    notes += [(*n[:1], n[1] + 16, *n[2:]) for n in band(POP, PIANO)]
    grid = Grid.steady(100, 0.0, Meter())
    spans = find_chords(beat_chroma(render(notes, bpm=100), grid, a4_hz=440.0), grid, prefer_flats=True)
    assert spans[0].label == "N"
    assert spans[0].end_s == pytest.approx(grid.bar_to_sec(5), abs=0.7)


def chroma_of(labels, bass=None):
    upper = np.zeros((len(labels), 12))
    low = np.zeros((len(labels), 12))
    for i, label in enumerate(labels):
        chord = parse_chord(label)
        if chord is not None:
            upper[i, sorted(chord.pitch_classes)] = 1.0
            low[i, chord.bass if bass is None else bass[i]] = 1.0
    return BeatChroma(np.arange(len(labels), dtype=float), upper, low, np.zeros(len(labels)))


@pytest.mark.parametrize("label", ["Eb:maj", "F#:min", "C:7", "A:min7", "Bb:maj7", "G:sus4", "B:dim", "N", "D:maj/3"])
def test_clean_pitch_classes_give_their_chord(label):
    spans = find_chords(chroma_of([label] * 8), Grid.steady(90, 0.0, Meter()), prefer_flats=True)
    assert len(spans) == 1
    root = mir_eval.chord.encode(label)
    np.testing.assert_equal(mir_eval.chord.encode(spans[0].label)[0], root[0])
    np.testing.assert_array_equal(mir_eval.chord.encode(spans[0].label)[1], root[1])
    assert mir_eval.chord.encode(spans[0].label)[2] == root[2]


def test_spans_join_and_differ():
    grid = Grid.steady(90, 1.0, Meter())
    spans = find_chords(chroma_of(["C:maj"] * 4 + ["F:maj"] * 4 + ["N"] * 4), grid, prefer_flats=True)
    assert [s.label for s in spans] == ["C:maj", "F:maj", "N"]
    assert [s.start_s for s in spans[1:]] == [s.end_s for s in spans[:-1]] == [grid.bar_to_sec(2), grid.bar_to_sec(3)]


@pytest.mark.parametrize("seconds", [0.0, 0.2])
def test_too_short_a_song_has_no_chords(seconds):
    grid = Grid.steady(90, 0.0, Meter())
    chroma = beat_chroma(Audio(np.zeros((1, int(44100 * seconds)), dtype=np.float32), 44100), grid, a4_hz=440.0)
    assert find_chords(chroma, grid, prefer_flats=True) == ()


def test_root_and_fifth_in_the_bass_between_strokes_are_one_chord():
    # Country two-beat: bass on one and three (root, fifth), chord on two and four, nothing of it in between.
    labels = [label for label in ("C:maj", "F:maj", "A:min", "G:maj") for _ in range(4)]
    full = chroma_of(labels)
    upper, bass = full.upper.copy(), full.bass.copy()
    upper[::2], bass[1::2] = 0.0, 0.0
    bass[2::4] = np.roll(bass[::4], 7, axis=1)
    sparse = BeatChroma(full.beats, upper, bass, full.level_db)
    spans = find_chords(sparse, Grid.steady(148, 0.0, Meter()), prefer_flats=True)
    assert [s.label for s in spans] == ["C:maj", "F:maj", "A:min", "G:maj"]
