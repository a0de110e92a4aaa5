"""The bench of takes: its sounds are in tune, its truth is where the sound is, its measures say what they should."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from obbligato.takes.place import stated_placement
from obbligato.takes.readings import (
    NoteReading,
    PhraseReading,
    PhraseSpan,
    TakeReading,
    TimedLine,
    TimedNote,
)
from takes.measures import Tally, f_of_notes, tally_take
from takes.performing import Performed, Player, Take, perform
from takes.sources import SOURCES, SR, sounded

LINE = TimedLine(
    tuple(TimedNote(i, 1.0 + 0.5 * i, 1.45 + 0.5 * i, pitch) for i, pitch in enumerate((60, 62, 64, 65, 67, 64))),
    (PhraseSpan(0, 0, 5),),
)
EVEN = Player(scatter_ms=0.0, wander_ms=0.0, scatter_cents=0.0, scatter_db=0.0, slurs=0.0, vibrato=False)


@pytest.mark.parametrize("source", SOURCES, ids=lambda source: source.name)
def test_every_source_sounds_at_the_frequency_asked_for(source):
    f0_hz = 440.0 * 2 ** ((source.lowest + 5 - 69) / 12)
    n = 2 * SR
    y = sounded(replace(source, breath=0.0), np.full(n, f0_hz), np.ones(n), np.random.default_rng(1))
    middle = y[SR // 4 :] * np.hanning(n - SR // 4)
    spectrum = np.abs(np.fft.rfft(middle, 2**21))
    first, last = (round(f0_hz * 2 ** (cents / 1200) * 2**21 / SR) for cents in (-80, 80))
    peak_hz = (first + int(np.argmax(spectrum[first:last]))) * SR / 2**21
    assert abs(1200 * np.log2(peak_hz / f0_hz)) < 2.0  # a recorded note's partials are not quite multiples


def _performed(**how) -> Performed:
    take = Take(player=EVEN, room_dbfs=-90.0, **how)
    return perform(LINE, SOURCES[0], take, np.random.default_rng(3), guide=None, click=None)


@pytest.mark.parametrize("offset_s", [0.0, 0.8, -1.5])
def test_the_sound_begins_where_the_truth_says(offset_s):
    made = _performed(offset_s=offset_s)
    y = np.abs(made.audio.y[0])
    first_s = float(np.argmax(y > 0.02 * y.max())) / made.audio.sr + offset_s
    assert first_s == pytest.approx(made.notes[0].start_s, abs=0.003)


def test_a_lost_block_and_a_clock_shorten_the_recording():
    whole = _performed()
    assert whole.audio.n_samples - _performed(lost=((1.9, 2048),)).audio.n_samples == 2048
    assert _performed(drift_ppm=100.0).audio.n_samples == pytest.approx(whole.audio.n_samples * 1.0001, abs=2)


def _reading(made: Performed, *, late_ms: float = 0.0, played: bool = True, offset_ms: float = 0.0) -> TakeReading:
    notes = tuple(
        NoteReading(n.index, played, n.cents, 1e3 * (n.start_s - LINE.notes[n.index].start_s) + late_ms, -20.0)
        for n in made.notes
    )
    return TakeReading("take1", offset_ms, 0.0, 0.0, (PhraseReading(0, 100.0, "", (), notes, 0),))


def test_a_true_reading_has_no_errors_and_a_late_one_is_late():
    made, total = _performed(), Tally()
    tally_take(LINE, made, _reading(made, late_ms=7.0), stated_placement(0.0), total, where="")
    assert total.tongued_ms == pytest.approx([7.0] * 6)
    assert +total.events == {"right": 6}
    assert total.cents == pytest.approx([0.0] * 6)
    assert total.f_mir == [1.0]


def test_what_was_not_found_and_what_lies_elsewhere_is_counted():
    made, total = _performed(), Tally()
    tally_take(LINE, made, _reading(made, played=False), stated_placement(0.0), total, where="")
    assert +total.events == {"not found": 6}
    tally_take(LINE, made, _reading(made, offset_ms=9.0), stated_placement(0.0), total, where="second")
    assert total.placed_ms == pytest.approx([0.0, 9.0])
    assert total.unannounced == ["second"]


def test_notes_are_matched_as_mir_eval_does():
    true = [(1.0, 60.0), (2.0, 62.0)]
    assert f_of_notes(true, [(1.04, 60.3), (2.0, 62.0)]) == 1.0
    assert f_of_notes(true, [(1.06, 60.0), (2.0, 62.0)]) == 0.5  # beyond 50 ms
    assert f_of_notes(true, [(1.0, 60.6), (2.0, 62.0)]) == 0.5  # beyond 50 cents
