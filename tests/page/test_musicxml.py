"""MusicXML read back by music21, an independent reader, and validated by the schema of MusicXML 4.0."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import music21
import pytest
import xmlschema

from obbligato.errors import InputError
from obbligato.music.grid import Meter
from obbligato.music.instruments import Interval, find_instrument
from obbligato.music.spelling import Spelling
from obbligato.page.musicxml import chord_parts, part_musicxml
from obbligato.page.musicxml_notes import Accidentals, beam_levels, note_value
from obbligato.page.part_score import Part, ScoreNote, interval_words


def read_back(text: str) -> Any:
    return music21.converter.parseData(text, format="musicxml").parts[0]


@pytest.fixture(scope="module")
def parsed(page: Part) -> Any:
    return read_back(part_musicxml(page))


def test_sounding_pitches_by_music21(page: Part, parsed: Any) -> None:
    # Written by hand from the page: a flugelhorn in Bb sounds a major second below what it reads.
    sounding = [
        n.pitch.nameWithOctave.replace("-", "b") for n in parsed.toSoundingPitch().flatten().notes if n.isNote
    ]
    run = ["Eb4", "F4", "Ab4"]
    assert sounding == ["D4", *run, "Bb4", "Bb4", "Bb4", "E4", "Eb4", "E5", *run, "F5"]


def test_every_bar_is_full(page: Part, parsed: Any) -> None:
    lengths: dict[int, Fraction] = defaultdict(Fraction)
    for measure in parsed.getElementsByClass("Measure"):
        for element in measure.notesAndRests:
            if not isinstance(element, music21.harmony.Harmony):
                lengths[measure.number] += Fraction(element.quarterLength)
    assert lengths == {bar.number: page.meter.bar_quarters for bar in page.bars}


def test_signatures_tempo_and_marks(parsed: Any) -> None:
    keys = [(k.measureNumber, k.sharps) for k in parsed.recurse().getElementsByClass("KeySignature")]
    assert keys == [(0, -1), (9, 1)]
    (time,) = parsed.flatten().getElementsByClass("TimeSignature")
    assert time.ratioString == "12/8"
    (tempo,) = parsed.flatten().getElementsByClass("MetronomeMark")
    assert (tempo.referent.quarterLength, tempo.number) == (1.5, 58.5)
    letters = [(m.content, m.measureNumber) for m in parsed.recurse().getElementsByClass("RehearsalMark")]
    assert letters == [("A", 1), ("B", 9)]


def test_chords_by_music21(parsed: Any) -> None:
    chords = [c for c in parsed.flatten().getElementsByClass("Harmony") if not isinstance(c, music21.harmony.NoChord)]
    named = [(c.measureNumber, c.root().name, c.chordKind, c.bass().name) for c in chords]
    assert named[:2] == [(1, "F", "major-seventh", "F"), (1, "D", "half-diminished-seventh", "A-")]
    assert named[-1] == (8, "D", "dominant-seventh", "D")
    assert [float(c.offset % 6) for c in chords[:2]] == [0.0, 3.0]


def test_ties_and_tuplets_by_music21(parsed: Any) -> None:
    joined = parsed.stripTies().flatten().getElementsByClass("Note")
    assert [float(n.quarterLength) for n in joined][:5] == [1.5, 0.5, 0.5, 0.5, 6.0]
    duplets = [n for n in parsed.flatten().getElementsByClass("Note") if n.duration.tuplets]
    assert [n.duration.tuplets[0].tupletActual[0] for n in duplets] == [2, 2]


@pytest.fixture(scope="module")
def schema() -> xmlschema.XMLSchema:
    """The MusicXML 4.0 schema of the W3C Music Notation Community Group, as it comes with the package `musicxml`."""
    spec = find_spec("musicxml")
    assert spec is not None
    assert spec.origin is not None
    return xmlschema.XMLSchema(
        Path(spec.origin).parent / "generate_classes" / "musicxml_4_0.xsd", allow="local", validation="lax"
    )


def test_valid_musicxml_4(page: Part, schema: xmlschema.XMLSchema) -> None:
    schema.validate(ET.fromstring(part_musicxml(page, row_starts=(1, 9))))


def test_the_schema_refuses_what_is_not_musicxml(page: Part, schema: xmlschema.XMLSchema) -> None:
    root = ET.fromstring(part_musicxml(page))
    part = root.find("part")
    assert part is not None
    part[0].append(ET.Element("bar"))
    assert not schema.is_valid(root)


@pytest.mark.parametrize(
    ("clef", "interval", "written", "in_file"),
    [
        # MusicXML 4.0, clef-octave-change: a treble clef with an 8 below shows notes an octave above <octave>.
        ("treble8vb", Interval(octaves=-1), 4, 3),
        ("bass", Interval(octaves=-1), 3, 3),
        ("treble", Interval(-5, -9, -1), 5, 5),
    ],
)
def test_octaves_of_clef_and_transposition(
    page: Part, clef: Any, interval: Interval, written: int, in_file: int
) -> None:
    instrument = replace(find_instrument("guitar"), transposition=interval, clef=clef)
    bar = replace(page.bars[-1], number=1, notes=(ScoreNote(Fraction(0), Fraction(6), Spelling("G", 0, written)),))
    part = read_back(part_musicxml(replace(page, instrument=instrument, bars=(bar,))))
    (shown,) = part.flatten().getElementsByClass("Note")
    assert shown.pitch.octave == in_file
    (sounding,) = part.toSoundingPitch().flatten().getElementsByClass("Note")
    assert sounding.pitch.midi == 12 * (written + 1) + 7 + interval.semitones


@pytest.mark.parametrize("semitones", [*range(-24, 0), *range(1, 25)])
def test_interval_words_by_music21(semitones: int) -> None:
    names = {12: "an octave", 24: "2 octaves"}
    octaves, rest = divmod(abs(semitones), 12)
    simple = music21.interval.Interval(rest).niceName.lower().replace("diminished fifth", "augmented fourth")
    words = interval_words(semitones)
    assert rest == 0 or simple in words
    assert octaves == 0 or names[12 * octaves] in words
    assert ("lower" in words, "higher" in words) == (semitones < 0, semitones > 0)


def test_no_note_has_an_impossible_length() -> None:
    with pytest.raises(InputError, match="split it into tied notes"):
        note_value(Fraction(5, 2))


@pytest.mark.parametrize("name", ["C", "Bb", "F#m7", "Ebmaj7/G", "Bb5", "A7/C#", "Dm7b5", "Bdim7", "Ab6"])
def test_chord_symbols_by_music21(name: str) -> None:
    # Roots and basses as music21 reads the same symbol in its own notation (a flat is "-" there).
    root, _, bass = chord_parts(name)
    symbol = name[0] + name[1:].replace("b", "-", 1) if name[1:2] == "b" else name
    own = music21.harmony.ChordSymbol(symbol.replace("B-5", "B-power"))
    assert own.root().name.replace("-", "b") == root
    assert own.bass().name.replace("-", "b") == (bass or root)


def signs(fifths: int, bars: list[str]) -> list[list[str | None]]:
    state = Accidentals(fifths)
    result = []
    for bar in bars:
        row = []
        for word in bar.split():
            tied, name = word.startswith("~"), word.removeprefix("~")
            pitch = Spelling(name[0], name.count("#") - name.count("b"), int(name[-1]))
            row.append(state.sign(ScoreNote(Fraction(0), Fraction(1), pitch, tied_from_before=tied)))
        state.next_bar()
        result.append(row)
    return result


def test_accidentals_follow_the_handbooks() -> None:
    # Common practice (any handbook of engraving), no single source.
    sharp, flat, natural = "sharp", "flat", "natural"
    assert signs(0, ["F#4 F#4 F4"]) == [[sharp, None, natural]]
    assert signs(-1, ["Bb4 B4 Bb4"]) == [[None, natural, flat]]
    assert signs(0, ["F#4", "F4 F4"]) == [[sharp], [natural, None]]  # a reminder in the next bar, once
    assert signs(0, ["F#4 F5"]) == [[sharp, natural]]  # and in another octave
    assert signs(0, ["F#4", "~F#4 F#4"]) == [[sharp], [None, sharp]]  # a tie does not carry the accidental on
    assert signs(2, ["F#4 C#5"]) == [[None, None]]


def test_beams_show_the_beats(page: Part) -> None:
    # Threes in 12/8, pairs of beats in 4/4 for plain eighths; common practice, no source.
    run = [ScoreNote(Fraction(i, 2), Fraction(1, 2), Spelling("G", 0, 4)) for i in range(12)]
    assert beam_levels(run, page.meter) == [("begin",), ("continue",), ("end",)] * 4
    four = beam_levels(run[:8], Meter(4))
    assert four == [("begin",), ("continue",), ("continue",), ("end",)] * 2
    three = beam_levels(run[:6], Meter(3))
    assert three == [("begin",), ("end",)] * 3


@pytest.mark.parametrize(
    ("signature", "groups"), [("5/8", [2, 3]), ("7/8", [2, 2, 3]), ("6/8", [3, 3]), ("9/8", [3, 3, 3])]
)
def test_eighths_are_beamed_in_the_groups_of_the_metre(signature: str, groups: list[int]) -> None:
    """Common practice, no source; where five and seven divide is a choice."""
    notes = [ScoreNote(Fraction(i, 2), Fraction(1, 2), Spelling("C", 0, 5)) for i in range(sum(groups))]
    expected = [("begin",), *[("continue",)] * 20]
    wanted = [(*expected[: n - 1], ("end",)) for n in groups]
    assert beam_levels(notes, Meter.from_signature(signature)) == [state for group in wanted for state in group]


def test_beam_hooks() -> None:
    lengths = [Fraction(3, 4), Fraction(1, 4), Fraction(1, 4), Fraction(3, 4)]
    onsets = [sum(lengths[:i], Fraction(0)) for i in range(4)]
    notes = [ScoreNote(o, q, Spelling("G", 0, 4)) for o, q in zip(onsets, lengths, strict=True)]
    assert beam_levels(notes, Meter()) == [("begin",), ("end", "backward hook"), ("begin", "forward hook"), ("end",)]
