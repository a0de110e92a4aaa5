"""A real recording through the whole job: guide from one file, take from another, delivered and nulled.

Songs: Debian package `fretsonfire-songs-sectoid` (MIT licence); `song.ogg` is the band, `guitar.ogg` the lead track
played to it, `notes.mid` carries the tempo the song was made to.
"""

from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile

from obbligato.job.choosing import choose
from obbligato.job.delivery import deliver
from obbligato.job.intake import new_job
from obbligato.job.mapping import song_map
from obbligato.job.model import Brief
from obbligato.job.taking import add_takes

SONG = Path("/usr/share/games/fretsonfire/data/songs/sectoid/Feelings")

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not SONG.is_dir(), reason="Debian package fretsonfire-songs-sectoid is not installed"),
]


@pytest.fixture(scope="module")
def delivered(tmp_path_factory):
    job = new_job(
        tmp_path_factory.mktemp("recorded") / "job",
        guide=SONG / "song.ogg",
        instrument="guitar",
        brief=Brief(title="Feelings"),
    )
    add_takes(job, (SONG / "guitar.ogg",))
    choose(job)
    return job, deliver(job)


def test_the_tempo_is_that_of_the_note_file(delivered):
    job, _ = delivered
    messages = [m for track in mido.MidiFile(SONG / "notes.mid").tracks for m in track]
    stated = next(mido.tempo2bpm(m.tempo) for m in messages if m.type == "set_tempo")
    assert song_map(job).tempo.bpm == pytest.approx(stated, abs=0.01)


def test_stem_and_guide_null_against_the_decoded_files(delivered):
    """Read by libsndfile. Both inputs decode to floats; a stem of 24 bits may be off by half of 2^-23 a sample."""
    job, pack = delivered
    (guide, sr), (lead, _) = (soundfile.read(SONG / name) for name in ("song.ogg", "guitar.ogg"))
    stem, stem_sr = soundfile.read(job.path(pack.folder) / pack.audio[0].name)
    assert (stem_sr, len(stem)) == (sr, len(guide))
    n = min(len(guide), len(lead))
    left_over = (guide + stem)[:n] - (guide[:n] + lead[:n])
    assert np.max(np.abs(left_over)) <= 2.0**-23
    assert not np.any(stem[n:])
