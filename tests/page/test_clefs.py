"""Clef changes, tempo marks, cues, and the score in concert pitch; music21 says what each sounds like."""

from __future__ import annotations

import warnings
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import music21
import pytest
import xmlschema

from obbligato.listen.songmap import SongMap, TempoChange
from obbligato.music.instruments import INSTRUMENTS, Instrument, find_instrument
from obbligato.music.line import Line, Note, Phrase
from obbligato.music.spans import SungWords
from obbligato.music.spelling import Spelling
from obbligato.page.clefs import ledger_lines
from obbligato.page.musicxml import part_musicxml
from obbligato.page.part_make import make_part
from obbligato.page.part_score import Heading


def line_of(*phrases: tuple[int, list[int]]) -> Line:
    """A phrase from each bar on, a note on every beat (a bar has four)."""
    notes = [Note(4.0 * (bar - 1) + i, 1.0, pitch) for bar, pitches in phrases for i, pitch in enumerate(pitches)]
    spans, first = [], 0
    for index, (_, pitches) in enumerate(phrases):
        spans.append(Phrase(index, first, first + len(pitches) - 1))
        first += len(pitches)
    return Line(tuple(notes), tuple(spans))


def sounding(text: str) -> list[int]:
    part: Any = music21.converter.parseData(text, format="musicxml").parts[0]
    notes = [n for n in part.toSoundingPitch().flatten().notes if n.isNote]
    return [n.pitch.midi for n in notes if n.tie is None or n.tie.type == "start"]


