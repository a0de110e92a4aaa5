"""Sections of songs made bar by bar: where the form turns and which stretches return."""

import numpy as np
import pytest

from obbligato.listen.chroma import BeatChroma
from obbligato.listen.sections import find_sections
from obbligato.music.grid import Grid, Meter
from obbligato.music.harmony import parse_chord, pitch_class
from obbligato.music.spans import KeySpan, Span

GRID = Grid.steady(100, 2.0, Meter())
VERSE = ("C:maj", "A:min", "F:maj", "G:maj") * 2
CHORUS = ("F:maj", "F:maj", "C:maj", "C:maj", "D:min", "G:maj", "C:maj", "C:maj")
BRIDGE = ("E:min", "E:min", "A:min", "A:min", "D:7", "D:7", "G:7", "G:7")


def song(parts, *, levels=None, rise_from=None, rise=0, seed=4):
    """Chroma of the parts' chords, a little blurred at random; from part `rise_from` on `rise` semitones higher."""
    rng = np.random.default_rng(seed)
    rows, level_db = [], []
    for i, part in enumerate(parts):
        shift = rise if rise_from is not None and i >= rise_from else 0
        for label in part:
            row = np.zeros(12)
            row[[(pc + shift) % 12 for pc in parse_chord(label).pitch_classes]] = 1.0
            rows += [np.clip(row + 0.1 * rng.standard_normal(12), 0.0, 1.0) for _ in range(4)]
            level_db += [levels[i] if levels else 0.0] * 4
    upper = np.array(rows)
    return BeatChroma(np.arange(len(rows), dtype=float), upper, upper, np.array(level_db))


def key(start_bar, end_bar, tonic):
    return KeySpan(GRID.bar_to_sec(start_bar), GRID.bar_to_sec(end_bar), tonic, "major", 1.0)


def sung(*bars):
    return [Span(GRID.bar_to_sec(first), GRID.bar_to_sec(after)) for first, after in bars]


def test_verses_and_choruses_return_under_their_letters():
    levels = (-6, 0, -6, 0, -9, 0)
    found = find_sections(
        song((VERSE, CHORUS, VERSE, CHORUS, BRIDGE, CHORUS), levels=levels),
        GRID,
        keys=[key(1, 49, "C")],
        voice=sung((1, 33), (41, 49)),
    )
    assert [s.start_s for s in found] == [GRID.bar_to_sec(b) for b in (1, 9, 17, 25, 33, 41)]
    assert [s.label for s in found] == ["A", "B", "A2", "B2", "C", "B3"]
    assert found[-1].end_s == GRID.bar_to_sec(49)


def test_a_chorus_a_tone_higher_is_the_same_chorus():
    parts = (VERSE, CHORUS, VERSE, CHORUS)
    found = find_sections(
        song(parts, levels=(-6, 0, -6, 0), rise_from=3, rise=2),
        GRID,
        keys=[key(1, 25, "C"), KeySpan(GRID.bar_to_sec(25), GRID.bar_to_sec(33), "D", "major", 1.0)],
        voice=sung((1, 33)),
    )
    assert pitch_class("D") - pitch_class("C") == 2
    assert [s.label for s in found] == ["A", "B", "A2", "B2"]


def test_an_introduction_of_four_bars_stands_alone():
    found = find_sections(
        song((VERSE[:4], VERSE, CHORUS), levels=(-9, -4, 0)), GRID, keys=[key(1, 21, "C")], voice=sung((5, 21))
    )
    assert [s.start_s for s in found] == [GRID.bar_to_sec(b) for b in (1, 5, 13)]


@pytest.mark.parametrize("n_beats", [0, 8])
def test_no_harmony_no_sections(n_beats):
    silent = BeatChroma(
        np.arange(n_beats, dtype=float), np.zeros((n_beats, 12)), np.zeros((n_beats, 12)), np.zeros(n_beats)
    )
    assert find_sections(silent, GRID, keys=[], voice=[]) == ()
