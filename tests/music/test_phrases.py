"""Phrases against phrase ends that others marked: the fermatas of Bach's chorales."""

import pytest
from music21 import corpus, expressions

from obbligato.music.grid import Grid, Meter
from obbligato.music.line import Line, Note
from obbligato.music.phrases import find_phrases

GRID = Grid.steady(72, 0.0, Meter())

pytestmark = pytest.mark.filterwarnings("ignore::music21.musicxml.xmlObjects.MusicXMLWarning")


def firsts(notes, grid=GRID):
    phrases = find_phrases(notes, grid)
    Line(tuple(notes), phrases)
    return [p.first_note for p in phrases]


# The fermata marks the end of a line of the hymn. A singer breathes there: 0.33 s at 72 quarters a minute is taken
# from the note (a snatched breath is 0.3 s, common practice); all other notes touch but for 3 % of their length.
@pytest.mark.parametrize("name", ["bwv66.6", "bwv269", "bwv347", "bwv153.1", "bwv86.6", "bwv267"])
def test_the_lines_of_a_chorale(name):
    notes, marked = [], []
    for element in corpus.parse(f"bach/{name}").parts[0].flatten().stripTies().notes:
        held = any(isinstance(e, expressions.Fermata) for e in element.expressions)
        length = float(element.duration.quarterLength) * 0.97 - (0.4 if held else 0.0)
        notes.append(Note(float(element.offset), length, element.pitch.midi))
        if held:
            marked.append(len(notes))
    expected = {0, *marked} - {len(notes)}
    found = set(firsts(notes))
    # None in between; a line or two so short that it shares a breath with the next may be read on.
    assert found <= expected
    assert len(expected - found) <= 2


def test_a_line_played_short_is_not_cut_up_but_parted_where_it_rests():
    """Quarters at 60 played half as long leave 0.5 s each, a breath's time; only the bar's rest is one."""
    grid = Grid.steady(60, 0.0, Meter())
    notes = [Note(float(b), 0.5, 60) for b in (0, 1, 2, 3, 6, 7, 8, 9)]
    assert firsts(notes, grid) == [0, 4]


def test_a_full_breath_always_parts_and_a_long_line_is_parted_at_its_best_rest():
    grid = Grid.steady(120, 0.0, Meter())
    assert firsts([Note(0.0, 1.0, 60), Note(3.0, 1.0, 60), Note(4.0, 1.0, 60)], grid) == [0, 1]
    onsets = [float(b) for b in range(20)] + [20.8 + b for b in range(20)]
    assert firsts([Note(b, 0.98, 60) for b in onsets], grid) == [0, 20]


def test_no_notes_no_phrases_and_one_note_is_one():
    assert find_phrases([], GRID) == ()
    assert firsts([Note(0.0, 1.0, 60)]) == [0]
