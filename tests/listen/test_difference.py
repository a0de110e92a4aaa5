"""A new guide made from the old one in a known way, told by its right name, at the right bars, to the sample.

The reference is what was done to the sound; nothing here is measured by the program itself.
"""

from dataclasses import replace

import numpy as np
import pytest
import soxr

from obbligato.demo.guide import render_guide
from obbligato.demo.score import SONG
from obbligato.demo.song import Section
from obbligato.demo.voice import VoiceStyle
from obbligato.listen.difference import compare_guides
from obbligato.listen.songmap import GridFinding, MeterFinding, SongMap, Tempo, Tuning
from obbligato.music.spans import SectionSpan
from obbligato.sound.audio import Audio
from obbligato.sound.facts import SourceFacts

BARS = 12
SEED = 5


@pytest.fixture(scope="module")
def song():
    """Bars 1 to 12 of the invented song: intro and verse."""
    end_beat = BARS * 4.0
    return replace(
        SONG,
        sections=(SONG.sections[0], Section("B", "Verse", 5, BARS - 4, "verse")),
        chords=tuple(c for c in SONG.chords if c.onset_beat < end_beat),
        keys=SONG.keys[:1],
        lines=tuple(line for line in SONG.lines if line[0].onset_beat < end_beat - 4),
        phrases=SONG.phrases[:2],
    )


@pytest.fixture(scope="module")
def guide(song):
    return render_guide(song, seed=SEED)


@pytest.fixture(scope="module")
def song_map(song, guide):
    """What is true of the song, in the shape of what is heard."""
    grid, audio = song.grid, guide.audio
    facts = SourceFacts(
        path="guide.wav", sha256="0", container="wav", codec="pcm", sample_rate=audio.sr, channels=2, bit_depth=24,
        duration_s=audio.duration_s, frames=audio.n_samples, lead_silence_s=0.0, encoder_delay_samples=None,
        integrated_lufs=-14.0, true_peak_dbtp=-1.0, clipped_samples=0, warnings=(),
    )  # fmt: skip
    sections = (
        SectionSpan(grid.bar_to_sec(1), grid.bar_to_sec(5), "A"),
        SectionSpan(grid.bar_to_sec(5), grid.bar_to_sec(BARS + 1), "B"),
    )
    return SongMap(
        source=facts,
        tempo=Tempo(song.bpm, True, 0.9, 5.0, 0.0, (), ()),
        meter=MeterFinding(4, "dotted quarter", 0.9),
        count_in=None,
        grid=GridFinding(grid.bar_1_s, (), ()),
        tuning=Tuning(song.a4_hz, song.tuning_cents),
        keys=(),
        chords=(),
        sections=sections,
        voice=guide.voice,
        openings=(),
    )


@pytest.fixture(scope="module")
def told(guide, song_map):
    """Compare new samples (and their rate) with the guide."""

    def compare(y, sr=guide.audio.sr):
        return compare_guides(guide.audio, song_map, Audio(np.asarray(y, dtype=np.float32), sr))

    return compare


@pytest.fixture(scope="module")
def at_bar(song, guide):
    """The sample at which a bar begins."""
    return lambda bar: round(song.grid.bar_to_sec(bar) * guide.audio.sr)


def test_the_same_guide_is_identical(told, guide):
    difference = told(guide.audio.y)
    assert difference.identical
    assert {s.residual_db for s in difference.stretches} == {-200.0}


@pytest.mark.parametrize("samples", [1105, -777])
def test_a_moved_guide_is_told_to_the_sample(told, guide, samples):
    y = guide.audio.y
    difference = told(np.pad(y, ((0, 0), (samples, 0))) if samples > 0 else y[:, -samples:])
    assert {(s.kind, s.moved_samples) for s in difference.stretches} == {("moved", float(samples))}


def test_another_level_is_told_to_a_hundredth_of_a_decibel(told, guide):
    difference = told(10.0 ** (-3.0 / 20.0) * guide.audio.y)
    assert {s.kind for s in difference.stretches} == {"level"}
    assert [s.gain_db for s in difference.stretches] == pytest.approx([-3.0] * len(difference.stretches), abs=0.01)


def test_reversed_polarity_is_told(told, guide):
    assert all(s.inverted for s in told(-guide.audio.y).stretches)


