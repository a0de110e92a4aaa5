"""Some seconds of what an audio device hears, held in memory: for checks, not for takes."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from obbligato.errors import InputError
from obbligato.play.stream import Device
from obbligato.progress import Progress, silent
from obbligato.sound.audio import Audio, Samples
from obbligato.units import amplitude_to_db

LONGEST_S = 120.0
BLOCK = 1024
"""Nobody plays to this, so that it need not answer quickly."""
_PATIENCE_S = 3.0
"""A device that has not delivered by so much after its time has stopped."""
_POLL_S = 0.05


@dataclass(frozen=True, eq=False)
class Sampled:
    """What was heard, and how often the device noticed that sound was lost."""

    audio: Audio
    losses: int


def hear_device(
    device: Device,
    *,
    seconds: float,
    sr: int,
    inputs: int = 1,
    progress: Progress = silent,
    peaks: Callable[[tuple[float, ...]], None] = lambda _: None,
) -> Sampled:
    """Record for some seconds while playing silence.

    Parameters
    ----------
    peaks
        Told with each look the highest sample since the last one, dBFS by input.

    Raises
    ------
    InputError
        When the time is not between 1 s and two minutes, the device cannot be had, or it stops.
    """
    if not 1.0 <= seconds <= LONGEST_S:
        raise InputError(f"seconds={seconds:g}: the check records for 1 to {LONGEST_S:.0f} seconds.")
    y = np.zeros((inputs, round(seconds * sr)), np.float32)
    filled, losses, told = 0, 0, 0

    def on_block(heard: Samples, played: Samples, adc_s: float, dac_s: float, lost: bool) -> None:
        nonlocal filled, losses
        played[:] = 0.0
        # What was lost before the first block, while the device starts up, is not missed.
        losses += lost and filled > 0
        n = min(len(heard), y.shape[1] - filled)
        y[:, filled : filled + n] = heard[:n].T
        filled += n

    stream = device.open(on_block, sr=sr, block=BLOCK, inputs=inputs, outputs=1)
    try:
        stream.start()
        until = time.monotonic() + seconds + _PATIENCE_S
        while filled < y.shape[1]:
            progress(filled / y.shape[1], "recording")
            if not stream.running or time.monotonic() > until:
                raise InputError(
                    f"'{device.name}' stopped after {filled / sr:.1f} s; check its cable and that no other program "
                    "uses it, then try again."
                )
            peaks(tuple(map(float, amplitude_to_db(np.abs(y[:, told:filled]).max(axis=1, initial=0.0)))))
            told = filled
            time.sleep(_POLL_S)
    finally:
        stream.close()
    return Sampled(Audio(y, sr), losses)
