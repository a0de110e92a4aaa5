"""Awkward passages; the rules are common practice, no source, and the fingerings those of any first tutor."""

import pytest

from obbligato.music.fingers import _SLIDE_SERIES, finger_remarks, valves, weak_remarks
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument, parse_pitch
from obbligato.music.line import Note

GRID = Grid.steady(120, 0.0, Meter())
# Semitones by which valves lower: 2 one, 1 two, 12 three, 23 four, 13 five, 123 six.
LOWERED = {"0": 0, "2": 1, "1": 2, "12": 3, "23": 4, "13": 5, "123": 6}
# The fingering chart on the first pages of any trumpet tutor (from memory), written pitch.
TRUMPET_CHART = (
    "F#3 123, G3 13, Ab3 23, A3 12, Bb3 1, B3 2, C4 0, C#4 123, D4 13, Eb4 23, E4 12, F4 1, F#4 2, G4 0, Ab4 23, "
    "A4 12, Bb4 1, B4 2, C5 0, C#5 12, D5 1, Eb5 2, E5 0, F5 1, F#5 2, G5 0, Ab5 23, A5 12, Bb5 1, B5 2, C6 0"
)
# The slide chart of any trombone tutor (from memory), position by written pitch.
TROMBONE_CHART = (
    "E2 7, F2 6, F#2 5, G2 4, Ab2 3, A2 2, Bb2 1, B2 7, C3 6, C#3 5, D3 4, Eb3 3, E3 2, F3 1, Bb3 1, D4 1"
)


@pytest.mark.parametrize("entry", TRUMPET_CHART.split(", "))
def test_valves_are_those_of_the_chart(entry):
    name, fingering = entry.split()
    assert valves(parse_pitch(name)) == LOWERED[fingering]


@pytest.mark.parametrize("entry", TROMBONE_CHART.split(", "))
def test_slide_positions_are_those_of_the_chart(entry):
    name, position = entry.split()
    assert valves(parse_pitch(name), _SLIDE_SERIES) == int(position) - 1


@pytest.mark.parametrize(
    ("name", "pair", "beats", "words"),
    [
        ("clarinet", "Bb4 B4", 0.25, "over the break"),
        ("clarinet", "A4 D5", 0.25, "over the break"),
        ("clarinet", "Bb4 B4", 0.5, None),
        ("clarinet", "C5 D5", 0.25, None),
        ("alto sax", "Bb3 C#4", 0.25, "little finger"),
        ("alto sax", "C4 D4", 0.25, None),
        ("trumpet", "C4 C5", 0.25, "same valves"),
        ("trumpet", "C4 B4", 0.25, None),
        ("trombone", "B2 Bb2", 0.25, "slide"),
        ("trombone", "A2 Bb2", 0.25, None),
        ("violin", "G3 E5", 0.25, "a string passed over"),
        ("violin", "G3 A4", 0.25, None),
        ("oboe", "Bb4 B4", 0.25, None),
    ],
)
def test_what_is_awkward_is_so_only_when_it_is_quick(name, pair, beats, words):
    """At 120 a sixteenth, 0.25 of a beat, lasts 0.125 s and an eighth 0.25 s."""
    instrument = find_instrument(name)
    notes = [Note(beats * i, beats, instrument.to_sounding(parse_pitch(p))) for i, p in enumerate(pair.split())]
    found = finger_remarks(notes, GRID, instrument)
    assert [words in r.sentence for r in found] == ([True] if words else [])


@pytest.mark.parametrize(
    ("name", "bpm", "fast"),
    [
        ("trombone", 100, False),
        ("trombone", 120, True),
        ("trumpet", 120, False),
        ("trumpet", 160, True),
        ("flute", 160, False),
    ],
)
def test_a_run_of_sixteenths_has_a_speed(name, bpm, fast):
    """Sixteenths: 6.7 a second at 100, 8 at 120, 10.7 at 160."""
    instrument = find_instrument(name)
    pitch = instrument.to_sounding((instrument.comfortable_low + instrument.comfortable_high) // 2)
    notes = [Note(0.25 * i, 0.25, pitch + 2 * (i % 2)) for i in range(12)]
    found = finger_remarks(notes, Grid.steady(bpm, 0.0, Meter()), instrument)
    assert [r.numbers.get("notes_a_second") for r in found] == ([pytest.approx(bpm / 15)] if fast else [])


def test_weak_notes_are_named_where_they_are_held():
    clarinet = find_instrument("clarinet")
    throat = clarinet.to_sounding(parse_pitch("G#4"))
    (remark,) = weak_remarks([Note(0.0, 2.0, throat), Note(2.0, 0.5, throat)], GRID, clarinet)
    assert remark.sentence == "Bar 1: written Ab4 on Clarinet in Bb: throat notes, pale beside their neighbours."
    assert weak_remarks([Note(0.0, 0.5, throat)], GRID, clarinet) == []
