"""Keys: which of the 24 is in force in each bar, and the bar where it changes.

Each bar is a set of pitch classes, each present to a degree. The chance of such a bar in a key follows Temperley
(2007, chapter 6, for segments of a piece): every pitch class is there or not, each with the frequency known for its
place in the key, and the key changes rarely. The best path over all bars is Viterbi's.

The frequencies are those of the Kostka-Payne corpus as Temperley lists them. A popular song in minor has the
natural seventh as often as the raised one, which that corpus of classical pieces has not: there the two share their
frequencies evenly.

Which notes there are tells a key badly from its relative and from the key a fifth away; which of them carry the
chords tells more. So the bass of each bar, its first beat foremost (a bass that goes from root to fifth would speak
for the key a fifth up), is weighed by how often songs in a key have a chord on each degree, counted in the McGill
Billboard transcriptions.

References
----------
J. A. Burgoyne, J. Wild, I. Fujinaga: An expert ground truth set for audio chord recognition and music analysis.
Proc. ISMIR, 2011, pages 633-638.
D. Temperley: Music and Probability. MIT Press, 2007, chapter 6.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from obbligato.listen.chroma import BASS_ON_FIRST_BEAT, BeatChroma
from obbligato.listen.paths import best_path
from obbligato.music.grid import Grid
from obbligato.music.harmony import tonic_name
from obbligato.music.spans import KeySpan, Mode

Array = NDArray[np.float64]

MAJOR_PROFILE = (0.748, 0.060, 0.488, 0.082, 0.670, 0.460, 0.096, 0.715, 0.104, 0.366, 0.057, 0.400)
MINOR_PROFILE = (0.712, 0.084, 0.474, 0.618, 0.049, 0.460, 0.105, 0.747, 0.404, 0.067, 0.133, 0.330)
"""How often a segment holds each pitch class from the tonic on (Kostka-Payne corpus; Temperley 2007, chapter 6)."""

_MAJOR_ROOTS = (0.392, 0.006, 0.068, 0.013, 0.030, 0.191, 0.005, 0.173, 0.013, 0.068, 0.037, 0.004)
_MINOR_ROOTS = (0.476, 0.004, 0.012, 0.060, 0.003, 0.131, 0.003, 0.090, 0.105, 0.005, 0.109, 0.003)
"""Share of chords whose root lies so many semitones above the tonic, counted by length in the McGill Billboard
transcriptions with the tonics given there; a song is minor where its tonic chords are mostly minor."""

_MISHEARD = 0.1
"""How often the bass heard is none of the chord's doing: a leak from the next semitone, a passing note."""

_CHANGE_COST = 15.0
"""Cost of a change of key, in nats; a bar in a clearly foreign key costs about 3."""

_PHRASE_COSTS = (0.0, 4.0, 1.0, 4.0)
"""What comes on top by the bar's place among four: phrases come in pairs of bars and in pairs of pairs, and a bar
that prepares the new key belongs to the old one (common practice, no source)."""

_BASS_WEIGHT = 3.0
"""How many observations the bass of a bar is worth; the twelve pitch classes above it are one each."""

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
    path = best_path(fit, _CHANGE_COST + np.asarray(_PHRASE_COSTS)[(bars - 1) % 4])
    bounds = [0, *(np.flatnonzero(np.diff(path)) + 1).tolist(), path.size]
    starts_s = [0.0, *(grid.bar_to_sec(int(bars[i])) for i in bounds[1:-1])]
    ends_s = [*starts_s[1:], end_s]
    spans = []
    for (first, after), start_s, stop_s in zip(pairwise(bounds), starts_s, ends_s, strict=True):
        tonic, mode = _name(int(path[first]))
        spans.append(KeySpan(start_s, stop_s, tonic, mode, _confidence(fit[first:after])))
    return tuple(spans)


def _bars(chroma: BeatChroma, grid: Grid) -> tuple[NDArray[np.intp], Array, Array]:
    """Bar numbers, presence of each pitch class in each bar, and the share of each in its bass."""
    number = np.round(chroma.beats).astype(np.intp)
    bars, bar = np.unique(number // grid.meter.beats_per_bar + 1, return_inverse=True)
    first = np.where(number % grid.meter.beats_per_bar == 0, BASS_ON_FIRST_BEAT, 1.0)
    upper, bass = np.zeros((bars.size, 12)), np.zeros((bars.size, 12))
    np.add.at(upper, bar, chroma.upper)
    np.add.at(bass, bar, first[:, None] * chroma.bass**2)
    strongest = upper.max(axis=1, keepdims=True, initial=0.0)
    present = np.clip(upper / np.where(strongest > 0.0, _PRESENT * strongest, 1.0), 0.0, 1.0)
    return bars, present, bass / np.maximum(bass.sum(axis=1, keepdims=True), 1e-12)


def _log_fit(present: Array, bass: Array) -> Array:
    """Log-likelihood of each bar in each key, shape (n_bars, 24): majors from C on, then minors."""
    sounding = present.any(axis=1, keepdims=True)
    fits = []
    for profile, roots in ((np.asarray(MAJOR_PROFILE), _MAJOR_ROOTS), (_popular_minor(), _MINOR_ROOTS)):
        in_bass = _BASS_WEIGHT * np.log((1.0 - _MISHEARD) * np.asarray(roots) + _MISHEARD / 12.0)
        for tonic in range(12):
            p = np.roll(profile, tonic)
            fits.append(present @ np.log(p) + (1.0 - present) @ np.log(1.0 - p) + bass @ np.roll(in_bass, tonic))
    return np.stack(fits, axis=1) * sounding


def _popular_minor() -> Array:
    profile = np.asarray(MINOR_PROFILE)
    profile[10:] = profile[10:].mean()
    return profile


def _name(state: int) -> tuple[str, Mode]:
    mode: Mode = "major" if state < 12 else "minor"
    return tonic_name(state % 12, mode), mode


def _confidence(fit: Array) -> float:
    """`1 - exp(-lead)` for the lead of the best key's mean fit per bar, times up to eight bars."""
    mean = np.sort(fit.mean(axis=0))
    lead = (mean[-1] - mean[-2]) * min(8, fit.shape[0])
    return float(1.0 - np.exp(-lead))
