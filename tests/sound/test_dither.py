import numpy as np
import pytest

from obbligato.sound.audio import Audio
from obbligato.sound.dither import dithered

STEP = 2.0**-15


@pytest.mark.parametrize("level", [0.0, 0.3, 0.5, 12.25])
def test_the_error_is_the_same_noise_at_every_level(level):
    """Lipshitz, Wannamaker, Vanderkooy 1992: mean zero, power a quarter of a squared step, whatever the input."""
    y = np.full((1, 200_000), level * STEP, np.float32)
    error = (dithered(Audio(y, 48000), bit_depth=16).y - y) / STEP
    # The mean of 200 000 values of deviation 0.5 strays by 0.0011; four of those.
    assert abs(float(np.mean(error, dtype=np.float64))) < 0.0045
    assert float(np.mean(np.square(error, dtype=np.float64))) == pytest.approx(0.25, rel=0.02)


def test_a_tone_below_one_step_is_still_there():
    t = np.arange(480_000) / 48000
    tone = (0.4 * STEP * np.sin(2 * np.pi * 1000 * t)).astype(np.float32)
    out = dithered(Audio(tone, 48000), bit_depth=16).y[0]
    assert 2 * np.mean(out * np.sin(2 * np.pi * 1000 * t)) == pytest.approx(0.4 * STEP, rel=0.03)
    assert not np.rint(tone / STEP).any()


def test_on_steps_within_full_scale_and_the_same_twice():
    sound = Audio(np.linspace(-1, 1, 1000, dtype=np.float32), 48000)
    out = dithered(sound, bit_depth=16)
    assert np.array_equal(out.y, dithered(sound, bit_depth=16).y)
    assert np.array_equal(out.y * 32768, np.rint(out.y * 32768))
    assert out.y.min() >= -1.0 and out.y.max() <= 1.0 - STEP
