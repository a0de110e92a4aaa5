"""Edits in words on a job's folder, and help for its openings; the song is made up, so every answer is plain."""

import pytest

from obbligato.errors import InputError
from obbligato.job.drafting import line_version, mapped_song
from obbligato.job.line_editing import EDITS, add_layer, apply_edit, difference_of, edit_line
from obbligato.job.opening_help import help_for
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Note
from obbligato.music.marks import NoteMarks
from obbligato.music.midi import read_midi

GRID = Grid.steady(120.0, 2.0, Meter())  # as `conftest.map_song` has it: bars of 2 s
NOTES = (Note(0.0, 1.0, 67), Note(1.0, 1.0, 69), Note(4.0, 2.0, 72), Note(7.9, 1.0, 64))
FLUGEL, VIOLIN = find_instrument("flugelhorn"), find_instrument("violin")


def edited(text):
    notes = apply_edit(NOTES, text, GRID, FLUGEL)
    return [(n.onset_beat, n.duration_beats, n.pitch, n.velocity) for n in notes if n not in NOTES]


@pytest.mark.parametrize(
    ("text", "new"),
    [
        ("move 1:2 0.5", [(1.5, 1.0, 69, 80)]),
        ("transpose 2 -12", [(4.0, 2.0, 60, 80)]),
        ("shorten 2:1 0,5", [(4.0, 1.5, 72, 80)]),
        ("dynamics 1-1:2 f", [(0.0, 1.0, 67, 96), (1.0, 1.0, 69, 96)]),
        # A quarter of a second is half a beat at 120, and the next note begins at beat 1.
        ("breathe 1:1 0.25", [(0.0, 0.5, 67, 80)]),
        # Written E5 sounds D5 on a Bb instrument; written Cb5 is the key of B4 and sounds A4.
        ("add 3:2 E5 1", [(9.0, 1.0, 74, 80)]),
        ("add 3:2 Cb5 1", [(9.0, 1.0, 69, 80)]),
        # The note a little before bar 3 is meant for bar 3.
        ("lengthen 3 1", [(7.9, 2.0, 64, 80)]),
    ],
)
def test_an_edit_in_words(text, new):
    assert edited(text) == new


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("polish 1:1", "is not an edit"),
        ("move", "not understood"),
        ("move 1:1 much", "not understood"),
        ("transpose 1:1 0.5", "not understood"),
        ("delete 1:1 2", "not understood"),
        ("add 3:2 H5 1", "not understood"),
        ("dynamics 1 loud", "not understood"),
        ("move 9:1 1", "No note"),
        ("move 1:5 1", "beats 1 to 4"),
    ],
)
def test_what_is_not_understood_is_said_with_an_example(text, words):
    with pytest.raises(InputError, match=words):
        edited(text)


def test_every_example_that_is_shown_is_understood():
    tenuto = NoteMarks(signs=("tenuto",))
    notes = tuple(Note(float(beat), 2.0, 60, 60, tenuto) for beat in range(44, 60, 2))
    for example in EDITS.values():
        assert apply_edit(notes, example.partition(" (")[0], GRID, FLUGEL) != notes


def test_an_edit_is_a_new_version_and_the_old_one_stays(written):
    before = written.path("line/v1.mid").read_bytes()
    placed, changes = edit_line(written, "transpose 2 -12; delete 1:2")
    assert placed.version.version == 2
    assert [n.pitch for n in placed.line.notes] == [67, 60, 64]
    assert [c.bar for c in changes] == [1, 2]
    assert written.path("line/v1.mid").read_bytes() == before
    assert difference_of(written, 1, 2) == changes
    assert difference_of(written, 2, 2) == ()


def test_an_edit_that_fails_or_changes_nothing_adds_no_version(written):
    for text in ("transpose 2 -12; delete 9:1", "delete 1-4", "transpose 2 0", "move 1:2 -1", " "):
        with pytest.raises(InputError):
            edit_line(written, text)
    assert len(written.job.lines) == 1
    with pytest.raises(InputError, match="no version 7"):
        line_version(written, 7)


def test_a_layer_is_a_file_of_its_own_and_no_version(written):
    """C major: G has E below, the foreign A is followed in the scale at F, C has G, E has C (common practice)."""
    file, leaving = add_layer(written, "third-below")
    assert leaving == ()
    assert [n.pitch for n in read_midi(written.path(file)).notes] == [64, 65, 67, 60]
    assert len(written.job.lines) == 1


def test_help_for_an_opening_is_in_written_pitch(written):
    """Up a tone for a Bb instrument: C major reads D major, Am7 reads Bm7."""
    (opening,) = help_for(mapped_song(written), FLUGEL)
    assert opening.chords == ("D", "Bm7")
    assert opening.scale == ("D", "E", "F#", "G", "A", "B", "C#")
    assert (opening.beats, opening.seconds) == (8.0, 4.0)
    assert opening.breaths == pytest.approx(4.0 / 7.0)
    (at_pitch,) = help_for(mapped_song(written), VIOLIN)
    assert (at_pitch.chords[0], at_pitch.breaths) == ("C", None)
