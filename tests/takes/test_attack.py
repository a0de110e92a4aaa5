"""Constructed attacks with a known first moment."""

import numpy as np
import pytest

from obbligato.takes.attack import find_attack
from obbligato.takes.pitch import ANALYSIS_SR


def _tone_from(start_s: float, ramp_s: float, f0_hz: float, rng: np.random.Generator) -> np.ndarray:
    t = np.arange(2 * ANALYSIS_SR) / ANALYSIS_SR
    envelope = np.clip((t - start_s) / max(ramp_s, 1e-6), 0, 1)
    tone = sum(np.sin(2 * np.pi * f0_hz * k * (t - start_s)) / k for k in range(1, 6))
    return (0.3 * envelope * tone + 3e-4 * rng.normal(size=len(t))).astype(np.float32)


# One millisecond is sixteen samples; the noise lies 60 dB under the tone, so a ramp of 20 ms rises out of it after a
# thousandth of its length, and the picker needs a quarter of a period of 110 Hz (2.3 ms, at small amplitude) at most.
@pytest.mark.parametrize("ramp_ms", [0.0, 2.0, 10.0, 20.0])
@pytest.mark.parametrize("f0_hz", [110.0, 440.0, 1000.0])
def test_the_start_of_a_clear_attack_is_found_to_a_millisecond(f0_hz: float, ramp_ms: float) -> None:
    rng = np.random.default_rng(3)
    for _ in range(5):
        start_s = 1.0 + rng.uniform(0, 0.01)
        y = _tone_from(start_s, ramp_ms / 1e3, f0_hz, rng)
        attack = find_attack(y, start_s + rng.uniform(-0.04, 0.04), f0_hz=f0_hz)
        assert attack is not None
        assert attack.clear
        assert attack.at_s == pytest.approx(start_s, abs=0.001)


def test_a_held_tone_has_no_clear_attack() -> None:
    t = np.arange(ANALYSIS_SR) / ANALYSIS_SR
    attack = find_attack(np.sin(2 * np.pi * 440 * t).astype(np.float32), 0.5, f0_hz=440.0)
    assert attack is None or not attack.clear


def test_outside_the_sound_there_is_no_attack() -> None:
    assert find_attack(np.zeros(100, dtype=np.float32), 5.0, f0_hz=440.0) is None
