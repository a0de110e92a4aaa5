"""The chart says the same in characters as the song map does in seconds; expectations are written out by hand."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pytest
from rich.console import Console

from obbligato.listen.songmap import SectionTuning, SongMap, TempoChange, TempoStep
from obbligato.page.chart import chart, chart_bars, chart_text, map_questions, map_sentences
from obbligato.page.chart_words import opening_sentence


def row_of(text: str, bar: int) -> list[str]:
    """The three lines of the row that starts with a bar."""
    lines = text.splitlines()
    at = next(i for i, line in enumerate(lines) if line[4:].startswith(f"|{bar} "))
    return lines[at : at + 3]


def test_rows_show_bars_chords_singer_and_openings(song: SongMap) -> None:
    text = chart_text(song, width=77)
    assert row_of(text, 5) == [
        "B   |5                |6                |7                |8                |",
        "    |Abmaj7  Bb7      |Eb      Cm7      |Abmaj7  Bb7      |Eb      Cm7      |",
        "    |~~~~~~~~~~~~~~~~~|~~~~~~~~~~~~~~~~~|~~~~~~~~~~~~~~~~~|~~~~aaaaaaaaaaaaa|",
    ]


def test_openings_are_listed_in_words(song: SongMap) -> None:
    text = chart_text(song)
    assert "  a  bar 8, from beat 2.0 (0:33.500), 3.0 beats over Eb: room for an answer\n" in text
    assert "  b  bars 12-16, from beat 3.0 (0:50.500), 18.0 beats over Cm7: room for a solo\n" in text


def test_bar_numbers_and_count_in(song: SongMap) -> None:
    bars = chart_bars(song)
    assert [bar.number for bar in bars] == list(range(25))
    assert [bar.number for bar in bars if bar.count_in] == [0]
    assert {bar.number: bar.section for bar in bars if bar.section} == {1: "A", 5: "B", 13: "C", 17: "B"}


@pytest.mark.parametrize("width", [20, 40, 79, 80, 120])
def test_no_line_is_wider_than_asked(song: SongMap, width: int) -> None:
    bars = [line for line in chart_text(song, width=width).splitlines() if "|" in line]
    # Below 32 columns a bar cannot be shown; the chart then keeps to 32.
    assert max(map(len, bars)) <= max(width, 32)
    assert len({len(line) for line in bars if len(line) == len(bars[5])}) == 1


@pytest.mark.parametrize("colour", [None, "truecolor"])
def test_terminal_and_text_are_twins(song: SongMap, colour: str | None) -> None:
    console = Console(file=io.StringIO(), width=100, color_system=colour, force_terminal=False)
    console.print(chart(song, width=100))
    printed = re.sub(r"\x1b\[[\d;]*m", "", console.file.getvalue())  # type: ignore[attr-defined]
    shown = "\n".join(line.rstrip() for line in printed.splitlines())
    assert shown.strip() == chart_text(song, width=100).strip()


def test_sentences_say_what_the_map_holds(song: SongMap) -> None:
    assert map_sentences(song) == [
        "Tempo: 60.000 dotted quarters a minute, steady throughout (heard beats scatter by 6 ms about it).",
        "Metre: 12/8, counted in 4 dotted quarters a bar.",
        "Bar 1 begins at 0:04.500 of the file, after a count-in of 4 clicks (1 bar).",
        "Tuning: A4 is 441.50 Hz, 5.9 cents above 440 Hz.",
        "Key: Eb major, then F major from bar 17 (2 semitones up).",
        "The singer leaves 2 openings, 21 beats in all.",
    ]
    assert map_questions(song) == []


def test_a_slower_ending_and_a_missing_beat_are_said(song: SongMap) -> None:
    end_s = song.grid.beats_s[-1]
    changes = (TempoChange(0.5, 60.0), TempoChange(end_s - 8.0, 52.0), TempoChange(end_s - 4.0, 40.0))
    slowing = replace(song, tempo=replace(song.tempo, steady=False, changes=changes))
    assert "steady until" in map_sentences(slowing)[0]
    assert "slows down to the end" in map_sentences(slowing)[0]
    short = replace(song, tempo=replace(song.tempo, steps=(TempoStep(song.grid.downbeats_s[5], 1.0),)))
    assert map_sentences(short)[0].endswith("1 beat missing (a short bar, a pause or an edit).")


def test_a_section_that_lies_elsewhere_is_named(song: SongMap) -> None:
    spans = [(section, cents) for section, cents in zip(song.sections, (5.0, 7.0, 19.9, 5.9), strict=True)]
    own = tuple(SectionTuning(s.start_s, s.end_s, 440.0 * 2 ** (c / 1200), c) for s, c in spans)
    sentence = map_sentences(replace(song, tuning=replace(song.tuning, sections=own)))[3]
    assert sentence.endswith("440 Hz. Section C (0:52.500) lies 14 cents above that.")


def test_what_is_unsure_is_asked(song: SongMap) -> None:
    unsure = replace(
        song,
        tempo=replace(song.tempo, confidence=0.3),
        meter=replace(song.meter, confidence=0.2),
        keys=(replace(song.keys[0], confidence=0.1), song.keys[1]),
    )
    questions = map_questions(unsure)
    assert questions[0].startswith("Is the tempo 60.00? It could also be counted at 120.0.")
    assert questions[1].startswith("Are there 4 beats to a bar?")
    assert questions[2].startswith("Is the key Eb major from 0:04.500 on?")
    assert all(f"  ?  {question}" in chart_text(unsure) for question in questions)


def test_a_song_of_which_nothing_was_found(song: SongMap) -> None:
    bare = replace(song, keys=(), chords=(), sections=(), voice=(), openings=(), count_in=None)
    assert "No singer was heard, so no openings are named." in map_sentences(bare)
    assert "Openings" not in chart_text(bare)
    short = replace(bare, source=replace(bare.source, duration_s=0.0))
    assert chart_bars(short) == ()


def test_a_short_fill_has_room_for_a_stab_and_silence_has_no_chord(song: SongMap) -> None:
    grid = song.to_grid()
    short = replace(song.openings[0], beats=1.5)
    assert opening_sentence(short, song, grid).endswith("1.5 beats over Eb: room for a stab or a push")
    silent = replace(song, chords=())
    assert opening_sentence(short, silent, grid).endswith("1.5 beats: room for a stab or a push")
