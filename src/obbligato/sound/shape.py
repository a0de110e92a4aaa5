"""Filters, fades, gains and sums of sounds. Every function returns a new sound and leaves its input alone."""

from __future__ import annotations

from collections.abc import Sequence

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
    "compress",
    "correlation",
    "crossfade",
    "crossfade_gains",
    "fit_length",
    "gain",
    "highpass",
    "mix",
    "small_room",
]

HIGHPASS_ORDER = 2


def highpass(audio: Audio, corner_hz: float) -> Audio:
    """Butterworth high-pass of second order: 12 dB per octave, 3 dB down at the corner.

    Raises
    ------
    InputError
        When the corner is not between 0 Hz and half the sampling rate.
    """
    if not 0.0 < corner_hz < audio.sr / 2:
        raise InputError(f"corner_hz={corner_hz} must lie between 0 and {audio.sr / 2:.0f} Hz.")
    sos = signal.butter(HIGHPASS_ORDER, corner_hz, "highpass", fs=audio.sr, output="sos")
    return Audio(signal.sosfilt(sos, audio.y.astype(np.float64), axis=-1).astype(np.float32), audio.sr)


def gain(audio: Audio, db: float) -> Audio:
    """Make louder (or, below 0 dB, softer)."""
    return Audio(audio.y * np.float32(db_to_amplitude(db)), audio.sr)


def correlation(a: Audio, b: Audio) -> float:
    """Correlation of two stretches of equal shape, from -1 to 1; 0 when one is silent."""
    _require_same_frame(a, b)
    x, y = a.y.astype(np.float64).ravel(), b.y.astype(np.float64).ravel()
    norm = float(np.sqrt(np.dot(x, x) * np.dot(y, y)))
    return float(np.dot(x, y)) / norm if norm > 0.0 else 0.0


def crossfade_gains(n_samples: int, correlated: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Gains of the leaving and of the entering sound that hold the power of two sounds of equal power.

    A quarter of a cosine and of a sine, divided by what their mixture's power would rise to at the correlation
    `correlated` (0 to 1): at 0 that is the law of equal power, at 1 the two sum to one (equal gain). Both have the
    shape (n_samples,), their ends half a step inside the fade.
    """
    angle = np.pi / 2 * (np.arange(n_samples) + 0.5) / max(n_samples, 1)
    out, into = np.cos(angle), np.sin(angle)
    power = 1.0 + 2.0 * correlated * out * into
    return out / np.sqrt(power), into / np.sqrt(power)


def crossfade(a: Audio, b: Audio) -> Audio:
    """Pass from `a` to `b`, two stretches of the same place and shape, over their whole length, the level held.

    The gains are those of `crossfade_gains` for the correlation that the two have; a negative one counts as none.

    Raises
    ------
    InputError
        When rate or shape differ.
    """
    _require_same_frame(a, b)
    out, into = crossfade_gains(a.n_samples, max(0.0, min(1.0, correlation(a, b))))
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


def _require_same_frame(a: Audio, b: Audio) -> None:
    if a.sr != b.sr or a.y.shape != b.y.shape:
        raise InputError(f"Two stretches of the same rate and shape are needed, not {a.y.shape} and {b.y.shape}.")
