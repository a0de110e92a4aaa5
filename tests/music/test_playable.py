"""Remarks on lines built so that the answer is known; the rules themselves are common practice without a source."""

import pytest

from obbligato.music.breath import read_tank
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.playable import check_line
from obbligato.music.remarks import bars_text
from obbligato.music.spans import ChordSpan, Opening, Span

GRID = Grid.steady(60, 0.0, Meter())
FLUGEL, VIOLIN, OBOE = (find_instrument(name) for name in ("flugelhorn", "violin", "oboe"))


def line_of(*notes):
    return Line(tuple(notes), (Phrase(0, 0, len(notes) - 1),))


def kinds(remarks):
    return [(r.kind, r.severity) for r in remarks]


def test_a_line_in_the_middle_with_room_to_breathe_draws_no_remark():
    line = line_of(*(Note(4.0 * i, 2.0, 67 + i % 3) for i in range(8)))
    assert check_line(line, GRID, FLUGEL) == ()


def test_range_is_judged_and_named_in_written_pitch():
    """The flugelhorn's highest written C6 sounds Bb5 (82); sounding C6 (84) is written D6."""
    (remark,) = check_line(line_of(Note(0.0, 1.0, 67), Note(8.0, 1.0, 84)), GRID, FLUGEL)
    assert (remark.kind, remark.severity, remark.first_bar) == ("range", "stop", 3)
    assert "written D6" in remark.sentence
    assert "C6" in remark.sentence
    assert kinds(check_line(line_of(Note(0.0, 1.0, 82)), GRID, FLUGEL)) == [("range", "look")]


def test_a_line_in_the_wrong_octave_is_told_the_right_one():
    remarks = check_line(line_of(Note(0.0, 1.0, 43), Note(4.0, 1.0, 48)), GRID, FLUGEL)
    assert remarks[0].sentence.endswith("the whole line fits an octave up.")


def test_one_breath_and_a_half_is_the_limit():
    """The flugelhorn's tank is 7 s at mezzo-forte: 6 s are comfortable, 9 s draw on the reserve, 12 s run out."""
    middle = (FLUGEL.low + FLUGEL.high) // 2 - 2 + 3
    for length, expected in ((6.0, []), (9.0, [("breath", "look")]), (12.0, [("breath", "stop")])):
        assert kinds(check_line(line_of(Note(0.0, length, middle)), GRID, FLUGEL)) == expected
    assert kinds(check_line(line_of(Note(0.0, 60.0, 67)), GRID, VIOLIN)) == [("bow", "look")]


def test_phrases_that_pass_alone_fail_in_a_row():
    """5 s of 7 and a rest of 0.4 s, again and again: each time 1.5 x 0.4 tanks come back and 5/7 go."""
    notes = [Note(5.4 * i, 5.0, 76) for i in range(6)]
    left = [r.left for r in read_tank(notes, GRID, FLUGEL)]
    assert left[:2] == pytest.approx([2 / 7, 2 / 7 + 0.6 - 5 / 7], abs=1e-9)
    assert left == sorted(left, reverse=True)
    assert ("breath", "look") in kinds(check_line(line_of(*notes), GRID, FLUGEL))


def test_fortissimo_takes_twice_the_air_and_a_gap_too_short_gives_none():
    loud = read_tank([Note(0.0, 3.0, 76, 112)], GRID, OBOE)[0].left
    soft = read_tank([Note(0.0, 6.0, 76, 80)], GRID, OBOE)[0].left
    assert loud == pytest.approx(soft)
    gapped = read_tank([Note(0.0, 3.0, 76), Note(3.25, 3.0, 76)], GRID, OBOE)
    assert gapped[1].breathed == 0.0


def test_attacks_on_the_singers_entry_are_counted_and_held_notes_are_not():
    line = line_of(Note(4.05, 1.0, 70), Note(8.0, 4.0, 70), Note(20.0, 1.0, 70))
    remarks = check_line(line, GRID, FLUGEL, voice=(Span(4.0, 4.5), Span(9.0, 11.0)))
    together, under = remarks
    assert together.numbers["share_at_entries"] == pytest.approx(1 / 3)
    assert under.numbers["share_under_voice"] == pytest.approx(1 / 3)
    assert (together.first_bar, together.last_bar) == (2, 2)


@pytest.mark.parametrize(
    ("pitch", "length", "velocity", "clashes"),
    [
        (65, 2.0, 80, True),
        (65, 0.4, 80, False),
        (65, 0.5, 110, True),
        (64, 2.0, 80, False),
        (71, 2.0, 80, False),
        (69, 2.0, 80, False),
    ],
    ids=["fourth held", "fourth in passing", "fourth struck", "third", "major seventh", "sixth"],
)
def test_the_avoid_note_of_every_harmony_primer(pitch, length, velocity, clashes):
    """Over C major the fourth, F, a semitone above the third, is the note not to sit on."""
    remarks = check_line(
        line_of(Note(0.0, length, pitch, velocity)), GRID, FLUGEL, chords=(ChordSpan(0.0, 4.0, "C:maj"),)
    )
    assert [r.kind for r in remarks] == (["clash"] if clashes else [])
    if clashes:
        assert "F (written G) rubs against the E of C:maj" in remarks[0].sentence


def test_no_chord_no_clash():
    assert check_line(line_of(Note(0.0, 2.0, 65)), GRID, FLUGEL, chords=(ChordSpan(0.0, 4.0, "N"),)) == ()


def test_openings_used_are_counted():
    openings = tuple(Opening(s, s + 2.0, int(s // 4) + 1, int(s // 4) + 1, 2.0, "fill") for s in (0.0, 8.0, 16.0))
    (remark,) = check_line(line_of(Note(0.5, 1.0, 70)), GRID, FLUGEL, openings=openings)
    assert (remark.severity, remark.numbers["share_used"]) == ("note", pytest.approx(1 / 3))
    every = line_of(*(Note(b, 1.0, 70) for b in (0.5, 8.5, 16.5)))
    assert kinds(check_line(every, GRID, FLUGEL, openings=openings)) == [("openings", "look")]


def test_leaps_without_a_rest_are_awkward_on_brass():
    close = line_of(Note(0.0, 1.0, 58), Note(1.0, 0.9, 74))
    apart = line_of(Note(0.0, 1.0, 58), Note(2.0, 0.9, 74))
    assert kinds(check_line(close, GRID, FLUGEL)) == [("leap", "look")]
    assert check_line(apart, GRID, FLUGEL) == ()
    assert check_line(close, GRID, find_instrument("viola")) == ()


def test_bars_in_words():
    assert bars_text([9, 4, 5, 6, 6]) == "bars 4-6, 9"
