"""The line against the singer's notes, made up so that answers are plain; rules are common practice, no source."""

import pytest

from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Note
from obbligato.music.singing import singing_remarks
from obbligato.music.spans import SungNote

GRID = Grid.steady(60, 0.0, Meter())
FLUGEL = find_instrument("flugelhorn")
SUNG = (SungNote(4.0, 6.0, 64), SungNote(6.0, 8.0, 67))


def said(*notes):
    return [(r.kind, r.severity) for r in singing_remarks(notes, GRID, SUNG, FLUGEL)]


def test_starts_with_any_sung_note_are_counted_not_only_with_the_first():
    notes = [Note(0.5, 0.5, 80), Note(6.09, 0.5, 80), Note(6.6, 0.5, 80), Note(9.0, 0.5, 80)]
    (remark,) = singing_remarks(notes, GRID, SUNG, FLUGEL)
    assert remark.numbers["share_at_sung"] == pytest.approx(0.25)
    assert remark.sentence.startswith("25% of the notes (1 of 4) start within 100 ms of a sung note (bar 2)")
    assert said(Note(6.11, 0.5, 80)) == []


@pytest.mark.parametrize(
    ("pitch", "length", "words"),
    [(60, 1.0, ["voice"]), (60, 0.5, []), (76, 1.0, []), (70, 1.0, ["voice"]), (71, 1.0, [])],
    ids=["third below", "short", "octave above", "tritone above", "fifth above"],
)
def test_a_long_note_in_the_singer_s_octave(pitch, length, words):
    assert [kind for kind, _ in said(Note(4.5, length, pitch))] == words


@pytest.mark.parametrize(
    ("pitch", "velocity", "length", "clashes"),
    [(65, 80, 1.0, True), (63, 80, 1.0, True), (77, 80, 1.0, True), (77, 80, 0.5, False),
     (77, 110, 0.5, True), (75, 80, 1.0, False), (66, 80, 1.0, False)],
    ids=["semitone", "semitone below", "minor ninth", "short", "short but struck", "major seventh", "tone"],
)  # fmt: skip
def test_a_semitone_or_a_minor_ninth_against_the_tune(pitch, velocity, length, clashes):
    assert (("clash", "look") in said(Note(4.5, length, pitch, velocity))) == clashes


def test_nobody_sings_nothing_is_said():
    assert singing_remarks([Note(0.0, 1.0, 67)], GRID, (), FLUGEL) == []
