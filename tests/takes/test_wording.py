"""Verdicts name notes as the player reads them (transpositions as in orchestration handbooks, from memory)."""

import pytest

from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.takes.readings import PhraseSpan, TimedLine, TimedNote
from obbligato.takes.verdict import Wording


@pytest.mark.parametrize(
    ("instrument", "words"),
    [
        ("flugelhorn", "written C5"),
        ("tenor sax", "written C6"),
        ("alto sax", "written G5"),
        ("violin", "Bb4"),
        ("horn", "written F5"),
    ],
)
def test_a_sounding_b_flat_above_middle_c(instrument, words):
    assert Wording(instrument=find_instrument(instrument)).pitch(70) == words


def test_a_note_has_its_bar_and_beat():
    line = TimedLine((TimedNote(0, 6.5, 7.0, 70),), (PhraseSpan(0, 0, 0),))
    wording = Wording(Grid.steady(120, 0.5, Meter()), find_instrument("flugelhorn"))
    assert wording.note(line, 0) == "the written C5 in bar 4 on beat 1"
