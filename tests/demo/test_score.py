"""The invented song as data: its arithmetic, its chords, and whether a person could play it."""

from itertools import pairwise

import librosa
import mir_eval
import numpy as np
import pytest

from obbligato.demo.chordal import bass_notes, keys_notes, voicings
from obbligato.demo.plans import TAKES
from obbligato.demo.score import SONG
from obbligato.demo.song import midi_pitch, read_line, read_phrase
from obbligato.demo.truth import openings, song_truth
from obbligato.music.spans import Span

BEAT_S = 60.0 / SONG.bpm


def _nominal_voice() -> tuple[Span, ...]:
    """The lines as written, without the singer's lateness."""
    return tuple(
        Span(
            float(SONG.grid.beat_to_sec(line[0].onset_beat)),
            float(SONG.grid.beat_to_sec(line[-1].onset_beat + line[-1].duration_beats)),
        )
        for line in SONG.lines
    )


def test_beats_and_bars_of_the_truth_follow_from_the_tempo():
    truth = song_truth(SONG, _nominal_voice())
    # 12/8 has four dotted quarters a bar (any theory primer); one bar of count-in follows the silence at the head.
    bar_1_s = SONG.head_s + 4 * BEAT_S
    assert truth["grid"]["bar_1_s"] == pytest.approx(bar_1_s, abs=1e-9)
    assert truth["meter"] == {"beats_per_bar": 4, "beat_unit": "dotted quarter", "signature": "12/8"}
    expected = bar_1_s + BEAT_S * np.arange(-4, SONG.bars * 4 + 1)
    np.testing.assert_allclose(truth["grid"]["beats_s"], expected, atol=1e-8)
    np.testing.assert_allclose(truth["grid"]["downbeats_s"], expected[::4], atol=1e-8)
    assert truth["duration_s"] == pytest.approx(expected[-1] + SONG.tail_s, abs=1e-9)
    assert truth["count_in"]["clicks"] == 4


def test_the_song_has_the_form_it_should():
    truth = song_truth(SONG, _nominal_voice())
    assert 150.0 < SONG.duration_s < 240.0
    assert [k["tonic"] for k in truth["keys"]] == ["Eb", "F"]
    last_chorus = next(s for s in SONG.sections if s.name == "Last chorus")
    assert truth["keys"][1]["first_bar"] == last_chorus.first_bar
    bars = [(s.first_bar, s.first_bar + s.bars) for s in SONG.sections]
    assert bars[0][0] == 1
    assert all(before[1] == after[0] for before, after in pairwise(bars))
    found = openings(SONG, _nominal_voice())
    assert [o for o in found if o.kind == "break" and o.first_bar <= 21 and o.last_bar >= 22]
    assert [o for o in found if o.kind == "feature" and o.first_bar <= 31 and o.last_bar >= 38]
    # Every gap is either clearly shorter or clearly longer than the two beats that make it an opening.
    gaps = [(b.start_s - a.end_s) / BEAT_S for a, b in pairwise(_nominal_voice())]
    assert all(gap < 1.5 or gap > 2.5 for gap in gaps)


def test_chords_follow_one_another_without_gaps():
    for before, after in pairwise(SONG.chords):
        assert after.onset_beat == pytest.approx(before.onset_beat + before.duration_beats)
    assert SONG.chords[-1].onset_beat + SONG.chords[-1].duration_beats == SONG.end_beat


@pytest.mark.parametrize("chord", {c.label: c for c in SONG.chords}.values(), ids=lambda c: c.label)
def test_chord_tones_agree_with_mir_eval(chord):
    root, semitones, bass = mir_eval.chord.encode(chord.label)
    assert chord.chord.pitch_classes == {(root + i) % 12 for i in np.flatnonzero(semitones)}
    assert chord.chord.bass == (root + bass) % 12


@pytest.mark.parametrize("name", ["C4", "Bb3", "Eb5", "F#4", "A4"])
def test_note_names_agree_with_librosa(name):
    assert midi_pitch(name) == librosa.note_to_midi(name)


def test_a_melody_is_read_in_eighths_of_12_8():
    notes = read_phrase("3:4", "Bb4 1, - 2, C5 3", 70)
    assert [(n.onset_beat, n.duration_beats, n.pitch) for n in notes] == [
        (pytest.approx(9.0), pytest.approx(1 / 3), 70),
        (pytest.approx(10.0), pytest.approx(1.0), 72),
    ]


def test_a_line_needs_a_syllable_for_every_note():
    with pytest.raises(ValueError, match="zip"):
        read_line("1:1", "C4 3, D4 3", "one=w.@.n")


def test_the_line_suits_a_flugelhorn():
    # Sounding E3 to Bb5: the instrument's usual range in orchestration handbooks (from memory).
    assert all(52 <= n.pitch <= 82 for phrase in SONG.phrases for n in phrase)
    for phrase in SONG.phrases:
        # A comfortable breath at mezzo-forte is 7 to 9 s on such an instrument (common practice, no source).
        assert (phrase[-1].onset_beat + phrase[-1].duration_beats - phrase[0].onset_beat) * BEAT_S < 9.0
    for before, after in pairwise(SONG.phrases):
        # A normal breath takes 0.5 to 0.8 s (common practice, no source).
        assert (after[0].onset_beat - before[-1].onset_beat - before[-1].duration_beats) * BEAT_S > 0.5


def test_the_singer_and_the_line_stay_within_the_song():
    assert SONG.lines[0][0].onset_beat > 0
    assert max(p[-1].onset_beat + p[-1].duration_beats for p in SONG.phrases) <= SONG.end_beat


def test_keys_play_chord_tones_and_bass_plays_the_stated_bass():
    for chord, voices in zip(SONG.chords, voicings(SONG.chords), strict=True):
        assert {v % 12 for v in voices} == chord.chord.pitch_classes
    for note in keys_notes(SONG):
        if note.onset_beat >= 0:
            assert note.pitch % 12 in SONG.chord_at(note.onset_beat).chord.pitch_classes
    downbeats = [n for n in bass_notes(SONG) if n.onset_beat >= 0 and n.onset_beat % 4 == 0]
    assert len(downbeats) == SONG.bars
    assert all(n.pitch % 12 == SONG.chord_at(n.onset_beat).chord.bass for n in downbeats)


def test_every_phrase_is_clean_in_some_take_and_no_take_is_clean_throughout():
    faulty = {plan.name: {f.phrase for f in plan.faults} for plan in TAKES}
    first_onsets = [float(SONG.grid.beat_to_sec(p[0].onset_beat)) for p in SONG.phrases]
    for plan in TAKES:
        faulty[plan.name] |= {i for i, onset in enumerate(first_onsets) if onset - 0.1 < plan.offset_s}
        assert faulty[plan.name]
    clean = [sum(i not in bad for bad in faulty.values()) for i in range(len(SONG.phrases))]
    assert min(clean) >= 1
    assert sum(n >= 2 for n in clean) >= len(clean) / 2
    kinds = {f.kind for plan in TAKES for f in plan.faults}
    assert kinds == {"late", "flat", "wrong_note", "missed_note", "clipped", "click_bleed", "cough", "level_drop"}
    assert all(f.note < len(SONG.phrases[f.phrase]) for plan in TAKES for f in plan.faults)
