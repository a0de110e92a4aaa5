"""Listening from end to end on a rendered song whose facts are known, and again with a grid set by hand."""

import json
from dataclasses import asdict
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import soxr

from obbligato.errors import InputError
from obbligato.listen.pipeline import listen, relisten_with_grid
from obbligato.music.grid import Grid, Meter
from obbligato.music.harmony import parse_chord
from obbligato.sound.audio import Audio
from obbligato.sound.facts import SourceFacts

BPM = 96.0
CHORDS = ("G:maj", "E:min", "C:maj", "D:maj") * 4
SCHEMA = json.loads((Path(__file__).parents[1] / "schemas" / "listen.schema.json").read_text())


def facts(audio):
    return SourceFacts(
        path="song.wav",
        sha256="0" * 64,
        container="WAV",
        codec="PCM_24",
        sample_rate=audio.sr,
        channels=audio.channels,
        bit_depth=24,
        duration_s=audio.duration_s,
        frames=audio.n_samples,
        lead_silence_s=0.0,
        encoder_delay_samples=None,
        integrated_lufs=-18.0,
        true_peak_dbtp=-2.0,
        clipped_samples=0,
        warnings=(),
    )


@pytest.fixture(scope="module")
def song(render):
    notes = []
    for i, label in enumerate(CHORDS):
        chord = parse_chord(label)
        notes += [(33, 4 * i + b, 1.9, 36 + chord.bass, 95) for b in (0, 2)]
        notes += [(48, 4 * i, 3.9, 60 + pc, 75) for pc in chord.pitch_classes]
        notes += [(None, 4 * i + b, 0.2, (36, 38)[b % 2], 110) for b in range(4)]
        notes += [(None, 4 * i + b / 2, 0.2, 42, 70) for b in range(8)]
    return render(notes, bpm=BPM)


@pytest.fixture(scope="module")
def song_map(song):
    return listen(song, lambda: facts(song))


def test_the_map_has_the_documented_shape(song_map):
    jsonschema.validate(json.loads(json.dumps(asdict(song_map))), SCHEMA)


def test_spans_lie_in_the_file_and_in_order(song, song_map):
    for spans in (song_map.keys, song_map.chords, song_map.sections, song_map.voice, song_map.openings):
        times = [t for span in spans for t in (span.start_s, span.end_s)]
        assert times == sorted(times)
        assert all(0.0 <= t <= song.duration_s + 3.0 for t in times)


def test_harmony_of_the_rendered_song(song_map):
    assert [(k.tonic, k.mode) for k in song_map.keys] == [("G", "major")]
    # The bank's own tuning is not known to a cent.
    assert abs(song_map.tuning.cents) < 5.0
    assert song_map.voice == ()


def test_each_section_has_the_pitch_it_was_played_at(song):
    """The last half played 20 cents higher: resampling by the ratio of 20 cents is that, by definition."""
    half = int(8 * 4 * 60.0 / BPM * song.sr)
    higher = soxr.resample(song.y[:, half:].T, song.sr * 2.0 ** (20.0 / 1200.0), song.sr).T
    spliced = Audio(np.concatenate([song.y[:, :half], higher], axis=1), song.sr)
    heard = listen(spliced, lambda: facts(spliced), grid=Grid.steady(BPM, 0.0, Meter()))
    first, last = heard.tuning.sections[0], heard.tuning.sections[-1]
    assert [first.start_s, last.end_s] == [heard.sections[0].start_s, heard.sections[-1].end_s]
    assert last.cents - first.cents == pytest.approx(20.0, abs=2.0)


def test_a_grid_set_by_hand_moves_what_hangs_on_it_and_nothing_else(song, song_map):
    grid = Grid.steady(BPM, 60.0 / BPM * 8.0, Meter())
    again = relisten_with_grid(song, song_map, grid)
    assert (again.source, again.tuning.cents, again.voice, again.count_in) == (
        song_map.source,
        song_map.tuning.cents,
        song_map.voice,
        song_map.count_in,
    )
    assert again.tempo.bpm == pytest.approx(BPM)
    assert again.tempo.confidence == again.meter.confidence == 1.0
    assert again.sections[0].start_s == again.grid.bar_1_s == grid.bar_1_s
    np.testing.assert_allclose(again.to_grid().beat_to_sec([0.0, 40.0]), grid.beat_to_sec([0.0, 40.0]))
    assert again.openings[0].first_bar == 1
    jsonschema.validate(json.loads(json.dumps(asdict(again))), SCHEMA)


def test_a_metre_set_by_hand_changes_the_bars(song, song_map):
    grid = Grid.steady(BPM, 0.0, Meter(2))
    again = relisten_with_grid(song, song_map, grid)
    assert again.meter.beats_per_bar == 2
    np.testing.assert_allclose(np.diff(again.grid.downbeats_s), 2 * 60.0 / BPM, atol=1e-9)


def test_silence_is_refused():
    silence = Audio(np.zeros((2, 48000), dtype=np.float32), 48000)
    with pytest.raises(InputError, match="no sound"):
        listen(silence, lambda: facts(silence))