@pytest.mark.parametrize("clef", ["treble", "bass", "alto", "tenor"])
def test_ledger_lines_by_music21(clef: Any) -> None:
    lowest = getattr(music21.clef, f"{clef.capitalize()}Clef")().lowestLine
    for step in range(20, 45):
        pitch = music21.pitch.Pitch()
        pitch.diatonicNoteNum = step
        # Every second step beyond the lines, which are eight steps apart, needs one more line.
        expected = max(0, (lowest - step) // 2, (step - lowest - 8) // 2)
        assert ledger_lines(Spelling(pitch.step, 0, pitch.octave), clef) == expected


LOW, HIGH, HIGHER = [45, 48, 50, 52] * 3, [64, 65, 67, 65] * 4, [72, 74, 76, 77] * 4


def test_a_high_passage_is_read_in_the_next_clef_and_sounds_the_same(song: SongMap, heading: Heading) -> None:
    line = line_of((2, LOW), (8, HIGH), (14, LOW), (19, HIGHER))
    part = make_part(line, song, find_instrument("cello"), heading)
    assert part.instrument.clef == "bass"
    assert [(bar.number, bar.clef) for bar in part.bars if bar.clef] == [(8, "tenor"), (14, "bass"), (19, "treble")]
    text = part_musicxml(part)
    assert sounding(text) == [note.pitch for note in line.notes]
    read: Any = music21.converter.parseData(text, format="musicxml").parts[0]
    clefs = [(c.measureNumber, c.sign, c.line) for c in read.recurse().getElementsByClass("Clef")]
    assert clefs == [(1, "F", 4), (8, "C", 4), (14, "F", 4), (19, "G", 2)]


def test_two_high_notes_change_nothing(song: SongMap, heading: Heading) -> None:
    part = make_part(line_of((2, [*LOW, 64, 65, 52, 50])), song, find_instrument("cello"), heading)
    assert not any(bar.clef for bar in part.bars)


def test_a_part_that_is_high_from_the_start_begins_so(song: SongMap, heading: Heading) -> None:
    part = make_part(line_of((6, HIGH)), song, find_instrument("bassoon"), heading)
    assert part.instrument.clef == "tenor"
    assert not any(bar.clef for bar in part.bars)


def test_a_flugelhorn_reads_one_clef(song: SongMap, heading: Heading) -> None:
    part = make_part(line_of((2, [54] * 16), (8, HIGHER)), song, find_instrument("flugelhorn"), heading)
    assert not any(bar.clef for bar in part.bars)


@pytest.fixture(scope="module")
def schema() -> xmlschema.XMLSchema:
    spec = find_spec("musicxml")
    assert spec is not None
    assert spec.origin is not None
    folder = Path(spec.origin).parent / "generate_classes"
    return xmlschema.XMLSchema(folder / "musicxml_4_0.xsd", allow="local", validation="lax")


@pytest.mark.parametrize("instrument", INSTRUMENTS, ids=lambda instrument: instrument.name)
def test_a_concert_score_is_one_by_the_standard(
    instrument: Instrument, song: SongMap, heading: Heading, schema: xmlschema.XMLSchema
) -> None:
    # MusicXML 4.0, concert-score: no transpose with a diatonic or chromatic part; for-part says the player's.
    middle = instrument.to_sounding((instrument.comfortable_low + instrument.comfortable_high) // 2)
    line = line_of((2, [middle + step for step in (0, 2, 4, 5, 7, 5, 4, 2)]))
    text = part_musicxml(make_part(line, song, instrument, heading, concert=True))
    root = ET.fromstring(text)
    schema.validate(root)
    assert root.find("defaults/concert-score") is not None
    for tag in ("diatonic", "chromatic"):
        assert all(element.text == "0" for element in root.findall(f".//transpose/{tag}"))
    assert sounding(text) == [note.pitch for note in line.notes]
    stated = root.find(".//for-part/part-transpose")
    if instrument.transposition.chromatic:
        assert stated is not None
        values = [int(stated.findtext(tag, "0")) for tag in ("diatonic", "chromatic", "octave-change")]
        interval = instrument.transposition
        assert values == [interval.diatonic, interval.chromatic, interval.octaves]
    else:
        assert stated is None


@pytest.mark.parametrize("name", ["flute", "clarinet in a", "alto sax", "horn", "viola", "trombone"])
def test_partitura_reads_the_same_sounding_pitches(
    name: str, song: SongMap, heading: Heading, tmp_path: Path
) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its own, on import and on what it leaves out
        import partitura

        instrument = find_instrument(name)
        middle = instrument.to_sounding((instrument.comfortable_low + instrument.comfortable_high) // 2)
        line = line_of((2, [middle + step for step in (0, 1, 4, 5, 7, 6, 4, 2)]), (9, [middle - 3, middle + 9]))
        file = tmp_path / "part.musicxml"
        file.write_text(part_musicxml(make_part(line, song, instrument, heading)), encoding="utf-8")
        part = partitura.load_musicxml(file)[0]
    moves = [move.chromatic for move in part.iter_all(partitura.score.Transposition)]
    assert moves == ([instrument.transposition.chromatic] if instrument.transposition.chromatic else [])
    assert [note.midi_pitch + sum(moves) for note in part.notes_tied] == [note.pitch for note in line.notes]


def test_a_low_saxophone_has_one_low_clef_in_the_score(song: SongMap, heading: Heading) -> None:
    line = line_of((2, [43, 45, 47, 48] * 3), (9, [60, 62, 64, 65]))
    score = make_part(line, song, find_instrument("baritone sax"), heading, concert=True)
    assert score.instrument.clef == "bass"
    assert not any(bar.clef for bar in score.bars)
    assert score.reading == "Score in concert pitch: it sounds as written."
    assert score.first_note == (
        "The first note is G2; the player's part is written an octave and a major sixth higher."
    )


def test_tempo_marks_stand_where_listeners_notice_a_change(song: SongMap, heading: Heading) -> None:
    # Bars are four seconds long. 1 % at bar 5 is followed by ear, 10 % at bar 9 is marked (6 % is noticed at once:
    # Drake and Botte 1993); from bar 17 on three changes in a row are one rit.
    tempi = {1: 60.0, 5: 60.6, 9: 66.0, 17: 60.0, 19: 54.0, 21: 48.0}
    changes = tuple(TempoChange(4.5 + 4.0 * (bar - 1), bpm) for bar, bpm in tempi.items())
    moving = replace(song, tempo=replace(song.tempo, steady=False, changes=changes))
    line = line_of((6, [62, 64, 65, 67]), (20, [62, 64, 65, 67]))
    part = make_part(line, moving, find_instrument("flugelhorn"), heading)
    marks = {bar.number: bar.tempo for bar in part.bars if bar.tempo}
    assert marks == {9: (66.0, ""), 17: (None, "rit."), 21: (48.0, "")}
    # A mark is never lost inside a long rest.
    assert all(bar.number + rest <= 9 or bar.number >= 9 for bar in part.bars if (rest := bar.rest_bars))
    text = part_musicxml(part)
    assert "<words>rit.</words>" in text
    assert "<per-minute>ca. 66</per-minute>" in text


def test_the_words_before_an_entry_are_its_cue(song: SongMap, heading: Heading) -> None:
    line = line_of((8, [67, 68, 70]), (13, [63, 65, 67, 68]), (15, [70]))
    words = (
        SungWords(4.5 + 4.0 * 5, "Cold light"),  # bar 6
        SungWords(4.5 + 4.0 * 10, "and nobody told me where the ferry had gone"),  # bar 11
        SungWords(4.5 + 4.0 * 13, "not a cue"),  # bar 14, one bar between two phrases
    )
    part = make_part(line, song, find_instrument("flugelhorn"), heading, words=words)
    cues = {bar.number: bar.cue for bar in part.bars if bar.cue}
    assert cues == {7: "“Cold light”", 12: "“… the ferry had gone”"}
    assert "“Cold light”" in part_musicxml(part)


@pytest.mark.parametrize(("signature", "feel"), [("quarter", "Straight"), ("dotted quarter", "")])
def test_straight_is_said_where_it_makes_a_difference(
    song: SongMap, heading: Heading, signature: str, feel: str
) -> None:
    halves = [Note(4.0 + i / 2, 0.5, 65 + i % 3) for i in range(16)]
    line = Line(tuple(halves), (Phrase(0, 0, 15),))
    counted = replace(song, meter=replace(song.meter, beat_unit=signature))
    assert make_part(line, counted, find_instrument("flute"), heading).feel == feel
    plain = line_of((2, [65, 67, 69, 70]))
    assert make_part(plain, counted, find_instrument("flute"), heading).feel == ""
