"""Marks on notes, and what becomes of them when the line is changed; every answer can be worked out by hand."""

import numpy as np
import pytest

from obbligato.errors import InputError
from obbligato.music import editing, marking
from obbligato.music.breath import SHORTEST_BREATH_S, read_tank
from obbligato.music.difference import line_difference, note_changes
from obbligato.music.editing import Reach
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Note
from obbligato.music.loudness import as_marked
from obbligato.music.marking import hairpins, put, slurs, take_off
from obbligato.music.marks import LEVELS, NO_MARKS, NoteMarks
from obbligato.music.phrases import find_phrases

GRID = Grid.steady(60.0, 0.0, Meter())
OBOE, FLUTE = find_instrument("oboe"), find_instrument("flute")
PLAIN = tuple(Note(float(i), 0.9, 60 + i) for i in range(8))


def marked(*steps):
    """`PLAIN` with marks put on: each step is first and last note, and the mark."""
    notes = PLAIN
    for first, last, mark in steps:
        notes = put(notes, range(first, last + 1), mark)
    return notes


def words(notes):
    return [
        (index, *note.marks.signs, *filter(None, (note.marks.level, "breath" if note.marks.breath else "")))
        for index, note in enumerate(notes)
        if note.marks.signs or note.marks.level or note.marks.breath
    ]


def test_each_kind_of_mark_goes_where_it_belongs():
    notes = marked((1, 2, "accent"), (1, 1, "staccato"), (0, 3, "mf"), (0, 3, "breath"))
    assert words(notes) == [(0, "mf"), (1, "staccato", "accent"), (2, "accent"), (3, "breath")]
    notes = marked((0, 3, "slur"), (4, 6, "crescendo"), (7, 7, "diminuendo"))
    assert slurs(notes) == ((0, 3),)
    assert hairpins(notes) == ((4, 6, "crescendo"), (7, 7, "diminuendo"))


def test_a_mark_of_loudness_parts_two_hairpins():
    assert hairpins(marked((0, 4, "crescendo"), (2, 2, "p"))) == ((0, 1, "crescendo"), (2, 4, "crescendo"))


def test_a_slur_is_over_exactly_its_notes_and_no_breath_is_in_it():
    assert slurs(marked((0, 5, "slur"), (2, 3, "slur"))) == ((0, 1), (2, 3), (4, 5))
    assert slurs(marked((0, 5, "slur"), (2, 2, "breath"))) == ((0, 2), (3, 5))
    assert words(marked((2, 2, "breath"), (0, 5, "slur"))) == []
    with pytest.raises(InputError, match="two notes or more"):
        marked((3, 3, "slur"))


def test_what_is_put_on_comes_off_and_leaves_no_trace():
    notes = marked((0, 3, "slur"), (1, 2, "tenuto"), (2, 5, "crescendo"), (2, 2, "ff"), (6, 6, "breath"))
    assert slurs(take_off(notes, [3], "slur")) == ()
    assert hairpins(take_off(notes, [4], "crescendo")) == ()
    assert words(take_off(notes, [2], "ff")) == [(1, "tenuto"), (2, "tenuto"), (6, "breath")]
    assert take_off(notes, [2], "p") == notes
    assert take_off(notes, range(8)) == PLAIN


@pytest.mark.parametrize(
    ("first", "last", "left"),
    [(1, 1, (0, 2)), (3, 3, (0, 2)), (0, 0, (0, 2)), (1, 2, (0, 1)), (2, 3, (0, 1)), (0, 3, None), (0, 2, None)],
    ids=["inside", "its last", "its first", "two inside", "its last two", "all of it", "all but its last"],
)
def test_a_slur_closes_over_notes_taken_out(first, last, left):
    after = editing.delete(marked((0, 3, "slur")), Reach(float(first), float(last)))
    assert slurs(after) == (() if left is None else (left,))


def test_what_was_meant_for_the_line_stays_when_its_note_goes():
    notes = marked((2, 2, "f"), (2, 2, "accent"), (5, 5, "breath"))
    after = editing.delete(editing.delete(notes, Reach(5.0)), Reach(2.0))
    assert words(after) == [(2, "f"), (3, "breath")]
    assert (after[2].pitch, after[3].pitch) == (63, 64)
    # The next note's own mark is the later word.
    assert words(editing.delete(marked((2, 2, "f"), (3, 3, "p")), Reach(2.0))) == [(2, "p")]


