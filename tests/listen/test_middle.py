"""A song taken apart by place: made of signals whose place and kind are known."""

import numpy as np
import pytest

from obbligato.listen.middle import BANDS, HOP, RATE_HZ, taken_apart

SECONDS = 3.0


def noise(seed):
    return 0.1 * np.random.default_rng(seed).standard_normal(round(SECONDS * RATE_HZ)).astype(np.float32)


def tone(hz):
    return (0.1 * np.sin(2 * np.pi * hz * np.arange(round(SECONDS * RATE_HZ)) / RATE_HZ)).astype(np.float32)


def test_what_is_alike_in_both_channels_stays_as_it_is():
    y = tone(440.0) + noise(1)
    places = taken_apart(np.stack([y, y]))
    np.testing.assert_allclose(places.middle[:-HOP], y[:-HOP], atol=1e-5)
    assert places.middle_db.shape == places.side_db.shape == (len(places.flatness_db), BANDS)
    assert np.all(places.side_db < places.middle_db - 60.0)


def test_what_differs_goes_to_the_sides():
    """A tone in the middle, noise that is another in each channel: little is left of the noise."""
    centre = tone(440.0)
    places = taken_apart(np.stack([centre + noise(1), centre + noise(2)]))
    left_over = places.middle - centre
    assert np.sqrt(np.mean(left_over[HOP:-HOP] ** 2)) < 0.5 * np.sqrt(np.mean(noise(1) ** 2))


def test_noise_and_tone_differ_in_flatness():
    """For noise the mean of the logarithm of power lies Euler's constant under the logarithm of its mean."""
    expected_db = -10.0 * np.euler_gamma / np.log(10.0)
    inner = slice(4, -4)
    flat = taken_apart(noise(3)[None]).flatness_db[inner].mean(axis=0)
    assert flat[3:] == pytest.approx(np.full(flat.size - 3, expected_db), abs=0.35)
    pitched = taken_apart((tone(700.0) + 0.001 * noise(4))[None]).flatness_db[inner]
    assert pitched.mean(axis=0).min() < -20.0
