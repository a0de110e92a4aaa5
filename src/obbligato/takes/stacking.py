"""The click in a take: how loud it is, and what becomes of it when layers are stacked."""

from __future__ import annotations

import numpy as np
import scipy.ndimage
import scipy.signal
from numpy.typing import NDArray

from obbligato.takes.bleed import LEAST_CLICKS
from obbligato.takes.partials import Floats
from obbligato.takes.pitch import ANALYSIS_SR
from obbligato.units import power_to_db

LAYERS = 8
"""For how many layers a forecast is made."""
_BEFORE_S, _AFTER_S = 0.03, 0.05
_TICK_S = 0.01
_CLICKS_ABOVE_HZ = 700.0
_TAIL_S = 0.15
_ALIKE = 0.4
"""How alike a moment must be to the mean to hold a click at all: there may be none before the song, or in breaks."""


def click_dbfs(y: NDArray[np.float32], click_times_s: Floats, spans_s: Floats) -> float | None:
    """Level of the click in a take: of the 10 ms in which the mean of all its moments is loudest.

    What differs from click to click averages out in the mean; what is left of it is taken off. The moments in rests
    are used where there are enough of them. (Coherent averaging.)

    Parameters
    ----------
    y
        The take at `ANALYSIS_SR`.
    click_times_s
        Times of clicks in the take.
    spans_s
        Starts and ends of its notes, shape (n_notes, 2).

    Returns
    -------
    DBFS; None with fewer than `LEAST_CLICKS` moments, or where nothing is left.
    """
    first, last = int(_BEFORE_S * ANALYSIS_SR), int(_AFTER_S * ANALYSIS_SR)
    starts = np.round(click_times_s * ANALYSIS_SR).astype(int) - first
    starts = starts[(starts >= 0) & (starts + first + last <= len(y))]
    at_s = (starts[:, None] + first) / ANALYSIS_SR
    sounding = (at_s > spans_s[None, :, 0] - _AFTER_S) & (at_s < spans_s[None, :, 1] + _TAIL_S)
    in_rests = starts[~sounding.any(axis=1)]
    starts = in_rests if len(in_rests) >= LEAST_CLICKS else starts
    if len(starts) < LEAST_CLICKS:
        return None
    filtered = scipy.signal.sosfilt(
        scipy.signal.butter(2, _CLICKS_ABOVE_HZ, "highpass", fs=ANALYSIS_SR, output="sos"),
        y[starts[:, None] + np.arange(first + last)[None, :]],
    )
    mean = filtered.mean(axis=0)
    likeness = (filtered @ mean) / np.maximum(np.linalg.norm(filtered, axis=1) * np.linalg.norm(mean), 1e-20)
    clicking = filtered[likeness > _ALIKE]
    if len(clicking) < LEAST_CLICKS:
        return None
    size = int(_TICK_S * ANALYSIS_SR)
    together = scipy.ndimage.uniform_filter1d(clicking.mean(axis=0) ** 2, size)
    by_chance = scipy.ndimage.uniform_filter1d(clicking.var(axis=0), size) / len(clicking)
    power = float((together - by_chance).max())
    return float(power_to_db(power)) if power > 0 else None


def stacked_words(click_level_dbfs: float, playing_dbfs: float, *, layers: int = LAYERS) -> str:
    """What the click comes to in a stack of layers, as a sentence.

    Copies of one click add their amplitudes, 6 dB for each doubling; performances are not alike and add their powers,
    3 dB. So with each doubling the click comes 3 dB nearer.
    """
    under_db = playing_dbfs - click_level_dbfs
    nearer_db = 10.0 * np.log10(layers)
    return (
        f"The click is heard in it, {under_db:.0f} dB under the playing ({click_level_dbfs:.0f} dBFS). It is the "
        f"same in every layer and grows by 6 dB with each doubling, the playing by 3: in {layers} such layers it "
        f"would lie {under_db - nearer_db:.0f} dB under. Turn the headphones down, or use closed ones, and play it "
        "again."
    )