def test_bars_put_in_are_counted_and_the_rest_is_found_behind_them(told, guide, at_bar):
    y = guide.audio.y
    two_bars = y[:, at_bar(5) : at_bar(7)]
    difference = told(np.concatenate([y[:, : at_bar(9)], two_bars, y[:, at_bar(9) :]], axis=1))
    kinds = [(s.kind, s.old_bars, s.new_bars) for s in difference.stretches]
    assert ("inserted", None, (9, 10)) in kinds
    assert [s.kind for s in difference.stretches if s.old_bars and s.old_bars[1] <= 8] == ["identical"] * 3
    behind = next(s for s in difference.stretches if s.kind == "moved")
    assert (behind.old_bars[0], behind.new_bars[0], behind.moved_samples) == (9, 11, float(two_bars.shape[1]))


def test_bars_taken_out_are_named(told, guide, at_bar):
    y = guide.audio.y
    difference = told(np.concatenate([y[:, : at_bar(6)], y[:, at_bar(9) :]], axis=1))
    (removed,) = (s for s in difference.stretches if s.kind == "removed")
    assert (removed.old_bars, removed.beats) == ((6, 8), pytest.approx(12.0, abs=0.01))
    behind = difference.stretches[-1]
    assert (behind.old_bars[0], behind.new_bars[0]) == (9, 6)
    assert behind.moved_samples == at_bar(6) - at_bar(9)


def test_another_sampling_rate_is_the_same_sound(told, guide):
    difference = told(soxr.resample(guide.audio.y.T, 48000, 44100).T, sr=44100)
    assert difference.identical
    # A converter of 20 bits leaves its stop band at -120 dB, but the guide is cut off at 22.05 kHz.
    assert max(s.residual_db for s in difference.stretches) < -40.0


def test_a_guide_sung_anew_over_the_same_band_is_told(told, song, guide):
    style = VoiceStyle(behind_ms=60.0, scatter_ms=30.0, vibrato_hz=6.0, tract_scale=1.05)
    difference = told(render_guide(song, seed=SEED, style=style).audio.y)
    assert {s.kind for s in difference.stretches} <= {"identical", "re-sung"}
    sung_bars = {
        bar
        for v in guide.voice
        for bar in range(song.grid.position_at(v.start_s).bar, song.grid.position_at(v.end_s).bar + 1)
    }
    told_bars = {
        b for s in difference.stretches if s.kind == "re-sung" for b in range(s.old_bars[0], s.old_bars[1] + 1)
    }
    # Room and breath may reach into the bar beside a sung one; no bar far from singing may be named.
    assert sung_bars & set(range(5, BARS)) <= told_bars
    assert all({bar - 1, bar, bar + 1} & sung_bars for bar in told_bars)
    assert {s.moved_samples for s in difference.stretches} == {0.0}


def test_a_guide_played_faster_is_told_with_its_pitch(told, guide):
    difference = told(soxr.resample(guide.audio.y.T, 101, 100).T)
    assert {s.kind for s in difference.stretches} == {"tempo"}
    assert difference.tempo_ratio == pytest.approx(1.01, abs=1e-6)
    # 1200 log2(1.01), by arithmetic.
    assert difference.pitch_cents == pytest.approx(17.226, abs=0.01)


def test_a_band_that_plays_a_semitone_higher_is_told(told, song):
    names = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")

    def higher(label):
        root, colon, rest = label.partition(":")
        return names[(names.index(root) + 1) % 12] + colon + rest

    raised = replace(
        song,
        chords=tuple(replace(c, label=higher(c.label)) for c in song.chords),
        lines=tuple(tuple(replace(n, pitch=n.pitch + 1) for n in line) for line in song.lines),
    )
    difference = told(render_guide(raised, seed=SEED).audio.y)
    assert {s.kind for s in difference.stretches} == {"key"}
    # The tuning is heard to about a cent.
    assert [s.pitch_cents for s in difference.stretches] == pytest.approx(
        [100.0] * len(difference.stretches), abs=3.0
    )


def test_a_band_that_plays_faster_is_told_and_its_cut_found(told, song):
    faster = replace(song, bpm=1.03 * song.bpm)
    audio = render_guide(faster, seed=SEED + 4).audio
    at = [round(faster.grid.bar_to_sec(bar) * audio.sr) for bar in (7, 9)]
    difference = told(np.concatenate([audio.y[:, : at[0]], audio.y[:, at[1] :]], axis=1))
    assert {s.kind for s in difference.stretches} == {"tempo", "removed"}
    assert difference.tempo_ratio == pytest.approx(1.03, abs=1e-3)
    (removed,) = (s for s in difference.stretches if s.kind == "removed")
    assert removed.old_bars == (7, 8)


def test_another_song_is_not_found(told, guide):
    noise = np.random.default_rng(3).standard_normal(guide.audio.y.shape) * 0.1
    assert {s.kind for s in told(noise).stretches} <= {"removed", "changed"}
