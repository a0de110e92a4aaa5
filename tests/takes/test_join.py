"""The comp: untouched where nothing needs touching, and power held across joins."""

import numpy as np
import pytest

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.takes.join import join, on_guide_time
from obbligato.takes.place import stated_placement
from obbligato.takes.readings import Choice, Seam

SR = 48000


def _noise(seed: int, seconds: float = 2.0, channels: int = 1) -> Audio:
    y = 0.1 * np.random.default_rng(seed).normal(size=(channels, int(seconds * SR)))
    return Audio(y.astype(np.float32), SR)


def _seam(at_s: float) -> Seam:
    return Seam(at_s, "a", "b", 30.0, 0.0, 0.0, 0.0)


def test_one_take_from_the_guides_start_comes_out_bit_for_bit() -> None:
    take = _noise(1, channels=2)
    choice = (Choice(0, "a", ""), Choice(1, "a", ""))
    comp = join({"a": take}, {"a": stated_placement(0.0)}, choice, (), n_samples=take.n_samples, sr=SR)
    assert np.array_equal(comp.audio.y, take.y)


def test_a_take_that_starts_later_is_moved_by_whole_samples_and_padded() -> None:
    take = _noise(1)
    y = on_guide_time(take, stated_placement(0.5), n_samples=3 * SR, sr=SR)
    edge = SR // 100
    assert not y[:, : SR // 2].any()
    assert np.array_equal(y[:, SR // 2 + edge : SR // 2 + take.n_samples - edge], take.y[:, edge:-edge])


def test_a_take_that_starts_before_the_guide_loses_its_head() -> None:
    take = _noise(1)
    y = on_guide_time(take, stated_placement(-0.5), n_samples=SR, sr=SR)
    assert np.array_equal(y, take.y[:, SR // 2 : SR // 2 + SR])


# A sine brought from 44.1 to 48 kHz must be the same sine: soxr's passband at this quality is flat far below 0.1 dB,
# so the residual lies at least 60 dB under it.
def test_a_take_at_another_rate_keeps_its_time() -> None:
    t = np.arange(2 * 44100) / 44100
    take = Audio(np.sin(2 * np.pi * 440 * t).astype(np.float32), 44100)
    y = on_guide_time(take, stated_placement(0.0), n_samples=2 * SR, sr=SR)[0]
    inside = slice(SR // 2, 3 * SR // 2)
    wanted = np.sin(2 * np.pi * 440 * np.arange(2 * SR) / SR)
    assert np.abs(y[inside] - wanted[inside]).max() < 1e-3


def test_two_takes_are_joined_without_a_hole() -> None:
    a, b = _noise(1), _noise(2)
    choice = (Choice(0, "a", ""), Choice(1, "b", ""))
    placements = {"a": stated_placement(0.0), "b": stated_placement(0.0)}
    comp = join({"a": a, "b": b}, placements, choice, (_seam(1.0),), n_samples=a.n_samples, sr=SR)
    before, after = int(0.98 * SR), int(1.02 * SR)
    assert np.array_equal(comp.audio.y[:, :before], a.y[:, :before])
    assert np.array_equal(comp.audio.y[:, after:], b.y[:, after:])
    # 1440 samples of noise hold their mean power to 1/sqrt(720), 4 %, so 1 dB is six standard deviations away.
    faded = comp.audio.y[0, int(0.985 * SR) : int(1.015 * SR)]
    assert 10 * np.log10(np.mean(faded**2) / 0.01) == pytest.approx(0.0, abs=1.0)


def test_joining_a_take_with_itself_changes_nothing_audible() -> None:
    a = _noise(1)
    choice = (Choice(0, "a", ""), Choice(1, "b", ""))
    placements = {"a": stated_placement(0.0), "b": stated_placement(0.0)}
    comp = join({"a": a, "b": a}, placements, choice, (_seam(1.0),), n_samples=a.n_samples, sr=SR)
    assert np.abs(comp.audio.y - a.y).max() < 1e-6


def test_a_missing_take_is_refused() -> None:
    with pytest.raises(InputError, match="'b' is not there"):
        join({}, {}, (Choice(0, "b", ""),), (), n_samples=SR, sr=SR)
