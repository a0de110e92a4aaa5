"""Edits of a line and second voices, on lines short enough to work the answer out by hand."""

import music21
import pytest

from obbligato.errors import InputError
from obbligato.music import editing
from obbligato.music.breath import read_tank
from obbligato.music.editing import Reach
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.layers import SCALES, make_layer
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.marks import LEVELS
from obbligato.music.playable import check_line
from obbligato.music.spans import ChordSpan, KeySpan

GRID = Grid.steady(60, 0.0, Meter())
NOTES = (Note(0.02, 1.0, 67), Note(0.98, 0.5, 69), Note(1.51, 0.5, 71), Note(2.0, 2.0, 72))


def test_a_place_means_the_note_nearest_to_it_and_no_other():
    assert Reach(1.0).indices(NOTES) == (1,)
    assert Reach(1.5).indices(NOTES) == (2,)
    assert Reach(1.25).indices(NOTES) == ()
    assert Reach(1.0, 2.0).indices(NOTES) == (1, 2, 3)
    assert Reach(0.0).indices(()) == ()


def test_an_edit_changes_what_it_reaches_and_nothing_else():
    higher = editing.transpose(NOTES, Reach(1.0), semitones=-12)
    assert [n.pitch for n in higher] == [67, 57, 71, 72]
    assert [n.onset_beat for n in higher] == [n.onset_beat for n in NOTES]
    # A note moved past another one stands in its new place.
    assert [n.pitch for n in editing.move(NOTES, Reach(1.0), beats=4.0)] == [67, 71, 72, 69]
    assert [n.pitch for n in editing.delete(NOTES, Reach(0.0, 1.0))] == [71, 72]
    assert [n.velocity for n in editing.set_velocity(NOTES, Reach(2.0), velocity=96)] == [80, 80, 80, 96]


def test_what_would_leave_no_note_or_no_pitch_is_refused():
    with pytest.raises(InputError, match="Nothing would be left"):
        editing.lengthen(NOTES, Reach(1.0), beats=-0.5)
    with pytest.raises(InputError, match="range of MIDI"):
        editing.transpose(NOTES, Reach(1.0), semitones=60)
    with pytest.raises(InputError, match="longer than the note"):
        editing.breathe_after(NOTES, Reach(1.5), GRID, breath_s=0.5)


def test_either_remedy_for_a_line_that_cannot_be_breathed_cures_it():
    """Twelve seconds run out on the flugelhorn; a breath after the note that is named, or playing softer, helps."""
    flugel = find_instrument("flugelhorn")
    notes = tuple(Note(2.0 * i, 2.0, 67) for i in range(6))
    (remark,) = check_line(Line(notes, (Phrase(0, 0, 5),)), GRID, flugel)
    assert remark.severity == "stop"
    assert "shorten the note at bar 2 beat 1 by a breath of 0.5 s" in remark.sentence
    mended = editing.breathe_after(notes, Reach(4.0), GRID, breath_s=0.5)
    assert remark.sentence.endswith(" by a breath of 0.5 s or play it mp.")
    softer = editing.set_velocity(notes, Reach(0.0, 10.0), velocity=LEVELS["mp"])
    assert not [r for r in check_line(Line(softer, (Phrase(0, 0, 5),)), GRID, flugel) if r.severity == "stop"]
    assert mended[2].end_beat == pytest.approx(5.5)
    assert not [r for r in check_line(Line(mended, (Phrase(0, 0, 5),)), GRID, flugel) if r.severity == "stop"]
    assert read_tank(mended, GRID, flugel)[-1].left > read_tank(notes, GRID, flugel)[-1].left


def test_scales_are_those_of_music21():
    for mode, scale in (("major", music21.scale.MajorScale("C")), ("minor", music21.scale.MinorScale("C"))):
        assert SCALES[mode] == tuple(p.midi - 60 for p in scale.getPitches("C4", "B-4" if mode == "minor" else "B4"))


def test_a_third_below_keeps_to_the_chord():
    """Over C: G has E, E has C, C has the G below; a passing D is followed in the scale, at B (common practice)."""
    notes = tuple(Note(float(i), 1.0, pitch) for i, pitch in enumerate((67, 64, 60, 62)))
    chords, keys = (ChordSpan(0.0, 9.0, "C:maj"),), (KeySpan(0.0, 9.0, "C", "major", 1.0),)
    made = make_layer(notes, "third-below", GRID, chords=chords, keys=keys)
    assert [n.pitch for n in made] == [64, 60, 55, 59]
    assert [n.onset_beat for n in made] == [n.onset_beat for n in notes]
    assert [n.pitch for n in make_layer(notes, "octave-below", GRID, chords=(), keys=())] == [55, 52, 48, 50]


def test_a_third_below_needs_a_chord_or_a_key():
    with pytest.raises(InputError, match="bar 1 beat 1"):
        make_layer(NOTES, "third-below", GRID, chords=(), keys=())
