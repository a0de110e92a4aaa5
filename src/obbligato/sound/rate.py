"""Sampling-rate conversion."""

from __future__ import annotations

import numpy as np
import soxr

from obbligato.errors import InputError
from obbligato.sound.audio import Audio


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
