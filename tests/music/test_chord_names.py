"""Chord symbols read and written back, and checked against music21's reading of the same symbols."""

import re

import pytest
from music21.harmony import ChordSymbol

from obbligato.errors import InputError
from obbligato.music.chord_names import chord_label
from obbligato.music.harmony import chord_text, parse_chord

# music21 10 writes flats as "-"; only symbols that it reads the way charts mean them.
SYMBOLS = (
    "C", "Bb", "F#m", "Dm7", "G7", "Ebmaj7", "Am6", "C6", "Bdim", "Caug", "F#dim7", "Bm7b5", "Dsus4",
    "Asus2", "E9", "Gm9", "F13", "C/E", "Bbm7/Db", "Ab/C", "D7/F#",
)  # fmt: skip


@pytest.mark.parametrize("symbol", SYMBOLS)
def test_a_symbol_has_the_notes_that_music21_gives_it(symbol):
    other = ChordSymbol(re.sub(r"(?<=[A-G])b", "-", symbol))
    chord = parse_chord(chord_label(symbol))
    assert chord.bass == other.bass().pitchClass
    assert chord.pitch_classes == frozenset(p.pitchClass for p in other.pitches)


@pytest.mark.parametrize("symbol", SYMBOLS)
def test_a_symbol_is_written_back_as_it_was_read(symbol):
    assert chord_text(chord_label(symbol)) == symbol


def test_one_chord_written_in_several_ways_is_one_chord():
    assert {chord_label(text) for text in ("C-7", "Cm7", "c min7", "Cmin7")} == {"C:min7"}


def test_a_written_chord_is_moved_to_its_sounding_pitch():
    # Written C for an instrument in B flat sounds B flat (any orchestration handbook).
    assert chord_label("Cm7/Eb", -2) == "Bb:min7/b3"


@pytest.mark.parametrize("text", ["", "H", "Cq", "C/", "/E", "C:nonsense", "Cm7/H", "C" * 400])
def test_what_is_no_chord_is_refused(text):
    with pytest.raises(InputError):
        chord_label(text)
