"""Breath by worked examples of the trade: common practice, no source; and ways out that must pass the check again."""

from dataclasses import replace

import pytest

from obbligato.job.line_editing import apply_edit
from obbligato.music.breath import RESERVE, breath_remarks, read_tank
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Note

GRID = Grid.steady(60, 0.0, Meter())


# Comfortable phrases at mezzo-forte in seconds: common practice, no source.
@pytest.mark.parametrize(
    ("name", "shortest", "longest"),
    [
        ("flute", 5, 7),
        ("trombone", 5, 7),
        ("trumpet", 7, 9),
        ("horn in F", 7, 9),
        ("alto sax", 7, 9),
        ("tenor sax", 7, 9),
        ("clarinet", 9, 12),
        ("oboe", 12, 20),
        ("tuba", 4, 6),
    ],
)
@pytest.mark.parametrize(("velocity", "times"), [(80, 1.0), (112, 0.5)], ids=["mf", "ff"])
def test_a_comfortable_phrase_is_as_long_as_the_trade_says_and_half_that_at_fortissimo(
    name, shortest, longest, velocity, times
):
    instrument = find_instrument(name)
    # High enough that the bottom of the range costs nothing more.
    pitch = instrument.to_sounding((instrument.low + instrument.high) // 2 + 1)
    for length_s, comfortable in ((shortest * times, True), (longest * times + 0.1, False)):
        (reading,) = read_tank([Note(0.0, length_s, pitch, velocity)], GRID, instrument)
        assert (reading.left >= 0.0) == comfortable


# An eighth rest lasts 0.25 s at 120 and 0.19 s at 160; a snatched breath takes 0.3 s, a normal one 0.5 to 0.8 s, a
# full one a second: common practice, no source; the rest is arithmetic.
@pytest.mark.parametrize(
    ("bpm", "rest_beats", "breathed"),
    [
        (120, 0.5, 0.0),
        (160, 0.5, 0.0),
        (60, 0.5, 0.5),
        (100, 0.5, 0.3),
        (120, 1.0, 0.5),
        (120, 2.0, 1.0),
        (60, 4.0, 1.0),
    ],
)
def test_a_rest_is_a_breath_by_its_seconds_not_by_its_note_value(bpm, rest_beats, breathed):
    notes = [Note(0.0, 2.0, 67), Note(2.0 + rest_beats, 2.0, 67)]
    readings = read_tank(notes, Grid.steady(bpm, 0.0, Meter()), find_instrument("flugelhorn"))
    assert readings[1].breathed == pytest.approx(breathed)


def steps(count, beats, *, velocity=80, start=0.0, pitch=67):
    return tuple(Note(start + beats * i, beats, pitch + (0, 2, 4, 5)[i % 4], velocity) for i in range(count))


IMPOSSIBLE = {
    "quarters that never stop": steps(20, 1.0),
    "eighths that never stop": steps(48, 0.5),
    "half notes": steps(8, 2.0),
    "loud": steps(12, 1.0, velocity=112),
    "one note": (Note(0.0, 16.0, 67),),
    "after a good phrase": (*steps(4, 1.0), *steps(20, 1.0, start=8.0)),
    "phrases in a row": tuple(Note(7.4 * i, 7.0, 70) for i in range(6)),
    "very long": steps(40, 1.0),
    "off the beat": tuple(
        replace(note, onset_beat=note.onset_beat + 0.013 * (i % 3)) for i, note in enumerate(steps(20, 1.0))
    ),
}


@pytest.mark.parametrize("notes", IMPOSSIBLE.values(), ids=IMPOSSIBLE.keys())
@pytest.mark.parametrize("name", ["flugelhorn", "flute", "tuba", "alto sax"])
def test_what_cannot_be_breathed_is_caught_at_its_note_and_each_way_out_cures_it(notes, name):
    instrument = find_instrument(name)
    notes = tuple(replace(note, pitch=note.pitch - (30 if name == "tuba" else 0)) for note in notes)
    left = [reading.left for reading in read_tank(notes, GRID, instrument)]
    failing = [i for i, air in enumerate(left) if air < -RESERVE]
    serious = [r for r in breath_remarks(notes, GRID, instrument) if r.severity == "stop"]
    assert bool(serious) == bool(failing)
    for remark in serious:
        assert remark.note in failing
        assert remark.fixes
        assert remark.note - 1 not in failing or read_tank(notes, GRID, instrument)[remark.note].breathed
        for fix in remark.fixes:
            edited = notes
            for edit in fix.edit.split(";"):
                edited = apply_edit(edited, edit.strip(), GRID, instrument)
            before = {notes[i].onset_beat for i in failing}
            after = read_tank(edited, GRID, instrument)
            still = {note.onset_beat for note, r in zip(edited, after, strict=True) if r.left < -RESERVE}
            assert notes[remark.note].onset_beat not in still
            assert still < before


def test_two_ways_out_are_found_for_an_ordinary_phrase_too_long():
    """20 s of quarters on the flugelhorn, whose tank and reserve are 10.5 s: the air is gone on the eleventh note."""
    (remark,) = breath_remarks(steps(20, 1.0, pitch=74), GRID, find_instrument("flugelhorn"))
    assert remark.note == 10
    assert "runs out on the written Ab5 of bar 3 beat 3" in remark.sentence
    assert len(remark.fixes) == 2
    assert all(fix.words in remark.sentence for fix in remark.fixes)