def test_a_note_put_into_a_slur_or_hairpin_belongs_to_it():
    notes = editing.add(marked((0, 2, "slur"), (0, 2, "crescendo")), Note(1.5, 0.3, 70))
    assert (slurs(notes), hairpins(notes)) == (((0, 3),), ((0, 3, "crescendo"),))
    notes = editing.add(marked((0, 2, "slur"), (0, 2, "crescendo")), Note(2.5, 0.3, 70))
    assert (slurs(notes), hairpins(notes)) == (((0, 2),), ((0, 2, "crescendo"),))


def test_marks_move_with_their_notes_and_a_slur_holds_only_to_its_own_next_note():
    notes = editing.move(marked((1, 2, "slur"), (1, 1, "accent")), Reach(1.0, 2.0), beats=0.25)
    assert (slurs(notes), words(notes)) == (((1, 2),), [(1, "accent")])
    # Note 1 now comes after note 2.
    notes = editing.move(marked((0, 3, "slur"), (1, 1, "accent")), Reach(1.0), beats=1.5)
    assert [n.pitch for n in notes[:4]] == [60, 62, 61, 63]
    assert (slurs(notes), words(notes)) == ((), [(2, "accent")])


@pytest.mark.parametrize("seed", range(40))
def test_whatever_is_taken_out_or_moved_no_two_notes_are_newly_slurred_together(seed):
    """Notes are known by their pitch: two that are under one slur afterwards were under one slur before."""
    rng = np.random.default_rng(seed)
    notes = PLAIN
    for _ in range(8):
        first, last = sorted(rng.integers(0, len(PLAIN), 2))
        mark = marking.MARKS[rng.integers(len(marking.MARKS))] if rng.random() < 0.5 else "slur"
        if mark != "slur" or last > first:
            notes = put(notes, range(first, last + 1), mark)
    together = {
        frozenset({a.pitch, b.pitch}) for i, j in slurs(notes) for a in notes[i : j + 1] for b in notes[i : j + 1]
    }
    first, last = sorted(rng.integers(0, len(PLAIN), 2))
    reach = Reach(float(first), float(last))
    shorter = editing.delete(notes, reach)
    moved = marking.settled(editing.move(notes, Reach(float(first)), beats=float(rng.uniform(-3.0, 3.0))))
    for after in (shorter, moved):
        for i, j in slurs(after):
            assert all(frozenset({a.pitch, b.pitch}) in together for a in after[i : j + 1] for b in after[i : j + 1])
        assert marking.settled(after) == after
    levels = [n.marks.level for n in notes if n.marks.level]
    assert {n.marks.level for n in shorter if n.marks.level} <= set(levels)


def test_another_version_of_the_line_keeps_the_marks_of_the_notes_that_are_still_there():
    before = marked((0, 3, "slur"), (1, 1, "accent"), (5, 5, "f"), (7, 7, "breath"))
    other = [Note(n.onset_beat + 0.05, 0.8, n.pitch + (n.pitch == 61)) for n in PLAIN]
    after = marking.carried_marks(before, [*other[:3], Note(2.5, 0.3, 80), *other[3:5], *other[6:]])
    # Note 5 is gone, and with it the place of its f; a note was put into the slur.
    assert slurs(after) == ((0, 4),)
    assert words(after) == [(1, "accent"), (6, "f"), (7, "breath")]
    assert marking.carried_marks(before, PLAIN) == before
    assert marking.carried_marks(PLAIN, other) == tuple(other)


def test_no_slur_goes_on_past_the_last_note_or_a_breath():
    loose = (*PLAIN[:-1], Note(7.0, 0.9, 67, 80, NoteMarks(slurred=True)))
    assert slurs(marking.settled(loose)) == ()
    assert marking.settled(loose)[-1].marks == NO_MARKS


def test_a_breath_taken_is_marked_where_time_is_made_for_it():
    notes = editing.breathe_after(marked((0, 3, "slur")), Reach(1.0), GRID, breath_s=0.5)
    assert notes[1].duration_beats == pytest.approx(0.5)
    assert (words(notes), slurs(notes)) == ([(1, "breath")], ((0, 1), (2, 3)))


