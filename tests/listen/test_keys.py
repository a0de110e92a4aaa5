"""Keys: the profiles against music21's copy of them, whole pieces by chords whose key is theory, changes by bar."""

import music21
import numpy as np
import pytest

from obbligato.listen.chroma import BeatChroma, beat_chroma
from obbligato.listen.keys import MAJOR_PROFILE, MINOR_PROFILE, find_keys
from obbligato.music.grid import Grid, Meter
from obbligato.music.harmony import parse_chord, pitch_class, tonic_name

GRID = Grid.steady(100, 0.0, Meter())

# Progressions by scale degree: common practice, no source.
MAJOR_DEGREES = ((0, "maj"), (7, "maj"), (9, "min"), (5, "maj"), (0, "maj"), (5, "maj"), (7, "7"), (0, "maj"))
MINOR_DEGREES = ((0, "min"), (8, "maj"), (10, "maj"), (0, "min"), (5, "min"), (0, "min"), (7, "7"), (0, "min"))


def progression(tonic, degrees, times=2):
    return [f"{tonic_name(tonic + step, 'major')}:{quality}" for step, quality in degrees] * times


def chroma_of(labels, *, per_bar=4):
    upper, bass = np.zeros((len(labels) * per_bar, 12)), np.zeros((len(labels) * per_bar, 12))
    for i, label in enumerate(labels):
        chord = parse_chord(label)
        upper[i * per_bar : (i + 1) * per_bar, sorted(chord.pitch_classes)] = 1.0
        bass[i * per_bar : (i + 1) * per_bar, chord.bass] = 1.0
    return BeatChroma(np.arange(len(upper), dtype=float), upper, bass, np.zeros(len(upper)))


def test_profiles_are_those_music21_lists():
    published = music21.analysis.discrete.TemperleyKostkaPayne()
    assert list(MAJOR_PROFILE) == published.getWeights("major")
    assert list(MINOR_PROFILE) == published.getWeights("minor")


@pytest.mark.parametrize("tonic", range(12))
@pytest.mark.parametrize(("mode", "degrees"), [("major", MAJOR_DEGREES), ("minor", MINOR_DEGREES)])
def test_one_key_is_found_and_kept(tonic, mode, degrees):
    keys = find_keys(chroma_of(progression(tonic, degrees)), GRID, end_s=60.0)
    assert [(pitch_class(k.tonic), k.mode) for k in keys] == [(tonic, mode)]
    assert (keys[0].start_s, keys[0].end_s) == (0.0, 60.0)
    assert 0.5 < keys[0].confidence <= 1.0


@pytest.mark.parametrize("rise", [1, 2, 3, 5, 10])
def test_a_change_of_key_is_found_to_the_bar(rise):
    labels = progression(3, MAJOR_DEGREES) + progression(3 + rise, MAJOR_DEGREES, times=1)
    keys = find_keys(chroma_of(labels), GRID, end_s=80.0)
    assert [pitch_class(k.tonic) for k in keys] == [3, (3 + rise) % 12]
    assert keys[1].start_s == keys[0].end_s == GRID.bar_to_sec(17)


@pytest.mark.parametrize(
    "labels",
    [  # borrowed and secondary chords that leave no key: common practice, no source
        ["C:maj", "A:7", "D:min7", "G:7", "C:maj", "F:maj", "F:min", "C:maj"] * 3,
        ["C:maj", "E:7", "A:min", "D:7", "F:maj", "G:7", "C:maj", "C:maj"] * 3,
        ["C:maj", "C:dim", "D:min7", "G:7", "E:min", "A:min", "F:maj", "G:sus4"] * 3,
    ],
)
def test_borrowed_chords_are_no_change_of_key(labels):
    keys = find_keys(chroma_of(labels), GRID, end_s=80.0)
    assert [(k.tonic, k.mode) for k in keys] == [("C", "major")]


def test_a_rendered_song_that_moves_up_a_tone(render):
    notes = []
    for i, label in enumerate(progression(3, MAJOR_DEGREES, times=1) + progression(5, MAJOR_DEGREES, times=1)):
        chord = parse_chord(label)
        notes += [(0, 4 * i, 3.9, 60 + pc, 80) for pc in chord.pitch_classes] + [
            (33, 4 * i, 3.9, 36 + chord.bass, 90)
        ]
        notes += [(None, 4 * i + b, 0.2, 38 if b % 2 else 36, 100) for b in range(4)]
    grid = Grid.steady(140, 0.0, Meter())
    audio = render(notes, bpm=140)
    keys = find_keys(beat_chroma(audio, grid, a4_hz=440.0), grid, end_s=audio.duration_s)
    assert [(k.tonic, k.mode) for k in keys] == [("Eb", "major"), ("F", "major")]
    assert keys[1].start_s == pytest.approx(grid.bar_to_sec(9), abs=1e-9)


def test_no_harmony_is_a_guess_without_confidence():
    silent = BeatChroma(np.arange(8.0), np.zeros((8, 12)), np.zeros((8, 12)), np.zeros(8))
    assert [k.confidence for k in find_keys(silent, GRID, end_s=5.0)] == [0.0]
