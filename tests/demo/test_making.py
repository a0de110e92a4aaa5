"""The files of an invented song: the same bytes twice, right lengths, the line in time, the delay of the MP3."""

import json
from dataclasses import replace

import mido
import numpy as np
import pretty_midi
import pytest
import soundfile
from scipy import signal

from obbligato.demo.making import DemoSong, make_song, without_delay_tag
from obbligato.demo.player import intended_notes, line_midi, loosely_played
from obbligato.demo.playing import Fault, TakePlan
from obbligato.demo.score import SONG
from obbligato.demo.song import Section, Song, read_line, read_phrase
from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.sound.files import mp3_bytes, sha256_of

PLANS = (TakePlan("one", 44100, faults=(Fault(0, "late", 90.0),)), TakePlan("two", 48000, offset_s=-0.5))


@pytest.fixture(scope="module")
def tiny_song() -> Song:
    """Two bars, three syllables, two phrases."""
    return replace(
        SONG,
        sections=(Section("A", "All", 1, 2, "verse"),),
        chords=SONG.chords[:2],
        keys=SONG.keys[:1],
        lines=(read_line("1:1", "Eb4 3, F4 3, G4 4", "A=.@. small=sm.o.l song=s.a.n"),),
        phrases=(read_phrase("1:10", "Bb4 1, C5 3", 80), read_phrase("2:5", "Bb4 1, G4 4", 80)),
    )


@pytest.fixture(scope="module")
def made(tiny_song: Song, tmp_path_factory: pytest.TempPathFactory) -> DemoSong:
    return make_song(tmp_path_factory.mktemp("first"), seed=3, song=tiny_song, plans=PLANS)


def test_the_same_seed_gives_the_same_bytes(made: DemoSong, tiny_song: Song, tmp_path):
    again = make_song(tmp_path / "new" / "folder", seed=3, song=tiny_song, plans=PLANS)
    assert [sha256_of(p) for p in again.paths] == [sha256_of(p) for p in made.paths]
    other = make_song(tmp_path / "other", seed=4, song=tiny_song, plans=PLANS)
    assert all(sha256_of(a) != sha256_of(b) for a, b in zip(other.paths, made.paths, strict=True))


def test_the_truth_beside_the_files_is_the_truth_returned(made: DemoSong):
    assert json.loads(made.truth_json.read_text()) == json.loads(json.dumps(made.truth))
    assert made.truth["clean_takes"] == [["two"], ["one", "two"]]


def test_formats_are_as_stated(made: DemoSong, tiny_song: Song):
    guide = soundfile.info(made.guide_wav)
    assert (guide.samplerate, guide.subtype, guide.channels) == (48000, "PCM_24", 2)
    assert guide.frames == round(tiny_song.duration_s * 48000)
    takes = [soundfile.info(p) for p in made.takes]
    assert [(t.samplerate, t.subtype, t.channels) for t in takes] == [(44100, "PCM_24", 1), (48000, "PCM_24", 1)]


def test_the_untagged_mp3_comes_out_late_by_the_published_delay(made: DemoSong):
    wav = soundfile.read(made.guide_wav, dtype="float32")[0][:480000, 0]
    mp3 = soundfile.read(made.guide_mp3_untagged, dtype="float32")[0][:480000, 0]
    correlation = signal.correlate(mp3, wav, "full", "fft")
    # LAME technical FAQ: 576 samples of encoder delay, and 529 of decoder delay that libsndfile's decoder leaves in.
    assert correlation.argmax() - (wav.size - 1) == 576 + 529
    assert made.truth["mp3_untagged_late_samples"] == 576 + 529


def test_taking_the_tag_frame_off_leaves_the_stream_as_encoded_without_it():
    audio = Audio(np.sin(np.arange(48000, dtype=np.float32) / 20.0)[None, :] * np.float32(0.5), 48000)
    assert without_delay_tag(mp3_bytes(audio)) == mp3_bytes(audio, delay_tag=False)


def test_nothing_is_overwritten(made: DemoSong, tiny_song: Song):
    before = sha256_of(made.line_mid)
    with pytest.raises(InputError, match="already there"):
        make_song(made.line_mid.parent, seed=9, song=tiny_song, plans=PLANS)
    assert sha256_of(made.line_mid) == before


def test_a_folder_that_cannot_be_made_is_refused(made: DemoSong, tiny_song: Song):
    with pytest.raises(InputError, match="cannot be made"):
        make_song(made.line_mid / "below", seed=1, song=tiny_song, plans=PLANS)


def test_the_line_as_midi_is_on_the_guides_time(tmp_path):
    notes = loosely_played(SONG, rng=np.random.default_rng(1))
    path = tmp_path / "line.mid"
    path.write_bytes(line_midi(SONG, notes))
    read = pretty_midi.PrettyMIDI(str(path))
    heard = sorted(read.instruments[0].notes, key=lambda n: n.start)
    assert [n.pitch for n in heard] == [n.pitch for n in notes]
    # A tick is 0.71 ms; the tempo is stored in whole microseconds, at most 0.2 ms over the song.
    np.testing.assert_allclose([n.start for n in heard], [n.start_s for n in notes], atol=0.6e-3)
    # A dotted quarter is one and a half quarters, the unit of MIDI's tempo (Standard MIDI Files 1.0).
    assert read.get_tempo_changes()[1][0] == pytest.approx(1.5 * SONG.bpm, abs=1e-3)
    signatures = [m for m in mido.MidiFile(path).tracks[0] if m.type == "time_signature"]
    assert [(m.numerator, m.denominator) for m in signatures] == [(12, 8)]


def test_sixteenths_swing_and_eighths_do_not():
    eighth_s = 20.0 / SONG.bpm
    swinging = [n for n in intended_notes(SONG) if n.phrase == 3]
    gaps = np.diff([n.start_s for n in swinging]) / eighth_s
    # The phrase starts with two sixteenths, then eighths: the first sixteenth takes 58 % of its eighth.
    np.testing.assert_allclose(gaps[:3], [0.58, 0.42, 1.0], atol=1e-6)
