"""Filters, fades, gains and sums of sounds. Every function returns a new sound and leaves its input alone."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.sound.dynamics import Compressed, compress
from obbligato.sound.room import small_room
from obbligato.units import db_to_amplitude

__all__ = [
    "Compressed",
    "FadeLaw",
    "compress",
    "correlation",
    "crossfade",
    "fade_gains",
    "fade_in",
    "fade_out",
    "fit_length",
    "gain",
    "highpass",
    "mix",
    "small_room",
]

FadeLaw = Literal["equal_gain", "equal_power", "matched"]


def highpass(audio: Audio, corner_hz: float, *, order: int = 2) -> Audio:
    """Butterworth high-pass, 6 dB per octave and order, 3 dB down at the corner.

    Raises
    ------
    InputError
        When the corner is not between 0 Hz and half the sampling rate.
    """
    if not 0.0 < corner_hz < audio.sr / 2:
        raise InputError(f"corner_hz={corner_hz} must lie between 0 and {audio.sr / 2:.0f} Hz.")
    sos = signal.butter(order, corner_hz, "highpass", fs=audio.sr, output="sos")
    return Audio(signal.sosfilt(sos, audio.y.astype(np.float64), axis=-1).astype(np.float32), audio.sr)


def gain(audio: Audio, db: float) -> Audio:
    """Make louder (or, below 0 dB, softer)."""
    return Audio(audio.y * np.float32(db_to_amplitude(db)), audio.sr)


def fade_in(audio: Audio, seconds: float) -> Audio:
    """Rise from silence along a quarter sine over the first `seconds` (or the whole sound, if shorter)."""
    n = min(audio.n_samples, round(seconds * audio.sr))
    y = audio.y.copy()
    y[:, :n] *= np.sin(_ramp(n) * np.pi / 2).astype(np.float32)
    return Audio(y, audio.sr)


def fade_out(audio: Audio, seconds: float) -> Audio:
    """Fall to silence along a quarter sine over the last `seconds` (or the whole sound, if shorter)."""
    n = min(audio.n_samples, round(seconds * audio.sr))
    y = audio.y.copy()
    y[:, audio.n_samples - n :] *= np.cos(_ramp(n) * np.pi / 2).astype(np.float32)
    return Audio(y, audio.sr)


def correlation(a: Audio, b: Audio) -> float:
    """Correlation of two stretches of equal shape, from -1 to 1; 0 when one is silent."""
    _require_same_frame(a, b)
    x, y = a.y.astype(np.float64).ravel(), b.y.astype(np.float64).ravel()
    norm = float(np.sqrt(np.dot(x, x) * np.dot(y, y)))
    return float(np.dot(x, y)) / norm if norm > 0.0 else 0.0


def fade_gains(
    n_samples: int, law: FadeLaw, *, correlated: float = 0.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gains of the leaving and of the entering sound, each of shape (n_samples,).

    "equal_gain" sums to 1 (no bump for the same signal on both sides), "equal_power" has squares summing to 1 (no dip
    for unrelated signals), "matched" keeps the power constant for two signals of the correlation `correlated`
    (0 to 1): the first law at 1, of the second kind at 0.
    """
    x = _ramp(n_samples)
    if law == "equal_gain":
        return 1.0 - x, x
    if law == "equal_power":
        return np.cos(x * np.pi / 2), np.sin(x * np.pi / 2)
    r = min(max(correlated, 0.0), 1.0)
    norm = np.sqrt((1.0 - x) ** 2 + x**2 + 2.0 * r * x * (1.0 - x))
    return (1.0 - x) / norm, x / norm


def crossfade(a: Audio, b: Audio, *, law: FadeLaw = "matched") -> Audio:
    """Pass from `a` to `b`, two stretches of the same place and shape, over their whole length.

    "matched" measures their correlation and takes the law that keeps the level; see `fade_gains`.

    Raises
    ------
    InputError
        When rate or shape differ.
    """
    _require_same_frame(a, b)
    out, into = fade_gains(a.n_samples, law, correlated=correlation(a, b) if law == "matched" else 0.0)
    return Audio((a.y * out + b.y * into).astype(np.float32), a.sr)


def mix(sounds: Sequence[Audio], *, gains_db: Sequence[float] | None = None) -> Audio:
    """Sum sounds that start together; mono goes unchanged to every channel.

    Raises
    ------
    InputError
        When there are none, or rates or lengths differ, or channels differ and are not one.
    """
    if not sounds:
        raise InputError("There is nothing to mix; give at least one sound.")
    channels = max(sound.channels for sound in sounds)
    first = sounds[0]
    for sound in sounds:
        if sound.sr != first.sr or sound.n_samples != first.n_samples or sound.channels not in (1, channels):
            raise InputError(
                f"Sounds of {first.sr} Hz, {first.n_samples} samples and {sound.sr} Hz, {sound.n_samples} samples "
                "cannot be mixed; bring them to one rate, length and number of channels first."
            )
    levels = [1.0] * len(sounds) if gains_db is None else [float(db_to_amplitude(db)) for db in gains_db]
    total = np.zeros((channels, first.n_samples))
    for sound, level in zip(sounds, levels, strict=True):
        total += level * sound.y
    return Audio(total.astype(np.float32), first.sr)


def fit_length(audio: Audio, n_samples: int) -> Audio:
    """Cut the end, or add silence there, to the exact length."""
    y = audio.y[:, :n_samples]
    return Audio(np.pad(y, ((0, 0), (0, n_samples - y.shape[1]))), audio.sr)


def _ramp(n: int) -> NDArray[np.float64]:
    """From 0 to 1 in `n` values, the ends half a step inside."""
    return (np.arange(n) + 0.5) / max(n, 1)


def _require_same_frame(a: Audio, b: Audio) -> None:
    if a.sr != b.sr or a.y.shape != b.y.shape:
        raise InputError(f"Two stretches of the same rate and shape are needed, not {a.y.shape} and {b.y.shape}.")
