"""Laying out the page: which bar holds what; music21 says whether the page sounds as the line does."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import music21
import pytest

from obbligato.listen.songmap import SongMap
from obbligato.music.instruments import find_instrument
from obbligato.music.line import Line, Note, Phrase
from obbligato.page.chart import chart_bars
from obbligato.page.musicxml import part_musicxml
from obbligato.page.part_make import make_part
from obbligato.page.part_score import Heading, Part, WrittenKey

THIRD = 1.0 / 3.0


def phrase_of(start_bar: int, pitches: list[int], *, length: float = 1.0) -> list[Note]:
    """Notes one after the other from beat 1 of a bar, each `length` beats long."""
    start = 4.0 * (start_bar - 1)
    return [Note(start + i * length, length, pitch) for i, pitch in enumerate(pitches)]


def line_of(*phrases: list[Note]) -> Line:
    notes = tuple(note for phrase in phrases for note in phrase)
    spans, first = [], 0
    for index, phrase in enumerate(phrases):
        spans.append(Phrase(index, first, first + len(phrase) - 1))
        first += len(phrase)
    return Line(notes, tuple(spans))


@pytest.fixture(scope="module")
def line() -> Line:
    """An answer in bar 8, a phrase over bars 13 and 14, one right behind it, and one in the new key."""
    return line_of(
        phrase_of(8, [67, 68, 70], length=1.0),
        phrase_of(13, [63, 65, 67, 68, 70, 72, 74, 75]),
        phrase_of(15, [74, 72, 70, 68, 67, 65, 63, 62, 60, 62, 63, 65], length=THIRD),
        phrase_of(20, [65, 69, 72, 76]),
    )


@pytest.fixture(scope="module")
def part(line: Line, song: SongMap, heading: Heading) -> Part:
    return make_part(line, song, find_instrument("flugelhorn"), heading)


def test_bars_are_the_songs(part: Part, song: SongMap) -> None:
    assert [bar.number for bar in part.bars] == list(range(1, 25))
    letters = {bar.number: bar.rehearsal for bar in part.bars if bar.rehearsal}
    assert letters == {bar.number: bar.section for bar in chart_bars(song) if bar.section}


def test_rests_stop_at_sections_keys_and_entries(part: Part) -> None:
    # Sections begin in bars 1, 5, 13 and 17; notes lie in bars 8, 13, 14, 15 and 20.
    rests = {bar.number: bar.rest_bars for bar in part.bars if bar.rest_bars}
    assert rests == {1: 4, 5: 2, 9: 3, 17: 2, 21: 4}


def test_written_keys_are_a_tone_higher(part: Part) -> None:
    # Eb and F major sound; a Bb instrument reads F and G major: one flat, then one sharp.
    assert part.key == WrittenKey(-1, "major")
    assert [(bar.number, bar.key) for bar in part.bars if bar.key] == [(17, WrittenKey(1, "major"))]


def test_a_change_of_mode_alone_prints_no_signature(line: Line, song: SongMap, heading: Heading) -> None:
    relative = replace(song, keys=(song.keys[0], replace(song.keys[1], tonic="C", mode="minor")))
    part = make_part(line, relative, find_instrument("flugelhorn"), heading)
    assert not any(bar.key for bar in part.bars)


def test_a_moving_tempo_is_marked_as_about(line: Line, song: SongMap, heading: Heading) -> None:
    moving = replace(song, tempo=replace(song.tempo, steady=False))
    text = part_musicxml(make_part(line, moving, find_instrument("flugelhorn"), heading))
    assert "<per-minute>ca. 60</per-minute>" in text


def test_chords_stand_over_every_bar_outside_a_multi_bar_rest(part: Part) -> None:
    shown = {bar.number: [(chord.onset, chord.text) for chord in bar.chords] for bar in part.bars if bar.chords}
    assert sorted(shown) == [7, 8, 12, 13, 14, 15, 16, 19, 20]
    assert shown[8] == [(0, "F"), (3, "Dm7")]
    assert shown[7] == [(0, "Bbmaj7"), (3, "C7")]


def test_a_held_chord_is_named_again_only_where_a_section_begins(line: Line, song: SongMap, heading: Heading) -> None:
    held = replace(song, chords=(replace(song.chords[0], end_s=song.source.duration_s, label="Ab:maj7"),))
    part = make_part(line, held, find_instrument("flugelhorn"), heading)
    shown = {bar.number: [chord.text for chord in bar.chords] for bar in part.bars if bar.chords}
    # Bars 7, 12 and 19 follow multi-bar rests, bar 13 begins a section.
    assert shown == {number: ["Bbmaj7"] for number in (7, 12, 13, 19)}
    assert all(bar.chords == ((0, "Abmaj7"),) for bar in chart_bars(held)[1:])


def test_swing_is_a_word_above_straight_notes(song: SongMap, heading: Heading) -> None:
    common = replace(song, meter=replace(song.meter, beat_unit="quarter"))
    swung = [Note(4.0 + beat + (0.0, 2 / 3)[i], (2 / 3, 1 / 3)[i], 67 + i) for beat in range(16) for i in (0, 1)]
    part = make_part(line_of(swung), common, find_instrument("alto sax"), heading)
    assert part.feel == "Swing"
    lengths = {note.quarters for bar in part.bars for note in bar.notes if note.pitch}
    assert lengths == {Fraction(1, 2)}
    assert "<words>Swing</words>" in part_musicxml(part)


def test_a_breath_is_marked_where_no_rest_gives_one(part: Part) -> None:
    breaths = [bar.number for bar in part.bars for note in bar.notes if note.breath_after]
    assert breaths == [14]


def test_the_first_note_check(part: Part) -> None:
    assert part.first_note == "Your first written note is A4; on the guide it sounds as G4."
    assert part.lead_in == "Bar 1 is at 0:04.500 of the guide, after 4 clicks of count-in."


@pytest.mark.parametrize(
    "name", ["flugelhorn", "alto sax", "tenor sax", "baritone sax", "horn", "cello", "double bass"]
)
def test_what_is_read_sounds_as_the_line(name: str, line: Line, song: SongMap, heading: Heading) -> None:
    text = part_musicxml(make_part(line, song, find_instrument(name), heading))
    parsed: Any = music21.converter.parseData(text, format="musicxml").parts[0]
    # Not by stripTies, which takes a note with a written natural and its tied twin without one for different pitches.
    sounding = [n for n in parsed.toSoundingPitch().flatten().notes if n.isNote]
    notes = [n for n in sounding if n.tie is None or n.tie.type == "start"]
    assert [n.pitch.midi for n in notes] == [note.pitch for note in line.notes]
    # A beat is a dotted quarter; the line is played exactly in time, so its places are exact fractions.
    places = [Fraction(note.onset_beat).limit_denominator(12) * Fraction(3, 2) for note in line.notes]
    assert [Fraction(n.offset).limit_denominator(96) for n in notes] == places


@pytest.mark.parametrize(
    ("key", "sounding", "written"),
    [
        # Scales for a Bb instrument as any scale book writes them: Eb reads F, E reads F#, C melodic minor reads D.
        (("Eb", "major"), [63, 65, 67, 68, 70, 72, 74], "F4 G4 A4 Bb4 C5 D5 E5"),
        (("E", "major"), [64, 66, 68, 69, 71, 73, 75], "F#4 G#4 A#4 B4 C#5 D#5 E#5"),
        (("C", "minor"), [60, 62, 63, 65, 67, 69, 71], "D4 E4 F4 G4 A4 B4 C#5"),
    ],
)
def test_notes_are_spelled_in_the_written_key(
    song: SongMap, heading: Heading, key: tuple[str, Any], sounding: list[int], written: str
) -> None:
    keyed = replace(song, keys=(replace(song.keys[0], tonic=key[0], mode=key[1]),))
    part = make_part(line_of(phrase_of(3, sounding)), keyed, find_instrument("flugelhorn"), heading)
    notes = [note for bar in part.bars for note in bar.notes]
    assert " ".join(str(n.pitch) for n in notes if n.pitch and not n.tied_from_before) == written


def test_a_pick_up_lies_in_bar_0(song: SongMap, heading: Heading) -> None:
    early = line_of([Note(-1.0, 1.0, 70), Note(0.0, 2.0, 72)])
    part = make_part(early, song, find_instrument("trumpet"), heading)
    assert [bar.number for bar in part.bars][:2] == [0, 1]
    assert part.lead_in.endswith("the part begins in bar 0.")
    assert '<measure number="0" implicit="yes">' in part_musicxml(part)


def test_a_song_of_which_only_the_beat_is_known(line: Line, song: SongMap, heading: Heading) -> None:
    bare = replace(song, keys=(), chords=(), sections=(), voice=(), openings=(), count_in=None)
    part = make_part(line, bare, find_instrument("flute"), heading)
    assert part.key == WrittenKey(0, "major")
    assert [bar.number for bar in part.bars][-1] == 24
    assert not any(bar.chords or bar.rehearsal or bar.key for bar in part.bars)
