"""A small room, for a treated version of a dry recording."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import signal

from obbligato.sound.audio import Audio
from obbligato.units import db_to_amplitude

SPEED_OF_SOUND_M_S = 343.0
ROOM_M = (4.6, 5.9, 2.7)
SOURCE_M = (1.7, 2.1, 1.4)
LISTENER_M = (2.9, 4.0, 1.5)
WALL_REFLECTION = 0.7
BAND_HZ = (180.0, 7000.0)
TAIL_SEED = 5


def room_response(sr: int, *, decay_s: float, channels: int = 1) -> NDArray[np.float64]:
    """What the room adds to the direct sound, energy 1 in every channel, shape (channels, n).

    Six first reflections of a shoebox by the image-source method (Allen and Berkley, JASA 65, 1979), then noise whose
    level falls by 60 dB in `decay_s`, between 180 Hz and 7 kHz. The noise is the same in every call, and differs
    between channels.
    """
    n = round(1.1 * decay_s * sr)
    tail_start = round(0.012 * sr)
    rng = np.random.default_rng(TAIL_SEED)
    t = np.arange(n) / sr
    tail = rng.standard_normal((channels, n)) * 10.0 ** (-3.0 * t / decay_s)
    tail[:, :tail_start] = 0.0
    tail /= np.sqrt(np.sum(tail**2, axis=1, keepdims=True))
    direct_m = float(np.linalg.norm(np.subtract(SOURCE_M, LISTENER_M)))
    early = np.zeros(n)
    for axis in range(3):
        for wall_m in (0.0, ROOM_M[axis]):
            image = np.array(SOURCE_M)
            image[axis] = 2.0 * wall_m - image[axis]
            path_m = float(np.linalg.norm(image - LISTENER_M))
            early[round((path_m - direct_m) / SPEED_OF_SOUND_M_S * sr)] += WALL_REFLECTION * direct_m / path_m
    band = signal.butter(1, BAND_HZ, "bandpass", fs=sr, output="sos")
    response = signal.sosfilt(band, early / np.sqrt(np.sum(early**2)) + tail, axis=-1)
    return np.asarray(response / np.sqrt(np.sum(response**2, axis=1, keepdims=True)))


def small_room(audio: Audio, *, decay_s: float = 0.45, wet_db: float = -14.0) -> Audio:
    """Put a dry sound into a small room: same length, same start, no sample higher than before.

    Parameters
    ----------
    decay_s
        Time in which the room's sound falls by 60 dB.
    wet_db
        Energy of the room against the direct sound.
    """
    response = room_response(audio.sr, decay_s=decay_s, channels=audio.channels)
    wet = signal.oaconvolve(audio.y.astype(np.float64), response, axes=-1)[:, : audio.n_samples]
    y = audio.y + wet * float(db_to_amplitude(wet_db))
    before, after = np.max(np.abs(audio.y), initial=0.0), np.max(np.abs(y), initial=0.0)
    if after > before:
        y = y * (before / after)
    return Audio(y.astype(np.float32), audio.sr)
