"""Conversions between units; no unit arithmetic lives anywhere else.

Pitch follows the equal-tempered MIDI scale: 69 is A4, 60 is middle C. Scalars and arrays both work.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

A4_HZ = 440.0
A4_MIDI = 69
SILENCE_DB = -200.0
"""What levels of true silence read as, so that reports never show minus infinity."""


def hz_to_midi(hz: ArrayLike, *, a4_hz: float = A4_HZ) -> NDArray[np.float64]:
    """Frequency in Hz to (fractional) MIDI pitch.

    >>> float(hz_to_midi(440.0))
    69.0
    """
    return np.asarray(A4_MIDI + 12.0 * np.log2(np.asarray(hz, dtype=np.float64) / a4_hz))


def midi_to_hz(midi: ArrayLike, *, a4_hz: float = A4_HZ) -> NDArray[np.float64]:
    """(Fractional) MIDI pitch to frequency in Hz.

    >>> float(midi_to_hz(57))
    220.0
    """
    return np.asarray(a4_hz * 2.0 ** ((np.asarray(midi, dtype=np.float64) - A4_MIDI) / 12.0))


def cents_to_ratio(cents: ArrayLike) -> NDArray[np.float64]:
    """Interval in cents to the ratio of the two frequencies.

    >>> float(cents_to_ratio(1200.0))
    2.0
    """
    return np.asarray(2.0 ** (np.asarray(cents, dtype=np.float64) / 1200.0))


def amplitude_to_db(amplitude: ArrayLike) -> NDArray[np.float64]:
    """Linear amplitude (full scale 1) to dB; silence reads `SILENCE_DB`."""
    floor = 10.0 ** (SILENCE_DB / 20.0)
    return np.asarray(20.0 * np.log10(np.maximum(np.abs(np.asarray(amplitude, dtype=np.float64)), floor)))


def db_to_amplitude(db: ArrayLike) -> NDArray[np.float64]:
    """DB to linear amplitude (0 dB is 1)."""
    return np.asarray(10.0 ** (np.asarray(db, dtype=np.float64) / 20.0))


def power_to_db(power: ArrayLike) -> NDArray[np.float64]:
    """Power (full scale 1) to dB; silence reads `SILENCE_DB`.

    >>> float(power_to_db(0.01))
    -20.0
    """
    return np.asarray(10.0 * np.log10(np.maximum(np.asarray(power, dtype=np.float64), 10.0 ** (SILENCE_DB / 10.0))))


def db_to_power(db: ArrayLike) -> NDArray[np.float64]:
    """DB to power (0 dB is 1)."""
    return np.asarray(10.0 ** (np.asarray(db, dtype=np.float64) / 10.0))


def seconds_to_clock(seconds: float) -> str:
    """Clock time as a client reads it, to the millisecond.

    >>> seconds_to_clock(67.25)
    '1:07.250'
    """
    sign = "-" if seconds < 0 else ""
    total_ms = round(abs(seconds) * 1000)
    return f"{sign}{total_ms // 60000}:{total_ms // 1000 % 60:02d}.{total_ms % 1000:03d}"
