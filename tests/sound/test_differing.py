import numpy as np
import pytest

from obbligato.sound.audio import Audio
from obbligato.sound.carried import carried
from obbligato.sound.differing import how_different

SR = 8000


@pytest.fixture
def sound():
    rng = np.random.default_rng(1)
    y = 0.2 * rng.standard_normal(4 * SR).astype(np.float32)
    y[:SR] = 0.0
    return Audio(y, SR)


def test_the_same(sound):
    assert how_different(sound, sound, within=0.0).kind == "none"


@pytest.mark.parametrize(("gain", "inverted", "db"), [(-1.0, True, 0.0), (0.5, False, -6.02), (-2.0, True, 6.02)])
def test_level_and_polarity(sound, gain, inverted, db):
    found = how_different(Audio(gain * sound.y, SR), sound, within=0.0)
    assert (found.kind, found.inverted) == ("level", inverted)
    assert found.gain_db == pytest.approx(db, abs=0.01)


@pytest.mark.parametrize("late", [-200, 1, 200])
def test_moved(sound, late):
    found = how_different(Audio(np.roll(sound.y, late, axis=1), SR), sound, within=0.0)
    assert (found.kind, found.late_samples) == ("moved", late)


def test_one_sample_is_no_gain(sound):
    y = sound.y.copy()
    y[0, 2 * SR] += 2.0**-20
    found = how_different(Audio(y, SR), sound, within=0.0)
    assert (found.kind, found.first_s, found.last_s) == ("other", 2.0, 2.0 + 1 / SR)


def test_cut_and_added_with_their_place(sound):
    cut, added = sound.y.copy(), sound.y.copy()
    cut[:, 2 * SR : 3 * SR] = 0.0
    added[:, SR // 2 : SR] += 0.1
    for y, kind, first_s, last_s in ((cut, "cut", 2.0, 3.0), (added, "added", 0.5, 1.0)):
        found = how_different(Audio(y, SR), sound, within=0.0)
        assert (found.kind, found.first_s, found.last_s) == (kind, first_s, last_s)


def test_what_was_carried_over_and_what_is_new(sound):
    """Silence, then seconds 1, 2, 3; two seconds are put in after second 1, and second 3 is played anew."""
    y = sound.y[0]
    rng = np.random.default_rng(2)
    put_in, anew = (0.2 * rng.standard_normal(n * SR).astype(np.float32) for n in (2, 1))
    new = Audio(np.concatenate([y[: 2 * SR], put_in, y[2 * SR : 3 * SR], anew]), SR)
    found = carried(new, sound, [float(s) for s in range(7)])
    assert [one.kind for one in found] == ["silent", "same", "new", "new", "same", "new"]
    assert [one.later_s for one in found if one.kind == "same"] == [0.0, 2.0]
