"""An invented song map and page for the page tests: four bars of intro, a verse, a break, a chorus a tone higher."""

from __future__ import annotations

from datetime import date
from fractions import Fraction
from typing import Any

import pytest

from obbligato.listen.songmap import CountIn, GridFinding, MeterFinding, SongMap, Tempo, Tuning
from obbligato.music.grid import Grid, Meter
from obbligato.music.instruments import find_instrument
from obbligato.music.notation import Tuplet
from obbligato.music.spans import ChordSpan, KeySpan, Opening, SectionSpan, Span
from obbligato.music.spelling import Spelling
from obbligato.page.part_score import Heading, Part, ScoreBar, ScoreChord, ScoreNote, WrittenKey
from obbligato.sound.facts import SourceFacts

BPM, BAR_1_S, BARS = 60.0, 4.5, 24
"""Slow 12/8: a beat lasts a second, a bar four; bar n starts at 4.5 + 4 (n - 1) s."""


def bar_s(bar: int, beat: float = 1.0) -> float:
    return BAR_1_S + 4.0 * (bar - 1) + beat - 1.0


@pytest.fixture(scope="session")
def grid() -> Grid:
    return Grid.steady(BPM, BAR_1_S, Meter(4, Fraction(3, 2)))


@pytest.fixture(scope="session")
def heading() -> Heading:
    return Heading("Night Ferry", 2, "0123456789abcdef" * 4, date(2026, 11, 25), "Jo Quill")


@pytest.fixture(scope="session")
def song(grid: Grid) -> SongMap:
    duration = bar_s(BARS + 1)
    beats = tuple(0.5 + i for i in range(4 + 4 * BARS))
    labels = ("Eb:maj", "C:min7", "Ab:maj7", "Bb:7")
    chords = [
        ChordSpan(bar_s(bar, 1 + 2 * half), bar_s(bar, 3 + 2 * half), labels[(2 * bar + half) % 4])
        for bar in range(1, BARS + 1)
        for half in (0, 1)
    ]
    return SongMap(
        source=SourceFacts(
            path="guide.wav",
            sha256="0123456789abcdef" * 4,
            container="WAV",
            codec="PCM_24",
            sample_rate=48000,
            channels=2,
            bit_depth=24,
            duration_s=duration,
            frames=round(duration * 48000),
            lead_silence_s=0.5,
            encoder_delay_samples=None,
            integrated_lufs=-14.0,
            true_peak_dbtp=-1.0,
            clipped_samples=0,
            warnings=(),
        ),
        tempo=Tempo(BPM, True, 0.95, 6.0, 0.4, (120.0,), ()),
        meter=MeterFinding(4, "dotted quarter", 0.9),
        count_in=CountIn(0.5, 4.5, 4, 1.0),
        grid=GridFinding(BAR_1_S, beats, beats[::4]),
        tuning=Tuning(441.5, 5.9),
        keys=(
            KeySpan(BAR_1_S, bar_s(17), "Eb", "major", 0.9),
            KeySpan(bar_s(17), duration, "F", "major", 0.8),
        ),
        chords=tuple(chords),
        sections=(
            SectionSpan(bar_s(1), bar_s(5), "A"),
            SectionSpan(bar_s(5), bar_s(13), "B"),
            SectionSpan(bar_s(13), bar_s(17), "C"),
            SectionSpan(bar_s(17), duration, "B"),
        ),
        voice=(Span(bar_s(5), bar_s(8, 2)), Span(bar_s(9), bar_s(12, 3)), Span(bar_s(17), bar_s(23))),
        openings=(
            Opening(bar_s(8, 2), bar_s(9), 8, 8, 3.0, "fill"),
            Opening(bar_s(12, 3), bar_s(17), 12, 16, 18.0, "feature"),
        ),
    )


FLUGELHORN = find_instrument("Flugelhorn in Bb")


def note(onset: Fraction | int, quarters: Fraction | int, name: str, **more: Any) -> ScoreNote:
    """A note as `Bb4`, or a rest for an empty name."""
    pitch = Spelling(name[0], name.count("#") - name.count("b"), int(name[-1])) if name else None
    return ScoreNote(Fraction(onset), Fraction(quarters), pitch, **more)


@pytest.fixture(scope="session")
def page(heading: Heading) -> Part:
    """A page with a pick-up, ties over beat and bar line, a duplet, accidentals, a rest, a key change and breaths."""
    eighth, beat = Fraction(1, 2), Fraction(3, 2)
    run = (note(0, eighth, "F4"), note(eighth, eighth, "G4"), note(1, eighth, "Bb4"))
    tied = note(beat, beat, "C5", tied_to_next=True)
    held = note(3, 3, "C5", tied_from_before=True, tied_to_next=True)
    over = (note(0, beat, "C5", tied_from_before=True, breath_after=True), note(beat, beat, ""))
    duplet = (
        note(3, Fraction(3, 4), "F#4", tuplet=Tuplet(2, 3, starts=True)),
        note(Fraction(15, 4), Fraction(3, 4), "F4", tuplet=Tuplet(2, 3, stops=True)),
        note(Fraction(9, 2), beat, "F#5"),
    )
    chords = (ScoreChord(Fraction(0), "Fmaj7"), ScoreChord(Fraction(3), "Dm7b5/Ab"))
    bars = [
        ScoreBar(0, (note(0, 3, ""), note(3, beat, ""), note(Fraction(9, 2), beat, "E4"))),
        ScoreBar(1, (*run, tied, held), chords, rehearsal="A"),
        ScoreBar(2, (*over, *duplet), chords),
        ScoreBar(3, rest_bars=5),
        *(ScoreBar(number) for number in range(4, 8)),
        ScoreBar(8, chords=(ScoreChord(Fraction(0), "N.C."), ScoreChord(Fraction(3), "D7"))),
        ScoreBar(9, (*run, note(beat, beat, ""), note(3, 3, "")), rehearsal="B", key=WrittenKey(1, "major")),
        ScoreBar(10, (note(0, 6, "G5"),)),
    ]
    return Part(
        heading=heading,
        instrument=FLUGELHORN,
        meter=Meter(4, beat),
        grid=Grid.steady(58.5, BAR_1_S, Meter(4, beat)),
        key=WrittenKey(-1, "major"),
        beats_a_minute=58.5,
        steady=True,
        feel="",
        lead_in="Bar 1 is at 0:04.500 of the guide.",
        first_note="Your first written note is E4; on the guide it sounds as D4.",
        bars=tuple(bars),
    )
