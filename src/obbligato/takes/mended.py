"""A take whose clock, rate or lost blocks are put right: a new recording, made only when the player says yes.

Nothing else is touched: neither pitch nor noise. What was heard of the fault stands in the take's `Placement`.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Literal

import numpy as np
import soxr

from obbligato.errors import InputError
from obbligato.sound.audio import Audio, Samples
from obbligato.sound.shape import crossfade
from obbligato.takes.clock import is_pull
from obbligato.takes.place import Placement
from obbligato.takes.room_tone import room_tone

Mend = Literal["rate", "steps", "clock"]
_FADE_S = 0.003


def to_mended(take: Audio, placement: Placement, which: Mend) -> Audio:
    """A take with one fault of time put right.

    Parameters
    ----------
    placement
        As found in this very take.
    which
        "rate": read at the rate it was recorded at; where that was pulled by a thousandth, resampled to the rate its
        file names. "steps": what was lost is filled with the take's own room, what is there twice taken out.
        "clock": resampled to the guide's clock. Where there are several, they are to be mended in this order, each
        on the take as it then is.

    Raises
    ------
    InputError
        When the take has no such fault.
    """
    if which == "rate":
        if placement.true_sr is None:
            raise InputError("The take's rate is what its file says; there is nothing to mend.")
        return _at_true_rate(take, placement)
    if which == "steps":
        if not placement.losses:
            raise InputError("No lost block was found in the take; there is nothing to mend.")
        return Audio(_filled(take, placement), take.sr)
    if not placement.drift_ppm:
        raise InputError("The take's clock keeps the guide's time; there is nothing to mend.")
    return Audio(_resampled(take.y, take.sr * (1.0 + placement.drift_ppm * 1e-6), take.sr), take.sr)


def _at_true_rate(take: Audio, placement: Placement) -> Audio:
    if placement.true_sr is not None and not is_pull(placement.drift_ppm):
        return Audio(take.y, placement.true_sr)
    return Audio(_resampled(take.y, take.sr * (1.0 + placement.drift_ppm * 1e-6), take.sr), take.sr)


def _resampled(y: Samples, from_hz: float, to_hz: float) -> Samples:
    return np.ascontiguousarray(soxr.resample(y.T, from_hz, to_hz, quality="VHQ").T, dtype=np.float32)


def _filled(take: Audio, placement: Placement) -> Samples:
    """The take with its losses filled, from the last to the first so that the earlier moments stay where they are."""
    y = take.y
    for loss in reversed(placement.losses):
        at, n = round(loss.at_s * take.sr), round(loss.lost_s * take.sr)
        if n > 0:
            y = _joined([y[:, :at], room_tone(take.y, n, sr=take.sr), y[:, at:]], take.sr)
        else:
            y = _joined([y[:, :at], y[:, at - n :]], take.sr)
    return y


def _joined(pieces: list[Samples], sr: int) -> Samples:
    """Pieces one after another, their lengths kept; for 3 ms at each joint the later grows out of the earlier."""
    out = np.concatenate(pieces, axis=1)
    at = 0
    for before, after in pairwise(pieces):
        at += before.shape[1]
        fade = min(round(_FADE_S * sr), before.shape[1], after.shape[1])
        if fade > 1:
            onward = np.ascontiguousarray(before[:, -fade:][:, ::-1])
            out[:, at : at + fade] = crossfade(Audio(onward, sr), Audio(after[:, :fade], sr)).y
    return out
