"""Blocks on their way from the device's thread to the thread that writes: copied into room taken beforehand.

One thread writes and one reads, each moving a count of its own, so that neither waits for the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from obbligato.sound.audio import Samples

BLOCKS_REMEMBERED = 8192


@dataclass(frozen=True)
class BlockStamp:
    """A block of a stream: its first frame, its length in frames, its times on the device's clock, and whether the
    device says that sound was lost before it."""

    frame: int
    frames: int
    adc_s: float
    dac_s: float
    lost: bool


class BlockRing:
    """Room for `frames` frames of `channels` channels."""

    def __init__(self, frames: int, channels: int) -> None:
        self._sound = np.zeros((frames, channels), dtype=np.float32)
        self._stamps: list[BlockStamp | None] = [None] * BLOCKS_REMEMBERED
        self._put = self._got = 0
        self._stamps_put = self._stamps_got = 0

    def put(self, heard: Samples, *, adc_s: float, dac_s: float, lost: bool) -> bool:
        """Copy a block in; False, and nothing copied, where there is no room."""
        size, n = len(self._sound), len(heard)
        if self._stamps_put - self._stamps_got >= BLOCKS_REMEMBERED or self._put - self._got + n > size:
            return False
        start = self._put % size
        first = min(n, size - start)
        self._sound[start : start + first] = heard[:first]
        self._sound[: n - first] = heard[first:]
        self._stamps[self._stamps_put % BLOCKS_REMEMBERED] = BlockStamp(self._put, n, adc_s, dac_s, lost)
        self._put += n
        self._stamps_put += 1
        return True

    def get(self) -> tuple[Samples, list[BlockStamp]]:
        """All that came since the last time: frames of shape (n, channels), and the stamps of their blocks."""
        stamps_end = self._stamps_put
        stamps = [self._stamps[i % BLOCKS_REMEMBERED] for i in range(self._stamps_got, stamps_end)]
        n = sum(stamp.frames for stamp in stamps if stamp is not None)
        places = (self._got + np.arange(n)) % len(self._sound)
        sound = self._sound[places]
        self._got += n
        self._stamps_got = stamps_end
        return sound, [stamp for stamp in stamps if stamp is not None]
