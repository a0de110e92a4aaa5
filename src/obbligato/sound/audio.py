"""Audio in memory."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from obbligato.errors import InputError

Samples = NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Audio:
    """Samples with their rate.

    Attributes
    ----------
    y
        float32 of shape (channels, n_samples), full scale 1.0; a one-dimensional array is taken as one channel.
    sr
        Sampling rate in Hz.
    """

    y: Samples
    sr: int

    def __post_init__(self) -> None:
        y = np.atleast_2d(np.asarray(self.y, dtype=np.float32))
        if y.ndim != 2:
            raise InputError(f"Audio needs the shape (channels, samples), not {y.shape}.")
        object.__setattr__(self, "y", y)

    @property
    def channels(self) -> int:
        """Number of channels."""
        return int(self.y.shape[0])

    @property
    def n_samples(self) -> int:
        """Length in samples (frames)."""
        return int(self.y.shape[1])

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return self.n_samples / self.sr

    def mono(self) -> Samples:
        """The mean of the channels, shape (n_samples,)."""
        if self.channels == 1:
            return np.asarray(self.y[0], dtype=np.float32)
        return np.asarray(self.y.mean(axis=0), dtype=np.float32)
