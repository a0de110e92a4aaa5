"""The instrument table against music21 10 and pretty_midi, which state the same facts independently."""

import pretty_midi
import pytest
from music21 import instrument as m21
from music21 import interval, key, note

from obbligato.music.instruments import INSTRUMENTS, find_instrument

# music21 10.5.1, module instrument. Left out because music21 is silent or differs: guitar and electric bass (its
# ranges are sounding), alto flute (falls back to the flute), flugelhorn and cornet (unknown).
SAME = {
    "Soprano Sax in Bb": m21.SopranoSaxophone,
    "Alto Sax in Eb": m21.AltoSaxophone,
    "Tenor Sax in Bb": m21.TenorSaxophone,
    "Baritone Sax in Eb": m21.BaritoneSaxophone,
    "Clarinet in Bb": m21.Clarinet,
    "Bass Clarinet in Bb": m21.BassClarinet,
    "Flute": m21.Flute,
    "Piccolo": m21.Piccolo,
    "Oboe": m21.Oboe,
    "English Horn in F": m21.EnglishHorn,
    "Bassoon": m21.Bassoon,
    "Trumpet in Bb": m21.Trumpet,
    "Horn in F": m21.Horn,
    "Trombone": m21.Trombone,
    "Tuba": m21.Tuba,
    "Violin": m21.Violin,
    "Viola": m21.Viola,
    "Cello": m21.Violoncello,
    "Double Bass": m21.Contrabass,
}
# Its lowest notes are written ones; for the horn it goes down to C2 and for the baritone sax it stops at Bb3, where
# the table has the older low A model in view; its piccolo and double bass are given as they sound.
SAME_LOWEST = sorted(set(SAME) - {"Horn in F", "Baritone Sax in Eb", "Piccolo", "Double Bass"})


@pytest.mark.parametrize("name", sorted(SAME))
def test_transposition_is_that_of_music21(name):
    """By named interval, so that a written F# sounds E and never Fb."""
    reference = SAME[name]().transposition
    for written in ("F#5", "B-4", "C5"):
        expected = note.Note(written) if reference is None else note.Note(written).transpose(reference)
        ours = find_instrument(name).transposition
        assert expected.pitch.midi == note.Note(written).pitch.midi + ours.semitones
        steps = expected.pitch.diatonicNoteNum - note.Note(written).pitch.diatonicNoteNum
        assert steps == ours.diatonic + 7 * ours.octaves


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("Clarinet in A", "Clarinet in A"),
        ("C Trumpet", "Trumpet in C"),
        ("Bb Clarinet", "Clarinet in Bb"),
        ("D Trumpet", "Trumpet in D"),
    ],
)
def test_keyed_instruments_as_music21_reads_them(text, name):
    reference = m21.fromString(text).transposition
    assert find_instrument(text).name == name
    assert find_instrument(text).transposition.semitones == (0 if reference is None else reference.semitones)


@pytest.mark.parametrize("name", SAME_LOWEST)
def test_lowest_note_is_that_of_music21(name):
    assert find_instrument(name).low == SAME[name]().lowestNote.midi


@pytest.mark.parametrize(
    ("name", "tonic"),
    [
        ("Flugelhorn in Bb", "D"),
        ("Alto Flute in G", "F"),
        ("Cornet in Bb", "D"),
        ("Guitar", "C"),
        ("Electric Bass", "C"),
    ],
)
def test_a_written_c_sounds_the_note_an_instrument_is_named_after(name, tonic):
    """The rule of every handbook: concert C major is written in `tonic` for an instrument in that key."""
    written = find_instrument(name).to_written(60) % 12
    assert written == key.Key(tonic).tonic.pitchClass


