"""An invented song map and page for the page tests: four bars of intro, a verse, a break, a chorus a tone higher."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest
from obbligato.listen.songmap import CountIn, GridFinding, MeterFinding, SongMap, Tempo, Tuning
from obbligato.music.grid import Grid, Meter
from obbligato.music.spans import ChordSpan, KeySpan, Opening, SectionSpan, Span
from obbligato.page.part_score import Heading
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
