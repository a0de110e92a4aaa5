"""The tempo of recorded songs against the tempo their makers worked at.

Source: Debian package `fretsonfire-songs-sectoid` (MIT licence): `song.ogg` is the full band, the tempo event of
`notes.mid` is the tempo it was made to.
"""

from pathlib import Path

import mido
import pytest

from obbligato.listen.beats import find_grid
from obbligato.sound.files import read_audio

SONGS = Path("/usr/share/games/fretsonfire/data/songs/sectoid")

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not SONGS.is_dir(), reason="Debian package fretsonfire-songs-sectoid is not installed"),
]


@pytest.mark.parametrize("name", ["Escape from chaosland", "Feelings", "Metal madness", "War of freedom"])
def test_tempo_of_a_recorded_song(name):
    tempo_us = next(m.tempo for m in mido.MidiFile(SONGS / name / "notes.mid").tracks[0] if m.type == "set_tempo")
    found = find_grid(read_audio(SONGS / name / "song.ogg"))
    # 0.005 bpm at 140 bpm is 36 ppm: under 10 ms over these songs of up to 288 s.
    assert found.tempo.bpm == pytest.approx(mido.tempo2bpm(tempo_us), abs=0.005)
    assert found.tempo.steady
    assert (found.meter.beats_per_bar, found.meter.beat_unit) == (4, "quarter")
