"""Keys: which of the 24 is in force in each bar, and the bar where it changes.

Each bar is a set of pitch classes, each present to a degree. The chance of such a bar in a key follows Temperley
(2007, chapter 6, for segments of a piece): every pitch class is there or not, each with the frequency known for its
place in the key, and the key changes rarely. The best path over all bars is Viterbi's.

The frequencies are those of the Kostka-Payne corpus as Temperley lists them. A popular song in minor has the
natural seventh as often as the raised one, which that corpus of classical pieces has not: there the two share their
frequencies evenly. The tonic triad's root in the bass counts besides, to tell a key from its relative.

References
----------
D. Temperley: Music and Probability. MIT Press, 2007, chapter 6.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from obbligato.listen.chroma import BeatChroma
from obbligato.listen.paths import best_path
from obbligato.music.grid import Grid
from obbligato.music.harmony import tonic_name
from obbligato.music.spans import KeySpan, Mode

Array = NDArray[np.float64]

MAJOR_PROFILE = (0.748, 0.060, 0.488, 0.082, 0.670, 0.460, 0.096, 0.715, 0.104, 0.366, 0.057, 0.400)
MINOR_PROFILE = (0.712, 0.084, 0.474, 0.618, 0.049, 0.460, 0.105, 0.747, 0.404, 0.067, 0.133, 0.330)
"""How often a segment holds each pitch class from the tonic on (Kostka-Payne corpus; Temperley 2007, chapter 6)."""

_CHANGE_COST = 12.0
"""Cost of a change of key, in nats; a bar in a clearly foreign key costs about 3."""

_ODD_BAR_COST = 3.0
"""What comes on top where the change would fall on the second bar of a pair: phrases come in pairs of bars, and a
bar that prepares the new key belongs to the old one (common practice, no source)."""

_BASS_WEIGHT = 1.0
_PRESENT = 0.6
"""Strength, against the strongest pitch class of a bar, from which one is fully present."""


def find_keys(chroma: BeatChroma, grid: Grid, *, end_s: float) -> tuple[KeySpan, ...]:
    """Keys from the start of the file to its end; each later one starts on a bar line.

    Parameters
    ----------
    end_s
        Where the file ends.

    Returns
    -------
    One span for each stretch in one key, with a confidence of 0 to 1: how far its likeliest key is ahead of the
    runner-up over the whole stretch. Without any harmony one span of C major with confidence 0.
    """
    bars, present, bass = _bars(chroma, grid)
    if bars.size == 0 or not present.any():
        return (KeySpan(0.0, end_s, "C", "major", 0.0),)
    fit = _log_fit(present, bass)
    path = best_path(fit, _CHANGE_COST + _ODD_BAR_COST * (bars % 2 == 0))
    bounds = [0, *(np.flatnonzero(np.diff(path)) + 1).tolist(), path.size]
    starts_s = [0.0, *(grid.bar_to_sec(int(bars[i])) for i in bounds[1:-1])]
    ends_s = [*starts_s[1:], end_s]
    spans = []
    for (first, after), start_s, stop_s in zip(pairwise(bounds), starts_s, ends_s, strict=True):
        tonic, mode = _name(int(path[first]))
        spans.append(KeySpan(start_s, stop_s, tonic, mode, _confidence(fit[first:after])))
    return tuple(spans)


def _bars(chroma: BeatChroma, grid: Grid) -> tuple[NDArray[np.intp], Array, Array]:
    """Bar numbers, presence of each pitch class in each bar, and the mean bass of each bar."""
    bar_of_beat = np.floor((np.round(chroma.beats)) / grid.meter.beats_per_bar).astype(np.intp) + 1
    bars = np.unique(bar_of_beat)
    upper = (
        np.stack([chroma.upper[bar_of_beat == bar].mean(axis=0) for bar in bars]) if bars.size else np.zeros((0, 12))
    )
    bass = (
        np.stack([chroma.bass[bar_of_beat == bar].mean(axis=0) for bar in bars]) if bars.size else np.zeros((0, 12))
    )
    strongest = upper.max(axis=1, keepdims=True, initial=0.0)
    present = np.clip(upper / np.where(strongest > 0.0, _PRESENT * strongest, 1.0), 0.0, 1.0)
    return bars, present, bass / np.maximum(bass.sum(axis=1, keepdims=True), 1e-12)


def _log_fit(present: Array, bass: Array) -> Array:
    """Log-likelihood of each bar in each key, shape (n_bars, 24): majors from C on, then minors."""
    sounding = present.any(axis=1, keepdims=True)
    fits = []
    for profile in (np.asarray(MAJOR_PROFILE), _popular_minor()):
        for tonic in range(12):
            p = np.roll(profile, tonic)
            fits.append(present @ np.log(p) + (1.0 - present) @ np.log(1.0 - p) + _BASS_WEIGHT * bass[:, tonic])
    return np.stack(fits, axis=1) * sounding


def _popular_minor() -> Array:
    profile = np.asarray(MINOR_PROFILE)
    profile[10:] = profile[10:].mean()
    return profile


def _name(state: int) -> tuple[str, Mode]:
    mode: Mode = "major" if state < 12 else "minor"
    return tonic_name(state % 12, mode), mode


def _confidence(fit: Array) -> float:
    """Softmax over the mean fit per bar of the best two keys, sharpened by up to eight bars of evidence."""
    mean = np.sort(fit.mean(axis=0))
    lead = (mean[-1] - mean[-2]) * min(8, fit.shape[0])
    return float(1.0 - np.exp(-lead))
