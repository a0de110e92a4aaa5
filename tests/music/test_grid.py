from fractions import Fraction

import numpy as np
import pytest

from obbligato.errors import InputError
from obbligato.music.grid import Grid, Meter, Position


def test_twelve_eight_is_four_dotted_quarters():
    meter = Meter.from_signature("12/8")
    assert (meter.beats_per_bar, meter.beat_unit, meter.signature) == (4, "dotted quarter", (12, 8))
    assert meter.bar_quarters == 6


@pytest.mark.parametrize("signature", ["4/4", "3/4", "2/2", "5/4", "6/8", "9/8", "12/8", "7/8"])
def test_signature_reads_back(signature):
    assert str(Meter.from_signature(signature)) == signature


@pytest.mark.parametrize("text", ["", "4", "4/0", "0/4", "x/y", "4/5"])
def test_what_is_no_metre_is_refused(text):
    with pytest.raises(InputError, match="metre"):
        Meter.from_signature(text)


def test_tempo_arithmetic_of_the_handbook():
    """At 120 a beat lasts half a second, so bar 3 of 4/4 starts four seconds after bar 1."""
    grid = Grid.steady(120, 1.5, Meter())
    assert grid.bar_to_sec(3) == pytest.approx(5.5)
    assert grid.position_at(5.75) == Position(3, pytest.approx(1.5))
    assert grid.position_at(1.0) == Position(0, pytest.approx(4.0))
    assert grid.bpm_at(100.0) == pytest.approx(120)


def test_wandering_grid_goes_there_and_back():
    rng = np.random.default_rng(7)
    beats_s = np.cumsum(rng.uniform(0.4, 0.7, 40))
    grid = Grid.from_beats(beats_s, 5, Meter(3))
    times_s = np.linspace(-3, beats_s[-1] + 5, 500)
    np.testing.assert_allclose(grid.beat_to_sec(grid.sec_to_beat(times_s)), times_s, atol=1e-9)
    assert grid.bar_1_s == pytest.approx(beats_s[5])


def test_beats_and_bars_in_a_stretch():
    grid = Grid.steady(60, 2.0, Meter(4))
    assert grid.beats_in(1.0, 4.0).tolist() == [-1.0, 0.0, 1.0]
    assert list(grid.bars_in(2.0, 10.0)) == [1, 2]
    assert list(grid.bars_in(2.1, 10.1)) == [2, 3]


def test_corrections_keep_what_they_do_not_name():
    grid = Grid.steady(100, 1.0, Meter(4))
    assert grid.moved(0.5).bar_1_s == pytest.approx(1.3)
    assert grid.with_bar_1_at(7.0).bar_1_s == pytest.approx(7.0)
    double = grid.counted_times(Fraction(2))
    assert (double.mean_bpm, double.bar_1_s) == (pytest.approx(200), pytest.approx(1.0))


def test_a_grid_goes_forward():
    with pytest.raises(InputError, match="forward"):
        Grid(Meter(), (0.0, 1.0), (2.0, 2.0))


def test_a_spoken_beat_is_one_that_the_bar_has():
    grid = Grid.steady(95.0, 2.553, Meter())
    assert grid.beat_to_position(-4.003).beat == pytest.approx(4.997)
    assert grid.spoken_position(-4.003) == Position(0, 1.0)
    assert grid.spoken_position(1.26) == Position(1, pytest.approx(2.3))
