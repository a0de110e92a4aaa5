"""Marks on the page, as music21 and partitura, two independent readers, find them in the MusicXML."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import music21
import pytest
import xmlschema

from obbligato.listen.songmap import SongMap
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.marking import put
from obbligato.music.marks import SIGNS
from obbligato.page.engrave import engrave
from obbligato.page.located import stretch
from obbligato.page.musicxml import part_musicxml
from obbligato.page.part_make import make_part
from obbligato.page.part_score import Heading, Part
from obbligato.page.score_marks import ScoreMarks, closed_marks

VIOLIN = find_instrument("violin")
MARKS = (
    (0, 0, "mf"),
    (0, 3, "slur"),
    (1, 1, "tenuto"),
    (4, 4, "staccato"),
    (5, 5, "accent"),
    (6, 6, "breath"),
    (7, 9, "crescendo"),
    (10, 10, "ff"),
    (10, 11, "slur"),
    (11, 11, "diminuendo"),
)


def line_of(marks: Any = MARKS) -> Line:
    """Twelve notes of two beats from bar 1 on; the seventh has three, so that it is written as tied notes."""
    notes: tuple[Note, ...] = tuple(Note(2.0 * i, 1.96, 67 + i % 5) for i in range(12))
    notes = (*notes[:6], Note(13.0, 2.96, 72), *(replace(n, onset_beat=n.onset_beat + 2.0) for n in notes[7:]))
    for first, last, mark in marks:
        notes = put(notes, range(first, last + 1), mark)
    return Line(notes, (Phrase(0, 0, 11),))


@pytest.fixture(scope="module")
def part(song: SongMap, heading: Heading) -> Part:
    return make_part(line_of(), song, VIOLIN, heading)


@pytest.fixture(scope="module")
def parsed(part: Part) -> Any:
    return music21.converter.parseData(part_musicxml(part), format="musicxml").parts[0]


def place(element: Any, stream: Any) -> float:
    """In dotted quarters from bar 1."""
    return float(element.getOffsetInHierarchy(stream)) / 1.5


def test_articulations_by_music21(parsed: Any) -> None:
    found = [
        (place(n, parsed), a.name)
        for n in parsed.recurse().notes
        if n.isNote
        for a in n.articulations
        if not isinstance(a, music21.articulations.BreathMark)
    ]
    assert found == [(2.0, "tenuto"), (8.0, "staccato"), (10.0, "accent")]


def test_the_breath_stands_after_the_last_of_the_tied_notes_by_music21(parsed: Any) -> None:
    (held,) = [
        n
        for n in parsed.recurse().notes
        if n.isNote and any(isinstance(a, music21.articulations.BreathMark) for a in n.articulations)
    ]
    assert held.tie.type == "stop"
    assert place(held, parsed) + held.quarterLength / 1.5 == 16.0


def test_slurs_by_music21(parsed: Any) -> None:
    slurs = parsed.recurse().getElementsByClass("Slur")
    assert [(place(s.getFirst(), parsed), place(s.getLast(), parsed)) for s in slurs] == [(0.0, 6.0), (22.0, 24.0)]


def test_dynamics_by_music21(parsed: Any) -> None:
    dynamics = parsed.recurse().getElementsByClass("Dynamic")
    assert [(place(d, parsed), d.value) for d in dynamics] == [(0.0, "mf"), (22.0, "ff")]


def test_hairpins_by_music21(parsed: Any) -> None:
    wedges = parsed.recurse().getElementsByClass("DynamicWedge")
    found = [(type(w).__name__, place(w.getFirst(), parsed), place(w.getLast(), parsed)) for w in wedges]
    assert [(name, first) for name, first, _ in found] == [("Crescendo", 16.0), ("Diminuendo", 24.0)]
    assert [last for _, _, last in found] == [20.0, 24.0]


@pytest.mark.filterwarnings("ignore")
def test_slurs_articulations_and_dynamics_by_partitura(part: Part) -> None:
    import partitura

    with tempfile.NamedTemporaryFile("w", suffix=".musicxml") as file:
        file.write(part_musicxml(part))
        file.flush()
        read = partitura.load_musicxml(file.name)[0]
    start = read.beat_map
    notes = [note for note in read.iter_all(partitura.score.Note) if note.tie_prev is None]
    assert [n.articulations for n in notes if n.articulations] == [["tenuto"], ["staccato"], ["accent"]]
    slurs = [(notes.index(s.start_note), notes.index(s.end_note)) for s in read.iter_all(partitura.score.Slur)]
    assert slurs == [(0, 3), (10, 11)]
    levels = list(read.iter_all(partitura.score.ConstantLoudnessDirection))
    assert [(d.text, float(start(d.start.t))) for d in levels] == [
        ("mf", float(start(notes[0].start.t))),
        ("ff", float(start(notes[10].start.t))),
    ]
    loudness = partitura.score.DynamicLoudnessDirection
    swells = [(type(d).__name__, d.start.t, d.end.t) for d in read.iter_all(loudness, include_subclasses=True)]
    assert swells == [
        ("IncreasingLoudnessDirection", notes[7].start.t, notes[10].start.t),
        ("DecreasingLoudnessDirection", notes[11].start.t, notes[11].end.t),
    ]


@pytest.fixture(scope="module")
def schema() -> xmlschema.XMLSchema:
    """The MusicXML 4.0 schema of the W3C Music Notation Community Group, as it comes with the package `musicxml`."""
    spec = find_spec("musicxml")
    assert spec is not None
    assert spec.origin is not None
    return xmlschema.XMLSchema(
        Path(spec.origin).parent / "generate_classes" / "musicxml_4_0.xsd", allow="local", validation="lax"
    )


def test_every_mark_is_valid_musicxml_4_and_is_drawn(
    song: SongMap, heading: Heading, schema: xmlschema.XMLSchema
) -> None:
    for mark in SIGNS:
        part = make_part(line_of([(2, 2, mark)]), song, VIOLIN, heading)
        text = part_musicxml(part)
        schema.validate(ET.fromstring(text))
        assert 'class="artic' in engrave(text, width_mm=900.0)[0].svg, mark
    schema.validate(ET.fromstring(part_musicxml(make_part(line_of(), song, VIOLIN, heading))))


def test_nothing_is_marked_that_nobody_marked(song: SongMap, heading: Heading) -> None:
    text = part_musicxml(make_part(line_of([]), song, VIOLIN, heading))
    assert not any(f"<{tag}" in text for tag in ("slur", "dynamics", "wedge", "articulations", "technical"))


@pytest.mark.parametrize(("first", "last"), [(1, 1), (1, 2), (2, 6), (4, 12), (6, 6), (11, 12), (10, 12)])
def test_a_stretch_closes_what_reaches_out_of_it(part: Part, first: int, last: int) -> None:
    cut = stretch(part, first, last)
    marks = [note.marks for bar in cut.bars for note in bar.notes if note.pitch]
    for begins, ends in (("slur_starts", "slur_stops"), ("swell_starts", "swell_stops")):
        is_open = False
        for mark in marks:
            # A slur ends before the next begins on the same note; a hairpin may begin and end on one.
            steps = [(begins, True), (ends, False)] if begins == "swell_starts" else [(ends, False), (begins, True)]
            for name, opens in steps:
                if getattr(mark, name):
                    assert is_open != opens
                    is_open = opens
        assert not is_open


def test_a_slur_cut_down_to_one_note_is_left_out() -> None:
    starts, stops = ScoreMarks(slur_starts=True), ScoreMarks(slur_stops=True)
    assert closed_marks([ScoreMarks(), starts]) == (ScoreMarks(), ScoreMarks())
    assert closed_marks([stops, ScoreMarks()]) == (ScoreMarks(), ScoreMarks())
    assert closed_marks([ScoreMarks(), stops]) == (starts, stops)
    assert closed_marks([starts, ScoreMarks()]) == (starts, stops)
    assert closed_marks([ScoreMarks(), ScoreMarks(swell_stops="crescendo")]) == (
        ScoreMarks(swell_starts="crescendo"),
        ScoreMarks(swell_stops="crescendo"),
    )


def test_bars_stay_full_beside_marks(parsed: Any, part: Part) -> None:
    for measure in parsed.getElementsByClass("Measure"):
        lengths = [n.quarterLength for n in measure.notesAndRests if not isinstance(n, music21.harmony.Harmony)]
        assert sum(map(Fraction, lengths)) == part.meter.bar_quarters


def test_notes_held_short_by_habit_have_a_dot_unless_their_own_marks_say_how_long(
    song: SongMap, heading: Heading
) -> None:
    """Beats of a dotted quarter held for half their length, one with a line over it; as music21 reads them."""
    notes = tuple(Note(float(i), 0.5, 67 + i % 5) for i in range(16))
    line = Line(put(notes, range(3, 4), "tenuto"), (Phrase(0, 0, 15),))
    xml = part_musicxml(make_part(line, song, VIOLIN, heading))
    read = [n for n in music21.converter.parseData(xml, format="musicxml").parts[0].flatten().notes if n.isNote]
    dots = [any(isinstance(a, music21.articulations.Staccato) for a in n.articulations) for n in read]
    assert [n.quarterLength for n in read[:8]] == [1.5] * 8
    assert dots.index(False) == 3
    assert sum(dots) >= 14
