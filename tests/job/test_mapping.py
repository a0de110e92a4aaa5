"""A guide without a beat: nothing can be found, so what the player says is taken."""

import numpy as np
import pytest

from obbligato.errors import NoBeatError
from obbligato.job.intake import new_job
from obbligato.job.mapping import correct, findings, song_map
from obbligato.job.model import Brief
from obbligato.sound.audio import Audio
from obbligato.sound.files import write_wav

SR = 22050


@pytest.fixture
def pad(tmp_path):
    """Ten seconds of one held tone: nothing begins after it has begun."""
    y = 0.5 * np.sin(np.arange(10 * SR) * 0.1)
    write_wav(tmp_path / "pad.wav", Audio(np.asarray(y, dtype=np.float32), SR))
    return new_job(tmp_path / "job", guide=tmp_path / "pad.wav", instrument="cello", brief=Brief(title="Pad"))


def test_the_player_gives_the_tempo_of_a_guide_without_a_beat(pad):
    with pytest.raises(NoBeatError, match="obbligato map JOB --bpm"):
        song_map(pad)
    correct(pad, bpm=60.0, bar_1="0:01", meter="3/4")
    song = song_map(pad)
    assert (song.tempo.bpm, song.grid.bar_1_s, song.meter.beats_per_bar) == (60.0, 1.0, 3)
    assert findings(pad).tempo.confidence == 0.0
    assert song.grid.downbeats_s[:2] == pytest.approx((1.0, 4.0))