# Semitones from sounding up to written, as handbooks of orchestration list them by group (Adler, Blatter; from
# memory, typed apart from the table of named intervals). Whatever stands in no group is written as it sounds.
HANDBOOK = {
    +2: "Trumpet in Bb; Cornet in Bb; Flugelhorn in Bb; Clarinet in Bb; Soprano Sax in Bb",
    +3: "Clarinet in A; Oboe d'Amore in A",
    +9: "Alto Sax in Eb; Alto Horn in Eb",
    +7: "Horn in F; English Horn in F; Basset Horn in F",
    +5: "Alto Flute in G",
    +14: "Tenor Sax in Bb; Bass Clarinet in Bb; Treble-Clef Euphonium in Bb; Treble-Clef Baritone in Bb; "
    "Treble-Clef Trombone in Bb",
    +21: "Baritone Sax in Eb; Treble-Clef Tuba in Eb",
    +26: "Treble-Clef Tuba in Bb",
    -3: "Clarinet in Eb; Soprano Cornet in Eb",
    -2: "Trumpet in D",
    -10: "Piccolo Trumpet in Bb",
    -12: "Piccolo; Descant Recorder",
    +12: "Double Bass; Guitar; Electric Bass; Tenor Voice; Contrabassoon; Bass Flute",
}


@pytest.mark.parametrize("instrument", INSTRUMENTS, ids=lambda instrument: instrument.name)
def test_transposition_is_the_handbooks(instrument):
    up = next((up for up, names in HANDBOOK.items() if instrument.name in names.split("; ")), 0)
    assert instrument.to_written(60) == 60 + up


@pytest.mark.parametrize("instrument", INSTRUMENTS, ids=lambda instrument: instrument.name)
def test_a_written_c_sounds_the_key_in_the_name(instrument):
    """Spelled, by music21's named interval: a written C of an Eb instrument sounds an E flat and no D sharp."""
    ours = instrument.transposition
    named = interval.intervalFromGenericAndChromatic(
        ours.diatonic + (1 if ours.diatonic >= 0 else -1), ours.chromatic
    )
    assert note.Note("C5").transpose(named).name == instrument.key.replace("b", "-")
    assert (f" in {instrument.key}" in instrument.name) == (instrument.key != "C" or instrument.name.endswith("in C"))


# General MIDI program, as pretty_midi's table of GM names has it; it counts from 0.
@pytest.mark.parametrize(
    ("name", "gm_name"),
    [
        ("Flute", "Flute"),
        ("Piccolo", "Piccolo"),
        ("Oboe", "Oboe"),
        ("English Horn in F", "English Horn"),
        ("Bassoon", "Bassoon"),
        ("Clarinet in Bb", "Clarinet"),
        ("Trumpet in Bb", "Trumpet"),
        ("Horn in F", "French Horn"),
        ("Trombone", "Trombone"),
        ("Tuba", "Tuba"),
        ("Soprano Sax in Bb", "Soprano Sax"),
        ("Alto Sax in Eb", "Alto Sax"),
        ("Tenor Sax in Bb", "Tenor Sax"),
        ("Baritone Sax in Eb", "Baritone Sax"),
        ("Violin", "Violin"),
        ("Viola", "Viola"),
        ("Cello", "Cello"),
        ("Double Bass", "Contrabass"),
        ("Harmonica in C", "Harmonica"),
        ("Electric Bass", "Electric Bass (finger)"),
        ("Guitar", "Acoustic Guitar (nylon)"),
    ],
)
def test_general_midi_program(name, gm_name):
    assert find_instrument(name).gm_program == pretty_midi.instrument_name_to_program(gm_name) + 1


def test_every_range_lies_within_itself_and_every_name_finds_its_instrument():
    for instrument in INSTRUMENTS:
        i = instrument
        ours = (i.low, i.strong_low, i.comfortable_low, i.comfortable_high, i.strong_high, i.high)
        assert list(ours) == sorted(ours), instrument.name
        assert all(i.low <= weak.low <= weak.high <= i.high for weak in i.weak), instrument.name
        assert find_instrument(instrument.name) is instrument
        assert find_instrument(instrument.name.upper()) is instrument
        for alias in instrument.aliases:
            assert find_instrument(alias).name == instrument.name