def test_marks_alone_are_a_difference_told_by_bar():
    after = marked((1, 2, "staccato"), (2, 5, "slur"), (4, 4, "ff"), (6, 6, "breath"), (7, 7, "diminuendo"))
    bars = line_difference(PLAIN, after, GRID, FLUTE)
    assert [bar.sentence for bar in bars] == [
        "Bar 1: now marked staccato on Db4 and D4, slur D4 to F4.",
        "Bar 2: now marked ff from E4, breath after Gb4, diminuendo on G4.",
    ]
    assert {change.kind for bar in bars for change in bar.changes} == {"marked"}
    back = line_difference(after, PLAIN, GRID, FLUTE)
    assert back[0].sentence == "Bar 1: no longer staccato on Db4 and D4, slur D4 to F4."
    assert line_difference(after, after, GRID, FLUTE) == ()


def test_a_slur_over_the_bar_line_is_told_where_it_begins():
    bars = line_difference(PLAIN, marked((3, 6, "slur")), GRID, FLUTE)
    assert [bar.sentence for bar in bars] == ["Bar 1: now marked slur Eb4 to Gb4."]


def test_a_note_that_moved_is_told_with_its_new_mark():
    after = editing.move(marked((3, 3, "accent")), Reach(3.0), beats=0.5)
    assert [(c.kind, c.before, c.after) for c in note_changes(PLAIN, after)] == [("moved", 3, 3)]
    (bar,) = line_difference(PLAIN, after, GRID, FLUTE)
    assert bar.sentence == "Bar 1: Eb4 comes 0.5 beat later; now marked accent on Eb4."


def test_loudness_is_what_is_marked_from_there_on_and_what_was_played_before():
    played = tuple(
        Note(n.onset_beat, 0.9, n.pitch, v) for n, v in zip(PLAIN, (50, 50, 90, 80, 80, 80, 127, 80), strict=True)
    )
    heard = as_marked(put(put(played, [2], "p"), [5], "ff"))
    # p is 48 and ff 112; under p the median played is 80, so that 90 is 10 more; 127 against 80 is held to 12.
    assert [n.velocity for n in heard] == [50, 50, 58, 48, 48, 112, 124, 112]
    assert as_marked(heard) == heard
    assert as_marked(played) == played


def test_a_hairpin_goes_evenly_to_the_mark_after_it_or_one_step():
    heard = as_marked(marked((0, 0, "p"), (0, 3, "crescendo"), (4, 4, "ff")))
    assert [n.velocity for n in heard] == [48, 64, 80, 96, 112, 112, 112, 112]
    heard = as_marked(marked((0, 0, "f"), (4, 5, "diminuendo")))
    assert [n.velocity for n in heard] == [96, 96, 96, 96, 96, 88, 80, 80]
    # With no loudness marked before it, a hairpin says nothing in numbers.
    assert [n.velocity for n in as_marked(marked((0, 3, "crescendo")))] == [80] * 8


def test_fortissimo_marked_halves_the_time_on_a_breath():
    """At fortissimo the comfortable phrase is about half as long as at mezzo-forte (common practice, no source)."""
    loud = (Note(0.0, 3.0, 76, 80, NoteMarks(level="ff")),)
    usual = (Note(0.0, 6.0, 76, 80, NoteMarks(level="mf")),)
    assert LEVELS["mf"] == 80
    assert read_tank(loud, GRID, OBOE)[0].left == pytest.approx(read_tank(usual, GRID, OBOE)[0].left)


def test_a_marked_breath_is_taken_from_the_note_before():
    held = (Note(0.0, 4.0, 72, 80, NoteMarks(breath=True)), Note(4.0, 4.0, 72))
    readings = read_tank(held, GRID, FLUTE)
    assert readings[1].breathed == pytest.approx(SHORTEST_BREATH_S, abs=1e-5)
    assert read_tank((Note(0.0, 4.0, 72), held[1]), GRID, FLUTE)[1].breathed == 0.0
    # Half of a very short note is not given up, and a breath that short is none.
    short = (Note(0.0, 0.4, 72, 80, NoteMarks(breath=True)), Note(0.4, 4.0, 72))
    assert read_tank(short, GRID, FLUTE)[1].breathed == 0.0


def test_a_phrase_ends_at_a_marked_breath_and_never_under_a_slur():
    def firsts(notes):
        return [phrase.first_note for phrase in find_phrases(notes, GRID)]

    assert firsts(PLAIN) == [0]
    assert firsts(marked((2, 2, "breath"))) == [0, 3]
    rested = (*PLAIN[:4], *(Note(n.onset_beat + 0.8, 0.9, n.pitch) for n in PLAIN[4:]))
    assert firsts(rested) == [0, 4]
    assert firsts(put(rested, [3, 4], "slur")) == [0]
