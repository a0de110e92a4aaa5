"""The bench's own measures on findings whose agreement with the truth is known by construction."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from listen import count_ins, courses, measures
from listen.spec import Truth
from obbligato.listen.songmap import CountIn, GridFinding, MeterFinding, SongMap, Tempo, Tuning
from obbligato.music.spans import ChordSpan, KeySpan, Opening, Span

BEAT_S = 0.5
N = 64


@pytest.fixture
def truth() -> Truth:
    beats = (2.0 + BEAT_S * np.arange(N)).tolist()
    return Truth(
        bpm=120.0,
        steady=True,
        beats_s=beats,
        downbeats_s=beats[::4],
        beats_per_bar=4,
        beat_unit="quarter",
        clicks=4,
        cents=10.0,
        keys=[(2.0, "G", "major"), (18.0, "A", "major")],
        chords=[(2.0, 18.0, "G:maj"), (18.0, 34.0, "A:maj")],
        voice=[(4.0, 10.0), (12.0, 30.0)],
        end_s=34.0,
    )


@pytest.fixture
def found() -> SongMap:
    beats = tuple(BEAT_S * np.arange(68))
    return SongMap(
        source=None,  # type: ignore[arg-type]  # no measure looks at the file
        tempo=Tempo(120.0, True, 0.9, 0.0, 0.0, (60.0,), ()),
        meter=MeterFinding(4, "quarter", 0.9),
        count_in=CountIn(0.0, 2.0, 4, 1.0),
        grid=GridFinding(2.0, beats, beats[::4]),
        tuning=Tuning(442.0, 10.0),
        keys=(KeySpan(0.0, 18.0, "G", "major", 0.9), KeySpan(18.0, 34.0, "A", "major", 0.9)),
        chords=(ChordSpan(2.0, 18.0, "G:maj"), ChordSpan(18.0, 34.0, "A:maj")),
        sections=(),
        voice=(Span(4.0, 10.0), Span(12.0, 30.0)),
        openings=tuple(
            Opening(a, b, 1, 1, beats=(b - a) / BEAT_S, kind="fill")
            for a, b in ((2.0, 4.0), (10.0, 12.0), (30.0, 34.0))
        ),
    )


def test_the_truth_itself_scores_full_marks(found, truth):
    scores = measures.scored(found, truth)
    for good in ("octave", "octave listed", "verdict", "metre", "bar 1", "count-in", "clicks", "key", "key change"):
        assert scores[good] == 1.0, good
    for good in ("beats 70", "beats 20", "majmin", "singer", "openings F", "key weighted"):
        assert scores[good] == pytest.approx(1.0), good
    for error in ("bpm error", "offset ms", "tuning", "needless key changes"):
        assert scores[error] == pytest.approx(0.0), error


def test_a_grid_30_ms_late_passes_at_70_and_fails_at_20(found, truth):
    late = tuple(b + 0.03 for b in found.grid.beats_s)
    scores = measures.scored(replace(found, grid=replace(found.grid, beats_s=late, bar_1_s=2.03)), truth)
    assert scores["beats 70"] == pytest.approx(1.0)
    assert scores["beats 20"] == 0.0
    assert scores["offset ms"] == pytest.approx(30.0)


def test_half_time_is_an_octave_error_and_no_tempo_error(found, truth):
    tempo = replace(found.tempo, bpm=60.001, alternatives=(120.002,))
    grid = replace(found.grid, beats_s=found.grid.beats_s[::2])
    scores = measures.scored(replace(found, tempo=tempo, grid=grid), truth)
    assert scores["octave"] == 0.0
    assert scores["octave listed"] == 1.0
    assert scores["bpm error"] == pytest.approx(0.002)
    assert scores["offset ms"] == pytest.approx(0.0)


def test_an_opening_with_one_edge_off_by_more_than_half_a_beat_is_wrong(found, truth):
    first = replace(found.openings[0], end_s=4.3)
    scores = measures.scored(replace(found, openings=(first, *found.openings[1:])), truth)
    assert scores["openings F"] == pytest.approx(2.0 / 3.0)


def test_relative_key_has_the_weight_of_mirex(found, truth):
    """0.3 for the relative key: mir_eval.key, after MIREX."""
    keys = (replace(found.keys[0], tonic="E", mode="minor"), found.keys[1])
    scores = measures.scored(replace(found, keys=keys), truth)
    assert scores["key"] == 0.0
    assert scores["key weighted"] == pytest.approx(0.3)


def test_courses_keep_their_tempo_where_they_should():
    steady = courses.beat_times("steady", 120.0, 4, 64, 4, head_s=0.2, seed=1)
    assert np.allclose(np.diff(steady), 0.5)
    assert steady[0] == 0.2
    pause = np.diff(courses.beat_times("pause", 120.0, 0, 64, 4, head_s=0.2, seed=1))
    assert np.sum(pause > 0.51) == 1
    slowing = np.diff(courses.beat_times("ritardando", 120.0, 0, 64, 4, head_s=0.2, seed=1))
    assert np.allclose(slowing[:48], 0.5)
    assert slowing[-1] > 0.75


@pytest.mark.parametrize(
    ("kind", "per_bar", "n"),
    [("one bar", 3, 3), ("two bars", 4, 8), ("halves", 4, 6), ("one bar", 2, 4), ("none", 4, 0)],
)
def test_count_ins_have_their_clicks(kind, per_bar, n):
    marks = count_ins.clicks(kind, per_bar)
    assert len(marks) == n
    assert all(mark.beat < 0 for mark in marks)
