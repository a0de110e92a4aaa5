"""A guide without a beat: nothing can be found, so what the player says is taken."""

import numpy as np
import pytest

from obbligato.errors import InputError, NoBeatError
from obbligato.job.correcting import tempo_by_hand
from obbligato.job.intake import new_job
from obbligato.job.mapping import correct, corrections, findings, in_words, song_map
from obbligato.job.model import Brief, Corrections
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


def test_taps_stand_in_for_a_beat_that_cannot_be_heard(pad):
    correct(pad, taps_s=tuple(1.0 + 0.75 * beat for beat in range(8)))
    song = song_map(pad)
    assert song.tempo.bpm == pytest.approx(80.0)
    assert song.grid.bar_1_s % 0.75 == pytest.approx(0.25, abs=1e-6)
    assert tempo_by_hand(song, corrections(pad))
    assert in_words(corrections(pad)).startswith("8 beats tapped, bar 1 at 0:0")


def test_the_last_correction_is_undone_singly_and_all_of_them_at_once(pad):
    first = correct(pad, bpm=60.0)
    second = correct(pad, meter="3/4")
    correct(pad, singer=("2=yes",))
    assert correct(pad, undo_last=True) == second
    assert correct(pad, undo_last=True) == first
    assert correct(pad, undo_all=True) == Corrections()
    assert correct(pad, undo_last=True) == first
    correct(pad, undo_last=True)
    with pytest.raises(InputError, match="No correction"):
        correct(pad, undo_last=True)


def test_openings_follow_what_is_said_of_the_singer(pad):
    correct(pad, bpm=60.0, singer=("2=yes",))
    song = song_map(pad)
    # Bars of 4 s from 0 s: the singer in bar 2 leaves bar 1, and from 8 s on what is left of the ten seconds.
    assert [(o.start_s, o.end_s) for o in song.openings] == [(0.0, 4.0), (8.0, pytest.approx(10.0, abs=0.1))]
