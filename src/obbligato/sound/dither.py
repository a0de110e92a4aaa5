"""Dither for fewer bits: triangular noise of two steps, so that the error is a steady hiss and no distortion.

References
----------
S. P. Lipshitz, R. A. Wannamaker, J. Vanderkooy: Quantization and dither: a theoretical survey. Journal of the Audio
Engineering Society 40(5), 1992, 355-375.
"""

from __future__ import annotations

import numpy as np

from obbligato.sound.audio import Audio

SEED = 3285
"""The same noise for the same length and channels: the same decisions give the same bytes."""


def dithered(audio: Audio, *, bit_depth: int) -> Audio:
    """The sound on the steps of `bit_depth` bits, with dither of triangular density, ±1 step, before rounding.

    The mean of the error is zero and its power a quarter of a squared step at every level (the survey, section 5),
    independent of the sound. Values are held within full scale.
    """
    steps = 2.0 ** (bit_depth - 1)
    noise = np.random.default_rng(SEED)
    out = np.empty_like(audio.y)
    for channel, y in enumerate(audio.y):
        triangle = noise.random(y.size) - noise.random(y.size)
        out[channel] = np.clip(np.rint(y.astype(np.float64) * steps + triangle), -steps, steps - 1.0) / steps
    return Audio(out, audio.sr)
