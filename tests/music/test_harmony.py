"""Chord labels against mir_eval.chord (its reading of Harte et al., ISMIR 2005); keys and charts against music21."""

import mir_eval
import music21
import pytest

from obbligato.errors import InputError
from obbligato.music.harmony import (
    chord_text,
    key_fifths,
    key_prefers_flats,
    note_name,
    parse_chord,
    parse_key,
    pitch_class,
    tonic_name,
    transpose_key,
)

LABELS = [
    *(f"{root}:{quality}" for root in ("C", "F#", "Bb", "Ebb") for quality in mir_eval.chord.QUALITIES if quality),
    "C",
    "Ab/3",
    "D:min7/b7",
    "G:7(b9)",
    "A:(3,5)",
    "E:min(*b3,*5)/5",
    "F:maj(9)/2",
    "B:hdim7/b5",
    "C:maj(#11)",
]


@pytest.mark.parametrize("label", LABELS)
def test_chord_agrees_with_mir_eval(label):
    root, bitmap, bass = mir_eval.chord.encode(label, reduce_extended_chords=True)
    chord = parse_chord(label)
    assert chord is not None
    assert chord.root == root
    assert chord.bass == (root + bass) % 12
    assert chord.pitch_classes == {(root + i) % 12 for i in range(12) if bitmap[i]}


@pytest.mark.parametrize("label", ["N", "X"])
def test_no_chord(label):
    assert parse_chord(label) is None
    assert chord_text(label, 2) == "N.C."


@pytest.mark.parametrize("label", ["", "H:maj", "C:", "C:foo", "C:maj/14", "C:maj(x)", "c:maj", "C:maj7/"])
def test_bad_labels_are_refused(label):
    with pytest.raises(InputError, match=r"label|degree"):
        parse_chord(label)


@pytest.mark.parametrize(
    ("label", "semitones", "text"),
    [  # chart symbols: common practice, no source
        ("Eb:maj", 0, "Eb"),
        ("Eb:maj", 2, "F"),
        ("Eb:maj7", 9, "Cmaj7"),
        ("D#:min", 0, "D#m"),
        ("F:min7/b7", 2, "Gm7/F"),
        ("Ab:maj/3", 0, "Ab/C"),
        ("B:7/3", 0, "B7/D#"),
        ("B:hdim7", 14, "C#m7b5"),
        ("C:maj(9)", 0, "C(add9)"),
        ("G:7(b9)", 0, "G7(b9)"),
        ("Bb:sus4", 2, "Csus4"),
    ],
)
def test_chord_text(label, semitones, text):
    written = chord_text(label, semitones, prefer_flats=False if label == "B:hdim7" else None)
    assert written == text


@pytest.mark.parametrize("label", ["Eb:min7/b3", "A:7/3", "F#:maj7", "C:dim7", "G:min9", "D:sus4"])
@pytest.mark.parametrize("semitones", [0, 2, 3, 7, 9, 14])
def test_chart_text_is_the_transposed_chord_to_music21(label, semitones):
    chord = parse_chord(label)
    text = chord_text(label, semitones)
    figure = text.replace("Eb", "E-").replace("Bb", "B-").replace("Ab", "A-").replace("Db", "D-").replace("Gb", "G-")
    read = music21.harmony.ChordSymbol(figure)
    assert {p.pitchClass for p in read.pitches} == {(pc + semitones) % 12 for pc in chord.pitch_classes}
    assert read.bass().pitchClass == (chord.bass + semitones) % 12


@pytest.mark.parametrize("tonic", ["C", "Db", "D", "Eb", "E", "F", "F#", "Gb", "G", "Ab", "A", "Bb", "B", "Cb", "C#"])
@pytest.mark.parametrize("mode", ["major", "minor"])
def test_signatures_agree_with_music21(tonic, mode):
    assert key_fifths(tonic, mode) == music21.key.Key(tonic.replace("b", "-"), mode).sharps
    assert key_prefers_flats(tonic, mode) == (key_fifths(tonic, mode) <= 0)


@pytest.mark.parametrize("pitch", range(12))
@pytest.mark.parametrize("mode", ["major", "minor"])
def test_usual_tonic_names_need_at_most_six_accidentals(pitch, mode):
    name = tonic_name(pitch, mode)
    assert pitch_class(name) == pitch
    assert abs(key_fifths(name, mode)) <= 6
    assert pitch_class(transpose_key(name, mode, 2)) == (pitch + 2) % 12
    assert transpose_key(name, mode, 12) == name


@pytest.mark.parametrize(
    ("text", "key"),
    [
        ("Bb major", ("Bb", "major")),
        ("f# Minor", ("F#", "minor")),
        ("Gm", ("G", "minor")),
        ("D", ("D", "major")),
        ("A min", ("A", "minor")),
        ("b♭ MAJ", ("Bb", "major")),
        ("eb-minor", ("Eb", "minor")),
        ("CM", ("C", "major")),
    ],
)
def test_parse_key(text, key):
    assert parse_key(text) == key


@pytest.mark.parametrize("text", ["", "H major", "C dorian", "G# major", "7"])
def test_bad_keys_are_refused(text):
    with pytest.raises(InputError, match="key"):
        parse_key(text)


def test_note_names():
    assert [pitch_class(note_name(p, prefer_flats=flats)) for flats in (True, False) for p in range(12)] == [
        *range(12),
        *range(12),
    ]
    with pytest.raises(InputError, match="name of a note"):
        pitch_class("H")
