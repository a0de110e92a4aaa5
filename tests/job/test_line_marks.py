"""Marks kept beside the MIDI file of a version: they come back as they were, or the file is refused in a sentence."""

import json

import mido
import pytest

from obbligato.errors import InputError
from obbligato.job.drafting import draft_line, keep_draft, line_version, mapped_song
from obbligato.job.keys import line_key
from obbligato.job.line_editing import difference_of, edit_line
from obbligato.job.line_marks import marks_file
from obbligato.job.writing import add_line, current_line
from obbligato.music.line import Note
from obbligato.music.marking import hairpins, slurs
from obbligato.music.marks import NO_MARKS, NoteMarks

TAKEN_OUT = 69
ALL_KINDS = "mark 1:1 mf; mark 1:1-1:2 slur; mark 1:2 accent; mark 2:1 crescendo; mark 2:1 staccato; mark 2:1 tenuto"


def marks_in(folder):
    return [note.marks for note in current_line(folder).line.notes]


def test_every_kind_comes_back_and_the_notes_stay_as_they_are(written):
    placed, changes = edit_line(written, ALL_KINDS)
    assert placed.version.version == 2
    assert written.path("line/v2.mid").read_bytes() == written.path("line/v1.mid").read_bytes()
    assert marks_in(written) == [
        NoteMarks(level="mf", slurred=True),
        NoteMarks(signs=("accent",)),
        NoteMarks(signs=("staccato", "tenuto"), swell="crescendo"),
        NO_MARKS,
    ]
    assert [change.sentence for change in changes] == [
        "Bar 1: now marked mf from A4, slur A4 to B4, accent on B4.",
        "Bar 2: now marked staccato on D5, tenuto on D5, crescendo on D5.",
    ]
    assert difference_of(written, 1, 2) == changes
    assert [note.marks for note in line_version(written, 1).line.notes] == [NO_MARKS] * 4


def test_the_file_can_be_read_without_this_program(written):
    edit_line(written, ALL_KINDS)
    assert json.loads(written.path(marks_file("line/v2.mid")).read_text()) == {
        "format_version": 1,
        "marked": [
            {"note": 0, "level": "mf", "slurred": True},
            {"note": 1, "signs": ["accent"]},
            {"note": 2, "signs": ["staccato", "tenuto"], "swell": "crescendo"},
        ],
    }


def test_a_line_without_marks_has_no_file_and_marks_taken_off_leave_none(written):
    assert not written.path("line/v1.json").exists()
    edit_line(written, "mark 1:1 mf")
    edit_line(written, "unmark 1-4")
    assert not written.path("line/v3.json").exists()
    assert marks_in(written) == [NO_MARKS] * 4


def test_marks_go_with_their_notes_through_edits(written):
    edit_line(written, "mark 1:1-2:1 slur; mark 2:1 f; mark 1:1-2:1 diminuendo")
    edit_line(written, "delete 1:2; move 2:1 0.5")
    notes = current_line(written).line.notes
    assert (slurs(notes), hairpins(notes)) == (((0, 1),), ((0, 0, "diminuendo"), (1, 1, "diminuendo")))
    assert [note.marks.level for note in notes] == [None, "f", None]


def test_splitting_a_phrase_marks_the_breath_that_ends_it(written):
    before = {phrase.first_note for phrase in current_line(written).line.phrases}
    edit_line(written, "split 1:1")
    line = current_line(written).line
    assert line.notes[0].marks.breath
    assert {phrase.first_note for phrase in line.phrases} == before | {1}


def test_other_marks_make_what_was_made_from_the_line_stale(written):
    plain = line_key(written)
    edit_line(written, "mark 1:1 mf")
    mf = line_key(written)
    edit_line(written, "unmark 1:1; mark 1:1 f")
    f = line_key(written)
    edit_line(written, "unmark 1:1")
    assert len({plain, mf, f}) == 3
    assert line_key(written) == plain


def test_the_same_notes_with_the_same_marks_are_no_new_version(written):
    edit_line(written, "mark 1:1 mf")
    notes = current_line(written).line.notes
    with pytest.raises(InputError, match="already version 2"):
        keep_draft(written, notes)
    with pytest.raises(InputError, match="change nothing"):
        edit_line(written, "mark 1:1 mf")


def test_a_midi_file_changed_elsewhere_keeps_the_marks_of_its_notes(written):
    """Another program, here mido, takes out the second note; a MIDI file by itself holds no marks."""
    edit_line(written, "mark 1:1-2:1 slur; mark 1:2 accent; mark 2:1 f")
    file = mido.MidiFile(written.path("line/v2.mid"))
    for track in file.tracks:
        for message in track:
            if message.type in ("note_on", "note_off") and message.note == TAKEN_OUT:
                message.velocity = 0
    file.save(written.path("elsewhere.mid"))
    placed = add_line(written, written.path("elsewhere.mid"), start="guide")
    assert placed.sentences[-1] == "The notes that were in version 2 keep the marks they had there."
    assert marks_in(written) == [NoteMarks(slurred=True), NoteMarks(level="f"), NO_MARKS]


def test_a_draft_drops_a_slur_past_its_last_note(written):
    slurred = NoteMarks(slurred=True)
    line = draft_line((Note(0.0, 1.0, 60, 80, slurred), Note(1.0, 1.0, 62, 80, slurred)), mapped_song(written))
    assert slurs(line.notes) == ((0, 1),)
    assert line.notes[1].marks == NO_MARKS


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("not json", "cannot be read"),
        ('{"format_version": 2, "marked": []}', "format_version"),
        ('{"marked": [{"note": 0, "signs": ["loud"]}]}', "marked.0.signs.0"),
        ('{"marked": [{"note": 0, "colour": "red"}]}', "colour"),
        ('{"marked": [{"note": 4, "breath": true}]}', "name note 4, but the line has the notes 0 to 3"),
    ],
)
def test_a_file_that_is_no_list_of_marks_is_refused_in_one_sentence(written, text, words):
    written.path("line/v1.json").write_text(text)
    with pytest.raises(InputError, match=r"^The marks in 'line/v1.json'.*put the file right") as refused:
        current_line(written)
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("mark 1:1", "not understood"),
        ("mark 1:1 loud", "not understood"),
        ("mark 1:1 mf f", "not understood"),
        ("unmark 1:1 loud", "not understood"),
        ("split 1:1 2", "not understood"),
        ("mark 1:1 slur", "two notes or more"),
        ("mark 9:1 mf", "No note"),
        ("mark 1:1 mf; dynamics 2 f", "The page says mf there"),
    ],
)
def test_marks_that_cannot_be_put_are_refused_and_nothing_is_kept(written, text, words):
    with pytest.raises(InputError, match=words):
        edit_line(written, text)
    assert len(written.job.lines) == 1
    assert not written.path("line/v2.json").exists()
