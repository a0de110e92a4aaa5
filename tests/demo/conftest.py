"""A short song cut from the invented one, rendered once for all tests here."""

from dataclasses import replace

import pytest

from obbligato.demo.guide import Guide, render_guide
from obbligato.demo.score import SONG
from obbligato.demo.song import Section, Song

SHORT_BARS = 8


@pytest.fixture(scope="session")
def short_song() -> Song:
    """Bars 1 to 8: the intro, two sung lines, the first phrase of the player."""
    end_beat = SHORT_BARS * 4.0
    return replace(
        SONG,
        sections=(SONG.sections[0], Section("B", "Verse", 5, SHORT_BARS - 4, "verse")),
        chords=tuple(c for c in SONG.chords if c.onset_beat < end_beat),
        keys=SONG.keys[:1],
        lines=SONG.lines[:2],
        phrases=SONG.phrases[:2],
    )


@pytest.fixture(scope="session")
def short_guide(short_song: Song) -> Guide:
    return render_guide(short_song, seed=5)
