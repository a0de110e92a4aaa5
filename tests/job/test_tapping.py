"""Taps with the jitter that people have, against songs whose beat is known."""

import numpy as np
import pytest

from obbligato.errors import InputError
from obbligato.job.tapping import grid_from_taps, nearest_beat_s, tapped_beat
from obbligato.music.grid import Grid, Meter

BPM, BAR_1_S = 96.0, 2.5
HEARD = Grid.steady(BPM, BAR_1_S, Meter())
JITTER_S, EARLY_S = 0.025, 0.03
"""Spread and earliness of taps: mid-range of those in Repp (2005), Psychonomic Bulletin & Review 12, 969-992."""


def taps(rng, *, first_beat, step=1.0, n=16):
    beats = first_beat + step * np.arange(n)
    return HEARD.beat_to_sec(beats) - EARLY_S + rng.normal(0.0, JITTER_S, n)


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(
    ("step", "bpm"),
    [(1.0, 96.0), (2.0, 48.0), (0.5, 192.0), (2 / 3, 144.0)],
    ids=["as heard", "half", "double", "3:2"],
)
def test_taps_choose_how_the_heard_beats_are_counted(seed, step, bpm):
    grid = grid_from_taps(HEARD, taps(np.random.default_rng(seed), first_beat=20.0, step=step))
    assert grid.mean_bpm == pytest.approx(bpm, rel=1e-9)
    # On the heard beats themselves, although the taps come early.
    assert float(HEARD.sec_to_beat(grid.beat_to_sec(40.0))) * 6 == pytest.approx(
        round(float(HEARD.sec_to_beat(grid.beat_to_sec(40.0))) * 6), abs=1e-6
    )


@pytest.mark.parametrize("seed", range(5))
def test_taps_on_the_other_half_of_the_beat_move_the_grid_by_half_a_beat(seed):
    grid = grid_from_taps(HEARD, taps(np.random.default_rng(seed), first_beat=8.5))
    assert float(HEARD.sec_to_beat(grid.bar_1_s)) % 1.0 == pytest.approx(0.5, abs=1e-6)
    assert abs(grid.bar_1_s - BAR_1_S) <= 0.5 * 60.0 / BPM + 1e-9


def test_taps_that_agree_with_nothing_heard_make_a_beat_of_their_own():
    rng = np.random.default_rng(0)
    times = 5.0 + np.arange(24) * 60.0 / 83.0 + rng.normal(0.0, 0.015, 24)
    grid = grid_from_taps(HEARD, times)
    # Standard error of the slope: 15 ms / (723 ms * sqrt(24 (24^2 - 1) / 12)) = 0.06 %; four of them.
    assert grid.mean_bpm == pytest.approx(83.0, rel=0.0025)


def test_a_few_sloppy_taps_do_not_throw_over_what_fits_the_whole_song():
    grid = grid_from_taps(HEARD, HEARD.bar_to_sec(6) + 1.04 * (60.0 / BPM) * np.arange(6))
    assert grid.mean_bpm == pytest.approx(BPM, rel=1e-9)


def test_a_missed_a_doubled_and_a_stray_tap_do_no_harm():
    times = list(10.0 + np.arange(20) * 0.5)
    del times[7]
    times += [times[3] + 0.06, times[12] + 0.2]
    found = tapped_beat(times)
    assert found.bpm == pytest.approx(120.0, rel=0.002)
    assert found.first_s % 0.5 == pytest.approx(0.0, abs=0.005) or found.first_s % 0.5 > 0.495


def test_too_few_and_uneven_taps_are_refused():
    with pytest.raises(InputError, match="too few"):
        tapped_beat([1.0, 1.5, 2.0])
    with pytest.raises(InputError, match="show no beat"):
        tapped_beat([0.0, 0.7, 0.95, 1.9, 2.2, 3.3, 3.65, 4.1, 5.0])


def test_one_tap_means_the_beat_next_to_it():
    assert nearest_beat_s(HEARD, HEARD.bar_to_sec(5) - 0.06) == pytest.approx(HEARD.bar_to_sec(5))
    assert nearest_beat_s(HEARD, HEARD.bar_to_sec(5, 1.5) + 0.05) == pytest.approx(HEARD.bar_to_sec(5, 1.5))
