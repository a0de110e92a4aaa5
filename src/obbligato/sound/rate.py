"""Sampling-rate conversion."""

from __future__ import annotations

import numpy as np
import soxr

from obbligato.errors import InputError
from obbligato.sound.audio import Audio
from obbligato.units import SILENCE_DB, power_to_db

IN_BAND = 0.9


def resample(audio: Audio, sr: int) -> Audio:
    """Convert to the rate `sr` (Hz) by band-limited, linear-phase interpolation (soxr, very high quality).

    Sample 0 stays at sample 0; the length becomes round(n_samples * sr / audio.sr). The same rate gives the same
    sound back.

    Raises
    ------
    InputError
        When `sr` is not a positive number.
    """
    if sr <= 0:
        raise InputError(f"sr={sr} is no sampling rate; give one in Hz, such as 48000.")
    if sr == audio.sr:
        return audio
    wanted = round(audio.n_samples * sr / audio.sr)
    y = soxr.resample(np.ascontiguousarray(audio.y.T), audio.sr, sr, quality="VHQ").T[:, :wanted]
    y = np.pad(y, ((0, 0), (0, wanted - y.shape[1])))
    return Audio(np.ascontiguousarray(y, dtype=np.float32), sr)


def round_trip_db(before: Audio, after: Audio) -> float:
    """What a conversion lost: converted back, the error's power against the sound's in dB.

    Counted below nine tenths of the lower of the two band limits, above which a conversion has to cut, and under a
    Hann window over the whole sound, since no filter knows what would lie before its first sample and after its last.
    """
    back = resample(after, before.sr)
    n = min(back.n_samples, before.n_samples)
    edge = int(IN_BAND * min(before.sr, after.sr) / before.sr * (n // 2))
    if edge < 1:
        return 0.0
    error, sound, window = 0.0, 0.0, np.hanning(n)
    for was, came in zip(before.y, back.y, strict=True):
        spectrum = np.fft.rfft(window * was[:n])
        error += float(np.sum(np.abs(np.fft.rfft(window * came[:n]) - spectrum)[:edge] ** 2))
        sound += float(np.sum(np.abs(spectrum)[:edge] ** 2))
    return float(power_to_db(error / sound)) if sound > 0.0 and error > 0.0 else SILENCE_DB
