"""Chords by beat: the best path through chord templates, changing rather at bar lines than inside a bar.

Each beat's pitch classes (`chroma`) are compared with the pitch classes of each chord by cosine, and so is the bass,
where the root counts most; a Viterbi search (Sheh and Ellis 2003 were the first to use one for chords) then weighs
likeness against the cost of a change. Chords foreign to the key pay a little, and plain triads are preferred to
fuller chords unless the fuller one is clearly nearer. A third or fifth that holds the bass throughout is written as
an inversion.

References
----------
A. Sheh, D. P. W. Ellis: Chord segmentation and recognition using EM-trained hidden Markov models. Proc. ISMIR, 2003.
T. Fujishima: Realtime chord recognition of musical sound. Proc. ICMC, 1999, pages 464-467 (templates).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from obbligato.listen.chroma import BeatChroma
from obbligato.listen.paths import best_path
from obbligato.music.grid import Grid
from obbligato.music.harmony import NO_CHORD, note_name, parse_chord, pitch_class
from obbligato.music.spans import ChordSpan, KeySpan

Array = NDArray[np.float64]

_QUALITIES = {"maj": 0.0, "min": 0.0, "7": 0.03, "min7": 0.03, "maj7": 0.03, "sus4": 0.05, "dim": 0.06, "hdim7": 0.07}
"""Chord types told apart, each with what its likeness must be ahead by."""

_BASS_WEIGHT = 0.4
_OTHER_IN_BASS = 0.5
"""What another chord tone in the bass speaks for a chord, against its root there."""

_FIFTH_HARMONIC = 0.2
"""How much of a bass note's strength is taken off its major third above, where its fifth harmonic lies."""

_FOREIGN_COST = 0.05
"""Cost of each pitch class of a chord that the key in force has not."""

_SCALES = {"major": (0, 2, 4, 5, 7, 9, 11), "minor": (0, 2, 3, 5, 7, 8, 10, 11)}
"""Steps above the tonic; in minor both sevenths."""

_NO_CHORD_LIKENESS = 0.62
_CHANGE_COST = 0.12
_OFF_COST = 0.12
"""Cost of a change on a bar line, and what comes on top of it elsewhere (half of it in the middle of the bar)."""

_INVERSION_LEAD = 1.5
"""How many times as strong as the root another chord tone must be in the bass."""


def find_chords(
    chroma: BeatChroma, grid: Grid, *, prefer_flats: bool, keys: Sequence[KeySpan] = ()
) -> tuple[ChordSpan, ...]:
    """Chords from the first beat to the last, `N` where there is no harmony; neighbours always differ.

    Parameters
    ----------
    prefer_flats
        How to spell roots on black keys.
    keys
        Keys in force; chords at home in them are preferred a little.
    """
    if chroma.beats.size == 0:
        return ()
    likeness = _likeness(chroma) - _foreign_costs(chroma, grid, keys)
    path = best_path(likeness, _change_costs(chroma.beats, grid))
    edges = np.flatnonzero(np.diff(path)) + 1
    bounds = [0, *edges.tolist(), path.size]
    times = grid.beat_to_sec(np.append(chroma.beats, chroma.beats[-1] + 1.0))
    spans: list[ChordSpan] = []
    for first, after in pairwise(bounds):
        label = _label(int(path[first]), chroma.bass[first:after], prefer_flats=prefer_flats)
        spans.append(ChordSpan(float(times[first]), float(times[after]), label))
    return tuple(spans)


def _likeness(chroma: BeatChroma) -> Array:
    """How well each state fits each beat, shape (n_beats, n_states); the last state is no chord."""
    templates, in_bass, handicaps = _states()
    upper = np.maximum(chroma.upper - _FIFTH_HARMONIC * np.roll(chroma.bass, 4, axis=1), 0.0)
    norm = np.linalg.norm(upper, axis=1, keepdims=True)
    upper = upper / np.where(norm > 0.0, norm, 1.0)
    bass = chroma.bass / np.maximum(chroma.bass.sum(axis=1, keepdims=True), 1e-12)
    fit = upper @ templates.T + _BASS_WEIGHT * bass @ in_bass.T - handicaps
    no_chord = np.where(norm > 0.0, _NO_CHORD_LIKENESS, 10.0)
    return np.hstack([fit, no_chord])


def _foreign_costs(chroma: BeatChroma, grid: Grid, keys: Sequence[KeySpan]) -> Array:
    """What each state pays on each beat for pitch classes foreign to the key, shape (n_beats, n_states)."""
    templates, _, _ = _states()
    costs = np.zeros((chroma.beats.size, len(templates) + 1))
    times_s = grid.beat_to_sec(chroma.beats + 0.5)
    for key in keys:
        foreign = np.ones(12)
        foreign[[(pitch_class(key.tonic) + step) % 12 for step in _SCALES[key.mode]]] = 0.0
        in_force = (times_s >= key.start_s) & (times_s < key.end_s)
        costs[in_force, :-1] = _FOREIGN_COST * (templates > 0.0) @ foreign
    return costs


@cache
def _states() -> tuple[Array, Array, Array]:
    """Per state: its pitch classes with unit norm, what each pitch class in the bass speaks for it, its handicap."""
    templates = np.zeros((12 * len(_QUALITIES), 12))
    in_bass = np.zeros_like(templates)
    handicaps = np.zeros(len(templates))
    for i, label in enumerate(_labels(prefer_flats=True)):
        chord = parse_chord(label)
        if chord is not None:
            templates[i, list(chord.pitch_classes)] = 1.0 / np.sqrt(len(chord.pitch_classes))
            in_bass[i, list(chord.pitch_classes)] = _OTHER_IN_BASS
            in_bass[i, chord.root] = 1.0
            handicaps[i] = _QUALITIES[label.split(":")[1]]
    return templates, in_bass, handicaps


def _labels(*, prefer_flats: bool) -> list[str]:
    return [f"{note_name(root, prefer_flats=prefer_flats)}:{quality}" for quality in _QUALITIES for root in range(12)]


def _change_costs(beats: Array, grid: Grid) -> Array:
    """Cost of another chord at each beat."""
    per_bar = grid.meter.beats_per_bar
    place = np.round(beats).astype(int) % per_bar
    off = np.where(place == 0, 0.0, np.where((per_bar % 2 == 0) & (place == per_bar // 2), 0.5, 1.0))
    return np.asarray(_CHANGE_COST + _OFF_COST * off)


def _label(state: int, bass: Array, *, prefer_flats: bool) -> str:
    labels = _labels(prefer_flats=prefer_flats)
    if state == len(labels):
        return NO_CHORD
    label = labels[state]
    root, quality = label.split(":")
    if quality not in ("maj", "min", "7"):
        return label
    strength = bass.mean(axis=0)
    chord = parse_chord(label)
    if chord is None:
        return label
    degrees = {"b3" if quality == "min" else "3": 3 if quality == "min" else 4, "5": 7}
    best = max(degrees, key=lambda d: strength[(chord.root + degrees[d]) % 12])
    in_bass = strength[(chord.root + degrees[best]) % 12]
    if in_bass == strength.max() and in_bass > _INVERSION_LEAD * strength[chord.root]:
        return f"{root}:{quality}/{best}"
    return label
