"""Flat tops at any level: an input that gave out before the converter did."""

from __future__ import annotations

import numpy as np

from obbligato.sound.audio import Audio, Samples
from obbligato.sound.measures import clipped_samples

SOFTEST_TOP = 0.1
BLOCK_S = 0.03
LOUD_BLOCKS = 0.8
"""Looked at are blocks whose crest comes so near to the highest."""
FEWEST_BLOCKS = 5
BAND = 0.04
PILED_UP = 4.0
"""Samples in the top 4 % of a block for one in as wide a band 8 % lower: 3.1 in a sine (by the arcsine distribution),
whose crests are the roundest that music has; at most 2.4 in the clean playing of 31 sampled and 5 invented
instruments."""


def has_flat_tops(audio: Audio) -> bool:
    """Whether any channel is clipped: runs held at its highest value, or crests too broad for a smooth wave.

    The second test finds tops that are flat but neither exactly so nor all at one height, as an overdriven
    preamplifier leaves them behind its coupling capacitor: the histogram of a block rises at its end instead of
    running out. (The histogram of clipped speech: Aleinik and Matveev, "Detection of clipped fragments in speech
    signals", 2014, from memory; the criterion is our own.) Overdrive that touches single crests is beyond it, and it
    says nothing of where: takes are read by exact runs instead (`takes.sounds.flat_tops`).
    """
    return clipped_samples(audio) > 0 or any(
        _broad_crests(y, audio.sr) or _broad_crests(-y, audio.sr) for y in audio.y
    )


def _broad_crests(y: Samples, sr: int) -> bool:
    size = round(BLOCK_S * sr)
    blocks = y[: len(y) // size * size].reshape(-1, size)
    crests = blocks.max(axis=1, initial=0.0)
    loud = crests >= max(SOFTEST_TOP, LOUD_BLOCKS * float(crests.max(initial=0.0)))
    if loud.sum() < FEWEST_BLOCKS:
        return False
    blocks, top = blocks[loud], crests[loud][:, None]
    near = np.sum(blocks >= (1.0 - BAND) * top, axis=1)
    lower = np.sum((blocks >= (1.0 - 3 * BAND) * top) & (blocks < (1.0 - 2 * BAND) * top), axis=1)
    return float(np.median(near / np.maximum(lower, 1))) > PILED_UP
